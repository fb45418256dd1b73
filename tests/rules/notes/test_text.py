"""Any text at all: exact spans, no crash, no slow-down."""

from __future__ import annotations

import random
import time
from collections.abc import Callable, Mapping

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.bookkeeping.types import FactTerm
from rules.notes import Lexicon, NoteReading, read_note
from rules.notes.normalise import normalise, phrase_words, tokens
from rules.terms import ALL, OTHERS, UNNAMED
from tests.rules.notes.conftest import POSITIONS

Read = Callable[..., NoteReading]

SPELLED = {
    "plain": "The oven won't heat. Burners work.",
    "curly": "The oven won’t heat. Burners work.",
    "shouted": "THE OVEN WON'T HEAT. BURNERS WORK.",
    "bare": "the oven wont heat burners work",
    "lines": "- the oven won't heat\n- burners work",
    "wrapped": "The oven\nwon't heat. Burners\nwork.",
    "windows": "The oven won't heat.\r\nBurners work.\r\n",
    "control": "The\x00oven\x07won't\x1bheat.\tBurners work.",
    "emoji": "😀 The oven won't heat 🔥🔥. Burners work 👍",
    "wide": "Ｔｈｅ ｏｖｅｎ ｗｏｎ＇ｔ ｈｅａｔ. Burners work.",
    "typos": "The ovne wont heat. Bruners wrok.",
    "quotes": "\"The oven\" won't 'heat'. “Burners” work.",
}


@pytest.mark.parametrize("note", SPELLED.values(), ids=SPELLED.keys())
def test_the_way_of_writing_makes_no_difference(note: str, read: Read) -> None:
    found = {fact.key: fact.value for fact in read(note).facts}
    assert found == {"oven.bake.heat": "none", "surface.heat@all": "normal"}


@pytest.mark.parametrize("note", ["", " ", "\n\n", "...", "😀", "\x00", "?", ",,,", "-", "('", "1", "\ud800"])
def test_nothing_is_read_from_nothing(note: str, read: Read) -> None:
    assert read(note) == NoteReading((), ())


@given(st.text(max_size=300))
def test_normalising_moves_no_character(text: str) -> None:
    plain = normalise(text)
    assert len(plain) == len(text)
    for token in tokens(plain):
        assert 0 <= token.start < token.end <= len(text)


def _sound(note: str, reading: NoteReading, vocabulary: Mapping[str, FactTerm]) -> None:
    """Every fact is a fact of the vocabulary, at a place it has, and its span holds its text."""
    for fact in reading.facts:
        term = vocabulary[fact.fact]
        assert fact.span is not None
        assert note[fact.span[0] : fact.span[1]] == fact.text != ""
        assert isinstance(fact.value, float) if term.kind == "number" else fact.value in term.values
        places = (*POSITIONS, ALL, OTHERS, UNNAMED) if term.place == "surface" else (None,)
        assert fact.where in places
        assert (fact.between in term.between and fact.during in term.states) == (term.place == "meter")
    for clause in reading.unread:
        assert clause == clause.strip() != ""
        assert clause in note


@settings(max_examples=60, deadline=None)
@given(text=st.text(max_size=200))
def test_any_text_is_read_soundly(text: str, lexicon: Lexicon, vocabulary: Mapping[str, FactTerm]) -> None:
    _sound(text, read_note(text, lexicon, POSITIONS), vocabulary)


def test_any_jumble_of_our_own_words_is_read_soundly(lexicon: Lexicon, vocabulary: Mapping[str, FactTerm]) -> None:
    words = sorted(lexicon.index.words)
    marks = [" ", " ", " ", ", ", ". ", "? ", ": ", " - ", "\n", "/"]
    source = random.Random(1)
    for _ in range(1500):
        note = "".join(source.choice(words) + source.choice(marks) for _ in range(source.randint(1, 25)))
        _sound(note, read_note(note, lexicon, POSITIONS), vocabulary)


LONG = {
    "notes": "The oven won't heat but all burners work. Display is lit, left front is stuck on high. ",
    "one sentence": "oven dead burner works and the clock is on ",
    "one word": "burner ",
    "one letter": "a",
    "commas": ",",
    "blanks": " ",
    "lines": "\n ",
    "digits": "1",
    "figures": "12 ",
    "volts": "L1-N 121 ",
    "legs": "legs to leg and ",
    "settings": "set 350 reads 310 ",
    "degrees": "40 to 50 degrees ",
    "durations": "takes a a a a 45 ",
    "gaps": "smell of the very ",
    "ohms": "bake element 22 ohms ",
    "days": "self clean yesterday ",
    "lists": "oven and ",
    "dots": "a.",
    "quotes": "'",
    "idle": "everything a b c ",
}


@pytest.mark.parametrize("piece", LONG.values(), ids=LONG.keys())
def test_a_hundred_kilobytes_take_no_two_seconds(piece: str, lexicon: Lexicon) -> None:
    note = (piece * (100_000 // len(piece) + 1))[:100_000]
    begun = time.process_time()
    read_note(note, lexicon, POSITIONS)
    assert time.process_time() - begun < 4.0  # about 1 s on an idle core; twice the promise, for a busy one


def test_reading_is_the_same_every_time(lexicon: Lexicon) -> None:
    note = "Disply blank, burnners heat. " * 3
    assert read_note(note, lexicon, POSITIONS) == read_note(note, lexicon, POSITIONS)


def test_phrases_are_cut_as_notes_are() -> None:
    assert phrase_words("won't self-clean") == [token.word for token in tokens(normalise("Won’t self clean"))]
    assert phrase_words("it's on") == [token.word for token in tokens(normalise("It's on"))]
