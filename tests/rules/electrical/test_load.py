"""Demand, breakers and trips: verdicts and bad input."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.electrical.load import breaker_verdict, demand_kw, trip_limit_s, trip_verdict
from rules.terms import InputError


@given(kw=st.floats(1.76, 27), more=st.floats(0, 5))
def test_demand_never_falls_as_the_rating_rises(kw: float, more: float) -> None:
    larger = min(27.0, kw + more)
    assert demand_kw(kw) <= demand_kw(larger) + 1e-9
    assert demand_kw(kw) <= kw


@pytest.mark.parametrize("kw", [0, 1.75, 27.1, -5, math.nan, math.inf])
def test_ratings_outside_the_table(kw: float) -> None:
    with pytest.raises(InputError, match="range rating"):
        demand_kw(kw)


@pytest.mark.parametrize(
    ("breaker", "kw", "awg", "word"),
    [
        (40, 12, None, "as expected"),
        (50, 12, 6, "as expected"),
        (60, 22, 6, "as expected"),
        (30, 12, None, "low"),
        (40, 22, None, "low"),
        (50, 12, 8, "high"),
        (40, 12, 10, "high"),
        (30, 12, 10, "low"),
    ],
)
def test_breaker_against_range_and_wire(breaker: float, kw: float, awg: int | None, word: str) -> None:
    verdict = breaker_verdict(breaker, kw, awg=awg)
    assert verdict.verdict == word
    assert verdict.band is not None
    assert verdict.band[0] <= verdict.band[1]


@pytest.mark.parametrize(
    ("load", "breaker", "seconds", "word", "says"),
    [
        (30, 40, None, "as expected", "hold this load"),
        (54, 40, None, "high", "within 60 min"),
        (44, 40, None, "high", "need not trip"),
        (30, 40, 1200, "low", "weak breaker"),
        (30, 40, math.inf, "as expected", "need not trip"),
        (54, 40, 1200, "as expected", "does what it should"),
        (54, 40, 7200, "high", "fails to protect"),
        (80, 40, math.inf, "high", "fails to protect"),
        (44, 40, 1200, "as expected", "does what it should"),
    ],
)
def test_trips(load: float, breaker: float, seconds: float | None, word: str, says: str) -> None:
    verdict = trip_verdict(load, breaker, seconds)
    assert verdict.verdict == word
    assert says in verdict.means


def test_larger_breakers_have_longer_limits() -> None:
    assert trip_limit_s(1.35 * 60, 60) == 7200
    assert trip_limit_s(120, 60) == 360


@pytest.mark.parametrize(
    ("load", "breaker", "seconds"), [(-1, 40, None), (10, 0, None), (math.nan, 40, 1), (10, 40, -1)]
)
def test_trip_input_that_is_none(load: float, breaker: float, seconds: float | None) -> None:
    with pytest.raises(InputError):
        trip_verdict(load, breaker, seconds)


def test_breaker_wire_that_is_not_held() -> None:
    with pytest.raises(InputError, match="AWG"):
        breaker_verdict(40, 12, awg=7)


@pytest.mark.parametrize(("awg", "largest"), [(14, 15), (12, 20), (10, 30), (8, 40), (6, 60), (4, 70)])
def test_largest_breaker_for_copper(awg: int, largest: float) -> None:
    # From memory: NEC table 310.16 at 60 C, and the next standard size by 240.4(B) for the 55 A of 6 AWG.
    too_large = breaker_verdict(largest + 1, 2, awg=awg)
    assert (too_large.verdict, too_large.band) == ("high", (0, largest))
    assert breaker_verdict(largest, 2, awg=awg).verdict == "as expected"


def test_a_breaker_must_hold_its_whole_rating() -> None:
    assert trip_verdict(40, 40, 1200).verdict == "low"
    assert trip_verdict(40, 40).verdict == "as expected"
    assert trip_verdict(40.1, 40, 1200).verdict == "as expected"
