"""A careful technician who answers truthfully is led to the fault, whatever it is and wherever it sits.

The appliance that answers is the circuit model's own, so this proves the book's questions, tests and order, not the
model; the model is checked against ngspice, lcapy and published tables in ``tests/reference``.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from rules.bookkeeping.types import Appliance
from rules.checking.leading import Walk, walk, walks
from rules.triage import Expert

SHIPPED = ("radiant_range", "coil_range", "older_coil_range", "wall_oven", "double_wall_oven", "radiant_cooktop")
VARIED = {
    "on 208 V": {"supply": "208Y/120"},
    "on a 3-wire cord": {"cord": "3-wire"},
    "cut-out in the control's feed": {"cutout": "control"},
    "a probe on the IEC curve": {"sensor_curve": "IEC 60751"},
}
EVERY = 7  # of the varied appliances, every so manieth row of the table


def told(lost: list[Walk]) -> str:
    return "\n".join(f"{w.name} ends with {', '.join(w.first) or 'nothing'} after {w.answers}" for w in lost)


def test_every_appliance_of_the_book_is_walked(expert: Expert) -> None:
    assert set(SHIPPED) == set(expert.book.appliances)


@pytest.mark.parametrize("name", SHIPPED)
def test_every_fault_at_every_place_is_found_and_never_ruled_out(expert: Expert, name: str) -> None:
    appliance = expert.book.appliances[name]
    walked = list(walks(expert, appliance))
    assert len(walked) == len(expert.signatures(appliance).hypotheses) - 1
    assert not [w.name for w in walked if w.ruled_out]
    lost = [w for w in walked if not w.led]
    assert not lost, told(lost)


@pytest.mark.parametrize("change", VARIED)
def test_faults_of_other_configurations_are_found(expert: Expert, change: str) -> None:
    appliance = varied(expert.book.appliances["radiant_range"], change)
    start = list(VARIED).index(change)
    rows = range(start, len(expert.signatures(appliance).hypotheses) - 1, EVERY)
    walked = [walk(expert, appliance, row) for row in rows]
    lost = [w for w in walked if not w.led or w.ruled_out]
    assert walked and not lost, told(lost)


def varied(appliance: Appliance, change: str) -> Appliance:
    return replace(appliance, appliance=f"{appliance.appliance} {change}", **VARIED[change])  # type: ignore[arg-type]


def test_a_walk_fails_where_the_test_that_tells_the_fault_is_never_allowed(expert: Expert) -> None:
    """The walk itself must be able to fail: a broil relay looks like a broil element until something is measured."""
    shut = {t: replace(c, needs_permission=True, who="technician") for t, c in expert.book.tests.items()}
    closed = {f"closed_{t}": replace(c, test=f"closed_{t}") for t, c in shut.items() if c.reads != "dead_check"}
    poorer = Expert(
        replace(expert.book, tests=closed | {"verify_dead": shut["verify_dead"]}), expert.lexicon, expert.chainer
    )
    appliance = expert.book.appliances["radiant_range"]
    hypotheses = poorer.signatures(appliance).hypotheses
    row = next(n for n, h in enumerate(hypotheses) if h.name == "oven.broil_relay_open")
    found = walk(poorer, appliance, row)
    assert not found.led
    assert [key for key, _ in found.answers][1:] == ["dead_check"]
