"""NTC thermistors against published tables and worked examples."""

from __future__ import annotations

import pytest

from rules.electrical.sensors import c_from_f, f_from_c
from rules.electrical.thermistor import Thermistor

# Found: a 10 kohm table in a steam-control manual, F to ohm.
TABLE = {
    50: 19900,
    70: 11883,
    75: 10501,
    100: 5828,
    140: 2490,
    185: 1073,
    200: 829,
    205: 763,
    225: 553,
}


@pytest.fixture(scope="module")
def fitted() -> Thermistor:
    return Thermistor.fitted([(c_from_f(temp_f), TABLE[temp_f]) for temp_f in (50, 100, 205)])


@pytest.mark.parametrize("temp_f", TABLE)
def test_fit_of_three_rows_returns_the_whole_table(fitted: Thermistor, temp_f: float) -> None:
    assert f_from_c(fitted.temp_c(TABLE[temp_f])) == pytest.approx(temp_f, abs=0.025)


def test_coefficients_of_the_fit(fitted: Thermistor) -> None:
    # Confirmed in the dossier with an independent package (thermistor-utils).
    assert fitted.a == pytest.approx(1.12491e-3, rel=1e-5)
    assert fitted.b == pytest.approx(2.34762e-4, rel=1e-5)
    assert fitted.c == pytest.approx(8.5578e-8, rel=1e-4)


@pytest.mark.parametrize(("ohms", "temp_c"), [(10_000, 25.0), (32_650, 0.0)])
def test_published_steinhart_hart_constants(ohms: float, temp_c: float) -> None:
    # Found: constants in a published paper, which states them for a 10 kohm part.
    part = Thermistor(1.129148e-3, 2.34125e-4, 8.76741e-8)
    assert part.temp_c(ohms) == pytest.approx(temp_c, abs=5e-4)
    assert part.ohms(temp_c) == pytest.approx(ohms, rel=5e-5)


@pytest.mark.parametrize(("temp_c", "ohms"), [(0, 28224), (25, 10000), (50, 4160), (100, 1024)])
def test_beta_worked_example(temp_c: float, ohms: float) -> None:
    # Formula and beta 3380 found on a component maker's page; values recomputed.
    assert Thermistor.from_beta(10_000, 3380).ohms(temp_c) == pytest.approx(ohms, abs=0.6)
