"""Shares with their intervals, and how far stated probabilities can be trusted.

Formulas: Wilson's interval; Brier score with Murphy's decomposition (1973); the log score's z, a cousin of
Spiegelhalter's, which is near 0 for a calibrated forecaster and grows with overconfidence.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

LEAST_FOR_ECE = 200  # below this a perfect forecaster shows .06 and more
BINS, LEAST_IN_BIN = 10, 20
PERFECT_DRAWS = 300
LEAST_P = 1e-6  # a probability of 0 is scored as this

Numbers = NDArray[np.float64]


@dataclass(frozen=True)
class Share:
    """``hits`` of ``of``, with Wilson's 95 % interval."""

    hits: int
    of: int
    low: float
    high: float

    @property
    def share(self) -> float:
        return self.hits / self.of if self.of else float("nan")


def share(hits: int, of: int) -> Share:
    """A share with its interval; of nothing, 0 to 1."""
    if not of:
        return Share(0, 0, 0.0, 1.0)
    from scipy.stats import binomtest

    interval = binomtest(hits, of).proportion_ci(confidence_level=0.95, method="wilson")
    return Share(hits, of, float(interval.low), float(interval.high))


@dataclass(frozen=True)
class Bin:
    """Forecasts of about one size: their count, mean, and how many came true."""

    low: float
    high: float
    stated: float
    observed: Share


@dataclass(frozen=True)
class Murphy:
    """Brier = reliability - resolution + uncertainty + within; ``within`` is 0 where a bin's forecasts are equal."""

    brier: float
    reliability: float
    resolution: float
    uncertainty: float
    within: float


@dataclass(frozen=True)
class Calibration:
    """The stated probability of the first line against how often it is right, and the whole belief's scores.

    ``log_loss`` in nats, ``brier`` and ``z`` are of the whole belief; ``z_first`` (Spiegelhalter's), ``murphy``,
    ``bins`` and ``ece`` of the first line.
    ``ece`` and the value a perfect forecaster would show (mean, 95th percentile) are None below LEAST_FOR_ECE.
    """

    count: int
    stated: float
    observed: Share
    log_loss: float
    brier: float
    z: float
    z_first: float
    murphy: Murphy
    bins: tuple[Bin, ...]
    ece: float | None
    ece_if_perfect: tuple[float, float] | None

    @property
    def gap(self) -> float:
        """Stated less observed; above 0 it is overconfident."""
        return self.stated - self.observed.share


def brier(stated: ArrayLike, happened: ArrayLike) -> float:
    """Mean squared difference between forecasts and what happened (0 or 1)."""
    return float(np.mean((np.asarray(stated, float) - np.asarray(happened, float)) ** 2))


def spiegelhalter_z(stated: ArrayLike, happened: ArrayLike) -> float:
    """Spiegelhalter's Z (1986) of yes-or-no forecasts; standard normal if they are calibrated."""
    p, y = np.asarray(stated, float), np.asarray(happened, float)
    spread = float(((1 - 2 * p) ** 2 * p * (1 - p)).sum())
    return float(((y - p) * (1 - 2 * p)).sum()) / np.sqrt(spread) if spread > 0 else 0.0


def log_score_z(p_true: ArrayLike, entropy: ArrayLike, spread: ArrayLike) -> float:
    """(sum of -ln p_true - H) / sqrt(sum of variances): standard normal if belief and world are one.

    ``entropy``: H of each belief, nats; ``spread``: variance of -ln p under it.
    """
    loss = -np.log(np.maximum(np.asarray(p_true, float), LEAST_P))
    total = float(np.sum(spread))
    surprise = float(np.sum(loss - np.asarray(entropy, float)))
    return surprise / np.sqrt(total) if total > 0 else 0.0


def equal_mass(stated: ArrayLike, bins: int = BINS) -> list[NDArray[np.intp]]:
    """Indices in at most so many bins of nearly equal count, none below LEAST_IN_BIN, by rising forecast."""
    order = np.argsort(np.asarray(stated, float), kind="stable")
    return np.array_split(order, max(min(bins, len(order) // LEAST_IN_BIN), 1))


def murphy(stated: ArrayLike, happened: ArrayLike, parts: Sequence[NDArray[np.intp]]) -> Murphy:
    """Murphy's decomposition of yes-or-no forecasts over given bins."""
    p, y = np.asarray(stated, float), np.asarray(happened, float)
    weights = np.array([len(part) for part in parts]) / len(p)
    means = np.array([p[part].mean() for part in parts])
    observed = np.array([y[part].mean() for part in parts])
    base = y.mean()
    score = brier(p, y)
    reliability = float(weights @ (means - observed) ** 2)
    resolution = float(weights @ (observed - base) ** 2)
    uncertainty = float(base * (1 - base))
    return Murphy(score, reliability, resolution, uncertainty, score - reliability + resolution - uncertainty)


def expected_error(stated: Numbers, happened: Numbers, parts: Sequence[NDArray[np.intp]]) -> float:
    """ECE: mean gap between forecast and outcome over the bins, weighted by their counts."""
    gaps = [len(part) * abs(float(stated[part].mean() - happened[part].mean())) for part in parts]
    return sum(gaps) / len(stated)


def calibrated(
    stated: Sequence[float],
    first: Sequence[bool],
    p_true: Sequence[float],
    entropy: Sequence[float],
    spread: Sequence[float],
    briers: Sequence[float],
) -> Calibration | None:
    """All of it for a set of cases; None for no cases. The perfect forecaster's draws have a fixed start."""
    if not stated:
        return None
    p, y = np.array(stated, float), np.array(first, float)
    parts = equal_mass(p)
    bins = tuple(
        Bin(float(p[part].min()), float(p[part].max()), float(p[part].mean()), share(int(y[part].sum()), len(part)))
        for part in parts
    )
    ece, perfect = None, None
    if len(p) >= LEAST_FOR_ECE:
        ece = expected_error(p, y, parts)
        rng = np.random.default_rng(0)
        drawn = [expected_error(p, (rng.random(len(p)) < p).astype(float), parts) for _ in range(PERFECT_DRAWS)]
        perfect = (float(np.mean(drawn)), float(np.quantile(drawn, 0.95)))
    return Calibration(
        count=len(p),
        stated=float(p.mean()),
        observed=share(int(y.sum()), len(y)),
        log_loss=float(-np.log(np.maximum(p_true, LEAST_P)).mean()),
        brier=float(np.mean(briers)),
        z=log_score_z(p_true, entropy, spread),
        z_first=spiegelhalter_z(p, y),
        murphy=murphy(p, y, parts),
        bins=bins,
        ece=ece,
        ece_if_perfect=perfect,
    )


def dirichlet(mean: ArrayLike, strength: float, counts: ArrayLike) -> tuple[Numbers, Numbers]:
    """Mean and standard deviation of shares after counts, from a Dirichlet prior of this mean and strength."""
    alpha = np.asarray(mean, float) * strength + np.asarray(counts, float)
    total = alpha.sum()
    after: Numbers = alpha / total
    return after, np.sqrt(after * (1 - after) / (total + 1))
