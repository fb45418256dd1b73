"""The range in use: which contacts close in which state, and what the control does with the power it gets.

The order matters as it does in the machine: the supply and the knobs first, then what the control makes of its own
supply and sensor, then the relays it closes, then the switch bimetals that warm and cycle.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from rules.appliance.injecting import Fleet
from rules.appliance.wiring import LEG_VOLTS, METER_OHMS, METER_POINTS
from rules.electrical.circuit import Solution

Mask = NDArray[np.bool_]

# A small electronic supply: lit down to about 85 %, unsteady below, off under half, destroyed well above its rating.
# From memory; only the order of the steps matters.
LIT_FROM, DIM_FROM, FLICKER_FROM, DESTROYED_FROM = 102.0, 80.0, 55.0, 150.0

# A control that checks its sensor refuses to heat outside this range (from memory): near 0 ohm or an open line.
SENSOR_LEAST, SENSOR_MOST = 850.0, 3000.0

EVERYTHING, OTHER_LOAD = "everything", "other load"

TRIPS_AT_ONCE = 5.0  # times its rating, from which a breaker opens without delay; from memory

HEATER_WATTS = 1.0  # least power that still warms the bimetal of an infinite switch; from memory


MOTOR_TURNS_FROM = 0.3  # share of its rated watts from which a small gear motor still turns; from memory

APART = (EVERYTHING, OTHER_LOAD)  # states that a caller does not mean by "it trips" without saying so
OPENED = ("warm ", "limited ", "cut out")  # states like another in which something has opened: never more current

LIMITERS = (".high_limit", ".coil_limiter")  # contacts that are closed until their unit is too hot
Closing = dict[str, bool | Mask]  # contacts that close in a state, for all machines or for those in a mask


class Runs:
    """Machines in use. ``at[state]`` is what the solver gives for a state, one case a machine, worked out once. A
    machine whose breaker clears a short at once is dead in all of them.

    States: ``idle``; ``high <unit>``; ``low <unit>`` and ``low rest <unit>`` (cycling contact closed, and after its
    bimetal has warmed); ``limited <unit>`` (at high, its limiter has opened); ``inner <unit>`` (at high with only the
    inner ring chosen, on a unit with several); ``hot`` (top hot, knobs off); ``all high``. ``lamp``; ``door open``;
    ``bake``, ``bake rest`` (called, but satisfied), ``broil``; ``cut out`` (at bake, the cut-out has opened);
    ``convection``, ``locking`` (the latch is sent to lock) and ``clean`` where the oven has them; ``other bake`` (a
    double oven's other cavity). ``warm`` before a unit, ``bake``, ``broil`` or ``convection`` (on for so long that what
    fails only when warm has failed).
    ``loaded`` (every unit at high, or the oven at bake); ``everything`` (all that heats at once); ``other load`` (as
    loaded, while another big load in the house runs); ``meter <points> <idle|loaded>``.
    Raises KeyError for any other, naming those there are.
    """

    def __init__(self, fleet: Fleet, room_sensor_ohms: float) -> None:
        self.fleet = fleet
        self.room_sensor_ohms = room_sensor_ohms
        self.at = _States(self)
        self._seen_from_meter: dict[str, dict[str, NDArray[np.complex128]]] = {}

    def meter_volts(self, points: str, state: str, ohms: float = METER_OHMS) -> NDArray[np.float64]:
        """What a meter of so many ohms shows between two meter points in a state, V."""
        solution = self.at[state]
        if state not in self._seen_from_meter:
            ports = list(METER_POINTS.values())
            seen = self.fleet.wiring.network.port_ohms(solution.admittance, ports)
            self._seen_from_meter[state] = dict(zip(METER_POINTS, seen.T, strict=True))
        shown: NDArray[np.float64] = solution.between(*METER_POINTS[points]) / np.abs(
            1 + self._seen_from_meter[state][points] / ohms
        )
        return shown

    @cached_property
    def in_use(self) -> Fleet:
        """The machines as they can be used: where the breaker clears a short at once, with both its poles open."""
        column = self.fleet.wiring.network.branch_number()
        admittance = self.fleet.admittance.copy()
        for pole in ("breaker_l1", "breaker_l2"):
            admittance[self.cleared, column[pole]] = 0
        return replace(self.fleet, admittance=admittance)

    @cached_property
    def cleared(self) -> Mask:
        """Where a short ahead of every control trips the breaker as soon as it is reset."""
        idle = solve_state(self.fleet, self.closing("idle"))
        trips: Mask = most_amps([idle]) >= TRIPS_AT_ONCE * self.fleet.breaker_amps
        return trips

    @cached_property
    def worst_amps(self) -> NDArray[np.float64]:
        """Most current of either pole in ordinary use, A."""
        return self.most_amps([s for s in self.states if s not in APART and not s.startswith(OPENED)])

    def most_amps(self, states: Iterable[str]) -> NDArray[np.float64]:
        """Most current of either pole in some states, A."""
        return most_amps([self.at[state] for state in states])

    @cached_property
    def awake(self) -> Mask:
        """Machines whose control is able and willing to take an order, whatever its sensor says."""
        able: Mask = (display_grade(self.fleet, self.at["idle"]) <= 1) & (self.fleet.setting == "")
        return able & self.fleet.panels.can_start

    @cached_property
    def can_heat(self) -> Mask:
        """Machines whose control closes its heating relays when bake is called: not while the latch is not home."""
        able: Mask = self.willing & self.fleet.panels.home_seen
        return able

    @cached_property
    def lock_turns(self) -> Mask:
        """Machines whose lock motor turns when it is sent to lock the door."""
        if "lock_motor" not in self.fleet.wiring.impedance:
            return np.zeros(len(self.fleet), dtype=bool)
        full = LEG_VOLTS**2 / self.fleet.wiring.impedance["lock_motor"].real
        turns: Mask = self.at["locking"].watts(["lock_motor"]) >= MOTOR_TURNS_FROM * full
        return turns & self.fleet.panels.motor_free

    @cached_property
    def can_clean(self) -> Mask:
        """Machines whose control knows where the latch is and then sees it locked, and so lets self-clean heat."""
        panels = self.fleet.panels
        able: Mask = self.willing & panels.place_known & panels.seen_locked(self.lock_turns)
        return able

    @cached_property
    def willing(self) -> Mask:
        """Machines whose control is alive and takes an order: display, setting, keys and sensor as they must be."""
        if not self.fleet.wiring.appliance.oven:
            return np.zeros(len(self.fleet), dtype=bool)
        sensor = seen_by_control(self.fleet, np.full(len(self.fleet), self.room_sensor_ohms))
        plausible = (sensor >= SENSOR_LEAST) & (sensor <= SENSOR_MOST)
        able: Mask = self.awake & plausible
        return able

    @cached_property
    def stays_awake(self) -> Mask:
        """Machines whose control keeps its supply and its sensor once everything is warm."""
        warm = solve_state(self.fleet, {}, warm=True)
        kept: Mask = (display_grade(self.fleet, warm) <= 1) & ~self.fleet.sensor_opens_warm
        return kept

    def called(self, state: str) -> Mask:
        """Machines whose control closes the relays of a mode."""
        if state == "other bake":
            return self.awake
        return self.can_heat & self.stays_awake if state.startswith("warm ") else self.can_heat

    @cached_property
    def states(self) -> tuple[str, ...]:
        """Every state this appliance can be in, without those of a meter."""
        appliance = self.fleet.wiring.appliance
        names = ["idle"]
        for unit in appliance.positions:
            names += [f"high {unit}", f"warm {unit}", f"low {unit}", f"low rest {unit}", f"limited {unit}"]
            names += [f"inner {unit}"] if f"{unit}.ring2" in self.fleet.wiring.elements else []
        names += ["hot", "all high"] if appliance.units else []
        names += ["lamp", "door open", "bake", "bake rest", "broil"] if appliance.oven else []
        names += ["warm bake", "warm broil"] if appliance.oven else []
        names += ["cut out"] if appliance.cutout != "none" else []
        names += ["convection", "warm convection"] if appliance.convection_watts else []
        names += ["other bake"] if appliance.second_oven_watts else []
        names += ["locking", "clean"] if appliance.self_clean else []
        return (*names, "loaded", EVERYTHING, OTHER_LOAD)

    def closing(self, state: str) -> Closing:
        """Contacts that a state closes. Relays close only where the control is able and willing."""
        word, _, unit = state.partition(" ")
        if state not in self.states:
            raise KeyError(f"no state {state!r} on this appliance; write one of {', '.join(self.states)}")
        if state in (EVERYTHING, OTHER_LOAD, "loaded"):
            return self._closing_much(everything=state == EVERYTHING)
        if state == "cut out":
            return self.closing("bake") | {"cutout": False}
        if word in ("limited", "inner"):
            owned = sorted(contact for contact in self.fleet.wiring.contacts if contact.startswith(f"{unit}."))
            left_open = [c for c in owned if (c.endswith(LIMITERS) if word == "limited" else ".ring" in c)]
            return _knob(self.fleet, unit) | dict.fromkeys(left_open, False)
        if state in ("all high", "hot"):
            return self._all_units(hot=state == "hot")
        if unit and word in ("high", "warm", "low") and state not in _WARM_MODES:
            at_rest = state.startswith("low rest ")
            unit = state.removeprefix("low rest ") if at_rest else unit
            return _knob(self.fleet, unit) | ({f"{unit}.cycling_contact": self._stays(unit)} if at_rest else {})
        return self._mode(state)

    def _mode(self, state: str) -> Closing:
        """Contacts of the lamp and of the control's modes."""
        if state in ("locking", "clean"):
            latch: Closing = {"lock_relay": self.willing}
            return latch if state == "locking" else latch | dict.fromkeys(_RELAYS[state], self.can_clean)
        by_itself = state in ("idle", "lamp", "door open")  # asks for nothing that the control could refuse
        return dict.fromkeys(_RELAYS[state.removeprefix("warm ")], True if by_itself else self.called(state))

    def _closing_much(self, *, everything: bool) -> Closing:
        """All units at high, or the oven at bake where there are none; both for everything."""
        units = self._all_units(hot=False)
        return units | (self.closing("bake") if (everything and self.fleet.wiring.appliance.oven) or not units else {})

    def _all_units(self, *, hot: bool) -> Closing:
        units = self.fleet.wiring.appliance.positions
        knobs = [_knob(self.fleet, each, hot=hot) for each in units]
        return {contact: closed for knob in knobs for contact, closed in knob.items()}

    def duty(self, unit: str, setting: float) -> NDArray[np.float64]:
        """Share of the time the bimetal keeps the cycling contact closed at a setting, 0 to 1.

        ``setting``: the share on a sound switch at its rated voltage. The bimetal opens at a fixed heat, so the share
        falls as its heater's watts rise; one that gets no heat never opens. (A heater across the element, the
        parallel type; its balance is worked out from that, no source.)
        """
        heater = f"{unit}.switch_heater"
        rated = self.fleet.wiring.appliance.rated_volts**2 / self.fleet.wiring.impedance[heater].real
        given = self.at[f"low {unit}"].watts([heater])
        share: NDArray[np.float64] = np.clip(setting * rated / np.maximum(given, HEATER_WATTS * setting), 0, 1)
        return np.where(given < HEATER_WATTS, 1.0, share)

    def by_shaft(self, state: str) -> NDArray[np.complex128]:
        """Admittance of every branch in a state whose knob a technician has set by its shaft, (machines, branches)."""
        unit = state.rpartition(" ")[2]
        if unit not in self.fleet.slips:
            return self.at[state].admittance
        slips = self.fleet.slips[unit]
        closing = {contact: on if isinstance(on, bool) else on | slips for contact, on in self.closing(state).items()}
        return conducting(self.fleet, closing, warm=state.startswith("warm "))

    def _stays(self, unit: str) -> Mask:
        """Where the cycling contact never opens at low: its bimetal gets no heat."""
        stays: Mask = self.at[f"low {unit}"].watts([f"{unit}.switch_heater"]) < HEATER_WATTS
        return stays & ~self.fleet.slips[unit] if unit in self.fleet.slips else stays


