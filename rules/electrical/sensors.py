"""The oven's resistance sensor (RTD, 1000 ohm at 0 C): ohms to temperature and back, tolerance, and oven error.

Two curves are in use and the difference matters: 18 ohm, 9 F, at 350 F.

- ``3750``: the North American oven probe, alpha 0.003750. A, B and C from a maker's component data sheet (found);
  agrees within 1 ohm with the rows published in range service sheets. Followed by default, since the rows of those
  sheets do not fit the IEC curve (the IEC inverse reads 341 F where they say 350 F).
- ``IEC 60751``: platinum Pt1000, alpha 0.003851, coefficients of the standard (found).

The curve is a property of the appliance: a probe of one on a control of the other reads right cold and wrong hot.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from rules.electrical.verdict import checked, wrong

Curve = Literal["3750", "IEC 60751"]
ToleranceClass = Literal["A", "B"]

R0 = 1000.0  # ohm at 0 C


@dataclass(frozen=True)
class Coefficients:
    """Callendar-Van Dusen, R = R0 (1 + a t + b t^2 + c (t - 100) t^3), c only below 0 C; ``least``, ``most`` in C."""

    a: float
    b: float
    c: float
    least: float
    most: float
    source: str


CURVES: dict[Curve, Coefficients] = {
    # The lower and upper end are the data sheet's for the element family, from memory.
    "3750": Coefficients(3.81e-3, -6.02e-7, -6.0e-12, -75.0, 540.0, "component data sheet, 3750 ppm (found)"),
    "IEC 60751": Coefficients(3.9083e-3, -5.775e-7, -4.183e-12, -200.0, 850.0, "IEC 60751 (coefficients found)"),
}


def f_from_c(temp_c: float) -> float:
    """Degrees F of a temperature (not of a difference) in degrees C."""
    return temp_c * 1.8 + 32.0


def c_from_f(temp_f: float) -> float:
    """Degrees C of a temperature (not of a difference) in degrees F."""
    return (temp_f - 32.0) / 1.8


def ohms_at(temp_c: float, curve: Curve = "3750") -> float:
    """Ohms of the sensor at a temperature in C. Raises InputError outside the curve's range."""
    k = coefficients(curve)
    checked(temp_c, "temperature")
    if not k.least <= temp_c <= k.most:
        ends = f"{f_from_c(k.least):.0f} to {f_from_c(k.most):.0f} F"
        raise wrong("temperature", f"{f_from_c(temp_c):.0f} F is off the {curve} curve; write one of {ends}")
    return _ohms(temp_c, k)


def temp_at(ohms: float, curve: Curve = "3750") -> float:
    """Temperature in C of a sensor reading in ohms. Raises InputError for a reading that is not on the curve."""
    k = coefficients(curve)
    low, high = _ohms(k.least, k), _ohms(k.most, k)
    if math.isnan(ohms) or ohms < 0:
        raise wrong("sensor ohms", "is not a resistance; write what the meter shows, for example '1080 ohm', or OL")
    if not low <= ohms <= high:
        shown = "an open line" if math.isinf(ohms) else f"{ohms:.0f} ohm"
        raise wrong(
            "sensor ohms", f"{shown} is off the {curve} curve, {low:.0f} to {high:.0f} ohm; no temperature fits"
        )
    ratio = ohms / R0
    temp = (-k.a + math.sqrt(k.a * k.a - 4 * k.b * (1 - ratio))) / (2 * k.b)
    return temp if temp >= 0 else _below_zero(ohms, temp, k)


def coefficients(curve: Curve) -> Coefficients:
    """The curve's coefficients. Raises InputError for a name that is no curve."""
    if curve not in CURVES:
        raise wrong("curve", f"{curve!r} is no sensor curve; write {' or '.join(repr(name) for name in CURVES)}")
    return CURVES[curve]


def _ohms(temp_c: float, k: Coefficients) -> float:
    cold = k.c * (temp_c - 100.0) * temp_c**3 if temp_c < 0 else 0.0
    return R0 * (1 + k.a * temp_c + k.b * temp_c**2 + cold)


