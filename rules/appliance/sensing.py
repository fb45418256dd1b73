"""The oven sensor as the control reads it, and the cavity temperature that its reading leads to."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from rules.appliance.injecting import Fleet
from rules.appliance.operating import Runs
from rules.appliance.wiring import Wiring
from rules.electrical.sensors import Curve, ohms_at, temp_at

SET_F = 350.0
OTHER_CURVE: dict[Curve, Curve] = {"3750": "IEC 60751", "IEC 60751": "3750"}
ROOM_C = 21.1  # 70 F


def room_sensor_ohms(wiring: Wiring) -> float:
    """A sound sensor at 70 F on this appliance's curve, ohm."""
    return ohms_at(ROOM_C, wiring.appliance.sensor_curve)


def probe_ohms(fleet: Fleet, temp_c: float) -> NDArray[np.float64]:
    """Each machine's own sensor at a temperature, before its plug and harness, ohm."""
    curve = fleet.wiring.appliance.sensor_curve
    return np.where(fleet.other_curve, ohms_at(temp_c, OTHER_CURVE[curve]), ohms_at(temp_c, curve))


def held_temperature_f(runs: Runs, curve: Curve) -> NDArray[np.float64]:
    """Cavity temperature at which the control reads its set value, with any user offset, F."""
    wanted = ohms_at((SET_F - 32) / 1.8, curve)
    held = np.empty(len(runs.fleet))
    fleet = runs.fleet
    for row in range(len(fleet)):
        sensor = _behind(wanted, fleet.leads_shunt[row]) - fleet.sensor_series[row]
        probe = _behind(sensor, fleet.sensor_shunt[row]) / fleet.sensor_scale[row]
        fitted = OTHER_CURVE[curve] if fleet.other_curve[row] else curve
        least, most = ohms_at(-40.0, fitted), ohms_at(540.0, fitted)
        held[row] = -np.inf if probe < least else np.inf if probe > most else temp_at(probe, fitted) * 1.8 + 32
    return held + fleet.offset_f + fleet.displaced_f


def _behind(seen: float, shunt: float) -> float:
    """What must lie beside a leak for both together to be seen as so many ohm; inf if the leak alone is less.

    The control then never reads its set value: it heats until something else stops it.
    """
    if shunt <= seen:
        return np.inf
    return seen if np.isinf(shunt) else seen * shunt / (shunt - seen)
