"""Breaker, display, and the volts at the terminal block."""

from __future__ import annotations

import numpy as np

from rules.appliance.operating import Runs, display_grade
from rules.appliance.seen.common import Numbers, Observer, Words, words

TRIPS_AT_ONCE, TRIPS_LATER = 5.0, 1.35  # times the breaker's rating; UL 489: 135 % within an hour; 5 is from memory
BREAKER_AMPS = 50.0

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
    column = runs.fleet.wiring.network.branch_number()
    poles = [column["breaker_l1"], column["breaker_l2"]]
    both_open = (runs.fleet.admittance[:, poles] == 0).all(axis=1)
    worst = (
        np.max([runs.at[state].amps(f"breaker_l{n}") for state in runs.states for n in (1, 2)], axis=0) / BREAKER_AMPS
    )
    return words(
        [both_open, worst >= TRIPS_AT_ONCE, worst >= TRIPS_LATER], ["tripped", "trips_at_once", "trips_later"], "on"
    )


def volts(runs: Runs, points: str, state: str) -> Numbers:
    """What a digital meter shows between two points of the terminal block in a state, V."""
    return runs.at[f"meter {points} {state}"].across(f"meter {points}")


BY_UNIT: dict[str, Observer] = {}

WHOLE = {
    "breaker": Observer(_breaker),
    "display": Observer(_display, needs=("control",)),
    "display.with_burner_on": Observer(_display_with_burner, needs=("control", "indicator_lamp")),
}
