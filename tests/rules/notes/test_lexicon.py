"""The words files: what is refused, with the line and what to write instead; and the grammar of phrases."""

from __future__ import annotations

from collections.abc import Mapping
from textwrap import dedent

import pytest

from rules.bookkeeping.types import FactTerm
from rules.bookkeeping.yamlsource import parse
from rules.notes import Lexicon, compile_lexicon, read_note
from rules.notes.claims import ON_HIGH
from rules.notes.phrases import MOST_SPELLINGS, Entry, PhraseError, PhraseIndex, spellings
from rules.notes.typos import Speller
from rules.terms import BookError

GOOD = """
things:
  - thing: oven
    words: [oven]
  - thing: burner
    words: [burner]
    plural: [burners]
    placed: true
states:
  - state: cold
    words: [cold]
markers:
  - marker: negation
    words: [not]
meanings:
  - of: oven
    is: cold
    says: {oven.bake.heat: none}
  - of: burner
    is: cold
    says: {surface.heat: none}
"""


def _problems(text: str, vocabulary: Mapping[str, FactTerm]) -> list[str]:
    with pytest.raises(BookError) as raised:
        compile_lexicon([parse("words/a.yaml", GOOD), parse("words/b.yaml", dedent(text))], vocabulary)
    return raised.value.problems


def test_a_small_book_of_words_reads_a_note(vocabulary: Mapping[str, FactTerm]) -> None:
    lexicon = compile_lexicon([parse("words/a.yaml", GOOD)], vocabulary)
    facts = read_note("The oven is cold, burners cold", lexicon, ()).facts
    assert [(fact.key, fact.value) for fact in facts] == [("oven.bake.heat", "none"), ("surface.heat@all", "none")]


@pytest.mark.parametrize(
    ("text", "line", "told"),
    [
        (
            "meanings: [{of: oven, is: cold, near: burner, says: {oven.bake.heet: none}}]",
            1,
            "did you mean 'oven.bake.heat'",
        ),
        (
            "meanings: [{of: oven, is: cold, near: burner, says: {oven.bake.heat: nil}}]",
            1,
            "write one of none, weak, normal",
        ),
        (
            "meanings: [{of: oven, is: cold, near: burner, says: {oven.bake.heat@all: none}}]",
            1,
            "no place of 'oven.bake.heat'",
        ),
        ("meanings: [{of: burner, is: cold, near: oven, says: {surface.heat@left: none}}]", 1, "'left' is no place"),
        ("meanings: [{of: oven, is: cold, near: burner, says: {oven.offset: low}}]", 1, "write the delta_degF"),
        ("meanings: [{of: oven, is: cold, near: burner, says: {oven.offset: 900}}]", 1, "from -400 to 400"),
        ("meanings: [{of: oven, is: cold, near: burner, says: {volts: 0}}]", 1, "read from figures only"),
        ("meanings: [{of: oven, is: cold, says: {oven.bake.heat: weak}}]", 1, "has a meaning already"),
        ("meanings: [{of: ovn, is: cold, says: {}}]", 1, "did you mean 'oven'"),
        ("meanings: [{of: oven, is: cool, says: {}}]", 1, "no state of the lexicon"),
        ("meanings: [{of: oven, is: cold, near: burner}]", 1, "write 'says: {fact: value}'"),
        ("meanings: [{is: cold, says: {}}]", 1, "write 'of: name'"),
        ("meanings: [{of: oven, is: cold, while: [at_low], says: {}}]", 1, "no context of the lexicon"),
        (
            "meanings: [{of: oven, is: cold, near: burner, certainty: sure, says: {}}]",
            1,
            "write said, hedged or measured",
        ),
        ("meanings: [{of: oven, is: cold, near: burner, half: left, says: {}}]", 1, "write upper or lower"),
        ("things: [{thing: oven, words: [stove]}]", 1, "written twice"),
        ("things: [{thing: range, words: [oven]}]", 1, "stands for thing 'oven' already"),
        ("things: [{thing: range, word: [range]}]", 1, "did you mean 'words'"),
        ("things: [{thing: range, words: [240]}]", 1, "240 is not a text"),
        ("things: [{thing: range, words: ['(the)']}]", 1, "outside the brackets"),
        ("things: [{thing: range, words: [range], placed: maybe}]", 1, "write 'true'"),
        ("things: [{thing: range, words: [range], ohms: ohms.stove}]", 1, "no fact"),
        ("things: [{thing: range, words: [range], mentions: {fuel: coal}}]", 1, "write one of electric, gas"),
        ("things: [{thing: range, words: [range], stands_for: [{part: oven}]}]", 1, "write a list of {thing: name"),
        ("\nthings:\n  - words: [range]", 3, "write 'thing: name'"),
        ("thngs: []", 1, "did you mean 'things'"),
        ("things: {}", 1, "write a list"),
        ("things: [oven]", 1, "write fields"),
        ("[things]", 1, "write sections"),
        ("places: [{place: left_frnt, words: [lf]}]", 1, "did you mean 'left_front'"),
        ("quantities: [{quantity: many, words: [many]}]", 1, "write one of all"),
        ("markers: [{marker: negations, words: ['no']}]", 1, "did you mean 'negation'"),
        ("rests: [{only: oven, leaves: [burner@left]}]", 1, "write burner@all or burner@others"),
        ("spelling: [{typos: {ovn: ovens}}]", 1, "did you mean 'oven'"),
        ("spelling: [{typos: [ovn]}]", 1, "write pairs"),
    ],
)
def test_what_is_wrong_is_refused_with_its_line(
    text: str, line: int, told: str, vocabulary: Mapping[str, FactTerm]
) -> None:
    problems = _problems(text, vocabulary)
    assert any(problem.startswith(f"words/b.yaml:{line}: ") and told in problem for problem in problems), problems


