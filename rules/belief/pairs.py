"""Two faults at once, thought of only when what was said contradicts every single fault.

Of two faults the worse word is what is shown (noisy maximum). Their prior is the product of their own, times how often
a range with one fault has another at all, times the book's factor for two that come together.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from operator import attrgetter

import numpy as np

from rules.belief.posterior import Belief, believe, weighed, weights
from rules.belief.signatures import TRAITS, Flags, Hypothesis, Signatures
from rules.belief.stack import Beside, Numbers, Table, put_in
from rules.bookkeeping.types import Appliance, Fault
from rules.casefile import Statement

NO_FACTORS = np.empty(0)
CONTRADICTED_FROM = 3.5  # bits by which the single fault that fits best falls short of the best for each statement
EXPLAINS = 3.0  # bits by which one of two must fit some odd statement better than the other
CHANCE = 0.1  # how often a range with one fault has another one beside it. Common practice, no source.
MOST_THOUGHT_OF = 12  # faults thought of for each odd statement
MOST_PAIRS = 30
MOST_JOINED = 2000  # pairs kept for the next case; each takes about a kilobyte


def believe_all(signatures: Signatures, prior: Table, factor: Table, statements: Sequence[Statement]) -> Belief:
    """The posterior over single faults; over pairs too if the statements contradict every single fault.

    ``prior``, ``factor``: shape (H,), of the single faults.
    """
    statements = sorted(statements, key=attrgetter("number"))
    belief = believe(signatures, prior, factor, statements)
    if not contradicted(belief):
        return belief
    bits, weight = belief.bits, prior * factor
    pairs, often = _thought_of(signatures, weight, bits, statements)
    if not pairs:
        return belief
    wider = with_pairs(signatures, pairs, often)
    added = CHANCE * np.array([weight[a] * weight[b] for a, b in pairs]) * often
    beside = wider.stack
    assert isinstance(beside, Beside)
    more = weights(signatures, statements, beside.other)
    return weighed(wider, np.log2(put_in(weight, added)), belief.numbers, put_in(bits, more, axis=1))


def contradicted(belief: Belief) -> bool:
    """Whether no single fault fits: each misses, on some statement or several, what another one would explain."""
    if len(belief.numbers) < 2:
        return False
    bits = belief.bits[:, :-1]
    short = (bits.max(axis=1, keepdims=True) - bits).sum(axis=0)
    return bool(short.min() >= CONTRADICTED_FROM)


def with_pairs(signatures: Signatures, pairs: Sequence[tuple[int, int]], often: Table) -> Signatures:
    """The signatures with pairs of their hypotheses put in before *none of these*. ``often``: factor of each pair."""
    first, second = (np.array(numbers, dtype=np.intp) for numbers in zip(*pairs, strict=True))
    made = [_joined(signatures, a, b) for a, b in pairs]
    prior = signatures.prior
    whole = put_in(prior, CHANCE * prior[first] * prior[second] * often)
    group, firsts = _grouped(signatures, pairs)
    return Signatures(
        signatures.book,
        signatures.appliance,
        signatures.wiring,
        (*signatures.hypotheses[:-1], *made, signatures.hypotheses[-1]),
        whole / whole.sum(),
        signatures.stack.beside(signatures.stack.together(first, second)),
        group,
        firsts,
        alone=signatures,
    )


def _grouped(signatures: Signatures, pairs: Sequence[tuple[int, int]]) -> tuple[Numbers, Numbers]:
    """Group of each hypothesis and first of each group; pairs of the same two faults at the same places are one."""
    singles, last = len(signatures.hypotheses) - 1, len(signatures.first) - 1
    of = signatures.group.tolist()
    order: dict[tuple[int, int], int] = {}
    firsts, numbers = [], []
    for number, (a, b) in enumerate(pairs):
        name = of[a], of[b]
        if name not in order:
            order[name] = last + len(order)
            firsts.append(singles + number)
        numbers.append(order[name])
    group = np.array([*of[:-1], *numbers, last + len(order)], dtype=np.intp)
    return group, np.concatenate([signatures.first[:-1], [*firsts, singles + len(pairs)]]).astype(np.intp)


def _thought_of(
    signatures: Signatures, weight: Table, bits: Table, statements: Sequence[Statement]
) -> tuple[list[tuple[int, int]], Table]:
    """Pairs worth a thought: each of the two explains something odd that the other does not; and their factors."""
    odd = [n for n, s in enumerate(statements) if any(signatures.usual.get(k, w) != w for k, w in s.says)]
    if not odd:
        return [], NO_FACTORS
    told = bits[odd, :-1]
    candidates = np.flatnonzero(np.any(_best_of_each(weight[:-1] * np.exp2(told)), axis=0))
    told = told.take(candidates, axis=1)
    beats = told[0][:, None] - told[0]
    for row in told[1:]:
        np.maximum(beats, row[:, None] - row, out=beats)
    better: Flags = np.asarray(beats >= EXPLAINS)
    meeting = better & better.T & signatures.can_meet[candidates[:, None], candidates]
    first, second = np.nonzero(meeting)
    once = first < second
    first, second = candidates[first[once]], candidates[second[once]]
    pairs = list(zip(first.tolist(), second.tolist(), strict=True))
    if not pairs:
        return [], NO_FACTORS
    often = _together_as_often(signatures, first, second)
    hope = np.maximum(bits[:, first], bits[:, second]).sum(axis=0) + np.log2(weight[first] * weight[second])
    hope += np.log2(often)
    best = np.sort(np.argsort(-np.round(hope, 9), kind="stable")[:MOST_PAIRS])
    return [pairs[number] for number in best.tolist()], often[best]


def _best_of_each(fits: Table) -> Flags:
    """The so many greatest of each row, of equal ones the first, shape (rows, H)."""
    if fits.shape[1] <= MOST_THOUGHT_OF:
        return np.ones(fits.shape, dtype=bool)
    least = np.partition(fits, -MOST_THOUGHT_OF, axis=1)[:, [-MOST_THOUGHT_OF]]
    best: Flags = fits >= least
    for row in (best.sum(axis=1) > MOST_THOUGHT_OF).nonzero()[0].tolist():  # several as great as the last of them
        equal = (fits[row] == least[row]).nonzero()[0]
        best[row, equal[len(equal) + MOST_THOUGHT_OF - int(best[row].sum()) :]] = False
    return best


def _together_as_often(signatures: Signatures, first: Numbers, second: Numbers) -> Table:
    """The book's factor for each pair, 1 for two it does not name; both are at one unit if each has one."""
    names, unit = signatures.fault_number, signatures.unit
    apart = (unit[first] >= 0) & (unit[second] >= 0) & (unit[first] != unit[second])
    return np.where(apart, 1.0, signatures.comes_with[names[first], names[second]])


