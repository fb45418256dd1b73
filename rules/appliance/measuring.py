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
from rules.appliance.operating import OTHER_LOAD, Runs, conducting, seen_by_control, solve_state
from rules.appliance.sensing import probe_ohms, room_sensor_ohms
from rules.appliance.wiring import LOW_IMPEDANCE_OHMS, METER_OHMS, METER_POINTS, Wiring
from rules.bookkeeping.yamlsource import nearest
from rules.electrical.circuit import Network
from rules.electrical.elements import HOT_FACTOR, WATTS_OVER, WATTS_UNDER
from rules.electrical.verdict import OHM_METER, Meter
from rules.terms import InputError, Problem

Quantity = Literal["volts", "amps", "ohms"]
MeterKind = Literal["digital", "low_impedance"]

QUANTITIES: tuple[Quantity, ...] = ("volts", "amps", "ohms")
METERS: dict[MeterKind, float] = {"digital": METER_OHMS, "low_impedance": LOW_IMPEDANCE_OHMS}
UNITS: dict[Quantity, str] = {"volts": "V", "amps": "A", "ohms": "ohm"}

POINTS = {**METER_POINTS, "L1-G": ("L1", "NS"), "L2-G": ("L2", "NS"), "N-CH": ("N", "CH"), "CH-G": ("CH", "NS")}

SUPPLY_LOW, SUPPLY_HIGH = 114 / 120, 126 / 120  # ANSI C84.1 service range A, as shares of 120 V (domain C10)
VOLT_METER = Meter(0.007, 0.2)  # 0.7 % and 2 counts of 0.1 V, a hand meter (domain 4.5)
SENSOR_OHMS = 5.3  # a sound sensor's tolerance at room temperature, a range service sheet (domain C2)
MOST_STRAY = 10.0  # cable capacitance lies between 100 pF and ten times that (common practice)
LOADS = ("control", "oven_lamp", "cooling_fan", "convection_fan", "lock_motor", "indicator_lamp")
CLAMP_METER = Meter(0.02, 0.1)  # 2 % and 0.1 A, from memory
DEAD_OPEN_OHMS = 20e6  # a hand meter's highest range; above it shows an open line
PROBE = "probe"


