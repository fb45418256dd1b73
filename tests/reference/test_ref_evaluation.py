"""Golden rows of the evaluation: test sequencing, calibration scores, learning from counts."""

from __future__ import annotations

import numpy as np
import pytest

from rules.evaluating.calibration import brier, dirichlet, murphy, spiegelhalter_z
from rules.evaluating.optimum import SubModel, best_test, bits, expected_minutes, most_bits, optimum
from tests.rules.evaluating.ideal import huffman_length

PRIOR = [0.70, 0.01, 0.02, 0.10, 0.05, 0.12]
ANSWERS = ["00000", "01001", "00110", "10011", "11000", "11110"]  # states s0..s5 under tests t1..t5


@pytest.fixture
def sequencing() -> SubModel:
    """Six states and five tests of cost 1. Source: example of Pattipati & Alexandridis, IEEE SMC 20 (1990) 872-887,
    matrix and optimum from memory; the other values derived by hand in the house's method notes, row G1."""
    return SubModel(
        prior=np.array(PRIOR),
        outcomes=np.array([[int(row[test]) for row in ANSWERS] for test in range(5)]),
        minutes=np.ones(5),
        setup=np.full(5, -1),
        setup_minutes=np.zeros(0),
        repair=np.arange(6),
        repair_minutes=np.ones(6),
    )


def test_g1_optimum(sequencing: SubModel) -> None:
    assert optimum(sequencing, repairing=False) == pytest.approx(2.18)


def test_g1_greedy_information(sequencing: SubModel) -> None:
    greedy = most_bits(sequencing, a_minute=True, repairing=False)
    assert expected_minutes(sequencing, greedy, repairing=False) == pytest.approx(2.86)
    assert best_test(sequencing, sequencing.everything, 0, a_minute=True) == 0


def test_g1_bounds_and_gains(sequencing: SubModel) -> None:
    assert huffman_length(PRIOR) == pytest.approx(1.59)
    assert -sum(p * np.log2(p) for p in PRIOR) == pytest.approx(1.4549, abs=5e-5)
    gains = [bits(sequencing, sequencing.everything, test) for test in range(5)]
    assert gains == pytest.approx([0.8415, 0.6801, 0.5842, 0.7950, 0.4999], abs=5e-5)


@pytest.mark.parametrize(("stated", "score", "z"), [((0.2, 0.2), 0.34, 1.06), ((0.4, 0.5), 0.305, 1.22)])
def test_g9_brier_and_spiegelhalter(stated: tuple[float, float], score: float, z: float) -> None:
    """Source: worked example in J. Clin. Epidemiol., http://www.jclinepi.com/article/S0895-4356(09)00363-1/fulltext"""
    assert brier(stated, (1, 0)) == pytest.approx(score, abs=5e-4)
    assert spiegelhalter_z(stated, (1, 0)) == pytest.approx(z, abs=5e-3)


def test_g10_murphy_decomposition() -> None:
    """Derived by hand from Murphy's identity (1973), row G10 of the house's method notes."""
    stated = np.array([0.1] * 4 + [0.4] * 3 + [0.8] * 3)
    happened = np.array([0, 0, 1, 0, 0, 1, 0, 1, 1, 0])
    parts = murphy(stated, happened, [np.flatnonzero(stated == p) for p in (0.1, 0.4, 0.8)])
    assert parts.brier == pytest.approx(0.224)
    assert parts.reliability == pytest.approx(0.015667, abs=5e-7)
    assert parts.resolution == pytest.approx(0.031667, abs=5e-7)
    assert parts.uncertainty == pytest.approx(0.24)
    assert parts.within == pytest.approx(0, abs=1e-12)


def test_g11_shares_after_counts() -> None:
    """Derived: Dirichlet and Beta posteriors, row G11 of the house's method notes."""
    mean, _ = dirichlet([0.5, 0.3, 0.15, 0.05], 20, [6, 10, 3, 1])
    assert mean == pytest.approx([0.40, 0.40, 0.15, 0.05])
    error, deviation = dirichlet([2 / 25, 23 / 25], 25, [3, 7])
    assert error[0] == pytest.approx(0.14286, abs=5e-6)
    assert deviation[0] == pytest.approx(0.0583, abs=5e-5)
