"""The judgement itself: words at the edges of a band, plain data, and input that is no number."""

from __future__ import annotations

import json
import math

import pytest

from rules.electrical.verdict import Basis, Meter, Word, checked, judge, made, not_negative, positive
from rules.terms import InputError

BASIS = Basis("a formula", "a source", "found")
MEANS: dict[Word, str] = {"low": "under", "as expected": "in", "high": "over"}


@pytest.mark.parametrize(
    ("value", "word", "means"),
    [(9.99, "low", "under"), (10, "as expected", "in"), (20, "as expected", "in"), (20.01, "high", "over")],
)
def test_both_ends_of_the_band_are_inside(value: float, word: str, means: str) -> None:
    verdict = judge("volts", value, "V", (10, 20), BASIS, MEANS)
    assert (verdict.verdict, verdict.means) == (word, means)
    assert (verdict.formula, verdict.source, verdict.status) == ("a formula", "a source", "found")


def test_nan_is_refused() -> None:
    with pytest.raises(InputError, match="volts: "):
        judge("volts", math.nan, "V", (0, 1), BASIS, MEANS)


def test_json_has_no_infinities() -> None:
    verdict = made("insulation", math.inf, "ohm", (1e6, math.inf), "as expected", "sound", BASIS)
    plain = json.loads(json.dumps(verdict.as_json(), allow_nan=False))
    assert plain["value"] == "OL"
    assert plain["band"] == [1e6, None]


def test_a_meter_widens_both_ends_and_never_below_zero() -> None:
    assert Meter(0.01, 0.2).widen((100, 200)) == pytest.approx((98.8, 202.2))
    assert Meter(0.01, 0.2).widen((0.1, 1))[0] == 0.0


@pytest.mark.parametrize("number", [math.nan, math.inf, -math.inf])
def test_checks_refuse_what_is_no_number(number: float) -> None:
    with pytest.raises(InputError, match="amperes"):
        checked(number, "amperes")
    with pytest.raises(InputError, match="amperes"):
        positive(number, "amperes", "amperes")
    with pytest.raises(InputError, match="amperes"):
        not_negative(number, "amperes", "amperes")


def test_zero_is_not_positive_but_is_not_negative() -> None:
    assert not_negative(0.0, "amperes", "amperes") == 0.0
    with pytest.raises(InputError):
        positive(0.0, "amperes", "amperes")
