"""The oven sensor: there and back, faults at it, and what the reading is worth."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.electrical.sensor_reading import (
    added_resistance_verdict,
    expected_sensor,
    observed_error_verdict,
    sensor_verdict,
    service_tolerance_ohms,
    two_point_verdict,
    wrong_curve_verdict,
)
from rules.electrical.sensors import (
    CURVES,
    Curve,
    c_from_f,
    explaining_ohms,
    f_from_c,
    ohms_at,
    series_error_f,
    shunt_error_f,
    temp_at,
    tolerance_c,
)
from rules.electrical.verdict import WORDS, Meter
from rules.terms import InputError

curves = st.sampled_from(sorted(CURVES))


@given(share=st.floats(0, 1), curve=curves)
def test_there_and_back(share: float, curve: Curve) -> None:
    least, most = CURVES[curve].least, CURVES[curve].most
    temp_c = least + share * (most - least)
    assert temp_at(ohms_at(temp_c, curve), curve) == pytest.approx(temp_c, abs=1e-6)


@given(one=st.floats(-75, 540), other=st.floats(-75, 540), curve=curves)
def test_ohms_rise_with_heat(one: float, other: float, curve: Curve) -> None:
    if other - one > 1e-6:
        assert ohms_at(one, curve) < ohms_at(other, curve)


@given(set_f=st.floats(150, 550), ohms=st.floats(0, 200), curve=curves)
def test_series_resistance_is_explained(set_f: float, ohms: float, curve: Curve) -> None:
    error = series_error_f(set_f, ohms, curve)
    assert error <= 1e-9
    assert explaining_ohms(set_f, set_f + error, curve) == ("series", pytest.approx(ohms, abs=1e-6))


@given(set_f=st.floats(150, 500), kohm=st.floats(20, 1000), curve=curves)
def test_shunt_resistance_is_explained(set_f: float, kohm: float, curve: Curve) -> None:
    error = shunt_error_f(set_f, 1000 * kohm, curve)
    assert error > 0
    kind, ohms = explaining_ohms(set_f, set_f + error, curve)
    assert (kind, ohms) == ("shunt", pytest.approx(1000 * kohm, rel=1e-4))


def test_no_added_resistance_no_error() -> None:
    assert series_error_f(350, 0) == pytest.approx(0, abs=1e-9)
    assert shunt_error_f(350, math.inf) == 0.0
    assert explaining_ohms(350, 350) == ("series", 0.0)


@pytest.mark.parametrize("temp_c", [-300, 900, math.nan, math.inf])
@pytest.mark.parametrize("curve", sorted(CURVES))
def test_temperatures_off_the_curve(temp_c: float, curve: Curve) -> None:
    with pytest.raises(InputError, match="temperature: "):
        ohms_at(temp_c, curve)


@pytest.mark.parametrize("ohms", [-5, 0, 100, 5000, math.inf, math.nan])
@pytest.mark.parametrize("curve", sorted(CURVES))
def test_ohms_off_the_curve(ohms: float, curve: Curve) -> None:
    with pytest.raises(InputError, match="sensor ohms: "):
        temp_at(ohms, curve)


def test_a_curve_that_is_none() -> None:
    with pytest.raises(InputError, match="write '3750' or 'IEC 60751'"):
        ohms_at(20, "3850")  # type: ignore[arg-type]


def test_a_leak_the_control_cannot_overcome() -> None:
    with pytest.raises(InputError, match="treat it as a short"):
        shunt_error_f(350, 1500)
    with pytest.raises(InputError, match="series ohms"):
        series_error_f(350, math.nan)


@pytest.mark.parametrize(("name", "kind"), [("C", "film"), ("A", "thick")])
def test_tolerance_class_that_is_none(name: str, kind: str) -> None:
    with pytest.raises(InputError, match="tolerance class"):
        tolerance_c(20, name, kind)  # type: ignore[arg-type]


def test_service_tolerance_passes_through_the_published_rows() -> None:
    assert service_tolerance_ohms(32) == pytest.approx(4.0)
    assert service_tolerance_ohms(75) == pytest.approx(5.3)
    assert service_tolerance_ohms(-10) == 4.0


@pytest.mark.parametrize(
    ("ohms", "temp_f", "word", "says"),
    [
        (1091, 75, "as expected", "as it should be"),
        (1080, 70, "as expected", "as it should be"),
        (1130, 75, "high", "poor joint in series"),
        (1050, 75, "low", "leak across it"),
        (1099, 75, "cannot tell", "meter's own error"),
        (math.inf, 75, "open", "Open sensor"),
        (3000, 75, "open", "Open sensor"),
        (2, 75, "short", "Shorted"),
        (700, 75, "short", "strong leak"),
        (1690, 350, "high", "series"),
        (1080, None, "cannot tell", "measure the temperature beside"),
        (math.inf, None, "open", "Open"),
    ],
)
def test_sensor_verdicts(ohms: float, temp_f: float | None, word: str, says: str) -> None:
    verdict = sensor_verdict(ohms, "3750", temp_f)
    assert verdict.verdict == word
    assert says in verdict.means
    assert verdict.band is None or temp_f is not None


def test_a_reading_on_the_other_curve_says_so() -> None:
    # 500 F on the IEC curve is 1977 ohm, 27 ohm over the 3750 curve: more than the sensor may be off, less than a hand
    # meter may be. A better meter leaves no doubt.
    doubtful, sure = sensor_verdict(1977, "3750", 500), sensor_verdict(1977, "3750", 500, Meter(0.002, 0.1))
    assert (doubtful.verdict, sure.verdict) == ("cannot tell", "high")
    assert all("fits the IEC 60751 curve" in verdict.means for verdict in (doubtful, sure))
    assert "IEC 60751" not in sensor_verdict(2005, "3750", 500).means


@given(ohms=st.floats(0, allow_nan=False), temp_f=st.one_of(st.none(), st.floats(-50, 1000)), curve=curves)
def test_every_reading_gets_a_verdict(ohms: float, temp_f: float | None, curve: Curve) -> None:
    verdict = sensor_verdict(ohms, curve, temp_f)
    assert verdict.verdict in WORDS
    assert verdict.means


@pytest.mark.parametrize("ohms", [-1, math.nan])
def test_sensor_readings_that_are_none(ohms: float) -> None:
    with pytest.raises(InputError, match="sensor ohms"):
        sensor_verdict(ohms)


def test_expected_before_measuring() -> None:
    verdict = expected_sensor(350)
    assert verdict.value == pytest.approx(1654.3, abs=0.1)
    assert verdict.verdict == "cannot tell"


@pytest.mark.parametrize(
    ("cold_off", "hot_off", "word", "says"),
    [
        (0, 0, "as expected", "sound"),
        (20, 22, "high", "about 21 ohm at both: that resistance in series"),
        (-12, -27, "low", "kohm would explain"),
        (2, 18, "high", "IEC 60751"),
        (1, -40, "low", "leak that grows with heat"),
        (30, 2, "cannot tell", "Wrong cold and right hot"),
        (-20, 40, "high", "no single cause"),
    ],
)
def test_two_points(cold_off: float, hot_off: float, word: str, says: str) -> None:
    cold = (ohms_at(c_from_f(75)) + cold_off, 75.0)
    hot = (ohms_at(c_from_f(350)) + hot_off, 350.0)
    verdict = two_point_verdict(hot, cold)  # the order does not matter
    assert (verdict.verdict, verdict.value) == (word, pytest.approx(hot_off, abs=1e-9))
    assert says in verdict.means


def test_two_points_find_the_leak() -> None:
    points = [(1 / (1 / ohms_at(c_from_f(temp)) + 1 / 80e3), temp) for temp in (75.0, 350.0)]
    assert "about 80 kohm" in two_point_verdict(*points).means


def test_two_points_too_near_or_open() -> None:
    with pytest.raises(InputError, match="50 F or more"):
        two_point_verdict((1080, 70), (1090, 75))
    with pytest.raises(InputError, match="50 F or more"):
        two_point_verdict((1080, 70), (1090, math.nan))
    assert two_point_verdict((1080, 70), (math.inf, 350)).verdict == "open"


@pytest.mark.parametrize(
    ("ohms", "kind", "word"),
    [
        (20, "series", "as expected"),
        (80, "series", "low"),
        (1500, "series", "open"),
        (math.inf, "series", "open"),
        (100e3, "shunt", "as expected"),
        (30e3, "shunt", "high"),
        (1000, "shunt", "short"),
        (0, "shunt", "short"),
        (math.inf, "shunt", "as expected"),
    ],
)
def test_added_resistance(ohms: float, kind: str, word: str) -> None:
    verdict = added_resistance_verdict(350, ohms, kind)  # type: ignore[arg-type]
    assert verdict.verdict == word
    assert (verdict.value is None) == (word in ("open", "short"))


def test_added_resistance_refuses_bad_input() -> None:
    with pytest.raises(InputError, match="series ohms"):
        added_resistance_verdict(350, -1, "series")
    with pytest.raises(InputError, match="temperature"):
        added_resistance_verdict(3000, 10, "series")


def test_observed_error_names_the_resistance() -> None:
    cold = observed_error_verdict(350, 310)
    assert (cold.verdict, cold.value) == ("low", pytest.approx(-40))
    assert "ohm in series" in cold.means
    assert "kohm across" in observed_error_verdict(350, 390).means
    assert "would explain" not in observed_error_verdict(350, 350).means


def test_the_right_sensor_gives_no_error() -> None:
    assert wrong_curve_verdict(400, "3750", "3750").value == pytest.approx(0, abs=1e-6)


@given(temp=st.floats(-400, 1000))
def test_fahrenheit_and_back(temp: float) -> None:
    assert f_from_c(c_from_f(temp)) == pytest.approx(temp, abs=1e-9)


def test_an_oven_at_room_temperature_is_not_a_matter_of_its_sensor() -> None:
    assert "does not heat" in observed_error_verdict(350, 70).means
    assert "user offset" in observed_error_verdict(350, 320).means
    assert "user offset" not in observed_error_verdict(350, 290).means
