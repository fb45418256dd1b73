"""Surface units: their heat, which part of them heats, their burner-on light and their hot-surface lights."""

from __future__ import annotations

import numpy as np

from rules.appliance.operating import LIMITERS, Runs
from rules.appliance.seen.common import SOME_HEAT, Mask, Numbers, Observer, Words, heat, lamp_lit, rings, share, words

LOW_DUTY = 0.06  # share of the time an infinite switch is closed at low; common practice, one published page agrees
MEDIUM_DUTY = 0.40  # and at its middle mark; common practice, no source
AS_HOT = 0.6  # share of its own high setting from which low counts as "full"
MEDIUM_COOL, MEDIUM_HOT = 0.85 * MEDIUM_DUTY, MEDIUM_DUTY / 0.85  # as far off as heat on high counts as weak
NEVER_OPENS = 0.98  # share of the time from which a switch is as good as never open
STILL_ON = 0.9  # share of the heat from which nothing has switched off
GLOWS = 0.4  # share of its nominal watts from which a length of coil reddens; common practice, no source
COIL_WATTS_OFF = (
    0.2  # share of its nominal watts by which a coil is another than it should be; twice what a nameplate allows
)
UNEVEN = 0.5  # a length with less than this share of the other's glow looks dark beside it; from memory


def _surface_heat(runs: Runs, unit: str) -> Words:
    return heat(share(runs, f"high {unit}", rings(runs, unit)))


def average(runs: Runs, unit: str, setting: float) -> Numbers:
    """Mean share of nominal watts over the switch's cycles at a setting."""
    owned, duty = rings(runs, unit), runs.duty(unit, setting)
    return duty * share(runs, f"high {unit}", owned) + (1 - duty) * share(runs, f"low rest {unit}", owned)


def _low_heat(runs: Runs, unit: str) -> Words:
    high = share(runs, f"high {unit}", rings(runs, unit))
    return words([high < SOME_HEAT, average(runs, unit, LOW_DUTY) > AS_HOT * high], ["none", "full"], "low")


def _medium_heat(runs: Runs, unit: str) -> Words:
    given = average(runs, unit, MEDIUM_DUTY)
    return words([given < SOME_HEAT, given < MEDIUM_COOL, given > MEDIUM_HOT], ["none", "cool", "hot"], "right")


def _clicks(runs: Runs, unit: str) -> Words:
    """Whether the switch snaps open and shut at its middle mark: its bimetal is heated, and the contact moves."""
    number = runs.fleet.wiring.network.branch_number()[f"{unit}.cycling_contact"]
    cycles = (runs.duty(unit, MEDIUM_DUTY) < NEVER_OPENS) & ~runs.fleet.welded[:, number]
    return words([cycles], ["clicks"], "silent")


def off_heat(runs: Runs, unit: str) -> Words:
    """Whether a unit heats with its knob at off."""
    return words([share(runs, "idle", rings(runs, unit)) > SOME_HEAT], ["some"], "none")


def limiter_opens_early(runs: Runs, unit: str) -> Mask:
    """Machines whose limiter at this unit opens before it should; it closes again soon after."""
    column = runs.fleet.wiring.network.branch_number()
    own = [column[unit + limiter] for limiter in LIMITERS if unit + limiter in column]
    early: Mask = np.logical_or.reduce(runs.fleet.opens_warm[:, own], axis=1)
    return early


def on_high(runs: Runs, unit: str) -> Words:
    """How the heat on high goes on; an empty word where there is none."""
    high = share(runs, f"high {unit}", rings(runs, unit))
    quits = share(runs, f"warm {unit}", rings(runs, unit)) < STILL_ON * high
    names = ["", "short", "until_cold"]
    return words([high < SOME_HEAT, quits & limiter_opens_early(runs, unit), quits], names, "steady")


