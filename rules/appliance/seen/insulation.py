"""Insulation of the elements, and the current that leaks to the frame, state by state.

A ground-fault breaker compares what goes out on the legs with what comes back on them and the neutral. The difference
is what returns by the ground wire, so the current there is the leak.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from rules.appliance.operating import Runs
from rules.appliance.seen.common import Numbers, Observer, Words, words
from rules.appliance.seen.meter import resistance
from rules.electrical.leakage import GFCI_TRIPS_MA

RESTS = ("low rest ", "bake rest", "broil")  # one side of an element is let go: at rest, and bake's while broil is on
HEATS = ("high ", "bake")
AT_OFF = ("idle",)


def _insulation(element: str) -> Callable[[Runs, str], Numbers]:
    """Ohms from an element (``{unit}`` filled in), its wires lifted, to the frame."""

    def observer(runs: Runs, unit: str) -> Numbers:
        return resistance(runs, [f"{element.replace('{unit}', unit)}.to_frame"], "idle")

    return observer


def leak_ma(runs: Runs, state: str) -> Numbers:
    """Current that returns by the ground wire in a state, mA; none where no ground wire is connected."""
    return runs.at[state].amps("ground_wire") * 1000


def _worst_ma(runs: Runs, states: list[str]) -> Numbers:
    worst: Numbers = np.max([leak_ma(runs, state) for state in states], axis=0)
    return worst


def resting(runs: Runs) -> list[str]:
    """States in which a control that is on has let go of one side of its element."""
    return [state for state in runs.states if state.startswith(RESTS)]


def heating(runs: Runs) -> list[str]:
    """States in which an element is called and gets both its lines."""
    return [state for state in runs.states if state.startswith(HEATS) and state not in resting(runs)]


def _trips(runs: Runs, _: str) -> Words:
    """When a class A ground-fault breaker would trip; between 4 and 6 mA it may, and is not said to."""
    limit = GFCI_TRIPS_MA
    off, heats, rests = (_worst_ma(runs, states) >= limit for states in (list(AT_OFF), heating(runs), resting(runs)))
    return words([off, heats, rests], ["off", "heats", "rests"], "holds")


def _leak(states: Callable[[Runs], list[str]]) -> Callable[[Runs, str], Numbers]:
    def observer(runs: Runs, _: str) -> Numbers:
        return _worst_ma(runs, states(runs))

    return observer


BY_UNIT = {"insulation.element": Observer(measure=_insulation("{unit}.element"))}

WHOLE = {
    "insulation.bake": Observer(measure=_insulation("bake_element"), needs=("bake_element",)),
    "insulation.broil": Observer(measure=_insulation("broil_element"), needs=("broil_element",)),
    "gfci.trips": Observer(_trips),
    "leak.off": Observer(measure=_leak(lambda _: list(AT_OFF))),
    "leak.heating": Observer(measure=_leak(heating)),
    "leak.resting": Observer(measure=_leak(resting)),
}
