"""Rules that did not fire and lack exactly one premise: what one more fact would have told."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from rules.bookkeeping.types import Condition, Rule
from rules.chaining.premises import (
    EVERY_TRIED,
    SAME,
    binds_place,
    fixed_place,
    number_test,
    other_number_test,
    other_value_test,
    value_test,
)
from rules.chaining.record import ChainRecord, DerivedFact, KnownFact


@dataclass(frozen=True)
class NearMiss:
    """A rule that one premise kept from firing. ``missing`` is negated if a known fact is in the way.

    ``where`` is the place of ``same`` at which all other premises hold; None if the rule has none, or if only the
    missing premise could have given it one.
    """

    rule: str
    where: str | None
    missing: Condition


def near_misses(rules: Sequence[Rule], record: ChainRecord, facts: Sequence[KnownFact]) -> tuple[NearMiss, ...]:
    """Every way in which a rule that fired nowhere was one premise short, in the book's order.

    ``record`` is the chaining of ``facts`` by ``rules``; what it derived counts as known. A rule is near only if a
    known fact satisfies another of its premises already: else every rule of one premise would be near to every case.
    """
    known = [*facts, *map(_as_known, record.derived)]
    fired = {firing.rule for firing in record.firings}
    found = [
        miss
        for rule in rules
        if rule.rule not in fired
        for premises in rule.alternatives
        for miss in _misses(rule.rule, premises, known)
    ]
    return tuple(dict.fromkeys(found))


def _as_known(fact: DerivedFact) -> KnownFact:
    return KnownFact(fact.id, fact.name, fact.place, fact.state, fact.value, None, "rule")


def _misses(rule: str, premises: Sequence[Condition], known: Sequence[KnownFact]) -> list[NearMiss]:
    """The premises of one alternative that alone are missing, each with the places at which that is so."""
    once = list(dict.fromkeys(premises))
    found = []
    for missing in once:
        others = [premise for premise in once if premise is not missing]
        if all(premise.negated for premise in others):
            continue
        for place in _places(others, known):
            at = [premise for premise in others if place is not None or premise.where != SAME]
            if all(holds(premise, known, place) for premise in at) and not holds(missing, known, place):
                found.append(NearMiss(rule, place or None, missing))
    return found


def _places(premises: Sequence[Condition], known: Sequence[KnownFact]) -> Sequence[str | None]:
    """The places that ``same`` may stand for under these premises; ``[None]`` if nothing gives it one.

    Then only negated premises can say ``same``. They hold at a place of which nothing is known yet.
    """
    binding = [premise for premise in premises if binds_place(premise)]
    if not binding:
        return [None]
    return sorted({fact.place for fact in known if _satisfies(binding[0], fact)})


def holds(premise: Condition, known: Sequence[KnownFact], place: str | None) -> bool:
    """Does a premise hold over the known facts, with ``same`` standing for ``place`` (None: for any place)?"""
    found = any(_satisfies(premise, fact) for fact in known if _is_at(premise, fact, place))
    if premise.negated:
        return not found
    return found and not (premise.where == EVERY_TRIED and any(_contradicts(premise, fact) for fact in known))


def _is_at(premise: Condition, fact: KnownFact, place: str | None) -> bool:
    return premise.where != SAME or place is None or fact.place == place


def _is_about(premise: Condition, fact: KnownFact) -> bool:
    """Is the fact of the premise's name, at its fixed place if any, in its state if any?"""
    place = fixed_place(premise)
    return (
        fact.name == premise.fact
        and (place is None or fact.place == place)
        and (premise.during is None or fact.state == premise.during)
    )


def _satisfies(premise: Condition, fact: KnownFact) -> bool:
    """Does one fact satisfy the premise, its negation and the place of ``same`` left aside?"""
    if not _is_about(premise, fact) or (premise.by is not None and fact.by != premise.by):
        return False
    value, number = value_test(premise), number_test(premise)
    return value(fact.value) if value is not None else number is not None and number(fact.number)


def _contradicts(premise: Condition, fact: KnownFact) -> bool:
    """Is this a fact of the same name and state with another value?"""
    value, number = other_value_test(premise), other_number_test(premise)
    if not _is_about(premise, fact):
        return False
    return value(fact.value) if value is not None else number is not None and number(fact.number)
