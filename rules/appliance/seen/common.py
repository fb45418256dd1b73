"""What all observers share: from shares of power and voltage to the words of the vocabulary.

An observer takes the :class:`~rules.appliance.operating.Runs` of many machines and, for a unit's facts, the unit (else
an empty string), and gives one word a machine; an empty word means that the question makes no sense there (how food
browns in an oven that stays cold). One that gives numbers leaves the words to the bands of the vocabulary.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rules.appliance.operating import Runs, total_watts

Words = NDArray[np.str_]
Numbers = NDArray[np.float64]
Mask = NDArray[np.bool_]

SOME_HEAT, FULL_HEAT = 0.02, 0.85  # shares of nominal watts: below "none", from "normal"; 208 V gives 0.75
LAMP_LIT, LAMP_NORMAL = 0.2, 0.75  # shares of nominal lamp watts


@dataclass(frozen=True)
class Observer:
    """How a fact is seen. ``look`` gives words; ``measure`` numbers in the unit of the fact's bands, or as multiples
    of what is expected where the bands are relative. ``needs`` are branches or elements, ``{unit}`` filled in,
    without which the appliance has nothing to see.
    """

    look: Callable[[Runs, str], Words] | None = None
    measure: Callable[[Runs, str], Numbers] | None = None
    needs: tuple[str, ...] = ()


def words(conditions: list[Mask], names: list[str], otherwise: str) -> Words:
    """The first name whose condition holds, machine by machine."""
    return np.select(conditions, names, otherwise)


def yes(mask: Mask) -> Words:
    """``yes`` or ``no``."""
    return words([mask], ["yes"], "no")


def heat(share: Numbers) -> Words:
    """``none``, ``weak`` or ``normal``, from the share of nominal watts."""
    return words([share < SOME_HEAT, share < FULL_HEAT], ["none", "weak"], "normal")


def nominal(runs: Runs, elements: list[str]) -> float:
    """Nominal watts of some elements together."""
    return sum(runs.fleet.wiring.nominal_watts[element] for element in elements)


def share(runs: Runs, state: str, elements: list[str]) -> Numbers:
    """Watts of some elements in a state, as a share of their nominal watts."""
    return total_watts(runs.at[state], elements) / nominal(runs, elements)


def rings(runs: Runs, unit: str) -> list[str]:
    """The elements of a surface unit."""
    return [e for e in runs.fleet.wiring.elements if e.startswith(f"{unit}.")]


def lamp_lit(runs: Runs, state: str, lamp: str) -> Mask:
    """Where a 120 V lamp gives light."""
    full = 120.0**2 / runs.fleet.wiring.impedance[lamp].real
    return runs.at[state].watts([lamp]) > LAMP_LIT * full
