"""Duty of an infinite switch and preheat against a lost element."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.electrical.heating import duty_percent, duty_verdict, preheat_minutes, preheat_times, preheat_verdict
from rules.terms import InputError


@given(on_s=st.floats(1e-3, 1e5), off_s=st.one_of(st.just(0.0), st.floats(1e-3, 1e5)))
def test_duty_is_a_share(on_s: float, off_s: float) -> None:
    assert 0 < duty_percent(on_s, off_s) <= 100
    assert duty_percent(on_s, off_s) + duty_percent(off_s, on_s) == pytest.approx(100)
    assert duty_percent(on_s, 0.0) == 100


@pytest.mark.parametrize(
    ("on_s", "off_s", "mark", "word", "says"),
    [
        (2, 30, "LO", "as expected", "usual 6 %"),
        (12, 18, "med", "as expected", "usual 40 %"),
        (7, 23, "2", "as expected", "usual 12 %"),
        (8, 22, "2", "high", "may not match"),
        (60, 0, "LO", "high", "welded"),
        (60, 0, "HI", "as expected", "usual 100 %"),
        (40, 20, "HI", "low", "limiter"),
        (0, 60, "MED", "open", "Never on"),
        (3, 27, "MED", "low", "may not match"),
        (25, 5, "MED", "high", "may not match"),
        (300, 0, "HI", "as expected", "About the usual 100 %."),
        (80, 120, "MED", "as expected", "not the usual 15 to 60 s"),
    ],
)
def test_duty_verdicts(on_s: float, off_s: float, mark: str, word: str, says: str) -> None:
    verdict = duty_verdict(on_s, off_s, mark)
    assert verdict.verdict == word
    assert says in verdict.means


@pytest.mark.parametrize(
    ("on_s", "off_s", "mark", "field"),
    [(0, 0, "LO", "time on"), (-1, 5, "LO", "time on"), (5, math.nan, "LO", "time off"), (5, 5, "simmer", "setting")],
)
def test_duty_input_that_is_none(on_s: float, off_s: float, mark: str, field: str) -> None:
    with pytest.raises(InputError, match=field):
        duty_verdict(on_s, off_s, mark)


@given(watts=st.floats(800, 5000), lost=st.floats(0.1, 0.9))
def test_losing_watts_costs_more_time_than_watts(watts: float, lost: float) -> None:
    whole, rest = preheat_minutes(watts, 350), preheat_minutes(watts * (1 - lost), 350)
    assert rest >= whole / (1 - lost) - 1e-9


def test_preheat_at_208_v_is_slower() -> None:
    elements = {"bake": 2585.0, "broil": 1700.0}
    assert preheat_times(elements, 350, volts=208)["all"] > preheat_times(elements, 350)["all"] / 0.751


@pytest.mark.parametrize(
    ("took", "word", "says"),
    [
        (12, "as expected", "About 12 min"),
        (21, "high", "without broil: see"),
        (36, "high", "without bake: see"),
        (4, "low", "not start from cold"),
        (None, "cannot tell", "without bake 35 min"),
    ],
)
def test_preheat_verdicts(took: float | None, word: str, says: str) -> None:
    verdict = preheat_verdict(took, {"bake": 2585, "broil": 1700}, 350)
    assert verdict.verdict == word
    assert says in verdict.means
    assert verdict.status == "illustrative"


def test_an_oven_that_never_gets_there() -> None:
    verdict = preheat_verdict(60, {"bake": 600}, 350)
    assert (verdict.verdict, verdict.value) == ("cannot tell", None)
    assert "never" in verdict.means


def test_preheat_of_a_warm_room() -> None:
    assert preheat_minutes(2000, 70, 70) == 0.0
    assert preheat_minutes(0, 70, 70) == 0.0


@pytest.mark.parametrize(
    ("took", "elements", "set_f"),
    [
        (12, {}, 350),
        (12, {"bake": -1}, 350),
        (12, {"bake": 2000}, 20),
        (-1, {"bake": 2000}, 350),
        (12, {"bake": 2000}, math.nan),
    ],
)
def test_preheat_input_that_is_none(took: float, elements: dict[str, float], set_f: float) -> None:
    with pytest.raises(InputError):
        preheat_verdict(took, elements, set_f)
