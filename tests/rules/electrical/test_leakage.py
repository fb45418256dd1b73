"""Current to the frame and insulation: verdicts and bad input."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.electrical.leakage import iec_limit_ma, leak_ma, leakage_verdict, sheath_verdict
from rules.electrical.verdict import WORDS
from rules.terms import InputError


@pytest.mark.parametrize(
    ("milliamps", "kw", "word", "says"),
    [
        (0.5, None, "as expected", "holds"),
        (4.7, None, "high", "may trip"),
        (4.7, 12, "as expected", "may trip"),
        (6, None, "high", "trips within 5.6 s"),
        (20, 12, "high", "cannot let go"),
        (2, 1, "high", "holds"),
    ],
)
def test_leakage(milliamps: float, kw: float | None, word: str, says: str) -> None:
    verdict = leakage_verdict(milliamps, kw)
    assert verdict.verdict == word
    assert says in verdict.means


@pytest.mark.parametrize(
    ("ohms", "test_volts", "word", "says"),
    [
        (math.inf, None, "as expected", "hand meter cannot see"),
        (math.inf, 500, "as expected", "Sound"),
        (50e6, 500, "as expected", "Sound"),
        (2e6, 500, "as expected", "usable"),
        (500e3, 500, "low", "dry it out"),
        (25e3, 500, "low", "may trip"),
        (15e3, 500, "low", "trips within"),
        (300, None, "short", "replace it"),
        (0, None, "short", "replace it"),
    ],
)
def test_sheath(ohms: float, test_volts: float | None, word: str, says: str) -> None:
    verdict = sheath_verdict(ohms, test_volts)
    assert verdict.verdict == word
    assert says in verdict.means


@given(ohms=st.floats(0, allow_nan=False), test_volts=st.one_of(st.none(), st.just(500.0)))
def test_every_sheath_reading_gets_a_verdict(ohms: float, test_volts: float | None) -> None:
    assert sheath_verdict(ohms, test_volts).verdict in WORDS


def test_leak_input_that_is_none() -> None:
    assert leak_ma(0) == math.inf
    assert leak_ma(math.inf) == 0
    for call in (lambda: leak_ma(-1), lambda: leak_ma(math.nan), lambda: leakage_verdict(-1), lambda: iec_limit_ma(0)):
        with pytest.raises(InputError):
            call()
    with pytest.raises(InputError, match="construction"):
        iec_limit_ma(5, "gas")  # type: ignore[arg-type]


def test_edges_of_insulation() -> None:
    assert sheath_verdict(1e6, 500).verdict == "as expected"
    assert sheath_verdict(0.999e6, 500).verdict == "low"
    assert sheath_verdict(20e6, 500).means == "Sound cold."
    assert "usable" in sheath_verdict(19.9e6, 500).means
    assert sheath_verdict(1000).verdict == "low"
    assert sheath_verdict(999).verdict == "short"