class _States(dict[str, Solution]):
    """Solutions by state, each worked out when first asked for."""

    def __init__(self, runs: Runs) -> None:
        super().__init__()
        self.runs = runs

    def __missing__(self, state: str) -> Solution:
        if state.startswith("meter "):
            points, _, load = state.removeprefix("meter ").partition(" ")
            self[state] = solve_state(self.runs.in_use, self.runs.closing(load), meter=f"meter {points}")
        elif state.startswith("low ") and not state.startswith("low rest "):
            self[state] = self[f"high {state.removeprefix('low ')}"]
        else:
            fleet = self.runs.in_use
            if state == OTHER_LOAD:
                fleet = replace(fleet, pinned=fleet.pinned * (1 - fleet.sag[:, None]))
            self[state] = solve_state(fleet, self.runs.closing(state), warm=state.startswith("warm "))
        return self[state]


#: Contacts the control closes in each of its modes; a mode keeps the common side closed while it rests.
_RELAYS: dict[str, tuple[str, ...]] = {
    "idle": (),
    "lamp": ("lamp_switch",),
    "door open": ("door_switch",),
    "bake": ("double_line_break", "bake_relay", "broil_relay", "cooling_fan_relay"),
    "bake rest": ("double_line_break", "cooling_fan_relay"),
    "broil": ("double_line_break", "broil_relay", "cooling_fan_relay"),
    "convection": ("double_line_break", "convection_relay", "convection_fan_relay", "cooling_fan_relay"),
    "other bake": ("other_relay", "other_line_break"),
    "clean": ("double_line_break", "bake_relay", "cooling_fan_relay"),
}

