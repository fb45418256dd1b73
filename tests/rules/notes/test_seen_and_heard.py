"""What is seen at the back wall and behind it, heard from a switch, told of long ago, or told without a figure."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from rules.notes import NoteReading


@pytest.mark.parametrize(
    ("note", "facts"),
    [
        ("black spot on the back wall by the element", {"oven.wall_marks": "scorched"}),
        ("the back wall of the oven looks clean", {"oven.wall_marks": "none"}),
        ("left front burner switch clicks on medium", {"surface.clicks@left_front": "clicks"}),
        ("RF knob no longer clicks", {"surface.clicks@right_front": "silent"}),
        ("bake element push-on terminal is burnt", {"visual.element_terminals": "bake"}),
        ("spade on the broil element loose", {"visual.element_terminals": "broil"}),
        ("terminals on the bake element look good", {"visual.element_terminals": "sound"}),
        ("350 comes out like 300", {"oven.offset": -50.0}),
        ("the oven runs cold", {"oven.runs": "cold"}),
    ],
)
def test_what_is_seen_and_heard(said: Callable[[str], dict[str, object]], note: str, facts: dict[str, object]) -> None:
    assert said(note) == facts


def test_a_figure_alone_in_a_note_is_taken_in_doubt(read: Callable[..., NoteReading]) -> None:
    (fact,) = read("about 40 low").facts
    assert (fact.fact, fact.value, fact.certainty) == ("oven.offset", -40.0, "hedged")
    assert read("it was 40 at the door, low clouds").facts == ()


@pytest.mark.parametrize("when", ["last month", "a month ago", "two weeks ago"])
def test_a_danger_of_some_weeks_ago_is_asked_about(read: Callable[..., NoteReading], when: str) -> None:
    (fact,) = read(f"sparks {when}").facts
    assert (fact.fact, fact.certainty) == ("hazard.sparks", "hedged")
    assert [fact.certainty for fact in read("sparks last night").facts] == ["said"]


@pytest.mark.parametrize(
    "note",
    [
        "there was smoke last year",
        "two years ago it sparked",
        "oven temp is off",
        "the oven is way off",
        "the oven is not accurate",
        "it stops at 170",
    ],
)
def test_what_tells_no_fact_is_listed(read: Callable[..., NoteReading], note: str) -> None:
    reading = read(note)
    assert reading.facts == ()
    assert len(reading.unread) == 1


@pytest.mark.parametrize(("note", "certainty"), [("it turned itself on", "said"), ("won't shut off", "hedged")])
def test_heat_without_a_thing_is_of_the_range(read: Callable[..., NoteReading], note: str, certainty: str) -> None:
    (fact,) = read(note).facts
    assert (fact.fact, fact.value, fact.certainty) == ("hazard.heat_when_off", "yes", certainty)
    assert not read(f"the blower over there {note}").facts
