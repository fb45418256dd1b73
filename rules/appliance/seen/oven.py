"""The oven: its heat, its elements, how far it is off its setting, its lamp."""

from __future__ import annotations

import numpy as np

from rules.appliance.operating import Runs, total_watts
from rules.appliance.seen.common import (
    LAMP_LIT,
    LAMP_NORMAL,
    SOME_HEAT,
    Mask,
    Numbers,
    Observer,
    Words,
    heat,
    nominal,
    share,
    words,
    yes,
)
from rules.appliance.seen.surface import off_heat
from rules.appliance.sensing import ROOM_C, SET_F, held_temperature_f
from rules.electrical.heating import preheat_minutes

GLOWS = 0.4  # share of nominal watts from which an element reddens; common practice
OVEN_LOSS_W_PER_K = 4.5  # illustrative lumped oven
SLOW_FACTOR, NEVER_MINUTES = 1.2, 90.0  # of the usual time, and minutes after which nobody waits; common practice
UPPER_SHARE = 0.10  # share of the time the upper element helps once the oven is hot; from memory

_BOTH = ["bake_element", "broil_element"]


def _bake_heat(runs: Runs, _: str) -> Words:
    """Bake lives on the lower element; the upper one helps a small share of the time."""
    watts = total_watts(runs.at["bake"], ["bake_element"])
    watts += UPPER_SHARE * total_watts(runs.at["bake"], ["broil_element"])
    return heat(watts / (nominal(runs, ["bake_element"]) + UPPER_SHARE * nominal(runs, ["broil_element"])))


def _broil_heat(runs: Runs, _: str) -> Words:
    return heat(share(runs, "broil", ["broil_element"]))


def _preheat(runs: Runs, _: str) -> Words:
    """By time, not by watts: an oven that has lost an element loses more minutes than watts (rule 7 of domain 2.8)."""
    watts = total_watts(runs.at["bake"], _BOTH)
    minutes = np.array([preheat_minutes(float(given), SET_F) for given in watts])
    usual = preheat_minutes(nominal(runs, _BOTH), SET_F)
    return words([minutes > NEVER_MINUTES, minutes > SLOW_FACTOR * usual], ["never", "slow"], "normal")


def _glow(runs: Runs, _: str) -> Words:
    lower = share(runs, "bake", ["bake_element"]) >= GLOWS
    upper = share(runs, "bake", ["broil_element"]) >= GLOWS
    return words([lower & upper, lower, upper], ["both", "lower_only", "upper_only"], "neither")


def _browning(runs: Runs, _: str) -> Words:
    lower = share(runs, "bake", ["bake_element"]) >= SOME_HEAT
    upper = share(runs, "bake", ["broil_element"]) >= SOME_HEAT
    return words([lower & upper, lower, upper], ["even", "pale_above", "pale_below"], "")


def _oven_off_heat(runs: Runs, _: str) -> Words:
    return words([share(runs, "idle", _BOTH) > SOME_HEAT], ["some"], "none")


def _oven_lamp(runs: Runs, _: str) -> Words:
    given = runs.at["lamp"].watts(["oven_lamp"]) * runs.fleet.wiring.impedance["oven_lamp"].real / 120.0**2
    return words([given < LAMP_LIT, given < LAMP_NORMAL, given > 1 / LAMP_NORMAL], ["dark", "dim", "dim"], "lit")


def _heats_at_off(runs: Runs, _: str) -> Words:
    heats = [off_heat(runs, unit) == "some" for unit in runs.fleet.wiring.appliance.positions]
    if runs.fleet.wiring.appliance.oven:
        heats.append(_oven_off_heat(runs, "") == "some")
    some: Mask = np.logical_or.reduce(heats)
    return yes(some)


def _offset_f(runs: Runs, _: str) -> Numbers:
    """Mean oven temperature less its setting, F.

    The control holds what it reads at the set value; the sensor's path decides what that means in the cavity. An
    element that no relay can switch off runs away upward; too few watts never get there.
    """
    curve = runs.fleet.wiring.appliance.sensor_curve
    held = held_temperature_f(runs, curve)
    steady = total_watts(runs.at["bake"], ["bake_element"])
    steady += UPPER_SHARE * total_watts(runs.at["bake"], ["broil_element"])
    reachable = (ROOM_C + steady / OVEN_LOSS_W_PER_K) * 1.8 + 32
    runaway = total_watts(runs.at["bake rest"], [*_BOTH, "convection_element"])
    always = (ROOM_C + runaway / OVEN_LOSS_W_PER_K) * 1.8 + 32
    return np.clip(np.maximum(np.minimum(held, reachable), always) - SET_F, -399.0, 399.0)


BY_UNIT: dict[str, Observer] = {}

WHOLE = {
    "oven.bake.heat": Observer(_bake_heat, needs=("bake_element",)),
    "oven.broil.heat": Observer(_broil_heat, needs=("broil_element",)),
    "oven.preheat": Observer(_preheat, needs=("bake_element",)),
    "oven.glow": Observer(_glow, needs=("bake_element",)),
    "oven.browning": Observer(_browning, needs=("bake_element",)),
    "oven.off_heat": Observer(_oven_off_heat, needs=("bake_element",)),
    "oven.lamp": Observer(_oven_lamp, needs=("oven_lamp",)),
    "hazard.heat_when_off": Observer(_heats_at_off),
    "oven.offset": Observer(measure=_offset_f, needs=("bake_element",)),
    "oven.log_mean": Observer(measure=_offset_f, needs=("bake_element",)),
}
