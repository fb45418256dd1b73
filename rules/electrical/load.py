"""A range against its circuit: demand by the code, the smallest branch circuit, and when a breaker may trip.

Sections are those of NEC 2023 unless named; editions and local amendments differ, so ask the authority having
jurisdiction. A 12 kW range can draw 50 A on the 40 A circuit that the code allows it: late or no tripping there is
normal sizing, not a fault of the breaker.
"""

from __future__ import annotations

import math

from rules.electrical.verdict import Basis, Verdict, Word, checked, judge, made, positive, wrong

#: Column C of NEC table 220.55, kW for one to ten ranges not over 12 kW. Found: one and ten. From memory: the rest.
COLUMN_C = (8.0, 11.0, 14.0, 17.0, 20.0, 21.0, 22.0, 23.0, 24.0, 25.0)
LEAST_KW, MOST_KW = 1.75, 27.0
BIG_RANGE_KW, BIG_RANGE_AMPS = 8.75, 40.0
#: Amperes of copper at the 60 C column of NEC table 310.16, by AWG; from memory.
AMPACITY_60C = {14: 15.0, 12: 20.0, 10: 30.0, 8: 40.0, 6: 55.0, 4: 70.0}
#: Standard breakers, A; the next one above the wire's amperes is allowed by NEC 240.4(B), both from memory.
BREAKERS = (15.0, 20.0, 25.0, 30.0, 35.0, 40.0, 45.0, 50.0, 60.0, 70.0, 80.0)

_DEMAND = Basis(
    "demand = column C, plus 5 % for each kW or major fraction over 12 kW; amperes = demand / volts",
    "NEC 2023 table 220.55 and its note 1; 210.19 for 40 A at 8 3/4 kW or more (found). Ask the authority having"
    " jurisdiction",
    "found",
)
_TRIP = Basis(
    "holds 100 %; trips within 1 h at 135 % (2 h over 50 A); within 2 min at 200 % up to 30 A, 4 min up to 50 A",
    "UL 489 (1 h and 2 min found; 2 h, 4 min and 6 min from memory)",
    "from memory",
)


def demand_kw(rating_kw: float, ranges: int = 1) -> float:
    """Demand in kW of one to ten equal ranges by NEC 2023 table 220.55, column C and note 1.

    Below 8 kW a single range's demand is its rating. Raises InputError outside 1.75 to 27 kW.
    """
    if not LEAST_KW < checked(rating_kw, "range rating") <= MOST_KW:
        raise wrong("range rating", f"the table covers over {LEAST_KW} to {MOST_KW:.0f} kW; write the plate's kW")
    if not 1 <= ranges <= len(COLUMN_C):
        raise wrong("ranges", f"write how many, 1 to {len(COLUMN_C)}")
    over = rating_kw - 12.0
    steps = max(0, math.floor(over + 0.5 + 1e-9))  # a major fraction is a half or more: 12.5 counts as one
    return min(COLUMN_C[ranges - 1] * (1 + 0.05 * steps), rating_kw * ranges)


def demand_amps(rating_kw: float, volts: float = 240.0) -> float:
    """Amperes of one range's demand at the supply's volts."""
    return 1000 * demand_kw(rating_kw) / positive(volts, "supply volts", "volts")


def least_circuit_amps(rating_kw: float, volts: float = 240.0) -> float:
    """The smallest breaker the code lets a range have: its demand, and 40 A from 8 3/4 kW on."""
    return max(demand_amps(rating_kw, volts), BIG_RANGE_AMPS if rating_kw >= BIG_RANGE_KW else 0.0)


def breaker_verdict(breaker_amps: float, rating_kw: float, volts: float = 240.0, awg: int | None = None) -> Verdict:
    """Judge a breaker against the range's demand and, if the wire size is known, against the wire it protects."""
    positive(breaker_amps, "breaker", "amperes")
    least, most = least_circuit_amps(rating_kw, volts), _largest_for_wire(awg)
    full = 1000 * rating_kw / volts
    said = f"Demand {demand_kw(rating_kw):.1f} kW, {demand_amps(rating_kw, volts):.1f} A; all on would be {full:.0f} A"
    if breaker_amps > most:
        means = f"{said}. More than {awg} AWG copper may have: the cable is unprotected. An electrician's, now."
        return made("breaker", breaker_amps, "A", (0.0, most), "high", means, _DEMAND)
    means_of: dict[Word, str] = {
        "low": f"{said}. Too small a circuit: an electrician's to change, with its cable.",
        "as expected": f"{said}, {100 * full / breaker_amps:.0f} % of the breaker.",
    }
    return judge("breaker", breaker_amps, "A", (least, most if most >= least else math.inf), _DEMAND, means_of)


def _largest_for_wire(awg: int | None) -> float:
    """The largest breaker copper of this size may have; where no breaker is made for its amperes, the next larger."""
    if awg is None:
        return math.inf
    if awg not in AMPACITY_60C:
        raise wrong("wire size", f"write one of {', '.join(map(str, AMPACITY_60C))} AWG")
    return next(size for size in BREAKERS if size >= AMPACITY_60C[awg])


def trip_limit_s(load_amps: float, breaker_amps: float) -> float:
    """Seconds within which a sound breaker must have tripped at this load; inf below 135 % of its rating."""
    share = checked(load_amps, "load") / positive(breaker_amps, "breaker", "amperes")
    if share < 0:
        raise wrong("load", "must be zero or more amperes; write what the clamp shows")
    # Shares like 54/40 come out a hair under their decimal value.
    if share >= 2 - 1e-9:
        return 120.0 if breaker_amps <= 30 else 240.0 if breaker_amps <= 50 else 360.0
    if share >= 1.35 - 1e-9:
        return 3600.0 if breaker_amps <= 50 else 7200.0
    return math.inf


def trip_verdict(load_amps: float, breaker_amps: float, tripped_after_s: float | None = None) -> Verdict:
    """Judge a clamped load, in percent of the breaker; or the time until it tripped at that load, in minutes.

    ``tripped_after_s`` is inf for a breaker that was seen to hold, None if nothing was seen.
    """
    limit, share = trip_limit_s(load_amps, breaker_amps), 100 * load_amps / breaker_amps
    band = (0.0, 100.0)
    must = "it need not trip" if math.isinf(limit) else f"it must trip within {limit / 60:.0f} min"
    if tripped_after_s is None:
        means: dict[Word, str] = {
            "as expected": "It must hold this load without end.",
            "high": f"Over its rating: {must}.",
        }
        return judge("load on breaker", share, "%", band, _TRIP, means)
    if math.isnan(tripped_after_s) or tripped_after_s < 0:
        raise wrong("tripped after", "must be zero or more; write the time to the trip, for example '20 min'")
    what, minutes = f"trip at {share:.0f} % of the breaker", tripped_after_s / 60
    if share <= 100 and not math.isinf(tripped_after_s):
        weak = "It tripped at a load it must hold: a weak breaker or a hot joint at it. An electrician's."
        return made(what, minutes, "min", None, "low", weak, _TRIP)
    allowed: dict[Word, str] = {
        "as expected": f"At this load {must}: it does what it should. Look for the load, not at the breaker.",
        "high": f"At this load {must}, and it did not: it fails to protect. Breaker off, electrician.",
    }
    return judge(what, minutes, "min", (0.0, limit / 60), _TRIP, allowed)
