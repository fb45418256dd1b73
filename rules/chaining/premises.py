"""What a premise of a trade rule asks of one fact, as plain tests of its value and number.

The compiler puts these tests into experta's patterns; :mod:`rules.chaining.nearly` asks them directly. Each distinct
test is one function object for the life of the process, because experta keeps every one it has ever seen.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import cache

from rules.bookkeeping.types import Condition, Rule

SAME, ANY, EVERY_TRIED = "same", "any", "every_tried"

ValueTest = Callable[[str], bool]
NumberTest = Callable[[float | None], bool]


@cache
def one_of(values: frozenset[str]) -> ValueTest:
    """Is the value or band one of these?"""

    def is_one_of(value: str) -> bool:
        return value in values

    return is_one_of


@cache
def none_of(values: frozenset[str]) -> ValueTest:
    """Is the value or band, which is known, none of these?"""

    def is_none_of(value: str) -> bool:
        return value not in values

    return is_none_of


@cache
def within(at_least: float | None, below: float | None) -> NumberTest:
    """Is there a number, and is it ``at_least`` the lower and ``below`` the upper limit (None: no limit)?"""

    def is_within(number: float | None) -> bool:
        if number is None:
            return False
        return (at_least is None or number >= at_least) and (below is None or number < below)

    return is_within


@cache
def outside(at_least: float | None, below: float | None) -> NumberTest:
    """The opposite of :func:`within`: no number, or one beyond the limits."""
    inside = within(at_least, below)

    def is_outside(number: float | None) -> bool:
        return not inside(number)

    return is_outside


def value_test(condition: Condition) -> ValueTest | None:
    """The test of the value or band, or None if the premise compares the number."""
    if condition.values:
        return one_of(frozenset(condition.values))
    if condition.not_values:
        return none_of(frozenset(condition.not_values))
    return None


def other_value_test(condition: Condition) -> ValueTest | None:
    """The test that a fact has another value than ``condition`` asks for."""
    if condition.values:
        return none_of(frozenset(condition.values))
    if condition.not_values:
        return one_of(frozenset(condition.not_values))
    return None


def number_test(condition: Condition) -> NumberTest | None:
    """The test of the number, or None if the premise compares the value or band."""
    if condition.at_least is None and condition.below is None:
        return None
    return within(condition.at_least, condition.below)


def other_number_test(condition: Condition) -> NumberTest | None:
    """The test that a fact has another number than ``condition`` asks for, or none."""
    if condition.at_least is None and condition.below is None:
        return None
    return outside(condition.at_least, condition.below)


def fixed_place(condition: Condition) -> str | None:
    """The one place the premise speaks of (a unit or a pair of meter points), or None if several will do."""
    if condition.between is not None:
        return condition.between
    return None if condition.where in (None, SAME, ANY, EVERY_TRIED) else condition.where


def written(condition: Condition) -> str:
    """The premise in short, for messages: ``not surface.heat where same``."""
    words = ["not"] if condition.negated else []
    words.append(condition.fact)
    words += [f"where {condition.where}"] if condition.where else []
    words += [f"between {condition.between}"] if condition.between else []
    words += [f"while {condition.during}"] if condition.during else []
    return " ".join(words)


def binds_place(condition: Condition) -> bool:
    """Does this premise give the rule's ``same`` its place?"""
    return condition.where == SAME and not condition.negated


def problems_of(rule: Rule) -> list[str]:
    """What keeps a rule from being chained, as ``file:line: field: what to write instead``; empty if it is sound."""
    found = [] if rule.alternatives else ["write at least one premise under all or any"]
    for premises in rule.alternatives:
        found += [] if premises else ["write at least one premise under all or any"]
        found += [message for premise in premises for message in _premise_problems(premise)]
        if any(map(binds_place, premises)):
            continue
        found += [
            f"{written(premise)!r}: nothing gives 'same' a place; add a premise with where: same that is not negated"
            for premise in premises
            if premise.where == SAME
        ]
    at = f"{rule.file or '(book)'}:{rule.line}"
    return [f"{at}: when: rule {rule.rule!r}: {message}" for message in found] + [
        f"{at}: derive: rule {rule.rule!r}: {message}" for message in _derivation_problems(rule)
    ]


def _premise_problems(premise: Condition) -> list[str]:
    ways = [bool(premise.values), bool(premise.not_values), premise.at_least is not None or premise.below is not None]
    found = []
    if sum(ways) != 1:
        found.append("compare in one way: is, is_not, or at_least and below")
    if any(limit is not None and math.isnan(limit) for limit in (premise.at_least, premise.below)):
        found.append("at_least and below must be numbers, not nan")
    if premise.where is not None and premise.between is not None:
        found.append("give where or between, not both")
    if premise.negated and premise.where == EVERY_TRIED:
        found.append("every_tried cannot be negated; write where: any with the other values")
    return [f"{written(premise)!r}: {message}" for message in found]


def _derivation_problems(rule: Rule) -> list[str]:
    found = []
    for derived in rule.derive:
        if derived.where in (ANY, EVERY_TRIED):
            found.append(f"{derived.fact}: where must be a position, same, or left out, not {derived.where}")
        if derived.where == SAME and not all(any(map(binds_place, premises)) for premises in rule.alternatives):
            found.append(f"{derived.fact}: where: same needs a premise with where: same in every alternative")
    return list(dict.fromkeys(found))
