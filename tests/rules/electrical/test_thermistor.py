"""NTC thermistors: there and back, fits, and verdicts whose sense is the other way than an RTD's."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.electrical.thermistor import LEAST_C, MOST_C, Thermistor, thermistor_verdict
from rules.electrical.verdict import WORDS
from rules.terms import InputError

PART = Thermistor.from_beta(10_000, 3380)
temps = st.floats(LEAST_C, MOST_C)


@given(temp_c=temps, beta=st.floats(2500, 5000), at_25=st.floats(100, 1e6))
def test_there_and_back(temp_c: float, beta: float, at_25: float) -> None:
    part = Thermistor.from_beta(at_25, beta)
    ohms = part.ohms(temp_c)
    if LEAST_C + 1e-6 < temp_c < MOST_C - 1e-6:
        assert part.temp_c(ohms) == pytest.approx(temp_c, abs=1e-6)


@given(
    beta=st.floats(2500, 5000),
    at_25=st.floats(500, 1e5),
    temps_c=st.lists(st.integers(-40, 250), min_size=3, max_size=3),
)
def test_fit_passes_through_its_points(beta: float, at_25: float, temps_c: list[int]) -> None:
    if max(temps_c) - min(temps_c) < 30 or len(set(temps_c)) < 3:
        return
    true = Thermistor.from_beta(at_25, beta)
    points = [(float(temp), true.ohms(temp)) for temp in temps_c]
    fitted = Thermistor.fitted(points)
    for temp, ohms in points:
        assert fitted.temp_c(ohms) == pytest.approx(temp, abs=1e-5)


@pytest.mark.parametrize(
    "points",
    [
        [(0, 1000), (50, 500)],
        [(0, 1000), (0, 900), (50, 500)],
        [(0, 100), (50, 200), (100, 300)],
        [(0, 1000), (50, -5), (100, 1)],
        [(-300, 1000), (50, 500), (100, 100)],
        [(0, math.nan), (50, 500), (100, 100)],
        [(0, 1000), (1, 999.99), (100, 999)],
    ],
)
def test_points_that_describe_no_thermistor(points: list[tuple[float, float]]) -> None:
    with pytest.raises(InputError):
        Thermistor.fitted(points)


@pytest.mark.parametrize(("at_25", "beta"), [(0, 3380), (-1, 3380), (1e4, 0), (math.nan, 3380), (1e4, math.inf)])
def test_beta_parts_that_are_none(at_25: float, beta: float) -> None:
    with pytest.raises(InputError):
        Thermistor.from_beta(at_25, beta)


@pytest.mark.parametrize("temp_c", [-60, 301, math.nan])
def test_temperatures_outside(temp_c: float) -> None:
    with pytest.raises(InputError, match="temperature"):
        PART.ohms(temp_c)


@pytest.mark.parametrize("ohms", [0, -5, 1e-6, 1e12, math.nan, math.inf])
def test_ohms_outside(ohms: float) -> None:
    with pytest.raises(InputError, match="thermistor ohms"):
        PART.temp_c(ohms)


@pytest.mark.parametrize(
    ("ohms", "temp_f", "word", "says"),
    [
        (10_000, 77, "as expected", "as it should be"),
        (8_000, 77, "low", "sees more heat"),
        (12_000, 77, "high", "sees less heat"),
        (math.inf, 77, "open", "may overheat"),
        (1.0, 77, "short", "does not heat"),
        (0, None, "short", "does not heat"),
        (10_000, None, "cannot tell", "measure the temperature"),
    ],
)
def test_verdicts(ohms: float, temp_f: float | None, word: str, says: str) -> None:
    verdict = thermistor_verdict(ohms, PART, temp_f)
    assert verdict.verdict == word
    assert says in verdict.means


@given(ohms=st.floats(0, allow_nan=False), temp_f=st.floats(-60, 560))
def test_every_reading_gets_a_verdict(ohms: float, temp_f: float) -> None:
    assert thermistor_verdict(ohms, PART, temp_f).verdict in WORDS


def test_readings_that_are_none() -> None:
    for ohms in (-1, math.nan):
        with pytest.raises(InputError, match="thermistor ohms"):
            thermistor_verdict(ohms, PART)


@pytest.mark.parametrize(
    ("share", "word"), [(0.949, "low"), (0.951, "as expected"), (1.049, "as expected"), (1.051, "high")]
)
def test_five_percent_either_way(share: float, word: str) -> None:
    assert thermistor_verdict(10_000 * share, PART, 77).verdict == word
