"""Intervals and calibration against known values."""

from __future__ import annotations

import numpy as np
import pytest

from rules.evaluating.calibration import (
    LEAST_FOR_ECE,
    Calibration,
    calibrated,
    dirichlet,
    equal_mass,
    log_score_z,
    murphy,
    share,
)


@pytest.mark.parametrize(
    ("of", "low", "high"), [(50, 0.67, 0.89), (100, 0.71, 0.87), (400, 0.76, 0.84), (1000, 0.77, 0.82)]
)
def test_wilson_interval_of_four_fifths(of: int, low: float, high: float) -> None:
    """Values of the house's method notes, section 5."""
    found = share(round(0.8 * of), of)
    assert (round(found.low, 2), round(found.high, 2)) == (low, high)


def test_a_share_of_nothing_may_be_anything() -> None:
    assert (share(0, 0).low, share(0, 0).high) == (0.0, 1.0)


def forecasts(count: int, power: float, start: int) -> Calibration:
    """Beliefs over five causes, the truth drawn from each belief raised to 1 / ``power`` (1: calibrated)."""
    rng = np.random.default_rng(start)
    told = rng.dirichlet(np.full(5, 0.5), count)
    true = told ** (1 / power)
    true /= true.sum(axis=1, keepdims=True)
    truth = np.array([rng.choice(5, p=row) for row in true])
    logs = -np.log(np.maximum(told, 1e-300))
    entropy = (told * logs).sum(axis=1)
    p_true = told[np.arange(count), truth]
    made = calibrated(
        list(told.max(axis=1)),
        list(told.argmax(axis=1) == truth),
        list(p_true),
        list(entropy),
        list((told * logs**2).sum(axis=1) - entropy**2),
        list((told**2).sum(axis=1) - 2 * p_true + 1),
    )
    assert made is not None
    return made


def test_calibrated_beliefs_pass_and_overconfident_ones_do_not() -> None:
    honest, sure = forecasts(1500, 1.0, 1), forecasts(1500, 1.6, 1)
    assert abs(honest.z) < 3 < sure.z
    assert abs(honest.gap) < 0.03 < sure.gap
    assert sure.log_loss > honest.log_loss
    assert sure.brier > honest.brier


def test_the_calibration_error_stands_beside_that_of_a_perfect_forecaster() -> None:
    """One honest forecaster in twenty may pass the 95th percentile; one that is far off always does."""
    honest = [forecasts(600, 1.0, start) for start in range(12)]
    beyond = [made for made in honest if made.ece and made.ece_if_perfect and made.ece > made.ece_if_perfect[1]]
    assert len(beyond) <= 3
    sure = forecasts(1500, 1.6, 1)
    assert sure.ece is not None
    assert sure.ece_if_perfect is not None
    assert sure.ece > sure.ece_if_perfect[1]


def test_no_calibration_error_for_few_cases() -> None:
    few = forecasts(LEAST_FOR_ECE - 1, 1.0, 2)
    assert few.ece is None
    assert few.ece_if_perfect is None
    assert sum(entry.observed.of for entry in few.bins) == LEAST_FOR_ECE - 1


def test_bins_hold_equal_counts() -> None:
    counts = [len(part) for part in equal_mass(np.linspace(0, 1, 103))]
    assert max(counts) - min(counts) <= 1
    assert sum(counts) == 103


def test_murphys_parts_add_up() -> None:
    rng = np.random.default_rng(3)
    stated = rng.random(200)
    happened = rng.random(200) < stated
    parts = murphy(stated, happened, equal_mass(stated))
    total = parts.reliability - parts.resolution + parts.uncertainty + parts.within
    assert parts.brier == pytest.approx(total)
    assert abs(parts.within) < 0.01


def test_a_belief_of_nought_is_scored_and_not_endless() -> None:
    assert np.isfinite(log_score_z([0.0], [0.3], [0.2]))


def test_counts_move_a_prior_towards_what_was_seen() -> None:
    mean, deviation = dirichlet([0.08, 0.92], 25, [0, 0])
    assert mean[0] == pytest.approx(0.08)
    later, narrower = dirichlet([0.08, 0.92], 25, [30, 70])
    assert mean[0] < later[0] < 0.30
    assert narrower[0] < deviation[0]
