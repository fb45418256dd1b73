"""Can a machine satisfy a rule's premises? Premises laid on the signature tables, joins and derived facts included.

Context facts (no symptom) and negated premises (nothing known) are free: any machine may go with them. A derived fact
is replaced by the premises of each rule that derives it.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from rules.appliance.wiring import element_of, expected_reading
from rules.bookkeeping.types import Book, Condition, Derivation, FactTerm, Rule
from rules.chaining.premises import ANY, EVERY_TRIED, SAME, value_test
from rules.checking.configurations import CERTAIN, POSSIBLE, Looks, Rows
from rules.terms import ALL, fact_key

SUPPLY = "supply.kind"  # known from the configuration
OWN = 0  # the join of the rule itself; those of the rules beneath it are numbered on


@dataclass(frozen=True)
class Premise:
    """A premise with the number of the ``same`` it belongs to."""

    condition: Condition
    join: int


@dataclass(frozen=True)
class Conjunction:
    """Premises on what can be observed, all of which must hold; ``pins`` fixes the place of a join."""

    premises: tuple[Premise, ...] = ()
    pins: tuple[tuple[int, str], ...] = ()


# --- derived facts into what is beneath them ---------------------------------------------------------------------
def unfold(conditions: Iterable[Condition], book: Book) -> list[Conjunction]:
    """Every way in which the conditions can come true, told in facts that are observed; empty if there is none."""
    return _unfold(conditions, OWN, book, itertools.count(OWN + 1), ())


def _unfold(
    conditions: Iterable[Condition], join: int, book: Book, fresh: Iterator[int], above: tuple[str, ...]
) -> list[Conjunction]:
    ways = [Conjunction()]
    for condition in conditions:
        options = _ways_of(condition, join, book, fresh, above)
        ways = [Conjunction(w.premises + o.premises, w.pins + o.pins) for w in ways for o in options]
    return ways


def _ways_of(
    condition: Condition, join: int, book: Book, fresh: Iterator[int], above: tuple[str, ...]
) -> list[Conjunction]:
    term = book.facts[condition.fact]
    derivers = list(_derivers(condition, book.rules.values()))
    if condition.negated or (_is_free(term) and not derivers):
        return [Conjunction()]
    options = [] if term.derived and term.fact != SUPPLY else [Conjunction((Premise(condition, join),))]
    for rule, derivation in derivers:
        if rule.rule in above:
            continue
        joined = derivation.where == SAME and condition.where == SAME
        inner = join if joined else next(fresh)
        pins = _pins(condition, derivation, join, inner)
        for alternative in rule.alternatives:
            beneath = _unfold(alternative, inner, book, fresh, (*above, rule.rule))
            options += [Conjunction(way.premises, way.pins + pins) for way in beneath]
    return options


def _is_free(term: FactTerm) -> bool:
    """Whether no table speaks of the fact: what is no symptom, or has nothing usual."""
    return not term.derived and (term.model == "context" or (term.model == "shows" and term.usual is None))


def _derivers(condition: Condition, rules: Iterable[Rule]) -> Iterator[tuple[Rule, Derivation]]:
    """Rules that derive a fact which satisfies the condition."""
    test = value_test(condition)
    for rule in rules:
        for derivation in rule.derive:
            if derivation.fact == condition.fact and test is not None and test(derivation.value):
                yield rule, derivation


def _pins(condition: Condition, derivation: Derivation, join: int, inner: int) -> tuple[tuple[int, str], ...]:
    fixed = None if condition.where in (None, SAME, ANY, EVERY_TRIED, ALL) else condition.where
    if derivation.where == SAME and fixed:
        return ((inner, fixed),)
    if derivation.where not in (None, SAME) and condition.where == SAME:
        return ((join, str(derivation.where)),)
    return ()


# --- conjunctions on tables --------------------------------------------------------------------------------------
def satisfied(way: Conjunction, looks: Looks, *, certain: bool = False) -> dict[str | None, Rows]:
    """Place of the rule's ``same`` (None without one) to the machines that satisfy the premises there, shape (H,).

    ``certain``: only machines that always do; otherwise those that may. Empty where this configuration has nothing
    the premises are about.
    """
    found: dict[str | None, Rows] = {}
    for places in _placings(way, looks):
        for masks in _choices(way, looks, places, certain):
            rows = np.ones(len(looks.signatures.hypotheses), dtype=bool)
            for key, mask in masks.items():
                share = looks.share(key, mask)
                rows &= share >= CERTAIN if certain else share > POSSIBLE
            place = places.get(OWN)
            found[place] = found[place] | rows if place in found else rows
    return found


def can_hold_together(way: Conjunction, looks: Looks) -> bool:
    """Whether some words, shown by whatever machine, satisfy all premises: none asks one key for two words."""
    return any(
        all(mask.any() for mask in masks.values())
        for places in _placings(way, looks)
        for masks in _choices(way, looks, places, False)
    )


def _placings(way: Conjunction, looks: Looks) -> Iterator[dict[int, str]]:
    """Every giving of places to the joins in use."""
    joins = sorted({premise.join for premise in way.premises if premise.condition.where == SAME})
    pins = dict(way.pins)
    for places in itertools.product(looks.appliance.positions, repeat=len(joins)):
        placing = dict(zip(joins, places, strict=True))
        if all(placing.get(join, place) == place for join, place in pins.items()):
            yield placing


def _choices(way: Conjunction, looks: Looks, places: Mapping[int, str], certain: bool) -> Iterator[dict[str, Rows]]:
    """Every way to pick the keys the premises speak of: for each key the words that will do."""
    picks = [_keys(premise, looks, places, certain) for premise in way.premises]
    for picked in itertools.product(*picks):
        masks: dict[str, Rows] = {}
        for premise, keys in zip(way.premises, picked, strict=True):
            for key in keys:
                mask = _mask(premise.condition, key, looks, certain)
                masks[key] = masks[key] & mask if key in masks else mask
        for premise in way.premises:
            if premise.condition.where == EVERY_TRIED:
                _nowhere_else(premise.condition, masks, looks, certain)
        yield masks


def _nowhere_else(condition: Condition, masks: dict[str, Rows], looks: Looks, certain: bool) -> None:
    """Under ``every_tried`` a unit that another premise speaks of must not differ."""
    for key, mask in masks.items():
        if key.partition("@")[0] == condition.fact:
            masks[key] = mask & _mask(condition, key, looks, certain)


def _keys(premise: Premise, looks: Looks, places: Mapping[int, str], certain: bool) -> list[tuple[str, ...]]:
    """The sets of keys, one of which must satisfy the premise as a whole; none if the appliance has no such thing."""
    condition = premise.condition
    if condition.fact == SUPPLY:
        kind = "three_phase" if looks.appliance.supply == "208Y/120" else "split_phase"
        test = value_test(condition)
        return [()] if test is not None and test(kind) else []
    term = looks.terms[condition.fact]
    keys: list[tuple[str, ...]]
    if term.place == "meter":
        points = [condition.between] if condition.between else list(term.between)
        states: Sequence[str | None] = [condition.during] if condition.during else (list(term.states) or [None])
        keys = [(fact_key(term.fact, point, state),) for point in points for state in states]
    elif term.place == "surface":
        keys = _at_units(condition, looks, places.get(premise.join), certain)
    else:
        keys = [(term.fact,)]
    return [pick for pick in keys if pick and all(key in looks.tables for key in pick)]


def _at_units(condition: Condition, looks: Looks, joined: str | None, certain: bool) -> list[tuple[str, ...]]:
    units = looks.appliance.positions
    if condition.where == ALL or (certain and condition.where == EVERY_TRIED):
        return [tuple(fact_key(condition.fact, unit) for unit in units)]
    if condition.where == SAME:
        return [(fact_key(condition.fact, joined),)]
    if condition.where in (None, ANY, EVERY_TRIED):
        return [(fact_key(condition.fact, unit),) for unit in units]
    return [(fact_key(condition.fact, condition.where),)]


def _mask(condition: Condition, key: str, looks: Looks, certain: bool) -> Rows:
    """The words of a key that satisfy a condition; with numbers, bands that may, or for ``certain`` that must."""
    term = looks.terms[condition.fact]
    test = value_test(condition)
    if test is not None:
        return np.array([test(word) for word in term.values])
    low = float("-inf") if condition.at_least is None else condition.at_least
    high = float("inf") if condition.below is None else condition.below
    edges = _edges(term, key, looks)
    if certain:
        return np.array([low <= edges[word][0] and edges[word][1] <= high for word in term.values])
    return np.array([edges[word][0] < high and low < edges[word][1] for word in term.values])


def _edges(term: FactTerm, key: str, looks: Looks) -> dict[str, tuple[float, float]]:
    """Band to its edges in the vocabulary's unit; the outermost reach to infinity. A band not used here is empty."""
    place = key.partition("@")[2].partition("/")[0]
    bands = term.bands_at(place if term.place == "meter" else None)
    wiring = looks.signatures.wiring
    scale = expected_reading(wiring, term.fact, element_of(term.fact, place)) if bands.relative else 1.0
    edges = dict.fromkeys(term.values, (float("nan"), float("nan")))  # compares as false with everything
    edges |= {word: (low * scale, high * scale) for word, (low, high) in bands.ranges.items()}
    names = list(bands.ranges)
    edges[names[0]] = (float("-inf"), edges[names[0]][1])
    edges[names[-1]] = (edges[names[-1]][0], float("inf"))
    return edges
