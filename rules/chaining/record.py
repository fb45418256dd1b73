"""What goes into a chaining and what comes out: known facts, derived facts, firings and their supports.

Numbers of derived facts and the order of everything are worked out from the content alone, after the run, so that a
record does not depend on the order in which facts were given or rules happened to fire.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from rules.terms import InputError, Problem


@dataclass(frozen=True)
class KnownFact:
    """One fact of a case as the rules see it.

    ``place`` is the unit or the pair of meter points, ``""`` if the fact has none; ``state`` what the appliance does
    meanwhile, ``""`` if that does not matter. ``value`` is the word of a choice or the band's name of a number;
    ``number`` is the number in the vocabulary's unit, None for a choice. ``by`` is the source.
    """

    id: int
    name: str
    place: str
    state: str
    value: str
    number: float | None
    by: str


@dataclass(frozen=True)
class DerivedFact:
    """A fact that rules concluded; several rules, or one in several ways, may have concluded the same.

    ``supports`` are the ids of the facts directly under it, ``observed`` those of the observed facts at the bottom,
    both sorted; ``rules`` the ids of the rules in the order of the book. Its source is ``rule``.
    """

    id: int
    name: str
    place: str
    state: str
    value: str
    rules: tuple[str, ...]
    supports: tuple[int, ...]
    observed: tuple[int, ...]


@dataclass(frozen=True)
class Firing:
    """A rule whose premises held, at one place if it has ``where: same``.

    ``supports`` are the sorted ids of the facts that satisfied its premises, observed or derived, in any of the ways
    it held; ``observed`` the sorted ids of the observed facts among them and beneath the derived ones.
    """

    rule: str
    where: str | None
    supports: tuple[int, ...]
    observed: tuple[int, ...]


@dataclass(frozen=True)
class ChainRecord:
    """All firings, in the book's order of rules and then by place, and all derived facts, in the order of their ids."""

    firings: tuple[Firing, ...]
    derived: tuple[DerivedFact, ...]


DerivedKey = tuple[str, str, str, str]  # name, place, state, value: what makes two derived facts one


@dataclass(frozen=True)
class RawFiring:
    """One firing as it happened: the rule's position in the book, its place, its supports and its conclusions.

    A support is the id of an observed fact, or the key of a derived one.
    """

    rule: int
    where: str | None
    supports: tuple[int | DerivedKey, ...]
    concludes: tuple[DerivedKey, ...]


def in_order(facts: Sequence[KnownFact]) -> list[KnownFact]:
    """The facts sorted by content. Raises InputError for ids that are repeated, and for values that are no text."""
    problems = []
    seen: set[int] = set()
    for index, fact in enumerate(facts):
        if fact.id in seen:
            problems.append(Problem(f"facts[{index}].id", f"{fact.id} is taken; number the facts 0, 1, 2, ..."))
        seen.add(fact.id)
        words = (fact.name, fact.place, fact.state, fact.value, fact.by)
        if not all(type(word) is str for word in words):
            for slot, given in zip(("name", "place", "state", "value", "by"), words, strict=True):
                if not isinstance(given, str):
                    problems.append(Problem(f"facts[{index}].{slot}", f"write text instead of {given!r}"))
    if problems:
        raise InputError(problems)
    return sorted(facts, key=lambda fact: (fact.name, fact.place, fact.state, fact.value, fact.by, fact.id))


def make_record(rules: Sequence[str], known: Sequence[KnownFact], raw: Sequence[RawFiring]) -> ChainRecord:
    """Number the derived facts after the known ones by content, and merge firings by rule and place."""
    first = max((fact.id for fact in known), default=-1) + 1
    keys = sorted({key for firing in raw for key in firing.concludes})
    number = {key: first + index for index, key in enumerate(keys)}
    firings: dict[tuple[int, str], set[int]] = {}
    supports: dict[int, set[int]] = {number[key]: set() for key in keys}
    deriving: dict[int, set[int]] = {number[key]: set() for key in keys}
    for fired in raw:
        ids = {number[support] if isinstance(support, tuple) else support for support in fired.supports}
        firings.setdefault((fired.rule, fired.where or ""), set()).update(ids)
        for key in fired.concludes:
            supports[number[key]] |= ids
            deriving[number[key]].add(fired.rule)
    return ChainRecord(
        firings=tuple(
            Firing(rules[rule], where or None, tuple(sorted(ids)), _observed_under(ids, supports))
            for (rule, where), ids in sorted(firings.items())
        ),
        derived=tuple(
            DerivedFact(
                id=number[key],
                name=key[0],
                place=key[1],
                state=key[2],
                value=key[3],
                rules=tuple(rules[rule] for rule in sorted(deriving[number[key]])),
                supports=tuple(sorted(supports[number[key]])),
                observed=_observed_under(supports[number[key]], supports),
            )
            for key in keys
        ),
    )


def _observed_under(ids: set[int], supports: Mapping[int, set[int]]) -> tuple[int, ...]:
    """The observed facts reached from ``ids`` down through derived ones, which may support each other in a ring."""
    seen: set[int] = set()
    waiting = list(ids)
    while waiting:
        fact = waiting.pop()
        if fact not in seen:
            seen.add(fact)
            waiting.extend(supports.get(fact, ()))
    return tuple(sorted(seen - supports.keys()))
