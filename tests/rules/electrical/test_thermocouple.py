"""Type K verdicts: right, off, shorted leads, swapped leads, and millivolts that no thermocouple gives."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.electrical.sensors import c_from_f
from rules.electrical.thermocouple import thermocouple_verdict, type_k_mv, type_k_temp_c, type_k_tolerance_c
from rules.terms import InputError


@given(hot_c=st.floats(-199, 1371), cold_c=st.floats(0, 50))
def test_there_and_back(hot_c: float, cold_c: float) -> None:
    assert type_k_temp_c(type_k_mv(hot_c) - type_k_mv(cold_c), cold_c) == pytest.approx(hot_c, abs=1e-6)


def _millivolts(hot_f: float, cold_f: float = 77) -> float:
    return type_k_mv(c_from_f(hot_f)) - type_k_mv(c_from_f(cold_f))


@pytest.mark.parametrize(
    ("millivolts", "word", "says"),
    [
        (_millivolts(350), "as expected", "class 2"),
        (_millivolts(340), "low", "Colder than expected by 10 F"),
        (_millivolts(362), "high", "Hotter than expected by 12 F"),
        (0.0, "short", "touch before the tip"),
        (-_millivolts(350), "low", "swapped"),
    ],
)
def test_verdicts(millivolts: float, word: str, says: str) -> None:
    verdict = thermocouple_verdict(millivolts, 77, 350)
    assert verdict.verdict == word
    assert says in verdict.means


def test_without_an_expectation() -> None:
    verdict = thermocouple_verdict(9.153, 77)
    assert (verdict.verdict, verdict.value) == ("cannot tell", pytest.approx(482, abs=0.1))


def test_tolerance_classes() -> None:
    assert type_k_tolerance_c(100, 1) == 1.5
    assert type_k_tolerance_c(1000, 1) == pytest.approx(4.0)
    assert type_k_tolerance_c(100) == 2.5
    assert type_k_tolerance_c(1000) == pytest.approx(7.5)


@pytest.mark.parametrize("millivolts", [-50, 100, math.nan, math.inf])
def test_millivolts_outside(millivolts: float) -> None:
    with pytest.raises(InputError, match="millivolts"):
        thermocouple_verdict(millivolts, 77)


@pytest.mark.parametrize("temp_f", [-500, 5000, math.nan])
def test_cold_junction_outside(temp_f: float) -> None:
    with pytest.raises(InputError):
        thermocouple_verdict(1.0, temp_f)


def test_the_band_is_the_tolerance_in_f() -> None:
    # Class 2 at 176.7 C: 2.5 C, which is 4.5 F; class 1: 1.5 C, 2.7 F.
    assert thermocouple_verdict(_millivolts(350), 77, 350).band == pytest.approx((345.5, 354.5))
    assert thermocouple_verdict(_millivolts(350), 77, 350, 1).band == pytest.approx((347.3, 352.7))
