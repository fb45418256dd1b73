"""The type K thermocouple of an oven thermometer: millivolts to temperature with the cold junction, by ITS-90.

Reference functions and coefficients are those of NIST Monograph 175 / SRD 60, written from memory and confirmed in
the tests against an independent package. The inverse is solved from them, not from the rounded inverse polynomials.
"""

from __future__ import annotations

import math
from typing import Literal

from rules.electrical.sensors import c_from_f, f_from_c
from rules.electrical.verdict import Basis, Verdict, Word, cannot_tell, checked, judge, made, wrong

LEAST_C, MOST_C = -200.0, 1372.0

_BELOW_ZERO = (
    0.0,
    0.394501280250e-1,
    0.236223735980e-4,
    -0.328589067840e-6,
    -0.499048287770e-8,
    -0.675090591730e-10,
    -0.574103274280e-12,
    -0.310888728940e-14,
    -0.104516093650e-16,
    -0.198892668780e-19,
    -0.163226974860e-22,
)
_ABOVE_ZERO = (
    -0.176004136860e-1,
    0.389212049750e-1,
    0.185587700320e-4,
    -0.994575928740e-7,
    0.318409457190e-9,
    -0.560728448890e-12,
    0.560750590590e-15,
    -0.320207200030e-18,
    0.971511471520e-22,
    -0.121047212750e-25,
)
_BUMP = (0.118597600000, -0.118343200000e-3, 126.9686)

_BASIS = Basis(
    "temperature whose type K millivolts equal the meter's plus those of the cold junction",
    "ITS-90, NIST Monograph 175; tolerance class 1 max(1.5, 0.004 t) C, class 2 max(2.5, 0.0075 t) C (found)",
    "found",
)


def type_k_mv(temp_c: float) -> float:
    """Millivolts of type K at a temperature in C, reference at 0 C. Raises InputError outside -200 to 1372 C."""
    if not LEAST_C <= checked(temp_c, "temperature") <= MOST_C:
        raise wrong("temperature", f"is outside type K's {LEAST_C:.0f} to {MOST_C:.0f} C; write the oven's temperature")
    return _mv(temp_c)


def type_k_temp_c(millivolts: float, cold_junction_c: float) -> float:
    """Temperature in C of the hot junction, from the meter's millivolts and the temperature at its terminals in C."""
    total = checked(millivolts, "millivolts") + type_k_mv(cold_junction_c)
    low, high = LEAST_C, MOST_C
    if not _mv(low) <= total <= _mv(high):
        raise wrong(
            "millivolts", f"{millivolts:g} mV is outside type K, {_mv(low):.1f} to {_mv(high):.1f} mV; check the range"
        )
    for _ in range(60):  # halving: millivolts rise with temperature throughout, and 60 halvings reach rounding
        middle = (low + high) / 2
        if _mv(middle) < total:
            low = middle
        else:
            high = middle
    return (low + high) / 2


def _mv(temp_c: float) -> float:
    total = 0.0
    for factor in reversed(_ABOVE_ZERO if temp_c > 0 else _BELOW_ZERO):
        total = total * temp_c + factor
    if temp_c > 0:
        height, width, centre = _BUMP
        total += height * math.exp(width * (temp_c - centre) ** 2)
    return total


def type_k_tolerance_c(temp_c: float, tolerance_class: Literal[1, 2] = 2) -> float:
    """Tolerance of the thermocouple itself, plus or minus C, above 0 C: class 1 or 2 of IEC 60584."""
    if tolerance_class == 1:
        return max(1.5, 0.004 * abs(temp_c))
    return max(2.5, 0.0075 * abs(temp_c))


def thermocouple_verdict(
    millivolts: float,
    cold_junction_f: float,
    expected_f: float | None = None,
    tolerance_class: Literal[1, 2] = 2,
) -> Verdict:
    """The temperature in F that type K millivolts mean, judged against ``expected_f`` if that is known.

    Raises InputError for millivolts or a cold junction outside type K.
    """
    what = "type K thermocouple"
    value = f_from_c(type_k_temp_c(millivolts, c_from_f(checked(cold_junction_f, "cold junction"))))
    if expected_f is None:
        return cannot_tell(
            what, value, "degF", f"The hot junction is at {value:.0f} F, {c_from_f(value):.0f} C.", _BASIS
        )
    allowed = 1.8 * type_k_tolerance_c(c_from_f(checked(expected_f, "expected temperature")), tolerance_class)
    band = (expected_f - allowed, expected_f + allowed)
    warmer = expected_f - cold_junction_f > 50
    if warmer and abs(millivolts) < 0.1:
        means = "It reads the meter's own temperature: the leads touch before the tip."
        return made(what, value, "degF", band, "short", means, _BASIS)
    swapped = " Below the meter's own temperature: the two leads are swapped." if warmer and millivolts < 0 else ""
    means_of: dict[Word, str] = {
        "low": f"Colder than expected by {expected_f - value:.0f} F.{swapped}",
        "as expected": f"Within what a class {tolerance_class} thermocouple may be off.",
        "high": f"Hotter than expected by {value - expected_f:.0f} F.",
    }
    return judge(what, value, "degF", band, _BASIS, means_of)
