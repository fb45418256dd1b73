"""A technician at a surface unit: contacts in their other positions, volts, drops and amps with the unit switched on.

Volts are those of the solved network without the meter; a point that no conductor reaches is told as 0 V, though a
digital meter may show a ghost there.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from rules.appliance.operating import Runs
from rules.appliance.seen.common import SOME_HEAT, Mask, Numbers, Observer, Words, lamp_lit, rings, share, words
from rules.appliance.seen.meter import contact, element_ohms, resistance
from rules.appliance.seen.surface import LOW_DUTY, limiter_opens_early, rings_hot

LIVE_VOLTS = 20.0  # below it a terminal counts as dead to the frame; common practice, no source
AMPS_LOW, AMPS_HIGH = 0.85, 1.15  # shares of volts over ohms; input may be +5/-10 %, widened by the clamp (domain C7)
NO_AMPS = 0.02
DUTY_LONG, DUTY_ALWAYS = 0.12, 0.95  # shares of the time on at low; 6 % is wanted (domain 4.5), the edges from memory


def _cold(runs: Runs, unit: str) -> Mask:
    """Machines whose unit stays cold on high."""
    cold: Mask = share(runs, f"high {unit}", rings(runs, unit)) < SOME_HEAT
    return cold


def _terminals(runs: Runs, unit: str) -> tuple[str, str]:
    """The two ends of a coil's plug, or of a radiant unit's inner ring."""
    near = f"{unit}.E0" if f"{unit}.receptacle" in runs.fleet.wiring.impedance else f"{unit}.H1"
    return near, f"{unit}.R2"


def _element_volts(word: str) -> Callable[[Runs, str], Numbers]:
    def observer(runs: Runs, unit: str) -> Numbers:
        return runs.at[f"{word} {unit}"].between(*_terminals(runs, unit))

    return observer


def _switch_volts(runs: Runs, unit: str) -> Numbers:
    return runs.at[f"high {unit}"].between(f"{unit}.H1", f"{unit}.H2")


def _to_frame(terminal: str, state: str) -> Callable[[Runs, str], Words]:
    """``live`` or ``dead``: a terminal of the switch to the frame."""

    def observer(runs: Runs, unit: str) -> Words:
        volts = runs.at[state.replace("{unit}", unit)].between(f"{unit}.{terminal}", "CH")
        return words([volts > LIVE_VOLTS], ["live"], "dead")

    return observer


def _any_live_at_off(runs: Runs, _: str) -> Words:
    live: Mask = np.logical_or.reduce(
        [_to_frame("H1", "idle")(runs, unit) == "live" for unit in runs.fleet.wiring.appliance.positions]
    )
    return words([live], ["some"], "none")


def _drop(*branches: str) -> Callable[[Runs, str], Numbers]:
    """The largest voltage across some joints in series with the unit, switched to high, V."""

    def observer(runs: Runs, unit: str) -> Numbers:
        solution = runs.at[f"high {unit}"]
        largest: Numbers = np.maximum.reduce([solution.across(f"{unit}.{branch}") for branch in branches])
        return largest

    return observer


def _amps(runs: Runs, unit: str) -> Words:
    """Against what the unit's watts ask for at the volts that are there."""
    wiring, solution = runs.fleet.wiring, runs.at[f"high {unit}"]
    siemens = sum(wiring.nominal_watts[ring] for ring in rings(runs, unit)) / wiring.appliance.rated_volts**2
    wanted = np.maximum(solution.between("L1", "L2"), 1.0) * siemens
    given = solution.amps(f"{unit}.lead") / wanted
    return words([given < NO_AMPS, given < AMPS_LOW, given > AMPS_HIGH], ["none", "low", "high"], "right")


def _duty_low(runs: Runs, unit: str) -> Words:
    """Share of the time with current at low, by clamp."""
    lead = f"{unit}.lead"
    on, rest = (runs.at[f"{state} {unit}"].amps(lead) > 0.5 for state in ("high", "low rest"))
    duty = np.where(rest, 1.0, runs.duty(unit, LOW_DUTY))
    return words([~on, duty > DUTY_ALWAYS, duty > DUTY_LONG], ["never", "always", "long"], "short")


def _element_frame(runs: Runs, unit: str) -> Numbers:
    """Ohms from the element's nearer end to its sheath."""
    column = runs.fleet.wiring.network.branch_number()
    ground = column[f"{unit}.element.to_frame"]
    with np.errstate(divide="ignore"):
        joint = 1 / np.abs(runs.fleet.admittance[:, ground])
        halves = [
            1 / np.abs(runs.fleet.admittance[:, column[h]]) for h in runs.fleet.wiring.elements[f"{unit}.element"]
        ]
    nearer: Numbers = joint + np.minimum(*halves)
    return nearer


