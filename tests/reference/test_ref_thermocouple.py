"""Type K against the ITS-90 values of an independent package and of NIST Monograph 175 (values from memory)."""

from __future__ import annotations

import pytest
import thermocouple_its90

from rules.electrical.thermocouple import type_k_mv, type_k_temp_c

TYPE_K = thermocouple_its90.get("K")


@pytest.mark.parametrize("temp_c", range(-200, 1371, 10))
def test_millivolts_against_thermocouple_its90(temp_c: int) -> None:
    assert type_k_mv(temp_c) == pytest.approx(TYPE_K.emf(temp_c, 0), abs=1e-9)


@pytest.mark.parametrize(
    ("temp_c", "millivolts"),
    [(25, 1.000), (100, 4.096), (150, 6.138), (200, 8.138), (250, 10.153), (300, 12.209), (400, 16.397), (500, 20.644)],
)
def test_millivolts_of_the_monograph(temp_c: float, millivolts: float) -> None:
    assert type_k_mv(temp_c) == pytest.approx(millivolts, abs=5.1e-4)


def test_cold_junction_worked_example() -> None:
    # Cold junction 25 C, hot junction 250 C: the meter shows 9.153 mV.
    assert type_k_mv(250) - type_k_mv(25) == pytest.approx(9.153, abs=5e-4)
    assert type_k_temp_c(9.153, 25) == pytest.approx(250, abs=0.01)


@pytest.mark.parametrize("cold_c", [0, 20, 25, 40])
@pytest.mark.parametrize("hot_c", [50, 150, 180, 260, 480])
def test_inverse_against_thermocouple_its90(hot_c: float, cold_c: float) -> None:
    millivolts = TYPE_K.emf(hot_c, cold_c)
    assert type_k_temp_c(millivolts, cold_c) == pytest.approx(hot_c, abs=1e-6)
    # The package inverts by the rounded polynomials, good to 0.06 C.
    assert type_k_temp_c(millivolts, cold_c) == pytest.approx(TYPE_K.temperature(millivolts, cold_c), abs=0.06)
