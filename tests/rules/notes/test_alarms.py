"""Dangers put together from families of words, what calms them, and what the book's rows about them are refused for."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from textwrap import dedent

import pytest

from rules.bookkeeping.types import FactTerm
from rules.bookkeeping.yamlsource import parse
from rules.notes import NoteReading, compile_lexicon, read_note
from rules.terms import BookError

Read = Callable[..., NoteReading]

BOOK = """
things:
  - thing: oven
    words: [oven]
states:
  - state: cold
    words: [cold]
markers:
  - marker: negation
    words: [not, isn't]
  - marker: blocked
    words: [bite to eat]
meanings:
  - of: oven
    is: cold
    says: {oven.bake.heat: none}
families:
  - family: bites
    words: [bites, sinks its teeth in/into]
  - family: somebody
    words: [me/him]
  - family: metal
    things: [oven]
    words: [trim]
  - family: dog
    words: [dog]
  - family: joke
    words: [joking]
alarms:
  - alarm: it bites
    head: bites
    then: [somebody]
    beside: [metal]
    unless: [dog]
    says: hazard.shock
calms:
  - calm: only a joke
    of: hazard.shock
    beside: [joke]
    leaves: doubt
"""


def _shock(note: str, vocabulary: Mapping[str, FactTerm]) -> list[str]:
    lexicon = compile_lexicon([parse("words/a.yaml", BOOK)], vocabulary)
    return [fact.certainty for fact in read_note(note, lexicon, ()).facts if fact.fact == "hazard.shock"]


@pytest.mark.parametrize(
    ("note", "told"),
    [
        ("the oven bites me", ["said"]),
        ("oven sinks its teeth into him", ["said"]),
        ("the trim bites", []),  # nobody
        ("it bites me", []),  # no metal
        ("oven bites the hand of my sister and me", []),  # too far
        ("the dog by the oven bites me", []),
        ("the oven isn't bites me", []),
        ("bites. oven. me", []),  # not in one sentence
    ],
)
def test_an_alarm_needs_all_its_families(note: str, told: list[str], vocabulary: Mapping[str, FactTerm]) -> None:
    assert _shock(note, vocabulary) == told


@pytest.mark.parametrize(
    ("row", "told"),
    [
        ("alarms: [{alarm: x, head: bites, says: hazard.shok}]", "did you mean 'hazard.shock'"),
        ("alarms: [{alarm: x, head: bites, says: oven.offset}]", "is no danger; write one of hazard.any"),
        ("alarms: [{alarm: x, head: bite, says: hazard.shock}]", "did you mean 'bites'"),
        ("alarms: [{alarm: x, says: hazard.shock}]", "write the one family"),
        ("alarms: [{alarm: x, head: bites, says: hazard.shock, certainty: measured}]", "write said or hedged"),
        ("alarms: [{alarm: x, head: bites, says: hazard.shock, reach: 0}]", "a whole number from 1"),
        ("alarms: [{alarm: x, head: bites, says: hazard.shock, then: [metal/oven]}]", "'oven' is no family"),
        ("alarms: [{head: bites, says: hazard.shock}]", "write 'alarm: name'"),
        ("families: [{family: x, words: [a .. b]}]", "without gaps"),
        ("families: [{family: x, words: ['(a)']}]", "outside the brackets"),
        ("families: [{family: x, things: [ovn]}]", "did you mean 'oven'"),
        ("families: [{family: bites, words: [nips]}]", "written twice"),
        ("calms: [{calm: x, of: hazard.shock, beside: [dog], leaves: none}]", "write doubt or nothing"),
        ("calms: [{calm: x, of: hazard.shok, beside: [dog], leaves: doubt}]", "did you mean 'hazard.shock'"),
        ("calms: [{calm: x, of: hazard.shock, leaves: doubt}]", "write the families"),
    ],
)
def test_a_wrong_row_is_refused(row: str, told: str, vocabulary: Mapping[str, FactTerm]) -> None:
    with pytest.raises(BookError) as raised:
        compile_lexicon([parse("words/a.yaml", BOOK), parse("words/b.yaml", dedent(row))], vocabulary)
    assert any(problem.startswith("words/b.yaml:1: ") and told in problem for problem in raised.value.problems)


@pytest.mark.parametrize(
    ("note", "fact", "certainty"),
    [
        ("off but still heating", "hazard.heat_when_off", "said"),
        ("oven door is live", "hazard.shock", "said"),
        ("burner heats as soon as I turn the breaker on with the knobs off", "hazard.heat_when_off", "said"),
        ("comes on by itself at night", "hazard.heat_when_off", "said"),
        ("made my arm jump when I touched it", "hazard.shock", "said"),
        ("cooked the plug", "hazard.hot_plug", "said"),
        ("smoooke from under the panel", "hazard.smoke", "said"),
        ("scared of the shocks", "hazard.shock", "hedged"),
        ("the plug could melt", "hazard.hot_plug", "hedged"),
    ],
)
def test_dangers_in_words_that_no_phrase_has(note: str, fact: str, certainty: str, read: Read) -> None:
    assert [each.certainty for each in read(note).facts if (each.fact, each.value) == (fact, "yes")] == [certainty]


@pytest.mark.parametrize(
    "note",
    [
        "was sparking, tech replaced the coil, good now",
        "the manual warns of electric shock",
        "it doesn't bite my fingers when I touch the handle",
        "L1 is live",
        "we live upstairs",
        "no one touched it and it does not heat",
    ],
)
def test_what_is_no_danger_raises_no_alarm(note: str, read: Read) -> None:
    assert not [fact for fact in read(note).facts if fact.fact.startswith("hazard.") and fact.value == "yes"]


def test_what_was_put_right_does_not_calm_what_came_after(read: Read) -> None:
    facts = read("we fixed it and it works fine now, smoke comes out the back").facts
    assert ("hazard.smoke", "said") in [(fact.fact, fact.certainty) for fact in facts]


def test_what_stands_under_a_code_or_a_lock_is_read(read: Read) -> None:
    code = {(fact.key, fact.value) for fact in read("error code on display, won't heat").facts}
    assert ("oven.bake.heat", "none") in code
    assert ("display", "dark") not in code
    assert {(fact.key, fact.value) for fact in read("door is locked, won't heat").facts} == {
        ("door.locked", "yes"),
        ("oven.bake.heat", "none"),
    }


@pytest.mark.parametrize(
    ("note", "certainty"),
    [
        ("was sparking, tech replaced the coil, good now, but the oven is slow", "hedged"),
        ("was sparking, tech replaced the coil, good now but sparks again", "said"),
        ("burner clicks off and on, is that dangerous?", "hedged"),
        ("it is dangerous, it smells like burning plastic", "said"),
    ],
)
def test_what_turns_or_is_only_asked_leaves_a_doubt(note: str, certainty: str, read: Read) -> None:
    dangers = [fact.certainty for fact in read(note).facts if fact.fact.startswith("hazard.")]
    assert dangers
    assert ("said" in dangers) == (certainty == "said")
