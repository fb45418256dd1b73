"""Everything that is seen of machines in use, by fact key, in the words of the vocabulary."""

from __future__ import annotations

import itertools
from collections.abc import Mapping

import numpy as np

from rules.appliance.operating import Runs
from rules.appliance.seen import (
    branch_circuit,
    controls,
    insulation,
    lock,
    meter,
    oven,
    oven_meter,
    oven_use,
    sensor,
    supply,
    surface,
    units,
)
from rules.appliance.seen.common import Numbers, Observer, Words
from rules.appliance.wiring import Wiring
from rules.bookkeeping.types import FactTerm
from rules.terms import fact_key

_SECTIONS = (
    *(supply, surface, units, oven, oven_use, meter, oven_meter, sensor),
    *(branch_circuit, insulation, controls, lock),
)
BY_UNIT: Mapping[str, Observer] = {fact: seen for section in _SECTIONS for fact, seen in section.BY_UNIT.items()}
WHOLE: Mapping[str, Observer] = {fact: seen for section in _SECTIONS for fact, seen in section.WHOLE.items()}

#: Facts read between meter points; None where an appliance has no such points.
AT_POINTS: Mapping[str, oven_meter.Read] = {
    **supply.BETWEEN,
    **branch_circuit.BETWEEN,
    **oven_meter.AT_POINTS,
}


def observe(runs: Runs, terms: Mapping[str, FactTerm]) -> dict[str, Words]:
    """What each machine shows, by fact key. Only facts whose ``model`` is ``circuit`` and that this range has."""
    wiring = runs.fleet.wiring
    seen: dict[str, Words] = {}
    for fact, observer in WHOLE.items():
        if _has(wiring, observer, ""):
            seen[fact] = _see(observer, runs, "", terms[fact])
    for fact, observer in BY_UNIT.items():
        for unit in wiring.appliance.positions:
            if _has(wiring, observer, unit):
                seen[fact_key(fact, unit)] = _see(observer, runs, unit, terms[fact])
    for fact, read in AT_POINTS.items():
        for points, state in itertools.product(terms[fact].between, terms[fact].states or ("",)):
            numbers = read(runs, points, state)
            if numbers is not None:
                seen[fact_key(fact, points, state or None)] = _banded(terms[fact], numbers, points)
    return seen


def modelled_facts() -> frozenset[str]:
    """Names of the facts the circuit predicts; the book's ``model: circuit`` must say the same."""
    return frozenset({*BY_UNIT, *WHOLE, *AT_POINTS})


def _has(wiring: Wiring, observer: Observer, unit: str) -> bool:
    """Whether this appliance has what the fact is about."""
    needed = {part.replace("{unit}", unit) for part in observer.needs}
    return needed <= wiring.impedance.keys() | wiring.elements.keys()


def _see(observer: Observer, runs: Runs, unit: str, term: FactTerm) -> Words:
    if observer.look:
        return observer.look(runs, unit)
    if observer.measure is None:
        raise TypeError(f"the observer of {term.fact} neither looks nor measures")
    return _banded(term, observer.measure(runs, unit), None)


def _banded(term: FactTerm, numbers: Numbers, between: str | None) -> Words:
    bands = term.bands_at(between)
    return np.array([bands.name_of(number) for number in numbers.tolist()])