def _joined(signatures: Signatures, a: int, b: int) -> Hypothesis:
    """Two hypotheses as one, which needs what each of them needs."""
    made = signatures.joined.get((a, b))
    if made is None:
        one, other = signatures.hypotheses[a], signatures.hypotheses[b]
        assert one.fault is not None
        assert other.fault is not None
        where = one.where if other.where in (None, one.where) else other.where if one.where is None else None
        names = one.name, other.name
        fault = signatures.both.get(names)
        if fault is None:  # at other places, and in other variants, it is the same
            fault = signatures.both[names] = _both(one.fault, other.fault, signatures.appliance)
        made = Hypothesis(fault, where, both=(one, other))
        if len(signatures.joined) < MOST_JOINED:
            signatures.joined[a, b] = made
    return made


def _both(one: Fault, other: Fault, appliance: Appliance) -> Fault:
    parts = dict.fromkeys([*one.parts_for(appliance), *other.parts_for(appliance)])
    stricter = min(one, other, key=lambda fault: TRAITS["limit"].index(fault.limit))
    return replace(
        one,
        fault=f"{one.fault}+{other.fault}",
        title=f"{one.title}, and {other.title}",
        effects=(*one.effects, *other.effects),
        shows={},
        parts={"": tuple(parts)},
        minutes=(one.minutes[0] + other.minutes[0], one.minutes[1] + other.minutes[1]),
        skill=min(one.skill, other.skill, key=TRAITS["skill"].index),
        urgency=min(one.urgency, other.urgency, key=TRAITS["urgency"].index),
        limit=stricter.limit,
        tell=stricter.tell,
        because=f"{one.because} {other.because}",
    )
