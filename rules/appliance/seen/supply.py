"""Breaker, display, and the volts at the terminal block."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from rules.appliance.operating import EVERYTHING, TRIPS_AT_ONCE, Runs, display_grade
from rules.appliance.seen.common import Mask, Numbers, Observer, Words, words
from rules.appliance.seen.insulation import leak_ma
from rules.appliance.wiring import LOW_IMPEDANCE_OHMS
from rules.electrical.leakage import GFCI_TRIPS_MA

TRIPS_LATER = 1.35  # times the breaker's rating; UL 489: 135 % within an hour

USED_ON_TOP = ("high ", "low ", "low rest ")  # states of one burner in use
USED_IN_OVEN = ("bake", "bake rest", "broil", "convection", "clean")

_GRADES = np.array(["lit", "dim", "flickering", "dark"])


def _display(runs: Runs, _: str) -> Words:
    words: Words = _GRADES[display_grade(runs.fleet, runs.at["idle"])]
    return words


def _display_with_burner(runs: Runs, _: str) -> Words:
    units = runs.fleet.wiring.appliance.positions
    best = np.min([display_grade(runs.fleet, runs.at[f"high {unit}"]) for unit in units], axis=0)
    words: Words = np.array(["lit", "dim", "dim", "dark"])[best]
    return words


def _breaker(runs: Runs, _: str) -> Words:
    """From the current each pole carries: a breaker opens at once far above its rating, later a little above."""
    worst = runs.worst_amps / _holds_amps(runs)
    return words(
        [_both_open(runs), runs.cleared | (worst >= TRIPS_AT_ONCE), worst >= TRIPS_LATER],
        ["tripped", "trips_at_once", "trips_later"],
        "on",
    )


def _both_open(runs: Runs) -> Mask:
    column = runs.fleet.wiring.network.branch_number()
    poles = [column["breaker_l1"], column["breaker_l2"]]
    both: Mask = (runs.fleet.admittance[:, poles] == 0).all(axis=1)
    return both


def _holds_amps(runs: Runs) -> Numbers:
    """Current that each machine's breaker holds for good, A."""
    held: Numbers = runs.fleet.breaker_amps * runs.fleet.breaker_share
    return held


def _after_reset(runs: Runs, _: str) -> Words:
    """A breaker that was merely off brings the range back; one that clears something trips again."""
    word = _breaker(runs, "")
    known = ["tripped", "trips_at_once", "trips_later"]
    return words([word == name for name in known], ["back", *known[1:]], "no_change")


def _all_on(runs: Runs, _: str) -> Words:
    """Whether the breaker lets go, within an hour, with all that heats switched on at once."""
    return words([runs.most_amps([EVERYTHING]) >= TRIPS_LATER * _holds_amps(runs)], ["trips"], "holds")


def _trips_with(runs: Runs, _: str) -> Words:
    """What has to be on for the breaker to trip, by its current or, where it watches for one, by a leak."""

    def trips(state: str) -> Mask:
        over: Mask = runs.most_amps([state]) >= TRIPS_LATER * _holds_amps(runs)
        return over | (leak_ma(runs, state) >= GFCI_TRIPS_MA)

    none = np.zeros(len(runs.cleared), dtype=bool)
    burner = np.any([none, *(trips(s) for s in runs.states if s.startswith(USED_ON_TOP))], axis=0)
    oven = np.any([none, *(trips(s) for s in runs.states if s in USED_IN_OVEN)], axis=0)
    return words([runs.cleared | trips("idle") | (burner & oven), burner, oven], ["either", "burner", "oven"], "none")


def _amps_at_trip(runs: Runs, _: str) -> Words:
    """Where the breaker trips later: whether the current that trips it is below what it is rated for."""
    trips = (_breaker(runs, "") == "trips_later") | (_all_on(runs, "") == "trips")
    least = TRIPS_LATER * _holds_amps(runs)
    at_once = _breaker(runs, "") == "trips_at_once"
    return words([at_once | ~trips, least < runs.fleet.breaker_amps], ["no_trip", "below"], "above")


def volts(runs: Runs, points: str, state: str) -> Numbers:
    """What a digital meter shows between two points of the terminal block in a state, V."""
    return runs.meter_volts(points, state)


def low_impedance_volts(runs: Runs, points: str, _: str) -> Numbers:
    """What a meter's low-impedance range shows between two points, everything off, V: it drains a ghost."""
    return runs.meter_volts(points, "idle", LOW_IMPEDANCE_OHMS)


BY_UNIT: dict[str, Observer] = {}

#: Facts read between points: fact to what the meter shows there, of machines, points and state.
BETWEEN: dict[str, Callable[[Runs, str, str], Numbers]] = {"volts": volts, "volts.loz": low_impedance_volts}

WHOLE = {
    "breaker": Observer(_breaker),
    "breaker.after_reset": Observer(_after_reset),
    "breaker.all_on": Observer(_all_on),
    "amps.at_trip": Observer(_amps_at_trip),
    "trips.with": Observer(_trips_with),
    "display": Observer(_display, needs=("control",)),
    "display.with_burner_on": Observer(_display_with_burner, needs=("control", "indicator_lamp")),
}