def _below_zero(ohms: float, start: float, k: Coefficients) -> float:
    """Newton's method from the quadratic's root; the fourth-power term is small, so a few steps reach rounding."""
    temp = start
    for _ in range(20):
        slope = R0 * (k.a + 2 * k.b * temp + k.c * (4 * temp**3 - 300 * temp**2))
        step = (_ohms(temp, k) - ohms) / slope
        temp -= step
        if abs(step) < 1e-10:
            break
    return temp


def series_error_f(set_f: float, ohms: float, curve: Curve = "3750") -> float:
    """Oven temperature less its setting, in F of difference, caused by ``ohms`` in series with the sensor.

    The control heats until sensor and joint together show the ohms of the setting, so the sensor stays short by
    ``ohms`` and the oven runs cold. Raises InputError if that leaves the curve.
    """
    _resistance(ohms, "series ohms")
    return f_from_c(temp_at(ohms_at(c_from_f(set_f), curve) - ohms, curve)) - set_f


def shunt_error_f(set_f: float, ohms: float, curve: Curve = "3750") -> float:
    """Oven temperature less its setting, in F of difference, caused by a leak of ``ohms`` across the sensor.

    The leak lowers what the control sees, so the oven runs hot. Raises InputError if the control can never see its
    setting: the leak is too strong, and the oven heats until something else stops it.
    """
    _resistance(ohms, "shunt ohms")
    if math.isinf(ohms):
        return 0.0
    seen = ohms_at(c_from_f(set_f), curve)
    hottest = _ohms(coefficients(curve).most, coefficients(curve))
    if ohms <= seen or seen * ohms / (ohms - seen) > hottest:
        raise wrong(
            "shunt ohms",
            f"across a leak of {ohms:.0f} ohm the control never sees {set_f:.0f} F and heats on; treat it as a short",
        )
    return f_from_c(temp_at(seen * ohms / (ohms - seen), curve)) - set_f


def explaining_ohms(set_f: float, actual_f: float, curve: Curve = "3750") -> tuple[Literal["series", "shunt"], float]:
    """The resistance that explains an oven at ``actual_f`` when set to ``set_f``: in series if cold, across if hot.

    No error needs no series resistance: ``("series", 0.0)``. Raises InputError off the curve.
    """
    wanted, there = ohms_at(c_from_f(set_f), curve), ohms_at(c_from_f(actual_f), curve)
    if there <= wanted * (1 + 1e-9):  # a hair over is rounding, not a leak of 1e19 ohm
        return "series", max(0.0, wanted - there)
    return "shunt", wanted * there / (there - wanted)


def _resistance(ohms: float, field: str) -> None:
    if math.isnan(ohms) or ohms < 0:
        raise wrong(field, "is not a resistance; write zero or more ohms")


def tolerance_c(temp_c: float, tolerance_class: ToleranceClass, construction: str = "film") -> float:
    """Tolerance of an IEC 60751 sensor, plus or minus C: A 0.15 + 0.002 |t|, B 0.30 + 0.005 |t|.

    0.15 and 0.30 at 0 C are found, the slopes and the ranges from memory (class A: film -30 to 300 C, wire-wound -100
    to 450; class B: film -50 to 500, wire-wound -196 to 600). Raises InputError outside them.
    """
    ranges = {
        ("A", "film"): (-30.0, 300.0),
        ("A", "wire_wound"): (-100.0, 450.0),
        ("B", "film"): (-50.0, 500.0),
        ("B", "wire_wound"): (-196.0, 600.0),
    }
    if (tolerance_class, construction) not in ranges:
        raise wrong("tolerance class", "write A or B, and film or wire_wound")
    least, most = ranges[tolerance_class, construction]
    if not least <= checked(temp_c, "temperature") <= most:
        raise wrong(
            "temperature", f"class {tolerance_class} is defined from {least:.0f} to {most:.0f} C for {construction}"
        )
    base, slope = (0.15, 0.002) if tolerance_class == "A" else (0.30, 0.005)
    return base + slope * abs(temp_c)
