"""Current to the frame: limits, what a leak's resistance lets through, and when a ground-fault breaker trips.

The North American limit for ranges was not found; the ground-fault breaker's own threshold is the practical one here,
and IEC 60335-1 clause 13.2 (clause text found) is given for comparison. Its part 2-6 changes that figure for ranges;
its text was not found, so the general clause is followed and says so.
"""

from __future__ import annotations

import math
from typing import Literal

from rules.electrical.verdict import Basis, Verdict, Word, judge, made, not_negative, positive, wrong

Construction = Literal["stationary heating", "stationary motor", "portable", "class II", "class 0, 0I or III"]

GFCI_HOLDS_MA, GFCI_TRIPS_MA = 4.0, 6.0
COLD_OHMS, NEW_OHMS = 1e6, 20e6
LET_GO_MA = 6.0

_GFCI = Basis(
    "class A trips from 6 mA on, holds below 4 mA; within (20 / mA)^1.43 s",
    "UL 943 class A, as cited (thresholds and formula found)",
    "found",
)
_IEC = Basis(
    "stationary heating appliance of class I: 0.75 mA, or 0.75 mA per kW if more, at most 5 mA",
    "IEC 60335-1 clause 13.2 (found); part 2-6 for ranges differs and was not found",
    "found",
)
_OHMS = Basis(
    "leak in mA = 120 V / ohms; 1 megohm or more cold, 20 megohm typical of a new dry tubular element at 500 V DC",
    "1 megohm from the trade; 20 megohm from a heater maker's page (found); 30 kohm = 4 mA computed",
    "common practice, no source",
)


def iec_limit_ma(rating_kw: float, construction: Construction = "stationary heating") -> float:
    """Leakage limit in mA of IEC 60335-1 clause 13.2 for an appliance of ``rating_kw``."""
    fixed = {"stationary motor": 3.5, "portable": 0.75, "class II": 0.25, "class 0, 0I or III": 0.5}
    positive(rating_kw, "rating", "kW")
    if construction == "stationary heating":
        return min(5.0, max(0.75, 0.75 * rating_kw))
    if construction not in fixed:
        raise wrong("construction", f"write stationary heating, {', '.join(fixed)}")
    return fixed[construction]


def gfci_trip_s(milliamps: float) -> float:
    """Longest time to trip of a class A ground-fault breaker, in s: inf below 4 mA, 0.025 s from 264 mA on.

    Between 4 and 6 mA it may or may not trip; the formula's value is then what it takes if it does.
    """
    if not_negative(milliamps, "leakage", "mA") < GFCI_HOLDS_MA:
        return math.inf
    return float((20.0 / min(milliamps, 264.0)) ** 1.43)


def leak_ma(ohms: float, volts: float = 120.0) -> float:
    """Milliamperes through a leak of ``ohms`` at ``volts`` to frame; 0 for an open line, inf for no ohms at all."""
    if math.isnan(ohms) or ohms < 0:
        raise wrong("leak ohms", "is not a resistance; write ohms, kohm or Mohm, or OL")
    return math.inf if ohms == 0 else 1000 * volts / ohms


def leakage_verdict(milliamps: float, rating_kw: float | None = None) -> Verdict:
    """Judge a leakage clamp round L1, L2 and N, in mA: by IEC 60335-1 if a rating is given, else by the GFCI's 4 mA."""
    not_negative(milliamps, "leakage", "mA")
    trips = _gfci_words(milliamps)
    limit = GFCI_HOLDS_MA if rating_kw is None else iec_limit_ma(rating_kw)
    means: dict[Word, str] = {
        "as expected": f"Within the limit. {trips}",
        "high": f"Too much to the frame. {trips} Measure each element to its sheath; a damp one may dry out.",
    }
    if milliamps > LET_GO_MA:
        means["high"] += " Over 6 mA some people cannot let go: breaker off until the ground is proved."
    return judge("leakage", milliamps, "mA", (0.0, limit), _GFCI if rating_kw is None else _IEC, means)


def _gfci_words(milliamps: float) -> str:
    if milliamps < GFCI_HOLDS_MA:
        return "A ground-fault breaker holds."
    if milliamps < GFCI_TRIPS_MA:
        return "A ground-fault breaker may trip."
    return f"A ground-fault breaker trips within {gfci_trip_s(milliamps):.2g} s."


def sheath_verdict(ohms: float, test_volts: float | None = None) -> Verdict:
    """Judge an element's ohms to its sheath (``inf`` for open line), with its wires lifted.

    ``test_volts`` is that of a megohm tester; None is a hand meter, whose open line shows no hard short and nothing
    more, because damp insulation breaks down only under hundreds of volts.
    """
    band, milliamps = (COLD_OHMS, math.inf), leak_ma(ohms)
    what = "element to sheath"
    if ohms < 1000:
        means = "It touches its sheath: replace it. Breaker off, it can glow with the control off."
        return made(what, ohms, "ohm", band, "short", means, _OHMS)
    if math.isinf(ohms) and test_volts is None:
        means = "No hard short; a hand meter cannot see a leak that needs 500 V to show. Megohm test if it trips."
        return made(what, ohms, "ohm", band, "as expected", means, _OHMS)
    draws = f"{milliamps:.2g} mA at 120 V"
    damp = "Moisture: dry it out by heating and measure again; replace it if the ohms stay low."
    means_of: dict[Word, str] = {
        "low": f"{draws}. {_gfci_words(milliamps)} {damp}",
        "as expected": "Sound cold." if ohms >= NEW_OHMS else f"{draws}; usable, though a new dry one shows 20 megohm.",
    }
    return judge(what, ohms, "ohm", band, _OHMS, means_of)
