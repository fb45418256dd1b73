"""What a meter should show: the reading each suspected fault would give, before anybody measures.

A probe is a quantity at a place in a state, with a meter. Live readings solve the network with the meter fitted, so
that a ghost voltage and a back-feed come out as that meter would show them. Dead readings solve the same network from
the meter's side, so that a path round the part shows unless a lead is lifted.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from rules.appliance.injecting import Fleet, Machine, stack
from rules.appliance.observing import probe_ohms, room_sensor_ohms
from rules.appliance.operating import Runs, conducting, seen_by_control, solve_state
from rules.appliance.wiring import LOW_IMPEDANCE_OHMS, METER_OHMS, METER_POINTS, Wiring
from rules.bookkeeping.yamlsource import nearest
from rules.electrical.circuit import Network
from rules.electrical.verdict import OHM_METER, Meter
from rules.terms import InputError, Problem

Quantity = Literal["volts", "amps", "ohms"]
MeterKind = Literal["digital", "low_impedance"]

QUANTITIES: tuple[Quantity, ...] = ("volts", "amps", "ohms")
METERS: dict[MeterKind, float] = {"digital": METER_OHMS, "low_impedance": LOW_IMPEDANCE_OHMS}
UNITS: dict[Quantity, str] = {"volts": "V", "amps": "A", "ohms": "ohm"}

POINTS = {**METER_POINTS, "L1-G": ("L1", "NS"), "L2-G": ("L2", "NS"), "N-CH": ("N", "CH"), "CH-G": ("CH", "NS")}

SUPPLY_LOW, SUPPLY_HIGH = 114 / 120, 126 / 120  # ANSI C84.1 service range A, as shares of 120 V (domain C10)
WATTS_LOW, WATTS_HIGH = 0.90, 1.05  # IEC 60335-1 10.1, heating elements: +5 %, -10 % (from memory)
VOLT_METER = Meter(0.007, 0.2)  # 0.7 % and 2 counts of 0.1 V, a hand meter (domain 4.5)
CLAMP_METER = Meter(0.02, 0.1)  # 2 % and 0.1 A, from memory
DEAD_OPEN_OHMS = 20e6  # a hand meter's highest range; above it shows an open line
PROBE = "probe"


@dataclass(frozen=True)
class Probe:
    """A reading about to be taken.

    ``at``: a pair of points (``L1-N``) or a part (``bake_element``, ``left_front.high_limit``, ``sensor``). ``state``:
    as :class:`~rules.appliance.operating.Runs` names them. ``lifted``: one lead of the part is off (ohms only).
    ``room_c``: the sensor's temperature for its ohms, C.
    """

    quantity: Quantity
    at: str
    state: str = "idle"
    meter: MeterKind = "digital"
    lifted: bool = True
    room_c: float = 21.1


@dataclass(frozen=True)
class Expected:
    """The reading of one machine: nominal, and the band that supply, element tolerance and meter spread it over.

    In V, A or ohm; ``inf`` is an open line.
    """

    value: float
    low: float
    high: float

    def holds(self, reading: float) -> bool:
        """Whether a reading is one this machine could give."""
        if np.isinf(reading) or np.isinf(self.value):
            return bool(np.isinf(reading) and np.isinf(self.high))
        return self.low <= reading <= self.high


def expected(wiring: Wiring, machines: Sequence[Machine], probe: Probe) -> list[Expected]:
    """What the probe shows on each machine. Raises InputError for a place or state this appliance does not have."""
    _check_state(wiring, machines, probe)
    if probe.quantity == "ohms":
        return [_ohm_band(float(ohms), wiring, probe) for ohms in _ohms(wiring, machines, probe)]
    nominal = _live(wiring, machines, probe)
    meter = VOLT_METER if probe.quantity == "volts" else CLAMP_METER
    spread = (1.0, 1.0) if probe.quantity == "volts" else (WATTS_LOW, WATTS_HIGH)
    bands = (meter.widen((v * SUPPLY_LOW * spread[0], v * SUPPLY_HIGH * spread[1])) for v in nominal)
    return [Expected(float(v), *band) for v, band in zip(nominal, bands, strict=True)]


def places(wiring: Wiring) -> list[str]:
    """Where a probe can be put on this appliance."""
    parts = [b for b in wiring.impedance if not b.startswith(("meter ", "stray_", "cross_", "person"))]
    parts = [b for b in parts if not b.endswith((".a", ".b", ".to_frame"))]
    return [*POINTS, *wiring.elements, *parts, *(["sensor"] if wiring.appliance.oven else [])]


def _check_state(wiring: Wiring, machines: Sequence[Machine], probe: Probe) -> None:
    problems = []
    if probe.at not in places(wiring):
        problems.append(Problem("at", f"nothing named {probe.at!r} here{nearest(probe.at, places(wiring))}"))
    states = Runs(stack(wiring, machines), 0.0).states
    if probe.state not in states:
        problems.append(Problem("while", f"no state {probe.state!r}; write one of {', '.join(states)}"))
    if probe.at in POINTS and probe.quantity == "amps":
        problems.append(Problem("at", "a current runs through a part, not between two points; name a part"))
    if probe.at == "sensor" and probe.quantity != "ohms":
        problems.append(Problem("at", "the sensor is measured in ohms only, unplugged"))
    if problems:
        raise InputError(problems)


def _ends(wiring: Wiring, at: str) -> tuple[str, str]:
    """The two nodes a probe sits between."""
    if at in POINTS:
        return POINTS[at]
    if at in wiring.elements:
        near, far = wiring.elements[at]
        return wiring.network.branches[near][0], wiring.network.branches[far][1]
    return wiring.network.branches[at]


def _with_meter(wiring: Wiring, probe: Probe) -> Wiring:
    """The same range with the meter's own resistance fitted at the probe."""
    ends = {**wiring.network.branches, PROBE: _ends(wiring, probe.at)}
    network = Network.draw(wiring.network.pinned, ends)
    return replace(wiring, network=network, impedance={**wiring.impedance, PROBE: complex(METERS[probe.meter])})


