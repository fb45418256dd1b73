"""Records: numbering by content, merging, what lies beneath, and the complaints about bad facts."""

from __future__ import annotations

import random

import pytest

from rules.chaining import KnownFact
from rules.chaining.record import DerivedKey, RawFiring, in_order, make_record
from rules.terms import InputError
from tests.rules.chaining.casegen import facts

HOT: DerivedKey = ("hot", "left_front", "", "yes")
COLD: DerivedKey = ("cold", "", "", "yes")


def test_derived_facts_are_numbered_by_content_after_the_known_ones() -> None:
    known = [KnownFact(number, "display", "", "", value, None, "caller") for number, value in ((4, "lit"), (7, "dim"))]
    raw = [RawFiring(0, None, (4,), (HOT,)), RawFiring(0, None, (7,), (COLD,))]
    record = make_record(["r"], known, raw)
    assert [(fact.id, fact.name) for fact in record.derived] == [(8, "cold"), (9, "hot")]


def test_firings_are_merged_by_rule_and_place_in_the_books_order() -> None:
    known = facts(("a", "", "x"), ("b", "", "x"), ("c", "", "x"))
    raw = [
        RawFiring(1, None, (2,), ()),
        RawFiring(0, "right_front", (1,), ()),
        RawFiring(0, "left_front", (2, 0), ()),
        RawFiring(1, None, (0,), ()),
        RawFiring(0, "left_front", (1, 0), ()),
    ]
    record = make_record(["first", "second"], known, raw)
    assert [(firing.rule, firing.where, firing.supports) for firing in record.firings] == [
        ("first", "left_front", (0, 1, 2)),
        ("first", "right_front", (1,)),
        ("second", None, (0, 2)),
    ]


def test_a_fact_derived_twice_is_one_with_all_its_supports_and_rules() -> None:
    known = facts(("a", "", "x"), ("b", "", "x"))
    record = make_record(["r", "s"], known, [RawFiring(1, None, (1,), (HOT,)), RawFiring(0, None, (0,), (HOT,))])
    (derived,) = record.derived
    assert (derived.id, derived.rules, derived.supports, derived.observed) == (2, ("r", "s"), (0, 1), (0, 1))


def test_what_was_observed_is_reached_through_derived_facts_even_in_a_ring() -> None:
    known = facts(("a", "", "x"), ("b", "", "x"))
    raw = [
        RawFiring(0, None, (0,), (HOT,)),
        RawFiring(1, None, (HOT,), (COLD,)),
        RawFiring(2, None, (COLD, 1), (HOT,)),
    ]
    record = make_record(["r", "s", "t"], known, raw)
    assert [(firing.rule, firing.supports, firing.observed) for firing in record.firings] == [
        ("r", (0,), (0,)),
        ("s", (3,), (0, 1)),
        ("t", (1, 2), (0, 1)),
    ]
    assert [(fact.name, fact.supports, fact.observed) for fact in record.derived] == [
        ("cold", (3,), (0, 1)),
        ("hot", (0, 1, 2), (0, 1)),
    ]


def test_the_order_of_what_happened_does_not_show() -> None:
    known = facts(("a", "", "x"), ("b", "", "x"))
    raw = [
        RawFiring(0, "p", (0,), (HOT, COLD)),
        RawFiring(0, "q", (HOT,), (("z", "", "", "y"),)),
        RawFiring(1, None, (COLD, 1), ()),
        RawFiring(0, "p", (1,), (HOT,)),
    ]
    expected = make_record(["r", "s"], known, raw)
    for number in range(10):
        random.Random(number).shuffle(raw)
        assert make_record(["r", "s"], known[:: (-1) ** number], raw) == expected


def test_nothing_known_and_nothing_fired_is_an_empty_record() -> None:
    record = make_record(["r"], [], [])
    assert (record.firings, record.derived) == ((), ())


def test_facts_are_sorted_by_content() -> None:
    known = facts(("b", "", "x"), ("a", "q", "x"), ("a", "p", "y"), ("a", "p", "x", "desk"), ("a", "p", "x"))
    assert [fact.id for fact in in_order(known)] == [4, 3, 2, 1, 0]


def test_a_repeated_id_and_a_value_that_is_no_text_are_refused_by_name() -> None:
    bad = [
        KnownFact(1, "display", "", "", "lit", None, "caller"),
        KnownFact(True, "display", "", "", "dim", None, "caller"),  # 1 and True are one key in Python
        KnownFact(2, "volts", "L1-N", "idle", 1.5, 1.5, "technician"),  # type: ignore[arg-type]
    ]
    with pytest.raises(InputError) as refused:
        in_order(bad)
    assert [problem.field for problem in refused.value.problems] == ["facts[1].id", "facts[2].value"]
    assert "write text instead of 1.5" in refused.value.problems[1].message
