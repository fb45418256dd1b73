"""Leakage limits and ground-fault breakers against the figures of published pages."""

from __future__ import annotations

import math

import pytest

from rules.electrical.leakage import gfci_trip_s, iec_limit_ma, leak_ma


@pytest.mark.parametrize(("milliamps", "seconds"), [(6, 5.6), (20, 1.0), (264, 0.025), (1000, 0.025)])
def test_class_a_trip_time(milliamps: float, seconds: float) -> None:
    # Formula (20 / I)^1.43 found on a trade forum quoting the standard; values recomputed.
    assert gfci_trip_s(milliamps) == pytest.approx(seconds, rel=0.01)


def test_class_a_holds_below_4_ma() -> None:
    # Found: trips at 6 mA and more, not below 4.
    assert gfci_trip_s(3.99) == math.inf
    assert gfci_trip_s(4.0) < math.inf


@pytest.mark.parametrize(("milliamps", "kohm"), [(4, 30), (5, 24), (6, 20)])
def test_insulation_ohms_that_trip(milliamps: float, kohm: float) -> None:
    assert leak_ma(1000 * kohm) == pytest.approx(milliamps)


def test_shock_current_through_1_kohm() -> None:
    assert leak_ma(1000) == pytest.approx(120)


@pytest.mark.parametrize(("kw", "limit"), [(0.5, 0.75), (1.0, 0.75), (4.0, 3.0), (6.0, 4.5), (12.0, 5.0)])
def test_iec_60335_1_clause_13_2(kw: float, limit: float) -> None:
    # Clause text found: 0.75 mA, or 0.75 mA per kW if more, at most 5 mA, for stationary heating appliances.
    assert iec_limit_ma(kw) == pytest.approx(limit)


@pytest.mark.parametrize(
    ("construction", "limit"),
    [("portable", 0.75), ("stationary motor", 3.5), ("class II", 0.25), ("class 0, 0I or III", 0.5)],
)
def test_iec_60335_1_other_constructions(construction: str, limit: float) -> None:
    assert iec_limit_ma(2.0, construction) == limit
