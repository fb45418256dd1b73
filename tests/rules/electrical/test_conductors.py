"""Copper runs and joints: verdicts and bad input."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.electrical.conductors import drop_verdict, joint_verdict, ohms_per_kft, volts_lost
from rules.terms import InputError


@given(amps=st.floats(0, 60), feet=st.floats(0, 300), awg=st.sampled_from([10, 8, 6]))
def test_twice_the_run_loses_twice_the_volts(amps: float, feet: float, awg: int) -> None:
    assert volts_lost(amps, 2 * feet, awg) == pytest.approx(2 * volts_lost(amps, feet, awg))


@pytest.mark.parametrize(
    ("amps", "feet", "awg", "word"), [(40, 50, 8, "as expected"), (40, 200, 10, "high"), (0, 50, 8, "as expected")]
)
def test_drop(amps: float, feet: float, awg: int, word: str) -> None:
    assert drop_verdict(amps, feet, awg).verdict == word


def test_wires_that_are_not_held() -> None:
    with pytest.raises(InputError, match="write one of 16, 14"):
        ohms_per_kft(7)
    with pytest.raises(InputError, match="stranded or solid"):
        ohms_per_kft(8, "braided")  # type: ignore[arg-type]
    with pytest.raises(InputError, match="wire temperature"):
        ohms_per_kft(8, temp_c=400)
    for amps, feet in ((-1, 50), (40, math.nan), (math.inf, 50)):
        with pytest.raises(InputError):
            volts_lost(amps, feet, 8)


@pytest.mark.parametrize(
    ("amps", "volts", "ohms", "word", "says"),
    [
        (10, 0.1, None, "as expected", "1.0 W"),
        (29, None, 0.5, "high", "420 W"),
        (10, 0.5, None, "high", "Replace both"),
        (10, None, math.inf, "open", "open"),
    ],
)
def test_joint(amps: float, volts: float | None, ohms: float | None, word: str, says: str) -> None:
    verdict = joint_verdict(amps, ohms, volts)
    assert verdict.verdict == word
    assert says in verdict.means


@pytest.mark.parametrize(
    ("amps", "ohms", "volts"), [(0, 0.1, None), (10, None, None), (10, 0.1, 0.1), (10, -1, None), (10, None, math.nan)]
)
def test_joint_input_that_is_none(amps: float, ohms: float | None, volts: float | None) -> None:
    with pytest.raises(InputError):
        joint_verdict(amps, ohms, volts)


def test_joint_band_and_the_heat_that_glows() -> None:
    assert joint_verdict(10, 0.005).band == (0, 10)
    assert "reported to glow" in joint_verdict(20, 30 / 400).means
    assert "reported to glow" not in joint_verdict(20, 29.9 / 400).means