_WARM_MODES = ("warm bake", "warm broil", "warm convection")


def _knob(fleet: Fleet, unit: str, *, hot: bool = False) -> Closing:
    """Contacts of a unit's switch as the knob is turned on, all of them; or those of a hot top with the knob off.

    A knob that slips on its shaft turns no contact.
    """
    owned = sorted(c for c in fleet.wiring.contacts if c.startswith(f"{unit}.") and c.endswith("hot_contact") == hot)
    turned: bool | Mask = True if hot or unit not in fleet.slips else ~fleet.slips[unit]
    return {contact: contact.endswith(LIMITERS) or turned for contact in owned}


def conducting(fleet: Fleet, closing: Closing, *, warm: bool = False) -> NDArray[np.complex128]:
    """Admittance of every branch with the contacts as a state leaves them, shape (machines, branches).

    ``warm``: what opens when it has warmed has opened. The high limit of a cold limiter and a cold cut-out are closed
    at rest; every other contact is open at rest.
    """
    wiring = fleet.wiring
    column = wiring.network.branch_number()
    conducts = np.ones(fleet.admittance.shape, dtype=bool)
    for contact in wiring.contacts:
        at_rest = contact in ("cutout", "breaker_l1", "breaker_l2") or contact.endswith(LIMITERS)
        conducts[:, column[contact]] = closing.get(contact, at_rest)
    conducts |= fleet.welded
    if warm:
        conducts &= ~fleet.opens_warm
    admittance: NDArray[np.complex128] = fleet.admittance * conducts
    return admittance


