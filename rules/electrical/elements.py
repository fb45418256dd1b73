"""Heating elements: ohms from watts and back, the band a sound one lies in, and a wire that touches its sheath.

Nickel-chrome and iron-chrome-aluminium change little with heat: cold ohms are 0 to 5 % under the hot value, unlike a
filament lamp. Two published tables of that factor differ by up to 4.4 %; the maker's own is followed, because it is
the maker's measurement, and the other is kept for comparison.

Tolerance on watts: +5 / -10 %, the IEC 60335-1 clause 10.1 figure, from memory; the North American range standard's
power clause was not found.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from rules.electrical.verdict import OHM_METER, Basis, Meter, Verdict, Word, checked, judge, made, positive, wrong

WATTS_OVER, WATTS_UNDER = 1.05, 0.90
HOT_FACTOR = 1.04  # nickel-chrome at an oven element's working heat, about 800 C, by the maker's table
#: Outside these multiples of the expected ohms an element is called short or open, as in the vocabulary.
SHORT_SHARE, OPEN_SHARE = 0.2, 5.0

Table = Literal["maker", "grade standard"]
_TEMPS = (20, 100, 200, 300, 400, 500, 600, 700, 800, 900, 1000, 1100, 1200)
#: Resistance at temperature over resistance at 20 C, nickel-chrome 80/20, at _TEMPS in C. Both found.
_FACTORS: dict[Table, tuple[float, ...]] = {
    "maker": (1, 1.01, 1.02, 1.03, 1.04, 1.05, 1.04, 1.04, 1.04, 1.04, 1.05, 1.06, 1.07),
    "grade standard": (1, 1.006, 1.012, 1.018, 1.025, 1.026, 1.018, 1.010, 1.008, 1.010, 1.014, 1.021, 1.025),
}

_OHMS = Basis(
    "hot ohms = volts^2 / watts; cold from hot / (1.05 x 1.04) to hot / 0.90, widened by the meter's 0.9 % + 0.2 ohm",
    "Ohm's law; +5/-10 % of IEC 60335-1 10.1 from memory; hot/cold factor from a wire maker's data sheet (found)",
    "from memory",
)
_POWER = Basis(
    "watts = volts x amperes; expected = rated watts x (volts / rated volts)^2, +5/-10 %",
    "Joule's law; +5/-10 % of IEC 60335-1 10.1 from memory",
    "from memory",
)
_SHEATH = Basis(
    "amperes = 120 / (x ohms), watts = 120^2 / (x ohms), x the share of wire between the live end and the sheath",
    "Ohm's law, one side of the element live at 120 V to frame",
    "computed",
)


def ohms_from_watts(watts: float, volts: float = 240.0) -> float:
    """Hot ohms of an element of ``watts`` at ``volts``. Raises InputError for values not above zero."""
    return positive(volts, "rated volts", "volts") ** 2 / positive(watts, "rated watts", "watts")


def watts_from_ohms(ohms: float, volts: float = 240.0) -> float:
    """Watts that ``ohms`` take at ``volts``. Raises InputError for values not above zero."""
    return positive(volts, "rated volts", "volts") ** 2 / positive(ohms, "element ohms", "ohms")


def watts_at(watts: float, volts: float, rated_volts: float = 240.0) -> float:
    """Watts of an element off its rated volts: half the volts give a quarter, 208 for 240 V give three quarters."""
    if not math.isfinite(volts) or volts < 0:
        raise wrong("volts", "must be zero or more; write what the meter shows across the element")
    rated = positive(watts, "rated watts", "watts")
    return rated * (volts / positive(rated_volts, "rated volts", "volts")) ** 2


def hot_cold_factor(temp_c: float, table: Table = "maker") -> float:
    """Nickel-chrome 80/20 resistance at a temperature over that at 20 C; straight lines between the table's rows."""
    if not _TEMPS[0] <= checked(temp_c, "wire temperature") <= _TEMPS[-1]:
        raise wrong("wire temperature", f"the table runs from {_TEMPS[0]} to {_TEMPS[-1]} C; write one inside it")
    factors = _FACTORS[table]
    for index in range(1, len(_TEMPS)):
        if temp_c <= _TEMPS[index]:
            share = (temp_c - _TEMPS[index - 1]) / (_TEMPS[index] - _TEMPS[index - 1])
            return factors[index - 1] + share * (factors[index] - factors[index - 1])
    return factors[-1]