@dataclass(frozen=True)
class Probe:
    """A reading about to be taken.

    ``at``: a pair of points (``L1-N``), of nodes (``left_front.H1-CH``), or a part (``bake_element``, ``sensor``).
    ``state``: as :class:`~rules.appliance.operating.Runs` names them. ``lifted``: one lead of the part is off (ohms
    only). ``room_c``: the sensor's temperature for its ohms, C.
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
        if np.isinf(self.high):
            return bool(np.isinf(reading) or reading >= self.low)
        return self.low <= reading <= self.high


def expected(wiring: Wiring, machines: Sequence[Machine], probe: Probe) -> list[Expected]:
    """What the probe shows on each machine. Raises InputError for a place or state this appliance does not have."""
    _check_state(wiring, machines, probe)
    if probe.quantity == "ohms":
        return [_ohm_band(float(ohms), wiring, probe) for ohms in _ohms(wiring, machines, probe)]
    nominal = _live(wiring, machines, probe)
    strongest = _live(_more_stray(wiring), machines, probe) if probe.quantity == "volts" else nominal
    meter = VOLT_METER if probe.quantity == "volts" else CLAMP_METER
    spread = (1.0, 1.0) if probe.quantity == "volts" else (WATTS_UNDER, WATTS_OVER)
    found = []
    for value, ghost in zip(nominal, strongest, strict=True):
        ends = (min(value, ghost) * SUPPLY_LOW * spread[0], max(value, ghost) * SUPPLY_HIGH * spread[1])
        found.append(Expected(float(value), *meter.widen(ends)))
    return found


def places(wiring: Wiring) -> list[str]:
    """Where a probe can be put on this appliance."""
    hidden = ("meter ", "stray_", "cross_", "person", "short_", "l2_load")
    parts = [
        b
        for b in wiring.impedance
        if not b.startswith(hidden) and not b.endswith((".a", ".b", ".to_frame", ".to_neutral"))
    ]
    return [*POINTS, *wiring.elements, *parts, *(["sensor"] if wiring.appliance.oven else [])]


def _check_state(wiring: Wiring, machines: Sequence[Machine], probe: Probe) -> None:
    problems = []
    if probe.at not in places(wiring) and not _node_pair(wiring, probe.at):
        problems.append(Problem("at", f"nothing named {probe.at!r} here{nearest(probe.at, places(wiring))}"))
    states = Runs(stack(wiring, machines), 0.0).states
    if probe.state not in states:
        problems.append(Problem("while", f"no state {probe.state!r}; write one of {', '.join(states)}"))
    if probe.quantity == "amps" and (probe.at in POINTS or _node_pair(wiring, probe.at)):
        problems.append(Problem("at", "a current runs through a part, not between two points; name a part"))
    if probe.quantity == "ohms" and (probe.at in LOADS or probe.at.endswith("hot_lamp") or probe.at in POINTS):
        problems.append(
            Problem("at", "lamps, fans, motors and the control show no steady ohms; read volts, or name a part")
        )
    if probe.quantity != "volts" and probe.meter != "digital":
        problems.append(Problem("meter", "a low-impedance range reads volts only"))
    if probe.at == "sensor" and probe.quantity != "ohms":
        problems.append(Problem("at", "the sensor is measured in ohms only, unplugged"))
    if problems:
        raise InputError(problems)


def _node_pair(wiring: Wiring, at: str) -> tuple[str, str] | None:
    """Two nodes of the drawing, written ``left_front.H1-CH``; G is the supply's ground."""
    first, _, second = at.partition("-")
    first, second = ("NS" if end == "G" else end for end in (first, second))
    return (first, second) if first != second and {first, second} <= set(wiring.network.nodes) else None


def _more_stray(wiring: Wiring) -> Wiring:
    """The same range on a cable with the most capacitance."""
    ohms = {b: z / MOST_STRAY if b.startswith("stray_") else z for b, z in wiring.impedance.items()}
    return replace(wiring, impedance=ohms)


def _ends(wiring: Wiring, at: str) -> tuple[str, str]:
    """The two nodes a probe sits between."""
    if at in POINTS:
        return POINTS[at]
    pair = _node_pair(wiring, at)
    if pair:
        return pair
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
    closing = Runs(fleet, room).closing(probe.state)
    if probe.state == OTHER_LOAD:
        fleet = replace(fleet, pinned=fleet.pinned * (1 - fleet.sag[:, None]))
    solution = solve_state(fleet, closing, warm=probe.state.startswith("warm "))
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
    if probe.lifted and not _node_pair(wiring, probe.at):
        column = wiring.network.branch_number()
        with np.errstate(divide="ignore"):
            series: NDArray[np.float64] = np.add.reduce([1 / np.abs(admittance[:, column[b]]) for b in part])
        return series
    return _from_outside(wiring, admittance, _ends(wiring, probe.at))


def _dead(fleet: Fleet, probe: Probe) -> NDArray[np.complex128]:
    """Admittances with the breaker off and every contact as the state leaves it; relays rest without power."""
    word = probe.state.partition(" ")[0]
    by_hand = word in ("idle", "high", "low", "hot", "all", "lamp", "loaded", "everything", "other")
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
    band = (ohms, ohms)
    if probe.at in wiring.elements:
        band = (ohms / WATTS_OVER / HOT_FACTOR, ohms / WATTS_UNDER)
    elif probe.at == "sensor":
        band = (ohms - SENSOR_OHMS, ohms + SENSOR_OHMS)
    low, high = OHM_METER.widen(band)
    return Expected(ohms, low, high)
