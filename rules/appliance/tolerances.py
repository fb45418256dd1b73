"""How far sound parts, the supply and the size of a fault stand from the figures in the book.

No two ranges are alike: a leak of 2,500 ohm in the book stands for leaks about that size, and what is near the edge of
a band in the middle of the tolerances falls into the next one on many a range. What a machine shows is therefore taken
at three points of every tolerance, weighted so that the mean of any polynomial up to the fifth degree comes out right
(Gauss-Hermite quadrature with three nodes; Abramowitz and Stegun 1964, table 25.10, checked against numpy's
``hermegauss`` in the tests).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from rules.appliance.injecting import SHARES, Machine, machines
from rules.appliance.panel import FROM_ZERO
from rules.appliance.wiring import LEG_VOLTS, Wiring
from rules.bookkeeping.types import Effect

#: Standard deviations from the middle, and how many sixths what is seen there counts.
NODES: tuple[tuple[float, int], ...] = ((0.0, 4), (-math.sqrt(3), 1), (math.sqrt(3), 1))

AMOUNTS_SD = 0.3  # of the logarithm of a fault's size; common practice, no source
SUPPLY_VOLTS_SD = 2.0  # so that 114 to 126 V, service range A of ANSI C84.1, is three of them either way
WATTS_SD = 0.025  # of the nameplate, which allows 90 to 105 %; common practice, no source
SENSOR_OHMS_SD = 1.0  # common practice, no source
OVEN_SPREAD_F_SD = 3.0  # between ovens in good order that are set alike; common practice, no source

WHOLE_NUMBERS = ("line_open", "undersized", "fitted")  # modes whose amount is a number of something, not a size
MULTIPLES = ("wrong_ohms", "drift")  # modes whose amount is a multiple of what it should be, 1 for a sound part
STEADY = ("low_voltage", "uneven")  # modes whose amount is a share of the supply, which is spread by itself


def moved(mode: str, amount: float, by: float) -> float:
    """The size of a fault, ``by`` in logarithms off the book's; shares stay shares."""
    if mode in WHOLE_NUMBERS or (mode in FROM_ZERO and amount in (0, 1)):
        return amount
    if mode in MULTIPLES and amount >= 1:
        return 1 + (amount - 1) * math.exp(by)
    if mode in (*SHARES, *FROM_ZERO, *MULTIPLES):
        share = min(max(amount, 0.02), 0.98)
        odds = share / (1 - share) * math.exp(2 * by)
        return odds / (1 + odds)
    return amount * math.exp(0.1 * by if mode in STEADY else by)


def machines_off(wiring: Wiring, effects: Sequence[Effect], where: str | None, node: float) -> list[Machine]:
    """As :func:`rules.appliance.injecting.machines`, everything ``node`` standard deviations off the book's figures."""
    sized = [
        replace(effect, amounts=tuple(moved(effect.mode, amount, node * AMOUNTS_SD) for amount in effect.amounts))
        for effect in effects
    ]
    made = machines(wiring, sized, where)
    for machine in made:
        put_off(machine, wiring, node)
    return made


def put_off(machine: Machine, wiring: Wiring, node: float) -> None:
    """Put the supply and all that is sound of a machine ``node`` standard deviations off its nominal figure."""
    for ends in wiring.elements.values():
        for half in ends:
            machine.ohms[half] = machine.ohms.get(half, wiring.impedance[half]) / (1 + node * WATTS_SD)
    machine.supply_share *= 1 + node * SUPPLY_VOLTS_SD / LEG_VOLTS
    machine.sensor_series += node * SENSOR_OHMS_SD
    machine.displaced_f += node * OVEN_SPREAD_F_SD