def cold_band(watts: float, volts: float = 240.0, meter: Meter = OHM_METER) -> tuple[float, float]:
    """Ohms a meter may show on a sound, cold element of ``watts`` at ``volts``."""
    hot = ohms_from_watts(watts, volts)
    return meter.widen((hot / (WATTS_OVER * HOT_FACTOR), hot / WATTS_UNDER))


def element_verdict(ohms: float, watts: float, volts: float = 240.0, meter: Meter = OHM_METER) -> Verdict:
    """Judge a cold element's ohms (``inf`` for open line), one lead lifted, against its rated watts and volts."""
    hot, band = ohms_from_watts(watts, volts), cold_band(watts, volts, meter)
    if math.isnan(ohms) or ohms < 0:
        raise wrong("element ohms", "is not a resistance; write what the meter shows, for example '22.3 ohm', or OL")
    what = f"element, {watts:.0f} W at {volts:.0f} V"
    if ohms > OPEN_SHARE * hot:
        means = "Broken wire or a terminal that has lost contact: it takes no current. Replace it."
        return made(what, ohms, "ohm", band, "open", means, _OHMS)
    if ohms < SHORT_SHARE * hot:
        means = "Turns shorted, or a second path: lift one lead and measure again before replacing it."
        return made(what, ohms, "ohm", band, "short", means, _OHMS)
    would = f"at {volts:.0f} V it would take about {watts_from_ohms(ohms * HOT_FACTOR, volts):.0f} W"
    means_of: dict[Word, str] = {
        "low": f"Too low: {would}. Part of the wire is bridged, a second path exists, or it is a larger element.",
        "as expected": f"As its watts ask: {would}. Ohms do not show a leak to the sheath: test that too.",
        "high": f"Too high: {would}. A poor terminal, a smaller element, or one made for other volts.",
    }
    return judge(what, ohms, "ohm", band, _OHMS, means_of)


def expected_element(watts: float, volts: float = 240.0) -> Verdict:
    """What a sound element shows cold, before anything is measured."""
    hot = ohms_from_watts(watts, volts)
    means = f"Nothing measured yet: a sound cold element shows this; it takes {watts / volts:.1f} A."
    what = f"element, {watts:.0f} W at {volts:.0f} V, expected"
    return made(what, hot, "ohm", cold_band(watts, volts), "cannot tell", means, _OHMS)


def rating_from_ohms(ohms: float, volts: float = 240.0) -> Verdict:
    """The watts that cold ohms point to at ``volts``, when the plate cannot be read."""
    if math.isinf(ohms):
        return made("element", ohms, "ohm", None, "open", "Open: replace it; its watts are on its plate only.", _OHMS)
    watts = watts_from_ohms(ohms * HOT_FACTOR, volts)
    means = f"At {volts:.0f} V these cold ohms take about {watts:.0f} W; compare with the plate."
    return made("element watts from ohms", watts, "W", None, "cannot tell", means, _OHMS)


