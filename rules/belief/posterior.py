"""Belief: one probability for each hypothesis, exactly, from priors, rule factors and what was said.

Nobody's answer is trusted fully. A statement of source s with error e gives hypothesis h the likelihood
``(1 - e) q + e w``: q is the probability that h shows what was said, w that it would be said by mistake; which mistakes
are made is told in :mod:`rules.belief.stack`.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from operator import attrgetter

import numpy as np

from rules.belief.signatures import Signatures
from rules.belief.stack import Numbers, Stack, Table, mistakes
from rules.bookkeeping.types import FactTerm, Shift
from rules.casefile import Statement

#: Share of wrong answers by source; method: caller .08 by default, .15 when shaky. Common practice, no source.
ERROR = {"caller": 0.08, "desk": 0.08, "note": 0.12, "technician": 0.005}
HEDGED = 2.0  # a hedged answer is wrong twice as often
READ_BY_EYE = 0.04  # a technician's observation without a meter
MOST = 0.45  # no answer is worth less than this leaves it
LEAST = 1e-9  # likelihood of what no mistake explains
UNMENTIONED = 1e-3  # factor for a fault of a unit nobody speaks of, while another unit is complained of
UNEXPLAINED = 0.1  # factor for a fault that accounts for nothing of the complaint; common practice, no source
EXPLAINED_FROM = 0.05  # probability from which a fault accounts for something odd
NO_NUMBERS = np.empty(0, dtype=np.intp)
RULED_OUT = 0.02  # factor for a fault that a technician's measurement rules out: strong, never zero


@dataclass(frozen=True)
class Belief:
    """``probability``: shape (H,), sums to 1. ``bits``: log2 likelihood of each statement, shape (statements, H).

    ``numbers`` are those of the statements, rising. ``signatures`` are those of the hypotheses it speaks of: the
    appliance's, or these with pairs of faults.
    """

    signatures: Signatures
    probability: Table
    numbers: tuple[int, ...]
    bits: Table


def error_of(source: str, certainty: str, own: float | None = None) -> float:
    """Share of wrong answers for a source and a certainty, never zero.

    ``own``: what a test's card says of its answers; a note is as much worse than that as it is worse than a caller.
    """
    error = ERROR[source]
    if source == "technician" and certainty != "measured":
        error = READ_BY_EYE
    if own is not None:
        error = own * (error / ERROR["caller"] if source == "note" else 1)
    return min(error * (HEDGED if certainty == "hedged" else 1), MOST)


def error_for(signatures: Signatures, key: str, source: str, certainty: str) -> float:
    """As :func:`error_of`, with the error a test card states for this key in place of the source's own."""
    who = "technician" if source == "technician" else "caller"
    own = signatures.own_error(key, who)
    return error_of(source, certainty, own)


def heard(table: Table, term: FactTerm, usual: str | None, error: float) -> Table:
    """P(word said | hypothesis) with mistakes mixed in, shape (H, K); rows sum to 1."""
    wrong = mistakes(term, usual)
    said: Table = table @ (error * wrong + np.diag(1 - error * wrong.sum(axis=1)))
    return said


def likelihood(signatures: Signatures, statement: Statement, among: Stack | None = None) -> Table:
    """Likelihood of one statement under every hypothesis, shape (H,), never 0; 1 for keys no table speaks of.

    ``among``: of these hypotheses instead, whose keys are the same.
    """
    stack = signatures.stack if among is None else among
    spoken = [(key, word) for key, word in statement.says if key in stack.spans]
    if not spoken:
        return np.ones(stack.width)
    error = max(error_for(signatures, key, statement.source, statement.certainty) for key, _ in spoken)
    rows = np.array([stack.row(key, word) for key, word in spoken], dtype=np.intp)
    said: Table = stack.said(rows, error) + LEAST
    return said


