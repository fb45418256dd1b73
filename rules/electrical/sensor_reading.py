"""Verdicts on the oven sensor: one reading, two readings, and what a fault at it does to the oven.

The service tolerance is that of published range-service rows: 4.0 ohm at 32 F and 5.3 ohm at 75 F (found). The
straight line through them to other temperatures is this program's own.
"""

from __future__ import annotations

import math
from typing import Literal

from rules.electrical.sensors import (
    CURVES,
    Curve,
    c_from_f,
    coefficients,
    explaining_ohms,
    f_from_c,
    ohms_at,
    series_error_f,
    shunt_error_f,
    temp_at,
)
from rules.electrical.verdict import (
    OHM_METER,
    Basis,
    Meter,
    Verdict,
    Word,
    cannot_tell,
    checked,
    judge,
    made,
    wrong,
)
from rules.terms import InputError

#: Below this no kitchen is cold enough (-40 F on either curve): a short or a strong leak.
SHORT_OHMS = 850.0
#: An oven whose average lies within this of its setting counts as sound: common practice, no source; some say 15 F.
OVEN_BAND_F = 25.0

_OVEN = Basis(
    "average oven temperature less its setting; the control holds the ohms of its setting at its own plug",
    "sensor curve as named; band of 25 F either way from the trade, some say 15 F",
    "common practice, no source",
)
_OVEN_MEANS: dict[Word, str] = {
    "low": "The oven runs colder than set by more than the trade calls normal.",
    "as expected": "The oven is as near its setting as the trade calls normal.",
    "high": "The oven runs hotter than set by more than the trade calls normal.",
}


def service_tolerance_ohms(temp_f: float) -> float:
    """Ohms either way that range service sheets allow: 4.0 at 32 F or less, 5.3 at 75 F, straight line beyond."""
    return max(4.0, 4.0 + (5.3 - 4.0) * (temp_f - 32.0) / (75.0 - 32.0))


def sensor_basis(curve: Curve) -> Basis:
    """The formula and source behind a sensor reading."""
    return Basis(
        "R = 1000 (1 + A t + B t^2), t in C; tolerance 4.0 ohm at 32 F, 5.3 ohm at 75 F, straight line beyond",
        f"{coefficients(curve).source}; tolerance from a range service sheet, extended by a straight line",
        "found",
    )


def sensor_verdict(
    ohms: float, curve: Curve = "3750", temp_f: float | None = None, meter: Meter = OHM_METER
) -> Verdict:
    """Judge the sensor's ohms (``inf`` for open line) against the temperature beside it in F, if that is known.

    Outside the tolerance but within what the meter's own error explains, the verdict is ``cannot tell``. Raises
    InputError for negative ohms or nan, and for a temperature off the curve.
    """
    basis, what = sensor_basis(curve), "oven sensor"
    if math.isnan(ohms) or ohms < 0:
        raise wrong("sensor ohms", "is not a resistance; write what the meter shows, for example '1080 ohm', or OL")
    if temp_f is not None:
        expected = ohms_at(c_from_f(checked(temp_f, "temperature")), curve)
        allowed = service_tolerance_ohms(temp_f)
        band = (expected - allowed, expected + allowed)
    else:
        band = None
    if ohms < SHORT_OHMS:
        return made(what, ohms, "ohm", band, "short", _short(ohms), basis)
    if ohms > _end(curve):
        return made(what, ohms, "ohm", band, "open", "Open sensor, plug or lead: the control sees endless heat.", basis)
    reads = f"{ohms:.0f} ohm is {f_from_c(temp_at(ohms, curve)):.0f} F on the {curve} curve"
    if band is None or temp_f is None:
        means = f"{reads}; measure the temperature beside the sensor to judge it."
        return cannot_tell(what, ohms, "ohm", means, basis)
    if _outside(ohms, band) and not _outside(ohms, meter.widen(band)):
        other = _fits_other(ohms, curve, temp_f)
        means = (
            f"{reads}; the meter's own error could explain the rest. Zero the leads, try a second temperature.{other}"
        )
        return made(what, ohms, "ohm", band, "cannot tell", means, basis)
    return judge(what, ohms, "ohm", band, basis, _sensor_means(reads, ohms, curve, temp_f))


