"""Input is checked by field, and every error says what to write instead."""

from __future__ import annotations

import math
from typing import Any

import pytest

from rules import Expert
from rules.enquiry import LONGEST_NOTE, check_note, fact_from_mapping, fact_from_text, facts_from_list
from rules.terms import Fact, InputError


@pytest.mark.parametrize(
    ("text", "fact"),
    [
        ("display=lit", Fact("display", "lit")),
        ("surface.heat@left_front=none", Fact("surface.heat", "none", "left_front")),
        ("surface.heat@LF=none", Fact("surface.heat", "none", "left_front")),
        ("surface.heat@front-left=none", Fact("surface.heat", "none", "front_left")),
        ("oven.offset=-40 F", Fact("oven.offset", -40.0)),
        ("volts@L1-L2/loaded=1.2 V", Fact("volts", 1.2, None, "L1-L2", "loaded")),
        ("volts@N-L1/idle=121V", Fact("volts", 121.0, None, "L1-N", "idle")),
        ("ohms.sensor=1.08 kohm", Fact("ohms.sensor", 1080.0)),
        ("ohms.bake=OL", Fact("ohms.bake", math.inf)),
        ("display=unknown", Fact("display", "unknown")),
        ("ohms.bake=Don't know", Fact("ohms.bake", "unknown")),
        ("surface.heat@all=dont know", Fact("surface.heat", "unknown", "all")),
        ("volts@L1-L2/loaded=unknown", Fact("volts", "unknown", None, "L1-L2", "loaded")),
    ],
)
def test_text_form(expert: Expert, text: str, fact: Fact) -> None:
    assert fact_from_text(text, expert.book.facts, "caller") == fact


def test_celsius_differences_are_converted(expert: Expert) -> None:
    assert fact_from_text("oven.offset=-20 C", expert.book.facts, "caller").value == pytest.approx(-36)


@pytest.mark.parametrize(
    ("given", "pointer", "says"),
    [
        ({"fact": "disply", "value": "lit"}, "facts/0/fact", "did you mean 'display'"),
        ({"value": "lit"}, "facts/0/fact", "missing"),
        ({"fact": "display"}, "facts/0/value", "write one of lit, dim"),
        ({"fact": "display", "value": "bright"}, "facts/0/value", "write one of lit, dim"),
        ({"fact": "display", "value": "lit", "valeu": 1}, "facts/0/valeu", "'value'"),
        ({"fact": "display", "value": "lit", "where": "left_front"}, "facts/0/where", "leave where out"),
        ({"fact": "display", "value": "lit", "unit": "V"}, "facts/0/unit", "leave unit out"),
        ({"fact": "surface.heat", "value": "none"}, "facts/0/where", "left_front"),
        ({"fact": "volts", "value": 3, "unit": "V", "while": "idle"}, "facts/0/between", "L1-L2"),
        ({"fact": "volts", "value": 3, "unit": "V", "between": "L1-L2"}, "facts/0/while", "idle, loaded"),
        ({"fact": "volts", "value": 3, "unit": "ohm", "between": "L1-L2", "while": "idle"}, "facts/0/value", "volts"),
        ({"fact": "volts", "value": 3, "between": "L1-L2", "while": "idle"}, "facts/0/value", "unit is missing"),
        ({"fact": "volts", "value": -3, "unit": "V", "between": "L1-L2", "while": "idle"}, "facts/0/value", "V"),
        (
            {"fact": "volts", "value": 9999, "unit": "V", "between": "L1-L2", "while": "idle"},
            "facts/0/value",
            "0 to 1000",
        ),
        ({"fact": "oven.offset", "value": 40}, "facts/0/value", "F"),
        ({"fact": "oven.offset", "value": float("nan"), "unit": "F"}, "facts/0/value", "not a number"),
        ({"fact": "oven.offset", "value": True, "unit": "F"}, "facts/0/value", "number"),
        ({"fact": "oven.offset", "value": [1], "unit": "F"}, "facts/0/value", "number"),
        ({"fact": "display", "value": "lit", "source": "rumour"}, "facts/0/source", "caller"),
        ({"fact": "display", "value": "lit", "certainty": "sure"}, "facts/0/certainty", "hedged"),
        ("display=lit", "facts/0", "object"),
    ],
)
def test_each_wrong_field_is_named(expert: Expert, given: Any, pointer: str, says: str) -> None:
    with pytest.raises(InputError) as caught:
        facts_from_list([given], expert.book.facts, "caller")
    assert [p for p in caught.value.problems if p.field == pointer and says in p.message], caught.value.problems


def test_all_wrong_entries_are_told_at_once(expert: Expert) -> None:
    given = [{"fact": "disply", "value": "lit"}, {"fact": "display", "value": "lit"}, {"fact": "display", "value": "x"}]
    with pytest.raises(InputError) as caught:
        facts_from_list(given, expert.book.facts, "caller")
    assert [p.field for p in caught.value.problems] == ["facts/0/fact", "facts/2/value"]


@pytest.mark.parametrize("given", ["display", {"fact": "display"}, 7])
def test_facts_are_a_list(expert: Expert, given: Any) -> None:
    with pytest.raises(InputError, match="list of facts"):
        facts_from_list(given, expert.book.facts, "caller")


def test_too_many_facts(expert: Expert) -> None:
    with pytest.raises(InputError, match="the most is 500"):
        facts_from_list([{"fact": "display", "value": "lit"}] * 501, expert.book.facts, "caller")


@pytest.mark.parametrize("text", ["display", "=lit", "display=", ""])
def test_text_without_name_or_value(expert: Expert, text: str) -> None:
    with pytest.raises(InputError, match="NAME=VALUE"):
        fact_from_text(text, expert.book.facts, "caller")


@pytest.mark.parametrize(
    ("note", "says"), [("", "is empty"), (" \n\t", "is empty"), ("x" * (LONGEST_NOTE + 1), "the most is")]
)
def test_notes_that_are_none(note: str, says: str) -> None:
    with pytest.raises(InputError, match=says):
        check_note(note)


def test_bare_numbers_are_for_the_book_s_examples_only(expert: Expert) -> None:
    given = {"fact": "ohms.bake", "value": 22.3}
    assert fact_from_mapping(given, expert.book.facts, "caller", field="x", bare_numbers=True).value == 22.3
    with pytest.raises(InputError, match="unit is missing"):
        fact_from_mapping(given, expert.book.facts, "caller", field="x")
