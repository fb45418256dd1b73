"""Supply readings at the terminal block or the service: each voltage against its range, and what they say together.

Ranges are those of ANSI C84.1-2020, range A, at the service (114-126, 228-252, 197-219 V; found) and at utilisation
(108-126 V, found; 216-252 V, and 187-218 V on 208, its -10/+5 %). Older editions print 110 V as the lowest utilisation
voltage; the 2020 figures are followed. Only readings at the service point can put the blame on the utility.

No voltage proves a leg unless it is measured with a 240 V load switched on: an open joint passes the current of a
10 megohm meter freely, and through an element that is switched on a lost leg shows the other leg's full 120 V.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from rules.electrical.verdict import Band, Basis, Verdict, Word, cannot_tell, judge, made, wrong

System = Literal["120/240", "208Y/120"]
Point = Literal["block", "service"]

NOMINAL: dict[System, float] = {"120/240": 240.0, "208Y/120": 208.0}
LEG_BANDS: dict[Point, Band] = {"service": (114.0, 126.0), "block": (108.0, 126.0)}
LINE_BANDS: dict[tuple[System, Point], Band] = {
    ("120/240", "service"): (228.0, 252.0),
    ("120/240", "block"): (216.0, 252.0),
    ("208Y/120", "service"): (197.0, 219.0),
    ("208Y/120", "block"): (187.0, 218.0),
}
#: Range B of the same edition: an excursion that should be mended in time. Found: service 110-127 and 220-254 V,
#: utilisation 104-127 V. Computed from those shares of nominal: the other three.
LEG_BANDS_B: dict[Point, Band] = {"service": (110.0, 127.0), "block": (104.0, 127.0)}
LINE_BANDS_B: dict[tuple[System, Point], Band] = {
    ("120/240", "service"): (220.0, 254.0),
    ("120/240", "block"): (208.0, 254.0),
    ("208Y/120", "service"): (191.0, 220.0),
    ("208Y/120", "block"): (180.0, 220.0),
}
#: What L1-L2 shows in a three-phase building, as in the vocabulary of facts.
THREE_PHASE: Band = (197.0, 219.0)
NEUTRAL_BAND: Band = (0.0, 2.0)  # loaded, 4-wire; common practice, no source
DROP_BAND: Band = (0.0, 3.0)  # percent, no load to full load; common practice, no source
DEAD = 15.0  # under this a leg is dead, as in the vocabulary
LEG_ALIVE = 90.0

_RANGE = Basis(
    "within -5/+5 % of nominal at the service, -10/+5 % at the block",
    "ANSI C84.1-2020 range A; range B -8.3/+5.8 % and -13/+5.8 % (figures found on citing pages)",
    "found",
)
_PATTERN = Basis(
    "L1-L2 = (L1-N) + (L2-N) on 120/240, 1.732 x L1-N on 208Y/120; what does not add up names the break",
    "Kirchhoff's voltage law; the signatures recomputed by nodal analysis",
    "computed",
)
_NEUTRAL = Basis("volts from neutral to ground with loads on, under 2 V", "trade", "common practice, no source")
_DROP = Basis(
    "(no-load volts - loaded volts) / no-load volts, within 3 %",
    "NEC 210.19 informational note, 3 % on a branch circuit, advice only (found); here from the block itself",
    "found",
)


@dataclass(frozen=True)
class Readings:
    """Volts at one point. ``loaded``: several 240 V units were on. ``low_impedance``: the meter drew about 3 kohm."""

    l1_n: float | None = None
    l2_n: float | None = None
    l1_l2: float | None = None
    n_g: float | None = None
    loaded: bool = False
    low_impedance: bool = False
    system: System = "120/240"
    point: Point = "block"


def supply_verdicts(readings: Readings) -> list[Verdict]:
    """The verdict on all readings together, if the three line voltages are there, then on each of them.

    Raises InputError if there is no reading at all, or one that is negative or no number.
    """
    _check(readings)
    verdicts = [_each(name, volts, readings) for name, volts in _named(readings) if volts is not None]
    if None not in (readings.l1_n, readings.l2_n, readings.l1_l2):
        verdicts.insert(0, pattern_verdict(readings))
    if readings.n_g is not None:
        verdicts.append(neutral_verdict(readings.n_g, readings.loaded))
    return verdicts


def _named(readings: Readings) -> list[tuple[str, float | None]]:
    return [("L1-N", readings.l1_n), ("L2-N", readings.l2_n), ("L1-L2", readings.l1_l2)]


def _check(readings: Readings) -> None:
    if readings.system not in NOMINAL or readings.point not in LEG_BANDS:
        raise wrong("system", f"write one of {', '.join(NOMINAL)}, and block or service for the point")
    given = [(name, volts) for name, volts in [*_named(readings), ("N-G", readings.n_g)] if volts is not None]
    if not given:
        raise wrong("volts", "no reading given; write at least one of L1-N, L2-N, L1-L2 and N-G")
    for name, volts in given:
        if not math.isfinite(volts) or volts < 0:
            raise wrong(name, "must be zero or more volts; write what the meter shows, for example '121 V'")


def _each(name: str, volts: float, readings: Readings) -> Verdict:
    between, point = name == "L1-L2", readings.point
    band = LINE_BANDS[readings.system, point] if between else LEG_BANDS[point]
    wider = LINE_BANDS_B[readings.system, point] if between else LEG_BANDS_B[point]
    what = f"{name}, {'loaded' if readings.loaded else 'no load'}"
    idle = "" if readings.loaded else " Without load this proves little: repeat with several units on."
    if volts < DEAD:
        nothing = {"L1-L2": "Nothing between the legs: one of them is open, and hangs on the other if it shows volts."}
        means_dead = nothing.get(name, "Nothing there: that leg, or the neutral, is open.")
        return made(what, volts, "V", band, "open", means_dead, _RANGE)
    who = "the utility's to mend" if point == "service" else "compare with the receptacle and the service"
    spare = " Range B allows it for a time." if wider[0] <= volts <= wider[1] else " Outside range B too."
    means: dict[Word, str] = {
        "low": f"Under the range of the standard: {who}.{spare}",
        "as expected": f"In the range of the standard.{idle}",
        "high": f"Over the range of the standard: suspect the neutral, then the utility.{spare}",
    }
    return judge(what, volts, "V", band, _RANGE, means)


def pattern_verdict(readings: Readings) -> Verdict:
    """What the three line voltages say together; value and band are those of L1-L2."""
    if readings.l1_n is None or readings.l2_n is None or readings.l1_l2 is None:
        means = "All three of L1-N, L2-N and L1-L2 are needed to see which conductor is open."
        return cannot_tell("supply", None, "V", means, _PATTERN)
    volts = _Volts(readings.l1_n, readings.l2_n, readings.l1_l2, readings)
    for look in _LOOKS:
        found = look(volts)
        if found is not None:
            word, means = found
            return made("supply", volts.line, "V", _line_band(readings), word, means, _PATTERN)
    means = "The three readings do not fit together: repeat them one after another with the same loads on."
    return cannot_tell("supply", volts.line, "V", means, _PATTERN)


@dataclass(frozen=True)
class _Volts:
    l1: float
    l2: float
    line: float
    given: Readings

    @property
    def low_leg(self) -> float:
        return min(self.l1, self.l2)

    @property
    def high_leg(self) -> float:
        return max(self.l1, self.l2)

    @property
    def weak(self) -> str:
        return "L1" if self.l1 < self.l2 else "L2"


Finding = tuple[Word, str] | None


def _line_band(readings: Readings) -> Band:
    return LINE_BANDS[readings.system, readings.point]


def _all_dead(volts: _Volts) -> Finding:
    if max(volts.high_leg, volts.line) >= DEAD:
        return None
    return "open", "No supply: breaker off or half tripped, unplugged, or both legs open."


def _swapped_neutral(volts: _Volts) -> Finding:
    """A leg on the neutral stud: one leg reads the full line voltage while the line reads a leg."""
    if volts.high_leg < 180 or not LEG_ALIVE <= volts.line <= 140 or not LEG_ALIVE <= volts.low_leg <= 140:
        return None
    return (
        "high",
        "Neutral and a leg are swapped in the cord or receptacle: 120 V parts get full line volts. Breaker off.",
    )


def _lost_leg(volts: _Volts) -> Finding:
    """Both legs alive to neutral and nothing between them: one is the other, seen through an element."""
    if volts.low_leg < LEG_ALIVE or volts.line >= max(DEAD, 0.15 * NOMINAL[volts.given.system]):
        return None
    return "open", (
        "One leg is open: both show 120 V because a unit that is on feeds the lost one back from the other."
        " A low-impedance meter does not clear that. Switch every unit off to see which leg falls. If both stay up with"
        " nothing on, both hots hang on one leg in the cord, receptacle or panel: an electrician's."
    )


def _one_dead_leg(volts: _Volts) -> Finding:
    if volts.high_leg < LEG_ALIVE or volts.high_leg > 140 or volts.low_leg >= DEAD or volts.line > 140:
        return None
    return "open", f"Leg {volts.weak} is open ahead of this point: breaker pole, receptacle, cord or block."


def _ghost_leg(volts: _Volts) -> Finding:
    """A leg between dead and alive while the other is whole: a ghost, or a feed through something small."""
    if not DEAD <= volts.low_leg < LEG_ALIVE or not LEG_ALIVE <= volts.high_leg <= 140 or volts.line > 180:
        return None
    if volts.given.low_impedance:
        return (
            "open",
            f"Leg {volts.weak} is open and fed back through a load: a low-impedance meter clears a ghost, not this.",
        )
    return "cannot tell", (
        f"Leg {volts.weak} may be open and show a ghost, {ghost_volts(100, 100):.0f} to {ghost_volts(1000, 1000):.0f} V"
        " through the cable's own capacitance on a 10 megohm meter. Repeat on low impedance, or with a unit on."
    )


def _weak_leg(volts: _Volts) -> Finding:
    """One leg whole, the other low, and the line as low as their sum: that leg loses volts on the way."""
    nominal, low = NOMINAL[volts.given.system], LEG_BANDS[volts.given.point][0]
    if volts.low_leg >= low or not low <= volts.high_leg <= LEG_BANDS["block"][1] + 1:
        return None
    adds_up = abs(volts.line - volts.l1 - volts.l2) <= 0.05 * volts.line + 2
    if not adds_up if volts.given.system == "120/240" else volts.line < 0.6 * nominal:
        return None
    return "low", f"Leg {volts.weak} loses volts on the way here: a burnt joint or breaker pole. Find it under load."


def _open_neutral(volts: _Volts) -> Finding:
    """The line is whole and the legs share it unequally: no neutral holds the middle."""
    nominal = NOMINAL[volts.given.system]
    if not 0.85 * nominal <= volts.line <= 1.1 * nominal or _balanced(volts):
        return None
    if volts.high_leg > 140 or volts.low_leg < LEG_ALIVE:
        return "open", (
            "The neutral is open: the two 120 V sides share the line volts by their loads, and controls burn out."
            " On a 3-wire circuit the frame may be live. Breaker off."
        )
    if volts.high_leg > LEG_BANDS["block"][1] and volts.given.loaded:
        return (
            "high",
            "One leg is pushed up and the other down under load: a poor neutral joint, here or on the house side.",
        )
    return "cannot tell", (
        "The legs differ by more than 2 %. Compare without load and with a lamp, a fan and several units on: a poor"
        " neutral pushes one leg up as the other falls, a poor joint on a leg only lets that leg fall."
    )


def _balanced(volts: _Volts) -> bool:
    return volts.high_leg - volts.low_leg <= 0.02 * volts.high_leg + 0.5


def _three_phase(volts: _Volts) -> Finding:
    if volts.given.system != "120/240" or volts.low_leg < 112 or not THREE_PHASE[0] <= volts.line <= THREE_PHASE[1]:
        return None
    return (
        "low",
        "208 V: two legs of a three-phase building. Every 240 V unit gives three quarters of its heat; no fault.",
    )


def _in_or_out_of_range(volts: _Volts) -> Finding:
    """Readings that add up: only their size is left to judge."""
    factor = 2.0 if volts.given.system == "120/240" else math.sqrt(3)
    if not _balanced(volts) or abs(volts.line - factor * (volts.l1 + volts.l2) / 2) > 0.04 * volts.line + 2:
        return None
    low, high = _line_band(volts.given)
    if volts.line < low:
        return (
            "low",
            "Both legs are low together: a long or thin supply, or the utility. Heat falls with the square of it.",
        )
    if volts.line > high:
        return "high", "Both legs are high together: the utility's to mend; parts age fast."
    if not volts.given.loaded:
        return "as expected", "Right without load, which proves little: an open joint shows only with 240 V units on."
    return "as expected", "Both legs and the neutral hold under load."


_LOOKS: tuple[Callable[[_Volts], Finding], ...] = (
    _all_dead,
    _swapped_neutral,
    _lost_leg,
    _one_dead_leg,
    _weak_leg,
    _ghost_leg,
    _open_neutral,
    _three_phase,
    _in_or_out_of_range,
)


def neutral_verdict(volts: float, loaded: bool) -> Verdict:
    """Judge volts from neutral to the supply's ground; a 3-wire circuit's frame is no ground to measure against."""
    if not math.isfinite(volts) or volts < 0:
        raise wrong("N-G", "must be zero or more volts; write what the meter shows, for example '0.4 V'")
    if volts > 30:
        means = "The neutral is open and stands at a voltage that can kill: breaker off, do not touch the frame."
        return made("N-G", volts, "V", NEUTRAL_BAND, "open", means, _NEUTRAL)
    if not loaded and volts <= NEUTRAL_BAND[1]:
        means = "Low without load, which proves nothing: repeat with a lamp or fan on, against the supply's own ground."
        return made("N-G", volts, "V", NEUTRAL_BAND, "cannot tell", means, _NEUTRAL)
    words: dict[Word, str] = {
        "as expected": "The neutral holds. With a bond strap this proves nothing: measure to the supply's ground.",
        "high": "A poor neutral joint, or a long supply: measure across each joint under load.",
    }
    return judge("N-G", volts, "V", NEUTRAL_BAND, _NEUTRAL, words)


def drop_under_load_verdict(no_load: float, loaded: float) -> Verdict:
    """Judge the fall of L1-L2 at one point, in percent, from no load to several units on."""
    for volts, field in ((no_load, "no-load volts"), (loaded, "loaded volts")):
        if not math.isfinite(volts) or volts < 0:
            raise wrong(field, "must be zero or more; write what the meter shows, for example '241 V'")
    if no_load < DEAD:
        raise wrong("no-load volts", "there is nothing to fall from; find the lost supply first")
    means: dict[Word, str] = {
        "low": "It rose: other loads in the building changed. Repeat both readings.",
        "as expected": "The joints and cable up to here carry the load.",
        "high": "Too much is lost on the way: measure across each joint under load, hottest first.",
    }
    fall = 100 * (no_load - loaded) / no_load
    word: Word = "as expected" if -0.5 <= fall < 0 else "low"  # a rise of half a percent is the meter's own error
    if fall < 0:
        return made("fall under load", fall, "%", DROP_BAND, word, means[word], _DROP)
    return judge("fall under load", fall, "%", DROP_BAND, _DROP, means)


def open_neutral_volts(first_ohms: float, second_ohms: float, line: float = 240.0) -> tuple[float, float]:
    """Volts on two 120 V loads that an open neutral leaves in series across the line; inf is a side with nothing on."""
    for ohms in (first_ohms, second_ohms):
        if math.isnan(ohms) or ohms <= 0:
            raise wrong("load ohms", "must be above zero; write OL for a side with nothing on")
    if math.isinf(first_ohms) and math.isinf(second_ohms):
        raise wrong("load ohms", "with nothing on either side the neutral floats; write one load at least")
    if math.isinf(first_ohms):
        return line, 0.0
    share = 0.0 if math.isinf(second_ohms) else first_ohms / (first_ohms + second_ohms)
    return line * share, line * (1 - share)


def ghost_volts(
    to_live_pf: float, to_ground_pf: float, meter_ohms: float = 10e6, volts: float = 120.0, hertz: float = 60.0
) -> float:
    """Volts a meter shows on an unconnected wire that runs beside a live one, by their capacitance in picofarads."""
    if min(to_live_pf, to_ground_pf) < 0 or not to_live_pf + to_ground_pf > 0 or not meter_ohms > 0:
        raise wrong("capacitance", "must be zero or more picofarads, and the meter's ohms above zero")
    pulse = 2 * math.pi * hertz * 1e-12
    return volts * abs(1j * pulse * to_live_pf / (1j * pulse * (to_live_pf + to_ground_pf) + 1 / meter_ohms))


def back_feed_volts(element_ohms: float, meter_ohms: float = 10e6, volts: float = 120.0) -> float:
    """Volts a meter shows on a lost leg that is fed through an element: nearly all, even on low impedance."""
    if not element_ohms >= 0 or not meter_ohms > 0:
        raise wrong("element ohms", "must be zero or more ohms, and the meter's ohms above zero")
    return volts * meter_ohms / (meter_ohms + element_ohms)
