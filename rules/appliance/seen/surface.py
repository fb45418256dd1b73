"""Surface units: their heat, their burner-on light and their hot-surface lights."""

from __future__ import annotations

from rules.appliance.operating import Runs
from rules.appliance.seen.common import SOME_HEAT, Observer, Words, heat, lamp_lit, rings, share, words

LOW_DUTY = 0.06  # share of the time an infinite switch is closed at low; common practice, one published page agrees
AS_HOT = 0.6  # share of its own high setting from which low counts as "full"


def _surface_heat(runs: Runs, unit: str) -> Words:
    return heat(share(runs, f"high {unit}", rings(runs, unit)))


def _low_heat(runs: Runs, unit: str) -> Words:
    owned = rings(runs, unit)
    high = share(runs, f"high {unit}", owned)
    average = LOW_DUTY * high + (1 - LOW_DUTY) * share(runs, f"low rest {unit}", owned)
    return words([high < SOME_HEAT, average > AS_HOT * high], ["none", "full"], "low")


def off_heat(runs: Runs, unit: str) -> Words:
    """Whether a unit heats with its knob at off."""
    return words([share(runs, "idle", rings(runs, unit)) > SOME_HEAT], ["some"], "none")


def _indicator_off(runs: Runs, _: str) -> Words:
    return words([lamp_lit(runs, "idle", "indicator_lamp")], ["lit"], "dark")


def _indicator_on(runs: Runs, unit: str) -> Words:
    return words([lamp_lit(runs, f"high {unit}", "indicator_lamp")], ["lit"], "dark")


def _hot_light_cold(runs: Runs, unit: str) -> Words:
    return words([lamp_lit(runs, "idle", f"{unit}.hot_lamp")], ["lit"], "dark")


def _hot_light_hot(runs: Runs, unit: str) -> Words:
    """Only a unit that heats has a hot top."""
    cold = share(runs, f"high {unit}", rings(runs, unit)) < SOME_HEAT
    return words([cold, lamp_lit(runs, "hot", f"{unit}.hot_lamp")], ["", "lit"], "dark")


BY_UNIT = {
    "surface.heat": Observer(_surface_heat),
    "surface.low_heat": Observer(_low_heat),
    "surface.off_heat": Observer(off_heat),
    "indicator.on": Observer(_indicator_on),
    "hot_light.cold": Observer(_hot_light_cold, needs=("{unit}.hot_contact",)),
    "hot_light.hot": Observer(_hot_light_hot, needs=("{unit}.hot_contact",)),
}

WHOLE = {"indicator.off": Observer(_indicator_off, needs=("indicator_lamp",))}
