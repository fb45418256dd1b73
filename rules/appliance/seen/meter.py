"""A meter on the dead appliance: ohms of elements and the sensor, contacts open or closed."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from rules.appliance.operating import HEATER_WATTS, Runs, seen_by_control
from rules.appliance.seen.common import Numbers, Observer, Words, words
from rules.appliance.sensing import ROOM_C, probe_ohms
from rules.appliance.wiring import expected_ohms

CONTACT_CLOSED_OHMS = 20.0


def resistance(runs: Runs, branches: list[str], state: str) -> Numbers:
    """Ohms of some branches in a row, with contacts as they stand in a state."""
    column = runs.fleet.wiring.network.branch_number()
    admittance = runs.by_shaft(state)
    with np.errstate(divide="ignore"):
        parts = [1 / np.abs(admittance[:, column[branch]]) for branch in branches]
    total: Numbers = np.add.reduce(parts)
    return total


def element_ohms(element: str) -> Callable[[Runs, str], Numbers]:
    """Ohms of an element (``{unit}`` filled in) as a multiple of what its watts ask for.

    A coil is measured at its plug, its limiter in line with it.
    """

    def observer(runs: Runs, unit: str) -> Numbers:
        name = element.replace("{unit}", unit)
        inside = [part for part in (f"{unit}.coil_limiter",) if part in runs.fleet.wiring.impedance]
        ohms = resistance(runs, [*runs.fleet.wiring.elements[name], *inside], "idle")
        return ohms / expected_ohms(runs.fleet.wiring, name)

    return observer


def contact(name: str, state: str) -> Callable[[Runs, str], Words]:
    """A contact (``{unit}`` filled in), ``closed`` or ``open`` to an ohmmeter, as it stands in a state."""

    def observer(runs: Runs, unit: str) -> Words:
        place = state.replace("{unit}", unit)
        ohms = resistance(runs, [name.replace("{unit}", unit)], place)
        return words([ohms < CONTACT_CLOSED_OHMS], ["closed"], "open")

    return observer


def _cycling(runs: Runs, unit: str) -> Words:
    """The test needs a warm run: where a sound bimetal gets no heat it tells nothing about the contact."""
    name = [f"{unit}.cycling_contact"]
    heater = resistance(runs, [f"{unit}.switch_heater"], "idle")
    cold = ~np.isinf(heater) & (runs.at[f"low {unit}"].watts([f"{unit}.switch_heater"]) < HEATER_WATTS)
    closes = resistance(runs, name, f"high {unit}") < CONTACT_CLOSED_OHMS
    stays = resistance(runs, name, f"low rest {unit}") < CONTACT_CLOSED_OHMS
    return words([~closes, cold, stays], ["stays_open", "", "stays_closed"], "opens")


def _room_sensor(runs: Runs, _: str) -> Numbers:
    """The sensor's circuit at the control's plug at room temperature, ohm."""
    return seen_by_control(runs.fleet, probe_ohms(runs.fleet, ROOM_C))


BY_UNIT = {
    "ohms.element": Observer(measure=element_ohms("{unit}.element")),
    "contact.hot_light": Observer(contact("{unit}.hot_contact", "idle"), needs=("{unit}.hot_contact",)),
    "contact.high_limit": Observer(contact("{unit}.high_limit", "idle"), needs=("{unit}.high_limit",)),
    "contact.pilot": Observer(contact("{unit}.pilot_contact", "idle")),
    "contact.line": Observer(contact("{unit}.line_contact", "high {unit}")),
    "contact.cycling": Observer(_cycling),
}

WHOLE = {
    "ohms.bake": Observer(measure=element_ohms("bake_element"), needs=("bake_element",)),
    "ohms.broil": Observer(measure=element_ohms("broil_element"), needs=("broil_element",)),
    "ohms.sensor": Observer(measure=_room_sensor, needs=("control",)),
    "contact.cutout": Observer(contact("cutout", "idle"), needs=("cutout",)),
    "contact.bake_relay": Observer(contact("bake_relay", "idle"), needs=("bake_relay",)),
}
