"""Belief: one probability for each hypothesis, exactly, from priors, rule factors and what was said.

Nobody's answer is trusted fully. A statement of source s with error e gives hypothesis h the likelihood
``(1 - e) q + e w``: q is the probability that h shows what was said, w that it would be said by mistake. Mistakes go
mostly to neighbouring words (``mistaken_for`` in the vocabulary), so that "heats" for a cold burner is rarer than
"warm" for a cold one.
"""

from __future__ import annotations

import fnmatch
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from rules.belief.signatures import Signatures, Table
from rules.bookkeeping.types import FactTerm, Shift
from rules.casefile import Statement
from rules.terms import fact_of

#: Share of wrong answers by source; method: caller .08 by default, .15 when shaky. Common practice, no source.
ERROR = {"caller": 0.08, "desk": 0.08, "note": 0.12, "technician": 0.005}
HEDGED = 2.0  # a hedged answer is wrong twice as often
READ_BY_EYE = 0.04  # a technician's observation without a meter
FALSE_ALARM = 0.06  # how much rarer it is to call something odd that is not, than to miss or misname what is odd
RARE = 0.1  # weight of a mistake the vocabulary does not name, beside 1 for one it does
UNMENTIONED = 1e-3  # factor for a fault of a unit nobody speaks of, while another unit is complained of
RULED_OUT = 0.02  # factor for a fault that a technician's measurement rules out: strong, never zero


@dataclass(frozen=True)
class Belief:
    """``probability``: shape (H,), sums to 1. ``bits[i]``: log2 likelihood of statement i, shape (H,)."""

    probability: Table
    bits: Mapping[int, Table]


def error_of(source: str, certainty: str) -> float:
    """Share of wrong answers for a source and a certainty, never zero."""
    error = ERROR[source]
    if source == "technician" and certainty != "measured":
        error = READ_BY_EYE
    return min(error * (HEDGED if certainty == "hedged" else 1), 0.45)


@lru_cache(maxsize=512)
def _mistakes(
    words: tuple[str, ...], usual: str | None, named: tuple[tuple[str, tuple[tuple[str, float], ...]], ...]
) -> Table:
    """Row u: how often, beside the source's error, one who should say u says another word; the diagonal is 0."""
    size = len(words)
    weights = np.full((size, size), 1.0)
    for word, others in named:
        row = np.full(size, RARE)
        for other, weight in others:
            row[words.index(other)] = weight
        weights[words.index(word)] = row
    np.fill_diagonal(weights, 0)
    if size == 1:
        return weights
    weights /= weights.sum(axis=1, keepdims=True)
    if usual is not None:
        weights[words.index(usual)] *= FALSE_ALARM
    return weights


def mistakes(term: FactTerm, usual: str | None) -> Table:
    """The table of mistaken words of a fact, shape (K, K), to be multiplied by a source's error.

    ``usual``: the word a sound appliance shows.
    """
    named = tuple((word, tuple(others.items())) for word, others in term.mistaken_for.items())
    return _mistakes(tuple(term.values), usual, named)


def heard(table: Table, term: FactTerm, usual: str | None, error: float) -> Table:
    """P(word said | hypothesis) with mistakes mixed in, shape (H, K); rows sum to 1."""
    wrong = mistakes(term, usual)
    said: Table = table @ (error * wrong + np.diag(1 - error * wrong.sum(axis=1)))
    return said


def likelihood(signatures: Signatures, statement: Statement, terms: Mapping[str, FactTerm]) -> Table:
    """Likelihood of one statement under every hypothesis, shape (H,); 1 for keys no table speaks of."""
    error = error_of(statement.source, statement.certainty)
    said = np.ones(len(signatures.hypotheses))
    mistaken = []
    for key, word in statement.says:
        table = signatures.tables.get(key)
        if table is None:
            continue
        term = terms[fact_of(key)]
        column = list(term.values).index(word)
        said *= table[:, column]
        mistaken.append((table @ mistakes(term, signatures.usual.get(key)))[:, column])
    if not mistaken:
        return np.ones(len(signatures.hypotheses))
    mean: Table = np.add.reduce(mistaken) / len(mistaken)
    mixed: Table = (1 - error) * said + error * mean + 1e-9
    return mixed


def place_prior(signatures: Signatures, odd: Iterable[str], named: Iterable[str]) -> Table:
    """The prior where the caller singles out units.

    Whoever calls about one unit calls about the one that misbehaves, whichever it is: the units of which something
    odd is said (``odd``) carry the weight of every unit that is not spoken of by name (``named``), and a fault that
    would show on all units alike is that much less likely to be told as one unit's.
    """
    prior = signatures.prior.copy()
    singled, spoken = set(odd), set(named)
    if not singled:
        return prior
    silent = [p for p in signatures.appliance.positions if p not in spoken and p not in singled]
    for number, hypothesis in enumerate(signatures.hypotheses):
        if hypothesis.where in singled:
            prior[number] *= 1 + len(silent) / len(singled)
        elif hypothesis.where in silent:
            prior[number] *= UNMENTIONED
    shares: Table = prior / prior.sum()
    return shares


def factors(
    signatures: Signatures, shifts: Sequence[tuple[Shift, str | None]], ruled_out: Iterable[tuple[str, str | None]]
) -> Table:
    """What the rules multiply the odds of each hypothesis by, shape (H,).

    A shift or a ruling-out that fired at a place speaks only of faults at that place.
    """
    factor = np.ones(len(signatures.hypotheses))
    gone = set(ruled_out)
    for number, hypothesis in enumerate(signatures.hypotheses):
        for shift, where in shifts:
            here = where is None or where == hypothesis.where
            if hypothesis.fault and here and any(fnmatch.fnmatchcase(hypothesis.name, p) for p in shift.faults):
                factor[number] *= shift.factor
        if (hypothesis.name, hypothesis.where) in gone or (hypothesis.name, None) in gone:
            factor[number] *= RULED_OUT
    return factor


def believe(
    signatures: Signatures, prior: Table, factor: Table, statements: Sequence[Statement], terms: Mapping[str, FactTerm]
) -> Belief:
    """The posterior. Statements are independent given the fault; their order does not matter."""
    bits = {s.number: np.log2(likelihood(signatures, s, terms)) for s in statements}
    log = np.log2(prior) + np.log2(factor)
    for number in sorted(bits):
        log = log + bits[number]
    probability = np.exp2(log - log.max())
    return Belief(probability / probability.sum(), bits)