def test_all_problems_are_told_at_once(vocabulary: Mapping[str, FactTerm]) -> None:
    text = """
    things: [{thing: range, word: [range]}]
    states: [{state: cold, words: [chilly]}]
    """
    assert len(_problems(text, vocabulary)) == 2


def test_the_grammar_of_phrases() -> None:
    assert spellings("left/l front") == [("l", "front"), ("left", "front")]
    assert spellings("oven (at all) dead") == [("oven", "at", "all", "dead"), ("oven", "dead")]
    assert spellings("smell .. burning") == [("smell", "..", "burning")]
    assert spellings("won't self-clean") == [("wont", "self", "clean")]


@pytest.mark.parametrize("phrase", ["", "(a)", ".. oven", "oven ..", "oven & stove", "(a", "a//b", "a/b " * 20])
def test_phrases_out_of_the_grammar_are_refused(phrase: str) -> None:
    with pytest.raises(PhraseError):
        spellings(phrase)


def test_the_limit_of_spellings_is_named() -> None:
    with pytest.raises(PhraseError, match=str(MOST_SPELLINGS)):
        spellings("a/b " * 13 + "c")


def test_the_longest_phrase_is_found() -> None:
    index = PhraseIndex()
    for phrase in ("hot", "hot light", "smell .. burning"):
        for words in spellings(phrase):
            index.add(words, Entry("state", phrase))
    none: frozenset[str] = frozenset()

    def longest(words: list[str], barriers: frozenset[str]) -> tuple[int, Entry] | None:
        return index.longest(words, 0, barriers, frozenset(words))

    assert longest(["hot", "light", "on"], none) == (
        2,
        Entry("state", "hot light"),
    )
    assert longest(["hot", "plug"], none) == (1, Entry("state", "hot"))
    assert index.longest(
        ["smell", "of", "something", "burning"], 0, none, frozenset(["smell", "of", "something", "burning"])
    ) == (4, Entry("state", "smell .. burning"))
    assert (
        index.longest(
            ["smell", "of", "no", "burning"], 0, frozenset({"no"}), frozenset(["smell", "of", "no", "burning"])
        )
        is None
    )
    assert (
        index.longest(
            ["smell", "a", "b", "c", "d", "e", "burning"],
            0,
            none,
            frozenset(["smell", "a", "b", "c", "d", "e", "burning"]),
        )
        is None
    )
    assert longest(["cold"], none) is None


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        ("ovne", "oven"),
        ("burnner", "burner"),
        ("disply", "display"),
        ("braeker", "breaker"),
        ("elment", "element"),
        ("themrostat", "thermostat"),
        ("hearing", "hearing"),
        ("weekly", "weekly"),
        ("boiler", "boiler"),
        ("heart", "heart"),
        ("night", "night"),
        ("plus", "plus"),
    ],
)
def test_slips_are_mended_and_words_are_not(typed: str, meant: str, lexicon: Lexicon) -> None:
    assert Speller(lexicon).mend(typed) == meant


def test_every_state_and_thing_of_the_shipped_book_can_be_said(lexicon: Lexicon) -> None:
    """A meaning nobody can say, and a word without a meaning, are slips of the book."""
    spoken = {entry.name for entry in lexicon.index.entries() if entry.kind in ("thing", "state")}
    senses = {sense.thing for thing in lexicon.things.values() for sense in thing.senses}
    for thing, state in lexicon.meanings:
        assert thing == "any" or thing in spoken or thing in senses, f"no word for the thing {thing}"
        assert state in spoken or state == ON_HIGH, f"no word for the state {state}"
    meant = {state for _, state in lexicon.meanings}
    assert set(lexicon.states) <= meant, f"no meaning for {set(lexicon.states) - meant}"
