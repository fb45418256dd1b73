"""The tests that a premise makes of one value or number, and the complaints about premises that cannot be chained."""

from __future__ import annotations

from math import inf, nan

import pytest

from rules.bookkeeping.types import Condition, Derivation, Rule
from rules.chaining.premises import (
    fixed_place,
    none_of,
    number_test,
    one_of,
    other_number_test,
    other_value_test,
    problems_of,
    value_test,
    within,
)
from tests.rules.chaining.casegen import rule

HEAT = Condition("surface.heat", where="same", values=("none",))


def test_a_value_is_one_of_some_or_none_of_some() -> None:
    for condition, expected in (
        (Condition("x", values=("a", "b")), {"a": True, "b": True, "c": False}),
        (Condition("x", not_values=("a", "b")), {"a": False, "b": False, "c": True}),
    ):
        asked, opposite = value_test(condition), other_value_test(condition)
        assert asked is not None and opposite is not None
        assert {value: asked(value) for value in "abc"} == expected
        assert {value: not opposite(value) for value in "abc"} == expected
        assert number_test(condition) is None and other_number_test(condition) is None


@pytest.mark.parametrize(
    ("at_least", "below", "inside"),
    [
        (20.0, None, {20.0, 110.0, 200.0, inf}),
        (None, 20.0, {-inf, 0.0}),
        (20.0, 200.0, {20.0, 110.0}),
        (0.0, None, {0.0, 20.0, 110.0, 200.0, inf}),
    ],
)
def test_a_number_lies_within_limits_lower_included_upper_not(
    at_least: float | None, below: float | None, inside: set[float]
) -> None:
    condition = Condition("x", at_least=at_least, below=below)
    asked, opposite = number_test(condition), other_number_test(condition)
    assert asked is not None and opposite is not None
    numbers = (None, nan, -inf, 0.0, 20.0, 110.0, 200.0, inf)
    assert {number for number in numbers if asked(number)} == inside
    assert all(asked(number) != opposite(number) for number in numbers)
    assert value_test(condition) is None and other_value_test(condition) is None


def test_equal_tests_are_one_function() -> None:
    """experta never forgets a test it has seen, so reloading a book must not make new ones."""
    assert one_of(frozenset(("a", "b"))) is one_of(frozenset(("b", "a")))
    assert none_of(frozenset("a")) is none_of(frozenset("a"))
    assert within(1.0, None) is within(1.0, None)


def test_the_one_place_of_a_premise() -> None:
    assert fixed_place(Condition("x", where="left_front")) == "left_front"
    assert fixed_place(Condition("x", between="L1-L2")) == "L1-L2"
    assert [fixed_place(Condition("x", where=where)) for where in (None, "same", "any", "every_tried")] == [None] * 4


def test_sound_rules_have_no_problems() -> None:
    sound = rule(
        "sound",
        [HEAT, Condition("indicator.on", where="same", values=("lit",), negated=True)],
        [HEAT, Condition("volts", between="L1-L2", during="idle", at_least=1.0, below=2.0, by="technician")],
        derive=[Derivation("d0", "yes", "same")],
    )
    assert problems_of(sound) == []


@pytest.mark.parametrize(
    ("bad", "told"),
    [
        (rule("r"), "at least one premise"),
        (rule("r", []), "at least one premise"),
        (rule("r", [Condition("x")]), "'x': compare in one way"),
        (rule("r", [Condition("x", values=("a",), at_least=1.0)]), "compare in one way"),
        (rule("r", [Condition("x", at_least=nan)]), "must be numbers"),
        (rule("r", [Condition("x", where="left_front", between="L1-N", values=("a",))]), "where or between, not both"),
        (rule("r", [Condition("x", where="every_tried", values=("a",), negated=True)]), "cannot be negated"),
        (rule("r", [Condition("x", where="same", values=("a",), negated=True)]), "nothing gives 'same' a place"),
        (rule("r", [HEAT], derive=[Derivation("d", "v", "any")]), "d: where must be a position, same, or left out"),
        (
            rule("r", [HEAT], [Condition("x", values=("a",))], derive=[Derivation("d", "v", "same")]),
            "needs a premise with where: same in every alternative",
        ),
    ],
)
def test_each_problem_names_the_rule_its_line_and_the_way_out(bad: Rule, told: str) -> None:
    problems = problems_of(bad)
    assert len(problems) == 1
    assert problems[0].startswith(("trade/test.yaml:1: when: rule 'r': ", "trade/test.yaml:1: derive: rule 'r': "))
    assert told in problems[0]
