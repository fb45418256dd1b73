"""The branch circuit piece by piece: breaker, wall, outlet, cord, terminal block, frame bond and strap.

What is read here splits the wall's side, an electrician's, from the range's. Outlet and panel are read with the range
unplugged or its circuit unloaded, so a joint with resistance still reads full voltage there; its drop under load shows.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from rules.appliance.operating import EVERYTHING, OTHER_LOAD, Runs
from rules.appliance.seen.common import Mask, Numbers, Observer, Words, words
from rules.appliance.seen.meter import resistance
from rules.appliance.wiring import PLUG_OHMS

SAME_LEG, THREE_PHASE, LOW, UNEVEN = 20.0, 218.0, 110.0, 8.0  # V; ANSI C84.1 range B ends at 110 V; the rest our choice
JOINT_OHMS = 1.0  # a conductor of the cord with more than this is bad; sound is below 0.1 ohm, common practice
NONE_FLOWS, TOO_LITTLE, TOO_MUCH = 0.02, 0.88, 1.10  # of the current the watts ask for; 208 V gives 0.87


def _broken(runs: Runs, branches: list[str]) -> Mask:
    """Where any of some branches in a row is open."""
    column = runs.fleet.wiring.network.branch_number()
    here = [column[branch] for branch in branches if branch in column]
    broken: Mask = (runs.fleet.admittance[:, here] == 0).any(axis=1)
    return broken


def _arriving(runs: Runs) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Volts of the service between L1 and L2, and of each leg to neutral."""
    first, second = runs.fleet.pinned[:, 1], runs.fleet.pinned[:, 2]
    return np.abs(first - second), np.abs(first), np.abs(second)


def _supply_words(runs: Runs, legs: tuple[list[str], list[str]], rest: list[tuple[Mask, str]]) -> Words:
    """What a point of the supply offers, unloaded, behind each leg's branches; ``rest`` is told before voltages."""
    across, first, second = _arriving(runs)
    lost = [_broken(runs, leg) for leg in legs]
    known = [
        (lost[0] & lost[1], "dead"),
        (lost[0] | lost[1], "leg_missing"),
        *rest,
        (across < SAME_LEG, "same_leg"),
        (np.abs(first - second) > UNEVEN, "uneven"),
        ((first < LOW) & (second < LOW), "low"),
        (across < THREE_PHASE, "two_oh_eight"),
    ]
    return words([mask for mask, _ in known], [word for _, word in known], "right")


def _panel(runs: Runs, _: str) -> Words:
    """At the breaker's load side, the range plugged in: a short there leaves nothing."""
    words_there = _supply_words(runs, (["breaker_l1"], ["breaker_l2"]), [])
    return np.where(runs.cleared, "dead", words_there)


def _outlet(runs: Runs, _: str) -> Words:
    """At the outlet's slots, the range unplugged."""
    rest = [
        (runs.fleet.miswired == "outlet", "crossed"),
        (_broken(runs, ["neutral"]), "neutral_missing"),
    ]
    if "plug_g" in runs.fleet.wiring.impedance:
        rest.append((_broken(runs, ["ground_wire"]), "ground_missing"))
    return _supply_words(runs, (["breaker_l1", "leg_l1"], ["breaker_l2", "leg_l2"]), rest)


def _plug(runs: Runs, _: str) -> Words:
    """Whether the plug is in: all blades apart is a plug that hangs out, unless conductors are exchanged."""
    out = _broken(runs, ["plug_l1"]) & _broken(runs, ["plug_l2"]) & _broken(runs, ["plug_n"])
    return words([out & (runs.fleet.miswired == "")], ["out"], "in")


def _cord_map(runs: Runs, _: str) -> Words:
    """Each conductor of the cord from blade to stud, unplugged."""
    ohms = np.max([resistance(runs, [f"block_{end}"], "idle") for end in ("l1", "l2", "n")], axis=0)
    return words(
        [runs.fleet.miswired == "cord", np.isinf(ohms), ohms > JOINT_OHMS], ["crossed", "open", "high"], "right"
    )


