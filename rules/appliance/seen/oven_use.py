"""The oven in use, as whoever stands before it sees it: convection, what quits when warm, lamp, fans, other cavity."""

from __future__ import annotations

from collections.abc import Callable

from rules.appliance.operating import Runs, display_grade
from rules.appliance.seen.common import SOME_HEAT, Mask, Observer, Words, heat, lamp_lit, share, words
from rules.appliance.seen.oven import GLOWS

FAN_RUNS = 0.4  # share of its nominal watts from which a fan turns; from memory


def _heat(state: str, element: str) -> Callable[[Runs, str], Words]:
    """Heat of one element in a mode."""

    def observer(runs: Runs, _: str) -> Words:
        return heat(share(runs, state, [element]))

    return observer


def _quits(state: str, element: str) -> Callable[[Runs, str], Words]:
    """Whether an element that heats in a mode goes cold once everything is warm; empty if it never heats."""

    def observer(runs: Runs, _: str) -> Words:
        cold = share(runs, state, [element]) < SOME_HEAT
        return words([cold, share(runs, f"warm {state}", [element]) < SOME_HEAT], ["", "quits"], "keeps")

    return observer


def _stays_red(runs: Runs, _: str) -> Words:
    """Elements that stay red while the control rests between its cycles."""
    lower = share(runs, "bake rest", ["bake_element"]) >= GLOWS
    upper = share(runs, "bake rest", ["broil_element"]) >= GLOWS
    return words([lower & upper, lower, upper], ["both", "lower", "upper"], "none")


def _warm_display(runs: Runs, _: str) -> Words:
    """The display once the oven has been hot for a while; empty where it is dark from the start."""
    dark = display_grade(runs.fleet, runs.at["idle"]) > 1
    return words([dark, display_grade(runs.fleet, runs.at["warm bake"]) > 1], ["", "dark"], "lit")


def _lamp(state: str) -> Callable[[Runs, str], Words]:
    def observer(runs: Runs, _: str) -> Words:
        return words([lamp_lit(runs, state, "oven_lamp")], ["lit"], "dark")

    return observer


def turns(runs: Runs, state: str, fan: str) -> Mask:
    """Where a fan turns: it has its power and is not seized."""
    column = runs.fleet.wiring.network.branch_number()[fan]
    full = 120.0**2 / runs.fleet.wiring.impedance[fan].real
    moving: Mask = (runs.at[state].watts([fan]) > FAN_RUNS * full) & ~runs.fleet.seized[:, column]
    return moving


def _fan(state: str, fan: str) -> Callable[[Runs, str], Words]:
    def observer(runs: Runs, _: str) -> Words:
        return words([turns(runs, state, fan)], ["turns"], "still")

    return observer


BY_UNIT: dict[str, Observer] = {}

WHOLE = {
    "oven.convection.heat": Observer(_heat("convection", "convection_element"), needs=("convection_element",)),
    "oven.bake.quits": Observer(_quits("bake", "bake_element"), needs=("bake_element",)),
    "oven.broil.quits": Observer(_quits("broil", "broil_element"), needs=("broil_element",)),
    "oven.convection.quits": Observer(_quits("convection", "convection_element"), needs=("convection_element",)),
    "oven.stays_red": Observer(_stays_red, needs=("bake_element",)),
    "oven.warm_display": Observer(_warm_display, needs=("control", "bake_element")),
    "oven.lamp_door": Observer(_lamp("door open"), needs=("oven_lamp",)),
    "oven.lamp_off": Observer(_lamp("idle"), needs=("oven_lamp",)),
    "oven.fan": Observer(_fan("convection", "convection_fan"), needs=("convection_fan",)),
    "oven.cooling_air": Observer(_fan("bake", "cooling_fan"), needs=("cooling_fan",)),
    "other_oven.heat": Observer(_heat("other bake", "other_element"), needs=("other_element",)),
}