def weights(signatures: Signatures, statements: Sequence[Statement], among: Stack | None = None) -> Table:
    """What each statement weighs under every hypothesis, in bits, shape (statements, H); see :func:`likelihood`.

    Most statements are of one word; these are taken in together.
    """
    stack = signatures.stack if among is None else among
    table = np.empty((len(statements), stack.width))
    places, rows, errors = [], [], []
    for place, statement in enumerate(statements):
        says = statement.says
        if len(says) == 1 and says[0][0] in stack.spans:
            key, word = says[0]
            places.append(place)
            rows.append(stack.row(key, word))
            errors.append(error_for(signatures, key, statement.source, statement.certainty))
        else:
            table[place] = likelihood(signatures, statement, stack)
    if places:
        said = stack.heard(np.array(rows, dtype=np.intp), np.array(errors)[:, None])
        said += LEAST
        table[places] = said
    return np.log2(table, out=table)


def place_prior(signatures: Signatures, odd: Iterable[str], named: Iterable[str]) -> Table:
    """The prior where the caller singles out units.

    Whoever calls about one unit calls about the one that misbehaves, whichever it is: the units of which something
    odd is said (``odd``) carry the weight of every unit that is not spoken of by name (``named``), and a fault that
    would show on all units alike is that much less likely to be told as one unit's.
    """
    singled, spoken = set(odd), set(named)
    if not singled:
        return signatures.prior
    positions = signatures.appliance.positions
    silent = [p for p in positions if p not in spoken and p not in singled]
    times = [1 + len(silent) / len(singled) if p in singled else UNMENTIONED if p in silent else 1.0 for p in positions]
    prior = signatures.prior * np.array([*times, 1.0])[signatures.unit]  # the last is of what has no place
    shares: Table = prior / prior.sum()
    return shares


def factors(
    signatures: Signatures, shifts: Sequence[tuple[Shift, str | None]], ruled_out: Iterable[tuple[str, str | None]]
) -> Table:
    """What the rules multiply the odds of each hypothesis by, shape (H,).

    A shift or a ruling-out that fired at a place speaks only of faults at that place.
    """
    factor = np.ones(len(signatures.hypotheses))
    for shift, where in shifts:
        factor[signatures.named_at(shift.faults, where)] *= shift.factor
    gone = [_of(signatures, fault, where) for fault, where in ruled_out]
    if gone:
        factor[np.unique(np.concatenate(gone))] *= RULED_OUT
    return factor


def unexplained(signatures: Signatures, statements: Sequence[Statement]) -> Table:
    """Factor for hypotheses that account for nothing of what is complained of, shape (H,).

    Whoever calls, calls about what is wrong. A fault that shows nothing of it asks for two accidents at once: that all
    of the complaint is a mistake, and that what the fault does show is not worth a word. *None of these* is spared.
    """
    odd = [
        signatures.stack.row(key, word)
        for statement in statements
        for key, word in statement.says
        if signatures.usual.get(key, word) != word and key in signatures.stack.told
    ]
    if not odd:
        return np.ones(len(signatures.hypotheses))
    best = signatures.stack.true.take(odd, axis=0).max(axis=0)
    factor = np.where(best >= EXPLAINED_FROM, 1.0, UNEXPLAINED)
    factor[-1] = 1.0
    return factor


def _of(signatures: Signatures, fault: str, where: str | None) -> Numbers:
    """The hypotheses of a fault, at a place if one is given."""
    numbers = signatures.at_name.get(fault, NO_NUMBERS)
    return (
        numbers if where is None else numbers[signatures.at[where][numbers]] if where in signatures.at else NO_NUMBERS
    )


def believe(signatures: Signatures, prior: Table, factor: Table, statements: Sequence[Statement]) -> Belief:
    """The posterior. Statements are independent given the fault; their order does not matter."""
    ordered = sorted(statements, key=attrgetter("number"))
    numbers = tuple([statement.number for statement in ordered])
    return weighed(signatures, np.log2(prior) + np.log2(factor), numbers, weights(signatures, ordered))


def weighed(signatures: Signatures, weight: Table, numbers: tuple[int, ...], bits: Table) -> Belief:
    """The posterior from what each hypothesis weighs before anything was said and what each statement weighs, in bits.

    ``weight``: shape (H,). ``bits``: shape (statements, H).
    """
    log = weight
    for row in bits:
        log = log + row
    probability = np.exp2(log - log.max())
    return Belief(signatures, probability / probability.sum(), numbers, bits)