def lengths(runs: Runs, state: str, element: str) -> tuple[Numbers, Numbers]:
    """Heat along the two lengths of an element, as shares of what a sound one gives along them."""
    wiring, solution = runs.fleet.wiring, runs.at[state]
    column = wiring.network.branch_number()
    with np.errstate(divide="ignore", invalid="ignore"):
        ohms = [1 / np.abs(solution.admittance[:, column[half]]) for half in wiring.elements[element]]
        whole = np.isfinite(ohms[0] + ohms[1])
        nominal = [wiring.nominal_watts[element] * part / (ohms[0] + ohms[1]) for part in ohms]
        given = [solution.watts([half]) for half in wiring.elements[element]]
        near, far = (np.where(whole, g / n, 0.0) for g, n in zip(given, nominal, strict=True))
    return near, far


def _coil_glow(runs: Runs, unit: str) -> Words:
    """A wire that touches the sheath part of the way splits the coil into a brighter and a darker length."""
    both = lengths(runs, f"high {unit}", f"{unit}.element")
    bright, dark = np.maximum(*both), np.minimum(*both)
    return words([bright < GLOWS, dark < UNEVEN * bright], ["none", "part"], "all")


def _swap(runs: Runs, unit: str) -> Words:
    """A same-sized coil and this one exchanged: what is wrong goes with the coil if it sits in it."""
    column = runs.fleet.wiring.network.branch_number()
    own = [column[part] for part in (*runs.fleet.wiring.elements[f"{unit}.element"], f"{unit}.coil_limiter")]
    ground = column[f"{unit}.element.to_frame"]
    sound = np.array([1 / runs.fleet.wiring.impedance[list(column)[number]] for number in own])
    altered: Mask = (np.abs(runs.fleet.admittance[:, own] / sound - 1) > COIL_WATTS_OFF).any(axis=1)
    altered |= runs.fleet.opens_warm[:, own].any(axis=1) | (runs.fleet.admittance[:, ground] != 0)
    cold = _surface_heat(runs, unit) != "normal"
    odd = cold | ~np.isin(on_high(runs, unit), ["steady", ""]) | (_coil_glow(runs, unit) == "part")
    return words([~odd, altered], ["works", "follows"], "stays")


def rings_hot(runs: Runs, state: str, unit: str) -> list[Mask]:
    """For each ring from the inner one outward, where it heats."""
    return [share(runs, state, [ring]) > SOME_HEAT for ring in rings(runs, unit)]


def _rings(runs: Runs, unit: str) -> Words:
    hot = rings_hot(runs, f"high {unit}", unit)
    inner, outer, between = hot[0], hot[-1], hot[1]
    every: Mask = np.logical_and.reduce(hot)
    some: Mask = np.logical_or.reduce(hot)
    alone = inner & ~np.logical_or.reduce(hot[1:])
    names = ["none", "all", "no_inner", "inner_only", "no_outer"]
    return words([~some, every, ~inner, alone, between & ~outer], names, "no_middle")


def _rings_small(runs: Runs, unit: str) -> Words:
    more: Mask = np.logical_or.reduce(rings_hot(runs, f"inner {unit}", unit)[1:])
    return words([more], ["more"], "inner_only")


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
    "surface.medium_heat": Observer(_medium_heat),
    "surface.clicks": Observer(_clicks),
    "surface.on_high": Observer(on_high),
    "surface.off_heat": Observer(off_heat),
    "surface.coil_glow": Observer(_coil_glow, needs=("{unit}.receptacle",)),
    "surface.swap": Observer(_swap, needs=("{unit}.receptacle",)),
    "surface.rings": Observer(_rings, needs=("{unit}.ring2",)),
    "surface.rings_small": Observer(_rings_small, needs=("{unit}.ring2",)),
    "indicator.on": Observer(_indicator_on),
    "hot_light.cold": Observer(_hot_light_cold, needs=("{unit}.hot_contact",)),
    "hot_light.hot": Observer(_hot_light_hot, needs=("{unit}.hot_contact",)),
}

WHOLE = {"indicator.off": Observer(_indicator_off, needs=("indicator_lamp",))}