def _strap(runs: Runs, _: str) -> Words:
    closed = ~np.isinf(resistance(runs, ["bond_strap"], "idle"))
    if runs.fleet.wiring.appliance.cord == "3-wire":
        return words([closed], ["right"], "missing")
    return words([closed], ["left_on"], "right")


def _bond_ohms(runs: Runs, _: str) -> Numbers:
    """Frame to the cord's ground blade; with a 3-wire cord over the strap to its neutral blade, ohm.

    A hard-wired range is measured to the ground wire in the junction box, which the wall's fault does not touch.
    """
    if runs.fleet.wiring.appliance.cord == "3-wire":
        return resistance(runs, ["bond_strap", "block_n"], "idle")
    if "plug_g" not in runs.fleet.wiring.impedance:
        return resistance(runs, ["ground_wire"], "idle")
    ohms = resistance(runs, ["plug_g"], "idle")
    return np.where(runs.fleet.miswired == "outlet", PLUG_OHMS, ohms)  # what is wrong in the wall is right in the cord


def _block_ohms(runs: Runs, points: str, _: str) -> Numbers:
    """Ohms between two points of the dead terminal block, controls off, 120 V loads unplugged, bond strap lifted."""
    return resistance(runs, [f"short_{points.lower().replace('-', '_')}"], "idle")


def _block_drop(runs: Runs, points: str, _: str) -> Numbers:
    """Volts lost between cord and block stud of a leg or the neutral under load; the control loads the neutral."""
    return runs.at["loaded"].across(f"block_{points.lower()}")


def _wall_drop(runs: Runs, points: str, _: str) -> Numbers:
    """Volts lost between the panel's bus and the outlet's terminal of a leg under load."""
    leg = points.lower()
    solution, ends = runs.at["loaded"], runs.fleet.wiring.network.branches
    return solution.between(ends[f"breaker_{leg}"][0], ends[f"leg_{leg}"][1])


def _surface_fuses(runs: Runs, _: str) -> Words:
    blown = [_broken(runs, [f"surface_fuse_{leg}"]) for leg in ("l1", "l2")]
    return words(blown, ["l1_blown", "l2_blown"], "sound")


def _other_load_volts(runs: Runs, _: str) -> Numbers:
    return runs.at[OTHER_LOAD].between("L1", "L2")


def _total_current(runs: Runs, _: str) -> Words:
    """Current of leg L1 with everything on, against what the watts ask for at the rated voltage."""
    wiring = runs.fleet.wiring
    idle = ("convection_element", "other_element")  # not on when the units, bake and broil are
    wanted = sum(watts for element, watts in wiring.nominal_watts.items() if element not in idle)
    ratio = runs.at[EVERYTHING].amps("breaker_l1") * wiring.appliance.rated_volts / wanted
    return words([ratio < NONE_FLOWS, ratio < TOO_LITTLE, ratio > TOO_MUCH], ["none", "low", "high"], "right")


def _rating(runs: Runs, _: str) -> Words:
    return words([runs.fleet.breaker_amps < runs.fleet.wiring.appliance.breaker_amps], ["too_small"], "fits")


BY_UNIT: dict[str, Observer] = {}

WHOLE = {
    "plug.in": Observer(_plug, needs=("plug_l1",)),
    "panel.supply": Observer(_panel),
    "outlet.supply": Observer(_outlet, needs=("plug_l1",)),
    "cord.map": Observer(_cord_map),
    "strap": Observer(_strap),
    "ohms.bond": Observer(measure=_bond_ohms),
    "contact.surface_fuses": Observer(_surface_fuses, needs=("surface_fuse_l1",)),
    "volts.other_load": Observer(measure=_other_load_volts),
    "amps.total": Observer(_total_current),
    "breaker.rating": Observer(_rating),
}

#: Facts read between points: fact to what the meter shows there, of machines, points and state.
BETWEEN: dict[str, Callable[[Runs, str, str], Numbers]] = {
    "ohms.block": _block_ohms,
    "drop.block": _block_drop,
    "drop.wall": _wall_drop,
}