def expected_sensor(temp_f: float, curve: Curve = "3750") -> Verdict:
    """What a sound sensor shows at a temperature in F, before anything is measured."""
    expected, allowed = ohms_at(c_from_f(checked(temp_f, "temperature")), curve), service_tolerance_ohms(temp_f)
    means = f"Nothing measured yet: a sound sensor shows this at {temp_f:.0f} F."
    band = (expected - allowed, expected + allowed)
    return made("oven sensor, expected", expected, "ohm", band, "cannot tell", means, sensor_basis(curve))


def _sensor_means(reads: str, ohms: float, curve: Curve, temp_f: float) -> dict[Word, str]:
    other = _fits_other(ohms, curve, temp_f)
    return {
        "low": f"{reads}: low. A leak across it, or drift; the oven runs hot.{other}",
        "as expected": f"{reads}, as it should be. A wrong curve shows only hot: try a second temperature.",
        "high": f"{reads}: high. A poor joint in series, or drift; the oven runs cold.{other}",
    }


def _fits_other(ohms: float, curve: Curve, temp_f: float) -> str:
    for name in CURVES:
        near = service_tolerance_ohms(temp_f)
        if name != curve and abs(ohms - ohms_at(c_from_f(temp_f), name)) <= near:
            return f" It fits the {name} curve: a sensor of the wrong kind may be fitted."
    return ""


def _short(ohms: float) -> str:
    if ohms < 100:
        return "Shorted sensor or harness: the control sees great cold and may overheat the oven or refuse."
    return "Colder than any kitchen: a strong leak across the sensor, or the wrong part."


def _end(curve: Curve) -> float:
    """Ohms above which no oven is hot enough: 540 C, the end of the 3750 element's range."""
    return ohms_at(CURVES["3750"].most, curve)


def _outside(number: float, band: tuple[float, float]) -> bool:
    return not band[0] <= number <= band[1]


def two_point_verdict(cold: tuple[float, float], hot: tuple[float, float], curve: Curve = "3750") -> Verdict:
    """Judge the sensor from two readings, each ``(ohms, temperature in F)``; value is the error at the hotter, in ohm.

    Both high by the same ohms is a series resistance; low, and lower by the square of the reading, is a leak; right
    cold and on the other curve hot is the wrong sensor. Raises InputError for points less than 50 F apart.
    """
    (cold_ohms, cold_f), (hot_ohms, hot_f) = sorted((cold, hot), key=lambda point: point[1])
    if not hot_f - cold_f >= 50:
        raise wrong(
            "second temperature", "must be 50 F or more from the first to tell offset from slope; heat the oven"
        )
    errors = []
    for ohms, temp_f in ((cold_ohms, cold_f), (hot_ohms, hot_f)):
        verdict = sensor_verdict(ohms, curve, temp_f)
        if verdict.verdict in ("open", "short"):
            return verdict
        errors.append(ohms - ohms_at(c_from_f(temp_f), curve))
    allowed = service_tolerance_ohms(hot_f)
    means = _two_point_means(errors, (cold_ohms, hot_ohms), curve, (cold_f, hot_f))
    cold_off = abs(errors[0]) > service_tolerance_ohms(cold_f)
    basis = sensor_basis(curve)
    if cold_off and abs(errors[1]) <= allowed:
        return made("oven sensor, error when hot", errors[1], "ohm", (-allowed, allowed), "cannot tell", means, basis)
    words: dict[Word, str] = {"low": means, "as expected": means, "high": means}
    return judge("oven sensor, error when hot", errors[1], "ohm", (-allowed, allowed), basis, words)


