"""Oven sensor curves against published tables and an independent package."""

from __future__ import annotations

import pytest
from rtd_sensor import pt1000, tolerance

from rules.electrical.sensor_reading import wrong_curve_verdict
from rules.electrical.sensors import (
    CURVES,
    c_from_f,
    explaining_ohms,
    f_from_c,
    ohms_at,
    series_error_f,
    shunt_error_f,
    temp_at,
    tolerance_c,
)
from rules.terms import InputError

# Found: a published Pt100 table to IEC 60751 (two copies agree), times ten; it prints 0.01 ohm of Pt100.
IEC_TABLE = {
    -50: 803.1,
    -20: 921.6,
    0: 1000.0,
    20: 1077.9,
    50: 1194.0,
    100: 1385.1,
    150: 1573.3,
    200: 1758.6,
    250: 1941.0,
    300: 2120.5,
    350: 2297.2,
    400: 2470.9,
    450: 2641.8,
    500: 2809.8,
}
# Found: a trade table of the oven probe, F to ohm (100 to 500); a range service sheet (75, 32).
OVEN_TABLE = {32: 1000, 75: 1091, 100: 1143, 200: 1350, 300: 1553, 350: 1654, 400: 1753, 500: 1949}
# From memory: more rows of the same kind of table.
OVEN_TABLE_MEMORY = {250: 1453, 450: 1852, 550: 2047, 650: 2237, 900: 2697}


@pytest.mark.parametrize(("temp_c", "ohms"), IEC_TABLE.items())
def test_iec_60751_published_table(temp_c: float, ohms: float) -> None:
    assert ohms_at(temp_c, "IEC 60751") == pytest.approx(ohms, abs=0.0501)
    assert temp_at(ohms, "IEC 60751") == pytest.approx(temp_c, abs=0.015)


def test_iec_60751_follows_the_scale_in_force_not_the_older_one() -> None:
    # A popular web table prints 175.84, 212.03, 280.93 for 200, 300, 500 C: an older scale (found, not followed).
    for temp_c, older in ((200, 1758.4), (300, 2120.3), (500, 2809.3)):
        assert abs(ohms_at(temp_c, "IEC 60751") - older) > 0.1


@pytest.mark.parametrize("temp_c", range(-200, 851, 25))
def test_iec_60751_against_rtd_sensor(temp_c: int) -> None:
    assert ohms_at(temp_c, "IEC 60751") == pytest.approx(pt1000.celsius_to_resistance(temp_c), rel=1e-12)
    assert temp_at(ohms_at(temp_c, "IEC 60751"), "IEC 60751") == pytest.approx(temp_c, abs=1e-8)


@pytest.mark.parametrize("tolerance_class", ["A", "B"])
@pytest.mark.parametrize("construction", ["film", "wire_wound"])
def test_tolerance_classes_against_rtd_sensor(tolerance_class: str, construction: str) -> None:
    agreed = refused = 0
    for temp_c in range(-200, 651):
        try:
            theirs = tolerance.thermometer_tolerance_c(
                temp_c, tolerance_class=tolerance_class, construction=construction
            )
        except ValueError:
            with pytest.raises(InputError):
                tolerance_c(temp_c, tolerance_class, construction)
            refused += 1
        else:
            assert tolerance_c(temp_c, tolerance_class, construction) == pytest.approx(theirs, rel=1e-12)
            agreed += 1
    assert agreed > 300
    assert refused > 50


@pytest.mark.parametrize(("temp_f", "ohms"), (OVEN_TABLE | OVEN_TABLE_MEMORY).items())
def test_3750_published_rows(temp_f: float, ohms: float) -> None:
    assert ohms_at(c_from_f(temp_f), "3750") == pytest.approx(ohms, abs=1.0)


def test_3750_constants_follow_from_alpha_delta_and_beta() -> None:
    # From memory: alpha 0.00375, delta 1.605, beta 0.16 of the component family; relations of the standard.
    alpha, delta, beta = 0.00375, 1.605, 0.16
    curve = CURVES["3750"]
    assert curve.a == pytest.approx(alpha * (1 + delta / 100), rel=1e-3)
    assert curve.b == pytest.approx(-alpha * delta / 1e4, rel=1e-3)
    assert curve.c == pytest.approx(-alpha * beta / 1e8, rel=1e-3)


def test_the_oven_table_is_not_the_iec_curve() -> None:
    # The IEC inverse applied to the published rows reads 341.0 F at 350 and 486.0 F at 500 (recomputed in the dossier).
    assert f_from_c(temp_at(OVEN_TABLE[350], "IEC 60751")) == pytest.approx(341.0, abs=0.1)
    assert f_from_c(temp_at(OVEN_TABLE[500], "IEC 60751")) == pytest.approx(486.0, abs=0.1)


def test_1080_ohm_is_70_f_on_one_curve_and_69_on_the_other() -> None:
    assert f_from_c(temp_at(1080, "3750")) == pytest.approx(69.9, abs=0.05)
    assert f_from_c(temp_at(1080, "IEC 60751")) == pytest.approx(69.0, abs=0.05)


@pytest.mark.parametrize(("ohms", "error_f"), [(5, -2.5), (10, -5.0), (20, -10.0), (50, -25.0)])
def test_series_resistance_at_350_f(ohms: float, error_f: float) -> None:
    # Recomputed in the dossier from the 3750 curve; the slope there is 2.00 ohm per F.
    assert series_error_f(350, ohms) == pytest.approx(error_f, abs=0.05)
    kind, explains = explaining_ohms(350, 350 + series_error_f(350, ohms))
    assert (kind, explains) == ("series", pytest.approx(ohms, abs=1e-6))


@pytest.mark.parametrize(("ohms", "error_f"), [(5e5, 2.7), (2e5, 6.9), (1e5, 13.9), (5e4, 28.4), (2e4, 75.2)])
def test_leak_across_the_sensor_at_350_f(ohms: float, error_f: float) -> None:
    assert shunt_error_f(350, ohms) == pytest.approx(error_f, abs=0.05)
    kind, explains = explaining_ohms(350, 350 + shunt_error_f(350, ohms))
    assert (kind, explains) == ("shunt", pytest.approx(ohms, rel=1e-6))


def test_wrong_sensor_on_a_3750_control() -> None:
    # Dossier: set 350 gives 341; the control reads 9 F hot at 350 F and 30 F hot at 900 F.
    assert wrong_curve_verdict(350, "IEC 60751").value == pytest.approx(-9, abs=0.3)
    for temp_f, reads_hot in ((350, 9.0), (900, 30.0)):
        seen = f_from_c(temp_at(ohms_at(c_from_f(temp_f), "IEC 60751"), "3750"))
        assert seen - temp_f == pytest.approx(reads_hot, abs=0.7)
