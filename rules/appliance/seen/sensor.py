"""The oven sensor under an ohmmeter: what its ohms stand for against a thermometer, cold, hot and at its own pins;

whether it leaks to its case, and whether it is open once hot.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from rules.appliance.operating import Runs, seen_at_pins, seen_by_control
from rules.appliance.seen.common import Numbers, Observer, Words, words
from rules.appliance.sensing import ROOM_C, SET_F, probe_ohms
from rules.electrical.sensors import Curve, c_from_f, f_from_c, ohms_at, temp_at

OFF_LOW_F, OFF_HIGH_F = -900.0, 4000.0  # stand for ohms that no oven temperature gives
LEAK_OHMS = 1e6  # below this a lead leaks to the sensor's case; common practice


def _off_curve(temp_c: float, *, pins: bool) -> Callable[[Runs, str], Numbers]:
    """The temperature its ohms stand for on this control's curve, less the thermometer's beside it, F."""

    def observer(runs: Runs, _: str) -> Numbers:
        seen = seen_at_pins if pins else seen_by_control
        read = seen(runs.fleet, probe_ohms(runs.fleet, temp_c))
        curve = runs.fleet.wiring.appliance.sensor_curve
        return np.array([_stands_for_f(float(ohms), curve) - f_from_c(temp_c) for ohms in read])

    return observer


def _stands_for_f(ohms: float, curve: Curve) -> float:
    if ohms < ohms_at(-40.0, curve):
        return OFF_LOW_F
    return f_from_c(temp_at(ohms, curve)) if ohms <= ohms_at(540.0, curve) else OFF_HIGH_F


def _leak(runs: Runs, _: str) -> Words:
    """A sensor's lead against its case, unplugged at the control."""
    leak = np.minimum(runs.fleet.sensor_shunt, runs.fleet.leads_shunt)
    return words([leak < LEAK_OHMS], ["leaks"], "clear")


def _after_quitting(runs: Runs, _: str) -> Words:
    """The sensor measured at the control while everything is still hot."""
    read = seen_by_control(runs.fleet, probe_ohms(runs.fleet, ROOM_C))
    return words([np.isinf(read) | runs.fleet.sensor_opens_warm], ["open"], "whole")


BY_UNIT: dict[str, Observer] = {}

WHOLE = {
    "sensor.cold": Observer(measure=_off_curve(ROOM_C, pins=False), needs=("control",)),
    "sensor.hot": Observer(measure=_off_curve(c_from_f(SET_F), pins=False), needs=("control",)),
    "sensor.pins": Observer(measure=_off_curve(ROOM_C, pins=True), needs=("control",)),
    "sensor.leak": Observer(_leak, needs=("control",)),
    "sensor.after_quitting": Observer(_after_quitting, needs=("control",)),
}
