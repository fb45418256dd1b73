"""experta's rule objects read as plans for the matcher: which tests a fact must pass, which variables join.

Only the shapes of experta that are right are read: patterns with constants, predicates and variables, joined by AND,
then negations of one pattern each whose variables are bound before them. Anything else is refused by name when the
matcher is built, never at match time.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Hashable
from dataclasses import dataclass
from typing import Any, NoReturn

from rules.chaining.experta_import import NOT, Fact, L, P, Rule, W


@dataclass(frozen=True)
class FactTest:
    """What one fact alone must pass: its class, constants and predicates by slot, and slots it must have."""

    kind: type[Fact]
    constants: tuple[tuple[str | int, Hashable], ...]
    predicates: tuple[tuple[str | int, Callable[[Any], Any]], ...]
    present: tuple[str | int, ...]


@dataclass(frozen=True)
class Pattern:
    """A test with the variables it binds, as (variable, slot), and the name its fact is bound to."""

    test: FactTest
    variables: tuple[tuple[str, str | int], ...]
    name: str | None


@dataclass(frozen=True)
class Plan:
    """One rule. ``rule`` is a copy that belongs to no engine, so that its body gets just what it is called with."""

    rule: Rule
    positive: tuple[Pattern, ...]
    negative: tuple[Pattern, ...]


def plan_of(rule: Rule) -> Plan:
    """Read a rule. Raises TypeError for a shape that this matcher does not take."""
    positive: list[Pattern] = []
    negative: list[Pattern] = []
    for part in rule:
        if isinstance(part, NOT):
            if len(part) != 1 or not isinstance(part[0], Fact):
                _refuse(rule, "NOT takes one pattern")
            negative.append(_pattern(rule, part[0]))
        elif isinstance(part, Fact):
            if negative:
                _refuse(rule, "negations come after all patterns")
            positive.append(_pattern(rule, part))
        else:
            _refuse(rule, f"{type(part).__name__} is no pattern and no negation of one")
    if not positive:
        _refuse(rule, "a rule needs a pattern before its negations")
    bound = {variable for pattern in positive for variable, _ in pattern.variables}
    free = {variable for pattern in negative for variable, _ in pattern.variables} - bound
    if free:
        _refuse(rule, f"{', '.join(sorted(free))} is bound inside a negation only")
    return Plan(rule.new_conditions(*rule), tuple(positive), tuple(negative))


def _pattern(rule: Rule, fact: Fact) -> Pattern:
    constants: list[tuple[str | int, Hashable]] = []
    predicates: list[tuple[str | int, Callable[[Any], Any]]] = []
    variables: list[tuple[str, str | int]] = []
    present: list[str | int] = []
    for slot, how in fact.items():
        if Fact.is_special(slot):
            continue
        if isinstance(slot, str) and "__" in slot:
            _refuse(rule, f"slot {slot} reaches into a value")
        if isinstance(how, P):
            predicates.append((slot, how.match))
        elif isinstance(how, W):
            present.append(slot)
        elif isinstance(how, L) or not isinstance(how, tuple) or not hasattr(how, "__rlshift__"):
            value = how.value if isinstance(how, L) else how
            if isinstance(value, float) and math.isnan(value):
                _refuse(rule, f"slot {slot} is compared with what equals nothing")
            constants.append((slot, value))
        else:
            _refuse(rule, f"slot {slot} holds {type(how).__name__}; write a constant, P, W or a variable")
        variable = getattr(how, "__bind__", None)
        if variable is not None:
            variables.append((variable, slot))
            present.append(slot)
    test = FactTest(type(fact), tuple(constants), tuple(predicates), tuple(dict.fromkeys(present)))
    return Pattern(test, tuple(variables), fact.__bind__)


def _refuse(rule: Rule, why: str) -> NoReturn:
    name = getattr(rule, "__name__", repr(rule))
    raise TypeError(f"rule {name}: {why}")
