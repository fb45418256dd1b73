"""A meter on the oven: volts and amperes while it works, contacts, windings and insulation while it is dead.

Points as the trade writes them. L1K and L2K are the oven's side of the links, BK, BR and CV the bake, broil and
convection relays' far sides, an E behind them the element's own terminal. L2B is the common second side behind the
double-line-break relay, TC1 and TC2 are the cut-out's terminals, CT the control's supply pin. LP, CF and KF are the
live wires of lamp, convection fan and cooling fan. CH is the frame.

States: ``called`` while the control calls for the element or load, ``quit`` once everything is warm and still called,
``satisfied`` in bake between two calls, ``idle`` with the oven off. No meter is drawn in: a point that floats takes
the potential of the meter's other lead, which is what a node without a voltage comes back as, 0 V.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np

from rules.appliance.operating import Runs
from rules.appliance.seen.common import Numbers, Observer, Words, words
from rules.appliance.seen.meter import contact, element_ohms, resistance
from rules.appliance.wiring import expected_ohms

#: Reads between two points in a state; None where this appliance has no such points.
Read = Callable[[Runs, str, str], Numbers | None]

_RAN = {"BK": "bake", "BR": "broil", "CV": "convection", "LP": "lamp", "CF": "convection", "KF": "bake"}
_NODES = {
    **{"BK": "bake.K", "BR": "broil.K", "CV": "convection.K"},
    **{"BKE": "bake.T", "BRE": "broil.T", "CVE": "convection.T"},
    **{"LP": "oven_lamp.S", "CF": "convection_fan.K", "KF": "cooling_fan.K"},
}
_ACROSS = {
    **{"L1-L1K": "link_l1", "L2-L2K": "link_l2", "TC1-TC2": "cutout", "L2-L2B": "double_line_break"},
    **{"L1K-BK": "bake_relay", "L1K-BR": "broil_relay", "L1K-CV": "convection_relay"},
    **{"BK-BKE": "bake_terminal", "BR-BRE": "broil_terminal", "CV-CVE": "convection_terminal"},
}


def _state(points: str, state: str) -> str:
    """The appliance's state in which two points are read."""
    ends = [end.removesuffix("E") for end in points.split("-")]
    mode = next((_RAN[end] for end in ends if end in _RAN), "bake")
    return {"called": mode, "quit": f"warm {mode}", "satisfied": "bake rest", "idle": "idle"}[state]


def _between(runs: Runs, points: str, state: str) -> Numbers | None:
    """Volts between two nodes; the supply's neutral is N, its second leg at the block L2."""
    first, second = (_NODES.get(end, end) for end in points.split("-"))
    if not {first, second} <= set(runs.fleet.wiring.network.nodes):
        return None
    return runs.at[_state(points, state)].between(first, second)


def _drop(runs: Runs, points: str, state: str) -> Numbers | None:
    """Volts across a link, the cut-out, a relay's contact or an element's lead with its terminal."""
    part = _ACROSS[points]
    return runs.at[_state(points, state)].across(part) if part in runs.fleet.wiring.impedance else None


def _amps(name: str) -> Callable[[Runs, str], Numbers]:
    """Amperes of an element while it is called for, as a multiple of what its watts ask for."""

    def observer(runs: Runs, _: str) -> Numbers:
        wiring = runs.fleet.wiring
        usual = wiring.appliance.rated_volts / expected_ohms(wiring, f"{name}_element")
        return runs.at[name].amps(f"{name}_element.a") / usual

    return observer


def _to_frame(name: str) -> Callable[[Runs, str], Words]:
    """An element's wire against its sheath, both leads lifted."""

    def observer(runs: Runs, _: str) -> Words:
        open_line = np.isinf(resistance(runs, [f"{name}_element.to_frame"], "idle"))
        return words([open_line], ["clear"], "grounded")

    return observer


def _winding(load: str) -> Callable[[Runs, str], Words]:
    """A lamp's filament or a fan's winding, unplugged; its ohms say little more than whole or open."""

    def observer(runs: Runs, _: str) -> Words:
        return words([np.isinf(resistance(runs, [load], "idle"))], ["open"], "whole")

    return observer


def _part(look: Callable[[Runs, str], Words], part: str) -> Observer:
    return Observer(look, needs=(part,))


ELEMENTS = ("bake", "broil", "convection")
BY_UNIT: dict[str, Observer] = {}

WHOLE = {
    "ohms.convection": Observer(measure=element_ohms("convection_element"), needs=("convection_element",)),
    **{f"amps.{e}": Observer(measure=_amps(e), needs=(f"{e}_element",)) for e in ELEMENTS},
    **{f"frame.{e}": _part(_to_frame(e), f"{e}_element") for e in ELEMENTS},
    **{f"contact.{e}_relay": _part(contact(f"{e}_relay", "idle"), f"{e}_relay") for e in ELEMENTS[1:]},
    "contact.double_line_break": _part(contact("double_line_break", "idle"), "double_line_break"),
    "contact.link_l1": _part(contact("link_l1", "idle"), "link_l1"),
    "contact.link_l2": _part(contact("link_l2", "idle"), "link_l2"),
    "contact.lamp_switch": _part(contact("lamp_switch", "idle"), "lamp_switch"),
    "contact.door_switch": _part(contact("door_switch", "idle"), "door_switch"),
    "winding.lamp": _part(_winding("oven_lamp"), "oven_lamp"),
    "winding.convection_fan": _part(_winding("convection_fan"), "convection_fan"),
    "winding.cooling_fan": _part(_winding("cooling_fan"), "cooling_fan"),
}

#: Facts read between points, by name.
AT_POINTS: Mapping[str, Read] = {
    "drive": _between,
    "rest_volts": _between,
    "idle_volts": _between,
    "called_volts": _between,
    "feed": _between,
    "load_volts": _between,
    "drop": _drop,
}