def power_verdict(volts: float, watts: float, amps: float | None = None, rated_volts: float = 240.0) -> Verdict:
    """Judge an element at work from the volts across it and, if clamped, its amperes.

    With amperes: volts x amperes against what the element should take at these volts. Without: what it takes at
    these volts against its rating.
    """
    expected = watts_at(watts, volts, rated_volts)
    if amps is None:
        band = (watts * WATTS_UNDER, watts * WATTS_OVER)
        return judge("element watts at these volts", expected, "W", band, _POWER, _voltage_means(volts / rated_volts))
    if not math.isfinite(amps) or amps < 0:
        raise wrong("amperes", "must be zero or more; write what the clamp shows")
    band = (expected * WATTS_UNDER, expected * WATTS_OVER)
    if volts > 0 and amps < 0.02 * expected / volts:
        means = "Volts across it and no current: the element or its terminal is open."
        return made("element watts", volts * amps, "W", band, "open", means, _POWER)
    means_of: dict[Word, str] = {
        "low": "Less current than its watts ask: a poor joint, part of it dead, or a smaller element.",
        "as expected": "It takes the current it should at these volts.",
        "high": "More current than its watts ask: part of it bridged, or a larger element.",
    }
    return judge("element watts", volts * amps, "W", band, _POWER, means_of)


def _voltage_means(share: float) -> dict[Word, str]:
    low = "Weak: the volts across it are low; measure the supply under load."
    if 0.45 <= share <= 0.55:
        low = "Half the volts give a quarter of the heat: it hangs between one leg and neutral, or on a lost leg."
    elif 0.85 <= share <= 0.89:
        low = "208 for 240 V gives three quarters of the heat: a three-phase building, not a fault of the element."
    elif share < 0.05:
        low = "No volts across it: nothing drives it; look upstream."
    return {"low": low, "as expected": "Full drive.", "high": "Over its rating: measure both legs and the neutral."}


@dataclass(frozen=True)
class SheathFault:
    """Where an element touches its sheath: ``fraction`` of its wire from the first end, and the ohms of the contact."""

    fraction: float
    contact_ohms: float


def locate_sheath_fault(first: float, second: float, element: float) -> SheathFault:
    """From the ohms of each end to the sheath and the ohms end to end. Raises InputError if they do not fit together.

    first = x R + r and second = (1 - x) R + r give r and x. A little negative r is the meter's error and becomes 0.
    """
    for number, field in ((first, "first end to sheath"), (second, "second end to sheath")):
        if not math.isfinite(number) or number < 0:
            raise wrong(field, "a resistance is wanted; an open line to the sheath means no fault to locate")
    positive(element, "element ohms", "ohms")
    contact = (first + second - element) / 2
    fraction = (first - contact) / element
    error = (OHM_METER.share * (first + second + element)) + 3 * OHM_METER.fixed
    if contact < -error or not -error / element <= fraction <= 1 + error / element:
        raise wrong(
            "ends to sheath", "do not fit the element's own ohms; zero the leads, lift both wires, measure again"
        )
    return SheathFault(min(1.0, max(0.0, fraction)), max(0.0, contact))


def grounded_amps(element: float, fraction: float, contact: float = 0.0, volts: float = 120.0) -> float:
    """Amperes through a grounded element with one end live: ``fraction`` of its wire in series with the contact."""
    if not math.isfinite(fraction) or not 0 < fraction <= 1:
        raise wrong("fraction", "is the share of wire between the live end and the sheath; write above 0, up to 1")
    return volts / (fraction * positive(element, "element ohms", "ohms") + contact)


def grounded_verdict(first: float, second: float, element: float) -> Verdict:
    """What a located sheath fault does with the control off and one side live: amperes and watts from either end."""
    fault = locate_sheath_fault(first, second, element)
    currents = []
    for share in (fault.fraction, 1 - fault.fraction):
        path = share * element + fault.contact_ohms
        currents.append(math.inf if path < 0.1 else 120.0 / path)
    most = max(currents)
    drawn = "a dead short" if math.isinf(most) else f"{most:.1f} A, {120 * most:.0f} W"
    means = (
        f"That share of its wire from the first end, {fault.contact_ohms:.1f} ohm of contact: {drawn} with"
        " one side live, so it can glow with the control off and without tripping a breaker. Breaker off, do not use."
    )
    return made("touches its sheath at", 100 * fault.fraction, "%", None, "short", means, _SHEATH)
