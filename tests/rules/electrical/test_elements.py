"""Heating elements: ohms and watts, verdicts cold and at work, and a wire that touches its sheath."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.electrical.elements import (
    cold_band,
    element_verdict,
    expected_element,
    grounded_amps,
    grounded_verdict,
    hot_cold_factor,
    locate_sheath_fault,
    ohms_from_watts,
    power_verdict,
    rating_from_ohms,
    watts_at,
    watts_from_ohms,
)
from rules.electrical.verdict import WORDS
from rules.terms import InputError

watts = st.floats(100, 6000)


@given(watts=watts, volts=st.floats(100, 300))
def test_ohms_and_back(watts: float, volts: float) -> None:
    assert watts_from_ohms(ohms_from_watts(watts, volts), volts) == pytest.approx(watts)


@given(watts=watts, actual=st.floats(0.9, 1.05), hot=st.floats(1.0, 1.04), error=st.floats(-1, 1))
def test_every_sound_element_is_as_expected(watts: float, actual: float, hot: float, error: float) -> None:
    true = ohms_from_watts(watts * actual) / hot
    shown = true + error * (0.009 * true + 0.19)
    assert element_verdict(shown, watts).verdict == "as expected"


@pytest.mark.parametrize(
    ("ohms", "word", "says"),
    [
        (22.3, "as expected", "2484 W"),
        (16.9, "low", "bridged"),
        (30.0, "high", "smaller element"),
        (math.inf, "open", "Broken wire"),
        (500.0, "open", "Broken wire"),
        (0.3, "short", "lift one lead"),
        (0.0, "short", "lift one lead"),
    ],
)
def test_element_verdicts(ohms: float, word: str, says: str) -> None:
    verdict = element_verdict(ohms, 2585)
    assert verdict.verdict == word
    assert says in verdict.means
    assert verdict.band == cold_band(2585)


@pytest.mark.parametrize(
    ("ohms", "watts", "volts", "field"),
    [
        (-1, 2585, 240, "element ohms"),
        (math.nan, 2585, 240, "element ohms"),
        (22, 0, 240, "rated watts"),
        (22, math.inf, 240, "rated watts"),
        (22, 2585, -240, "rated volts"),
    ],
)
def test_element_input_that_is_none(ohms: float, watts: float, volts: float, field: str) -> None:
    with pytest.raises(InputError, match=field):
        element_verdict(ohms, watts, volts)


@given(ohms=st.floats(0, allow_nan=False), watts=watts)
def test_every_reading_gets_a_verdict(ohms: float, watts: float) -> None:
    assert element_verdict(ohms, watts).verdict in WORDS


def test_expected_and_rating() -> None:
    assert expected_element(2400).value == pytest.approx(24.0)
    assert "10.0 A" in expected_element(2400).means
    assert rating_from_ohms(24.0 / 1.04).value == pytest.approx(2400)
    assert rating_from_ohms(math.inf).verdict == "open"


@pytest.mark.parametrize(
    ("volts", "word", "says"),
    [
        (240, "as expected", "Full drive"),
        (120, "low", "quarter of the heat"),
        (208, "low", "three quarters"),
        (200, "low", "measure the supply"),
        (0, "low", "nothing drives it"),
        (260, "high", "neutral"),
    ],
)
def test_heat_at_the_volts_it_gets(volts: float, word: str, says: str) -> None:
    verdict = power_verdict(volts, 2585)
    assert verdict.verdict == word
    assert says in verdict.means
    assert verdict.value == pytest.approx(watts_at(2585, volts))


@pytest.mark.parametrize(
    ("volts", "amps", "word"),
    [
        (238, 10.5, "as expected"),
        (208, 9.3, "as expected"),
        (240, 5.0, "low"),
        (240, 15.0, "high"),
        (240, 0.0, "open"),
        (240, 0.2, "open"),
        (240, 0.25, "low"),
    ],
)
def test_clamped_current(volts: float, amps: float, word: str) -> None:
    verdict = power_verdict(volts, 2585, amps)
    assert (verdict.verdict, verdict.value) == (word, pytest.approx(volts * amps))


@pytest.mark.parametrize(("volts", "amps"), [(-1, 5), (math.nan, 5), (240, -1), (240, math.nan), (240, math.inf)])
def test_power_input_that_is_none(volts: float, amps: float) -> None:
    with pytest.raises(InputError):
        power_verdict(volts, 2585, amps)


@pytest.mark.parametrize("temp_c", [0, 1300, math.nan])
def test_factor_outside_its_table(temp_c: float) -> None:
    with pytest.raises(InputError, match="wire temperature"):
        hot_cold_factor(temp_c)


@given(element=st.floats(10, 60), fraction=st.floats(0, 1), contact=st.floats(0, 50))
def test_sheath_fault_is_found_again(element: float, fraction: float, contact: float) -> None:
    first, second = fraction * element + contact, (1 - fraction) * element + contact
    fault = locate_sheath_fault(first, second, element)
    assert fault.fraction == pytest.approx(fraction, abs=1e-9)
    assert fault.contact_ohms == pytest.approx(contact, abs=1e-9)


@pytest.mark.parametrize(
    ("first", "second", "element"),
    [(math.inf, 10, 22), (-1, 10, 22), (2, 2, 22), (30, 1, 22), (10, 12, 0), (math.nan, 1, 22)],
)
def test_ends_that_do_not_fit_together(first: float, second: float, element: float) -> None:
    with pytest.raises(InputError):
        locate_sheath_fault(first, second, element)


def test_grounded_verdict_names_the_worst_current() -> None:
    verdict = grounded_verdict(22.28 / 4, 22.28 * 3 / 4, 22.28)
    assert verdict.verdict == "short"
    assert verdict.value == pytest.approx(25)
    assert "21.5 A, 2585 W" in verdict.means
    assert "dead short" in grounded_verdict(0.0, 22.28, 22.28).means


@pytest.mark.parametrize("fraction", [0, -0.5, 1.5, math.nan])
def test_fraction_outside_the_element(fraction: float) -> None:
    with pytest.raises(InputError, match="fraction"):
        grounded_amps(22, fraction)


def test_a_poor_contact_limits_the_current() -> None:
    assert grounded_amps(22.28, 0.5, contact=10) == pytest.approx(120 / 21.14)
    verdict = grounded_verdict(5 + 3, 17.28 + 3, 22.28)
    assert "3.0 ohm of contact: 15.0 A, 1800 W" in verdict.means


def test_what_a_meter_may_be_off_still_fits_together() -> None:
    # 0.9 % of all three readings and the leads of each: 0.98 ohm here.
    assert locate_sheath_fault(10.0, 11.0, 22.28).contact_ohms == 0.0
    with pytest.raises(InputError):
        locate_sheath_fault(9.5, 10.5, 22.28)
    assert locate_sheath_fault(0.0, 22.9, 22.28).fraction == 0.0
    with pytest.raises(InputError):
        locate_sheath_fault(0.0, 25.0, 22.28)
