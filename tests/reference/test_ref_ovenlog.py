"""Oven mean and swing of a logged cycle, against the closed form of an exponential cycle."""

from __future__ import annotations

import math

import pytest

from rules.electrical.ovenlog import Sample, analyse

TAU, ROOM, CALLED = 4000.0, 70.0, 1104.0  # s, and the temperatures the oven tends to when off and when on, F


def _to(start: float, goal: float, limit: float) -> float:
    """Seconds from one temperature to another on the way to ``limit``."""
    return TAU * math.log((limit - start) / (limit - goal))


def _exponential_log(low: float, high: float, cycles: int) -> list[Sample]:
    """From cold, then ``cycles`` cycles between two temperatures, a sample every 2 s."""
    samples: list[Sample] = []
    legs = [(ROOM, high + 25, CALLED), (high + 25, low, ROOM)]
    legs += [(low, high, CALLED), (high, low, ROOM)] * cycles
    clock = 0.0
    for start, goal, limit in legs:
        span = _to(start, goal, limit)
        samples += [
            (clock + 2 * step, limit - (limit - start) * math.exp(-2 * step / TAU)) for step in range(int(span / 2))
        ]
        clock += span
    return samples


def test_mean_and_swing_of_an_exponential_cycle() -> None:
    # Closed form: over one leg the mean is limit - tau x change / time. The dossier's check is 349.8 against 350.
    log = analyse(_exponential_log(330, 370, 5))
    assert log is not None
    up, down = _to(330, 370, CALLED), _to(370, 330, ROOM)
    area = (CALLED * up - TAU * 40) + (ROOM * down + TAU * 40)
    true_mean = area / (up + down)
    assert true_mean == pytest.approx(349.7, abs=0.1)
    assert log.mean_f == pytest.approx(true_mean, abs=0.1)
    assert log.middle_f == pytest.approx(350.0, abs=0.15)
    assert log.swing_f == pytest.approx(20.0, abs=0.2)
    assert log.cycles == 4
    assert log.period_s == pytest.approx(up + down, rel=0.01)
    assert log.middle_f > log.mean_f