def _live(wiring: Wiring, machines: Sequence[Machine], probe: Probe) -> NDArray[np.float64]:
    """Volts across the meter, or amps through the part, on every machine."""
    fitted = _with_meter(wiring, probe) if probe.quantity == "volts" else wiring
    fleet = stack(fitted, machines)
    room = room_sensor_ohms(fitted) if fitted.appliance.oven else 0.0
    solution = solve_state(fleet, Runs(fleet, room).closing(probe.state))
    if probe.quantity == "volts":
        return solution.across(PROBE)
    branch = fitted.elements[probe.at][0] if probe.at in fitted.elements else probe.at
    return solution.amps(branch)


def _ohms(wiring: Wiring, machines: Sequence[Machine], probe: Probe) -> NDArray[np.float64]:
    fleet = stack(wiring, machines)
    if probe.at == "sensor":
        return seen_by_control(fleet, probe_ohms(fleet, probe.room_c))
    admittance = _dead(fleet, probe)
    part = wiring.elements.get(probe.at, (probe.at,))
    if probe.lifted and probe.at not in POINTS:
        column = wiring.network.branch_number()
        with np.errstate(divide="ignore"):
            series: NDArray[np.float64] = np.add.reduce([1 / np.abs(admittance[:, column[b]]) for b in part])
        return series
    return _from_outside(wiring, admittance, _ends(wiring, probe.at))


def _dead(fleet: Fleet, probe: Probe) -> NDArray[np.complex128]:
    """Admittances with the breaker off and every contact as the state leaves it; relays rest without power."""
    word = probe.state.partition(" ")[0]
    by_hand = word in ("idle", "high", "low", "hot", "all", "lamp", "loaded")
    room = room_sensor_ohms(fleet.wiring) if fleet.wiring.appliance.oven else 0.0
    closing = Runs(fleet, room).closing(probe.state) if by_hand else {}
    closing = {contact: closed for contact, closed in closing.items() if not contact.endswith("_relay")}
    admittance = conducting(fleet, closing | {"double_line_break": False})
    column = fleet.wiring.network.branch_number()
    for branch in fleet.wiring.network.branches:
        if branch.startswith(("breaker_", "stray_")):
            admittance[:, column[branch]] = 0
    return admittance


def _from_outside(wiring: Wiring, admittance: NDArray[np.complex128], ends: tuple[str, str]) -> NDArray[np.float64]:
    """Resistance between two nodes of the dead appliance: one volt put on, current taken out, ohm."""
    first, second = ends
    network = Network.draw({second: 0, first: 1}, wiring.network.branches)
    solution = network.solve(admittance)
    amps = np.zeros(len(admittance), dtype=np.complex128)
    for column, (a, b) in enumerate(wiring.network.branches.values()):
        if first in (a, b):
            other = solution.node(b if a == first else a)
            amps += np.nan_to_num((1 - other) * admittance[:, column])
    with np.errstate(divide="ignore"):
        ohms: NDArray[np.float64] = 1 / np.abs(amps)
    return np.where(ohms > DEAD_OPEN_OHMS, np.inf, ohms)


def _ohm_band(ohms: float, wiring: Wiring, probe: Probe) -> Expected:
    """An element's tolerance widened by the meter's; for the rest the meter's alone."""
    if np.isinf(ohms):
        return Expected(ohms, DEAD_OPEN_OHMS, ohms)
    band = (ohms / WATTS_HIGH, ohms / WATTS_LOW) if probe.at in wiring.elements else (ohms, ohms)
    low, high = OHM_METER.widen(band)
    return Expected(ohms, low, high)