def _two_point_means(errors: list[float], ohms: tuple[float, float], curve: Curve, temps_f: tuple[float, float]) -> str:
    """The simplest explanation of two errors, in words."""
    allowed = [service_tolerance_ohms(temp) for temp in temps_f]
    if all(abs(error) <= limit for error, limit in zip(errors, allowed, strict=True)):
        return "Right at both temperatures: the sensor and its curve are sound."
    if abs(errors[0]) <= allowed[0]:
        other = _fits_other(ohms[1], curve, temps_f[1])
        return f"Right cold and wrong hot.{other or ' A leak that grows with heat, or the wrong sensor.'}"
    if abs(errors[1]) <= allowed[1]:
        return "Wrong cold and right hot: a poor joint or a thermometer not beside the sensor; repeat both."
    if errors[0] > 0 and errors[1] > 0 and abs(errors[0] - errors[1]) <= sum(allowed):
        return f"High by about {sum(errors) / 2:.0f} ohm at both: that resistance in series, at a joint or plug."
    if errors[0] < 0 and errors[1] < 0:
        leak = ohms[1] * (ohms[1] - errors[1]) / -errors[1]
        return f"Low at both: a leak across the sensor of about {leak / 1000:.0f} kohm would explain the hot reading."
    return "The two errors fit no single cause: repeat both with the thermometer beside the sensor."


def added_resistance_verdict(
    set_f: float, ohms: float, kind: Literal["series", "shunt"], curve: Curve = "3750"
) -> Verdict:
    """The oven error that a resistance in series with the sensor, or a leak across it, causes, in F of difference."""
    what, band = f"oven error from {kind} resistance", (-OVEN_BAND_F, OVEN_BAND_F)
    ohms_at(c_from_f(checked(set_f, "set temperature")), curve)
    if math.isnan(ohms) or ohms < 0:
        raise wrong(f"{kind} ohms", "is not a resistance; write zero or more ohms, or OL")
    try:
        error = series_error_f(set_f, ohms, curve) if kind == "series" else shunt_error_f(set_f, ohms, curve)
    except InputError:
        word: Word = "open" if kind == "series" else "short"
        means = {
            "open": "The control sees more heat than any oven has and does not heat.",
            "short": "The control never sees its setting and heats on until something else stops it.",
        }[word]
        return made(what, None, "delta_degF", band, word, means, _OVEN)
    side = "colder" if error < 0 else "hotter"
    means = f"Set to {set_f:.0f} F the oven averages {set_f + error:.0f} F, {abs(error):.1f} F {side}."
    return judge(what, error, "delta_degF", band, _OVEN, dict.fromkeys(_OVEN_MEANS, means))


MOST_USER_OFFSET_F = 35.0  # what a control's menu allows, from memory (domain OV-18)
NOT_HEATING_F = 120.0  # an oven no warmer than this after a cycle never heated; common practice, no source


def observed_error_verdict(set_f: float, actual_f: float, curve: Curve = "3750") -> Verdict:
    """Judge an oven's average against its setting, and name the resistance at the sensor that would explain it."""
    kind, ohms = explaining_ohms(checked(set_f, "set temperature"), checked(actual_f, "oven temperature"), curve)
    amount = f"{ohms:.1f} ohm" if ohms < 1000 else f"{ohms / 1000:.0f} kohm"
    cause = "in series with the sensor" if kind == "series" else "across the sensor"
    hint = "" if actual_f == set_f else f" {amount} {cause} would explain it."
    if 0 < abs(actual_f - set_f) <= MOST_USER_OFFSET_F:
        hint += " So would the user offset."
    if set_f > actual_f and actual_f <= NOT_HEATING_F:
        hint = " The oven does not heat: look to its supply, relays and elements before its sensor."
    means: dict[Word, str] = {word: text + hint for word, text in _OVEN_MEANS.items()}
    return judge("oven error", actual_f - set_f, "delta_degF", (-OVEN_BAND_F, OVEN_BAND_F), _OVEN, means)


def wrong_curve_verdict(set_f: float, fitted: Curve, control: Curve = "3750") -> Verdict:
    """The oven error when a sensor of one curve hangs on a control made for another."""
    oven_f = f_from_c(temp_at(ohms_at(c_from_f(checked(set_f, "set temperature")), control), fitted))
    means = f"Sensor of curve {fitted}, control for {control}: set to {set_f:.0f} F, the oven averages {oven_f:.0f} F."
    words = dict.fromkeys(_OVEN_MEANS, means)
    return judge(
        "oven error from sensor curve", oven_f - set_f, "delta_degF", (-OVEN_BAND_F, OVEN_BAND_F), _OVEN, words
    )
