"""Elements, supply signatures and ghost volts against published and independently computed values."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.electrical.elements import (
    cold_band,
    grounded_amps,
    hot_cold_factor,
    ohms_from_watts,
    watts_at,
    watts_from_ohms,
)
from rules.electrical.heating import preheat_minutes, preheat_times
from rules.electrical.supply import back_feed_volts, ghost_volts, open_neutral_volts


@pytest.mark.parametrize(
    ("watts", "ohms"),
    [(1250, 46.08), (1500, 38.40), (2100, 27.43), (2400, 24.00), (2585, 22.28), (3000, 19.20), (3600, 16.00)],
)
def test_ohms_from_watts_at_240_v(watts: float, ohms: float) -> None:
    assert ohms_from_watts(watts) == pytest.approx(ohms, abs=0.005)
    assert watts_from_ohms(ohms_from_watts(watts)) == pytest.approx(watts)


@pytest.mark.parametrize(
    ("volts", "share"),
    [(208, 0.7511), (228, 0.9025), (220, 0.8403), (216, 0.810), (252, 1.1025), (120, 0.2500), (0, 0)],
)
def test_heat_falls_with_the_square_of_the_volts(volts: float, share: float) -> None:
    assert watts_at(1000, volts) / 1000 == pytest.approx(share, abs=5e-5)


def test_published_208_v_power() -> None:
    # Found: 4500 W at 240 V gives about 3380 W at 208 V. (Pages that say the current rises are wrong for resistors.)
    assert watts_at(4500, 208) == pytest.approx(3380, abs=1)
    assert watts_at(4500, 208) / 208 < 4500 / 240
    assert math.sqrt(3) * 120 == pytest.approx(208, abs=0.2)


def test_half_volts_quarter_power_of_the_bake_element() -> None:
    assert watts_at(2585, 120) == pytest.approx(646, abs=0.5)


def test_band_of_a_2585_w_element() -> None:
    # Recomputed in the dossier: 20.4 to 24.8 ohm, with the meter's error 20.0 to 25.2.
    low, high = cold_band(2585)
    assert (low, high) == (pytest.approx(20.0, abs=0.05), pytest.approx(25.2, abs=0.05))
    assert low == pytest.approx(240**2 / 2585 / 1.05 / 1.04 * 0.991 - 0.2)
    assert high == pytest.approx(240**2 / 2585 / 0.90 * 1.009 + 0.2)


@pytest.mark.parametrize(("temp_c", "factor"), [(20, 1.0), (500, 1.05), (800, 1.04), (1200, 1.07), (450, 1.045)])
def test_nickel_chrome_factor_of_the_makers_sheet(temp_c: float, factor: float) -> None:
    assert hot_cold_factor(temp_c) == pytest.approx(factor)


# Found: the grade standard Cr20Ni80, held for comparison and not followed.
@pytest.mark.parametrize(("temp_c", "factor"), [(100, 1.006), (500, 1.026), (800, 1.008), (1000, 1.014), (1200, 1.025)])
def test_nickel_chrome_factor_of_the_grade_standard(temp_c: float, factor: float) -> None:
    assert hot_cold_factor(temp_c, "grade standard") == pytest.approx(factor)


def test_the_two_published_nickel_chrome_tables_differ_by_at_most_4_4_percent() -> None:
    most = max(hot_cold_factor(t) / hot_cold_factor(t, "grade standard") for t in range(20, 1201, 10))
    assert most - 1 == pytest.approx(0.044, abs=0.0005)


@pytest.mark.parametrize(
    ("fraction", "amps", "watts"), [(1.0, 5.4, 646), (0.5, 10.8, 1292), (0.25, 21.5, 2585), (0.13, 41, 4972)]
)
def test_grounded_element_glows_with_the_control_off(fraction: float, amps: float, watts: float) -> None:
    # Recomputed in the dossier for 22.28 ohm with one side live.
    assert grounded_amps(22.28, fraction) == pytest.approx(amps, rel=0.012)
    assert 120 * grounded_amps(22.28, fraction) == pytest.approx(watts, rel=0.001)


def test_open_neutral_worked_example() -> None:
    # Found: 100 W and 200 W lamps on 120 V, 144 and 72 ohm, neutral open: 160 and 80 V (lcapy and ngspice agree).
    assert open_neutral_volts(120**2 / 100, 120**2 / 200) == pytest.approx((160, 80))


@pytest.mark.parametrize(("first", "second", "volts"), [(5, 40, (213, 27)), (5, 20, (192, 48))])
def test_open_neutral_of_the_signature_table(first: float, second: float, volts: tuple[float, float]) -> None:
    # Rows F and F' of the dossier's table: control on L1, lamp or fan on L2.
    assert open_neutral_volts(120**2 / first, 120**2 / second) == pytest.approx(volts, abs=0.5)


@pytest.mark.parametrize(
    ("picofarads", "meter", "volts", "printed_to"),
    [(100, 10e6, 36, 0.5), (100, 3e3, 0.01, 0.005), (1000, 10e6, 59, 0.5), (1000, 3e3, 0.14, 0.005)],
)
def test_ghost_volts(picofarads: float, meter: float, volts: float, printed_to: float) -> None:
    assert ghost_volts(picofarads, picofarads, meter) == pytest.approx(volts, abs=printed_to)


def test_low_impedance_meter_does_not_clear_a_back_feed() -> None:
    # Row A': 119.1 V on 3 kohm through a 22.28 ohm element; InSpice gives the same.
    assert back_feed_volts(22.28, 3000) == pytest.approx(119.1, abs=0.05)
    assert back_feed_volts(22.28) == pytest.approx(120, abs=0.001)


def test_preheat_against_a_lost_element() -> None:
    # Dossier, illustrative: 4285 W 12 min, 2585 W 21 min, 1700 W 35 min; 646 W never reaches 350 F.
    times = preheat_times({"bake": 2585, "broil": 1700}, 350)
    assert times["all"] == pytest.approx(12, abs=0.5)
    assert times["broil"] == pytest.approx(21, abs=0.5)
    assert times["bake"] == pytest.approx(35, abs=0.5)
    assert preheat_minutes(646, 350) == math.inf


@given(watts=st.floats(300, 5000), rise=st.floats(50, 400))
def test_preheat_against_small_time_steps(watts: float, rise: float) -> None:
    minutes = preheat_minutes(watts, 70 + rise)
    if math.isinf(minutes):
        assert watts <= 4.5 * rise / 1.8 + 1e-9
        return
    steps, temp = 4000, 0.0
    step_s = 60 * minutes / steps
    for _ in range(steps if minutes < 300 else 0):
        middle = temp + step_s / 2 * (watts - 4.5 * temp) / 18e3
        temp += step_s * (watts - 4.5 * middle) / 18e3
    assert minutes >= 300 or temp == pytest.approx(rise / 1.8, rel=1e-4)
