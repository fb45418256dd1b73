"""Compiles trade rules to experta rules, using only those shapes of experta that are right.

One experta rule per alternative: patterns of :class:`Known` with constants, one-slot predicates and at most one
variable (the place of ``same``); every positive pattern is bound to a name, so that the firing tells its supports;
negations of one pattern each come last, when the place is bound. No OR, TEST, EXISTS, FORALL or nested negation.

``every_tried`` becomes two patterns: one fact of the name has the value, and none of the name has another. No fact can
satisfy both. Facts are only ever added during a case: experta processes withdrawals before arrivals, and withdrawing a
fact in the step that declared it breaks its network with a KeyError. :class:`CaseEngine` therefore refuses to withdraw.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from rules.bookkeeping.types import Condition, Rule
from rules.chaining.caseengine import CaseEngine, Known
from rules.chaining.experta_import import NOT, InitialFact, L, P, W
from rules.chaining.experta_import import Rule as ExpertaRule
from rules.chaining.premises import (
    EVERY_TRIED,
    SAME,
    fixed_place,
    number_test,
    other_number_test,
    other_value_test,
    problems_of,
    value_test,
)
from rules.chaining.record import DerivedKey, RawFiring
from rules.chaining.strata import strata
from rules.terms import BookError

PLACE = "same"  # the variable that joins premises with where: same


def compile_book(rules: Sequence[Rule]) -> type[CaseEngine]:
    """An engine class with one experta rule for each alternative of each rule.

    Raises BookError, listing all rules that cannot be chained: a repeated id, a premise that cannot be compiled, a ring
    of rules through a negation.
    """
    problems = [message for rule in rules for message in problems_of(rule)]
    known: dict[str, Rule] = {}
    for rule in rules:
        first = known.setdefault(rule.rule, rule)
        if first is not rule:
            problems.append(
                f"{rule.file or '(book)'}:{rule.line}: rule: {rule.rule!r} is taken by "
                f"{first.file or '(book)'}:{first.line}; give it another id"
            )
    if problems:
        raise BookError(problems)
    band = strata(rules)
    compiled: dict[str, Any] = {}
    for index, rule in enumerate(rules):
        for number, premises in enumerate(rule.alternatives):
            compiled[f"rule_{index}_{number}"] = _compile(index, rule, number, premises, -band[rule.rule])
    return type("BookEngine", (CaseEngine,), compiled)


def _compile(index: int, rule: Rule, number: int, premises: Sequence[Condition], salience: int) -> ExpertaRule:
    """One alternative as an experta rule that records its firing in the engine."""
    positive, negative = _sorted_premises(premises)
    patterns: list[Any] = [f"f{at}" << _pattern(premise) for at, premise in enumerate(positive)]
    if not patterns:
        patterns.append("initial" << InitialFact())
    absent = [_pattern(premise) for premise in negative]
    absent += [_other_value(premise) for premise in positive if premise.where == EVERY_TRIED]
    # a name on a negated pattern binds nothing; without one experta would name it by its memory address
    patterns += [NOT(f"n{at}" << pattern) for at, pattern in enumerate(absent)]
    body = _body(index, rule, len(positive))
    body.__name__ = f"{rule.rule}/{number:03d}"
    compiled: ExpertaRule = ExpertaRule(*patterns, salience=salience)(body)
    return compiled


def _sorted_premises(premises: Sequence[Condition]) -> tuple[list[Condition], list[Condition]]:
    """Positive premises, the most selective first, then the negated ones; each premise once."""
    once = list(dict.fromkeys(premises))
    positive = sorted((premise for premise in once if not premise.negated), key=_openness)
    return positive, [premise for premise in once if premise.negated]


def _openness(premise: Condition) -> tuple[int, int, int]:
    """How many facts a premise lets through, roughly: joins are cheap when the few come first."""
    place = 0 if fixed_place(premise) is not None else {None: 1, SAME: 2}.get(premise.where, 3)
    compared = len(premise.values) or 100  # a list of values, against numbers and exclusions
    return place, compared, (premise.during is None) + (premise.by is None)


def _slots(premise: Condition) -> dict[str, Any]:
    """The constants and the variable of a premise's pattern, without its comparison or source."""
    slots: dict[str, Any] = {"name": L(premise.fact)}
    place = fixed_place(premise)
    if place is not None:
        slots["place"] = L(place)
    elif premise.where == SAME:
        slots["place"] = PLACE << W()
    if premise.during is not None:
        slots["state"] = L(premise.during)
    return slots


def _pattern(premise: Condition) -> Known:
    """The facts that satisfy a premise, or for a negated one those that break it."""
    slots = _slots(premise)
    value, number = value_test(premise), number_test(premise)
    if len(premise.values) == 1:
        slots["value"] = L(premise.values[0])
    elif value is not None:
        slots["value"] = P(value)
    if number is not None:
        slots["number"] = P(number)
    if premise.by is not None:
        slots["by"] = L(premise.by)
    return Known(**slots)


def _other_value(premise: Condition) -> Known:
    """The facts that break ``every_tried``: of the same name and state, seen by anyone, with another value."""
    slots = _slots(premise)
    value, number = other_value_test(premise), other_number_test(premise)
    if value is not None:
        slots["value"] = P(value)
    if number is not None:
        slots["number"] = P(number)
    return Known(**slots)


def _body(index: int, rule: Rule, supports: int) -> Callable[..., None]:
    """What a firing does: note the rule, the place and the facts bound, and conclude."""
    names = [f"f{at}" for at in range(supports)]

    def fire(engine: CaseEngine, **bound: Any) -> None:
        where = bound.get(PLACE)
        concludes = tuple(_key(derived.fact, derived.where, derived.value, where) for derived in rule.derive)
        engine.note(RawFiring(index, where, tuple(bound[name]["id"] for name in names), concludes))

    return fire


def _key(fact: str, place: str | None, value: str, where: str | None) -> DerivedKey:
    return (fact, (where if place == SAME else place) or "", "", value)


def bands_of(engine: type[CaseEngine]) -> Mapping[str, int]:
    """Compiled rule name (``id/alternative``) to salience; for tests and for looking at a book."""
    return {
        compiled.__name__: compiled.salience for compiled in vars(engine).values() if isinstance(compiled, ExpertaRule)
    }