def solve_state(fleet: Fleet, closing: Closing, meter: str | None = None, *, warm: bool = False) -> Solution:
    """Solve all machines with some contacts closed; ``meter`` is a branch that is fitted for the reading."""
    admittance = conducting(fleet, closing, warm=warm)
    if meter:
        column = fleet.wiring.network.branch_number()[meter]
        admittance[:, column] = 1 / fleet.wiring.impedance[meter]
    return fleet.wiring.network.solve(admittance, fleet.pinned)


def display_grade(fleet: Fleet, solution: Solution) -> NDArray[np.intp]:
    """0 lit, 1 dim, 2 flickering, 3 dark, from the control's supply voltage."""
    volts = solution.across("control")
    dark = fleet.control_dead | (volts >= DESTROYED_FROM) | (volts < FLICKER_FROM)
    return np.select([dark, volts >= LIT_FROM, volts >= DIM_FROM], [3, 0, 1], 2).astype(np.intp)


def seen_at_pins(fleet: Fleet, probe_ohms: NDArray[np.float64]) -> NDArray[np.float64]:
    """The unplugged sensor at its own pins: the probe with its drift and any leak across it, ohm."""
    return _beside(probe_ohms * fleet.sensor_scale, fleet.sensor_shunt)


def seen_by_control(fleet: Fleet, probe_ohms: NDArray[np.float64]) -> NDArray[np.float64]:
    """What the control reads: the sensor behind its plug, with any leak across the leads, ohm."""
    return _beside(seen_at_pins(fleet, probe_ohms) + fleet.sensor_series, fleet.leads_shunt)


def _beside(first: NDArray[np.float64], second: NDArray[np.float64]) -> NDArray[np.float64]:
    """Two resistances side by side, ohm; either may be an open line."""
    with np.errstate(divide="ignore"):
        return 1 / (1 / first + 1 / second)


def most_amps(solutions: Iterable[Solution]) -> NDArray[np.float64]:
    """Most current of either pole of the breaker, A."""
    worst: NDArray[np.float64] = np.max([s.amps(f"breaker_l{leg}") for s in solutions for leg in (1, 2)], axis=0)
    return worst


def total_watts(solution: Solution, elements: Iterable[str]) -> NDArray[np.float64]:
    """Watts in some elements together."""
    owned = solution.network.branches
    return solution.watts([half for e in elements for half in (f"{e}.a", f"{e}.b") if half in owned])
