"""The range in use: which contacts close in which state, and what the control does with the power it gets.

The order matters as it does in the machine: the supply and the knobs first, then what the control makes of its own
supply and sensor, then the relays it closes, then the switch bimetals that warm and cycle.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from rules.appliance.injecting import Fleet
from rules.electrical.circuit import Solution

Mask = NDArray[np.bool_]

# A small electronic supply: lit down to about 85 %, unsteady below, off under half, destroyed well above its rating.
# From memory; only the order of the steps matters.
LIT_FROM, DIM_FROM, FLICKER_FROM, DESTROYED_FROM = 102.0, 80.0, 55.0, 150.0

# A control that checks its sensor refuses to heat outside this range (from memory): near 0 ohm or an open line.
SENSOR_LEAST, SENSOR_MOST = 850.0, 3000.0

HEATER_WATTS = 1.0  # least power that still warms the bimetal of an infinite switch; from memory


LIMITERS = (".high_limit", ".coil_limiter")  # contacts that are closed until their unit is too hot
Closing = dict[str, bool | Mask]  # contacts that close in a state, for all machines or for those in a mask


class Runs:
    """Machines in use. ``at[state]`` is what the solver gives for a state, one case a machine, worked out once.

    States: ``idle``; ``high <unit>``; ``low <unit>`` and ``low rest <unit>`` (cycling contact closed, and after its
    bimetal has warmed); ``limited <unit>`` (at high, its limiter has opened); ``hot`` (top hot, knobs off);
    ``all high``. ``lamp``; ``door open``; ``bake``, ``bake rest`` (called, but satisfied), ``broil``; ``cut out`` (at
    bake, the cut-out has opened); ``convection`` and ``clean`` where the oven has them; ``other bake`` (a double oven's
    other cavity). ``warm <unit>``, ``warm bake``, ``warm broil``, ``warm convection`` (on for so long that what fails
    only when warm has failed). ``loaded`` (every unit at high, or the oven at bake); ``meter <points> <idle|loaded>``.
    Raises KeyError for any other, naming those there are.
    """

    def __init__(self, fleet: Fleet, room_sensor_ohms: float) -> None:
        self.fleet = fleet
        self.room_sensor_ohms = room_sensor_ohms
        self.at = _States(self)

    @cached_property
    def awake(self) -> Mask:
        """Machines whose control is able and willing to take an order, whatever its sensor says."""
        able: Mask = (display_grade(self.fleet, self.at["idle"]) <= 1) & (self.fleet.setting == "")
        return able

    @cached_property
    def can_heat(self) -> Mask:
        """Machines whose control is able and willing to close its relays."""
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
        names += ["hot", "all high"] if appliance.units else []
        names += ["lamp", "door open", "bake", "bake rest", "broil"] if appliance.oven else []
        names += ["warm bake", "warm broil"] if appliance.oven else []
        names += ["cut out"] if appliance.cutout != "none" else []
        names += ["convection", "warm convection"] if appliance.convection_watts else []
        names += ["other bake"] if appliance.second_oven_watts else []
        names += ["clean"] if appliance.self_clean else []
        return (*names, "loaded")

    def closing(self, state: str) -> Closing:
        """Contacts that a state closes. Relays close only where the control is able and willing."""
        word, _, unit = state.partition(" ")
        units = self.fleet.wiring.appliance.positions
        if state not in self.states:
            raise KeyError(f"no state {state!r} on this appliance; write one of {', '.join(self.states)}")
        if state == "loaded":
            state = "all high" if units else "bake"
        if state == "cut out":
            return self.closing("bake") | {"cutout": False}
        if word == "limited":
            opened = [contact for contact in self.fleet.wiring.contacts if contact.startswith(f"{unit}.")]
            return _knob(self.fleet, unit) | {contact: False for contact in opened if contact.endswith(LIMITERS)}
        if state in ("all high", "hot"):
            return {contact: True for each in units for contact in _knob(self.fleet, each, hot=state == "hot")}
        if word in ("high", "warm", "low") and state not in _WARM_MODES:
            at_rest = state.startswith("low rest ")
            unit = state.removeprefix("low rest ") if at_rest else unit
            return _knob(self.fleet, unit) | ({f"{unit}.cycling_contact": self._stays(unit)} if at_rest else {})
        if state in ("idle", "lamp", "door open"):
            return dict.fromkeys(_RELAYS[state], True)
        return dict.fromkeys(_RELAYS[state.removeprefix("warm ")], self.called(state))

    def _stays(self, unit: str) -> Mask:
        """Where the cycling contact never opens at low: its bimetal gets no heat."""
        return self.at[f"low {unit}"].watts([f"{unit}.switch_heater"]) < HEATER_WATTS


class _States(dict[str, Solution]):
    """Solutions by state, each worked out when first asked for."""

    def __init__(self, runs: Runs) -> None:
        super().__init__()
        self.runs = runs

    def __missing__(self, state: str) -> Solution:
        if state.startswith("meter "):
            points, _, load = state.removeprefix("meter ").partition(" ")
            self[state] = solve_state(self.runs.fleet, self.runs.closing(load), meter=f"meter {points}")
        elif state.startswith("low ") and not state.startswith("low rest "):
            self[state] = self[f"high {state.removeprefix('low ')}"]
        else:
            self[state] = solve_state(self.runs.fleet, self.runs.closing(state), warm=state.startswith("warm "))
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
    "clean": ("double_line_break", "bake_relay", "lock_relay", "cooling_fan_relay"),
}

_WARM_MODES = ("warm bake", "warm broil", "warm convection")


def _knob(fleet: Fleet, unit: str, *, hot: bool = False) -> Closing:
    """Contacts of a unit's switch as the knob is turned on, all of them; or those of a hot top with the knob off."""
    owned = [c for c in fleet.wiring.contacts if c.startswith(f"{unit}.") and c.endswith("hot_contact") == hot]
    return dict.fromkeys(sorted(owned), True)


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


def total_watts(solution: Solution, elements: Iterable[str]) -> NDArray[np.float64]:
    """Watts in some elements together."""
    owned = solution.network.branches
    return solution.watts([half for e in elements for half in (f"{e}.a", f"{e}.b") if half in owned])