def _heater_ohms(runs: Runs, unit: str) -> Numbers:
    return resistance(runs, [f"{unit}.switch_heater"], "idle")


def _element_hot(runs: Runs, unit: str) -> Words:
    """The element at its own ends, a coil at its plug, right after it has quit."""
    own = [part for part in (f"{unit}.coil_limiter",) if part in runs.fleet.wiring.impedance]
    ohms = resistance(runs, [*runs.fleet.wiring.elements[f"{unit}.element"], *own], f"warm {unit}")
    return words([np.isinf(ohms)], ["open"], "whole")


def _limiter_hot(runs: Runs, unit: str) -> Words:
    """What the high limit does on an empty unit at high; nothing to see where the unit stays cold."""
    never = np.logical_or.reduce(rings_hot(runs, f"limited {unit}", unit))
    return words([_cold(runs, unit), limiter_opens_early(runs, unit), never], ["", "early", "never"], "opens")


def _hot_threshold(runs: Runs, unit: str) -> Words:
    """The hot-surface light as the glass cools under a probe; glass that stays cold tells only of a light always on."""
    lamp = f"{unit}.hot_lamp"
    names = ["always", "right", ""]
    return words([lamp_lit(runs, "idle", lamp), lamp_lit(runs, "hot", lamp), _cold(runs, unit)], names, "never")


def _hot_contact_hot(runs: Runs, unit: str) -> Words:
    """The hot contact after a warm run, which a cold unit cannot have."""
    read = contact("{unit}.hot_contact", "hot")(runs, unit)
    found: Words = np.where(_cold(runs, unit), "", read)
    return found


def _hot_lamp_volts(runs: Runs, unit: str) -> Numbers:
    return runs.at["hot"].between(f"{unit}.HS", "N")


def _pilot_volts(runs: Runs, unit: str) -> Numbers:
    return runs.at[f"high {unit}"].between("P", "N")


_RADIANT, _COIL = ("{unit}.hot_contact",), ("{unit}.receptacle",)

BY_UNIT = {
    "ohms.ring2": Observer(measure=element_ohms("{unit}.ring2"), needs=("{unit}.ring2",)),
    "ohms.ring3": Observer(measure=element_ohms("{unit}.ring3"), needs=("{unit}.ring3",)),
    "ohms.element_frame": Observer(measure=_element_frame),
    "ohms.switch_heater": Observer(measure=_heater_ohms),
    "contact.line_off": Observer(contact("{unit}.line_contact", "idle")),
    "contact.cycling_off": Observer(contact("{unit}.cycling_contact", "idle")),
    "contact.pilot_on": Observer(contact("{unit}.pilot_contact", "high {unit}")),
    "contact.hot_light_hot": Observer(_hot_contact_hot, needs=_RADIANT),
    "contact.ring2": Observer(contact("{unit}.ring2_contact", "high {unit}"), needs=("{unit}.ring2",)),
    "contact.ring2_inner": Observer(contact("{unit}.ring2_contact", "inner {unit}"), needs=("{unit}.ring2",)),
    "contact.ring3": Observer(contact("{unit}.ring3_contact", "high {unit}"), needs=("{unit}.ring3",)),
    "contact.ring3_inner": Observer(contact("{unit}.ring3_contact", "inner {unit}"), needs=("{unit}.ring3",)),
    "element.hot": Observer(_element_hot),
    "volts.element": Observer(measure=_element_volts("high")),
    "volts.element_quit": Observer(measure=_element_volts("warm")),
    "volts.switch": Observer(measure=_switch_volts),
    "volts.h1_frame": Observer(_to_frame("H1", "high {unit}")),
    "volts.h2_frame": Observer(_to_frame("H2", "high {unit}")),
    "volts.h1_off": Observer(_to_frame("H1", "idle")),
    "volts.hot_lamp": Observer(measure=_hot_lamp_volts, needs=_RADIANT),
    "volts.pilot": Observer(measure=_pilot_volts),
    "drop.switch": Observer(measure=_drop("line_contact", "cycling_contact")),
    "drop.lead": Observer(measure=_drop("lead")),
    "drop.receptacle": Observer(measure=_drop("receptacle", "receptacle_far"), needs=_COIL),
    "amps.unit": Observer(_amps),
    "duty.low": Observer(_duty_low),
    "limiter.hot": Observer(_limiter_hot, needs=_RADIANT),
    "hot_light.threshold": Observer(_hot_threshold, needs=_RADIANT),
}

WHOLE = {"surface.live_at_off": Observer(_any_live_at_off, needs=("indicator_lamp",))}
