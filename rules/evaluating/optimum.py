"""The exact optimum of small problems, by dynamic programming over sets of candidates.

A sub-model has at most a dozen candidates and a dozen tests, each answered without error. A candidate belongs to a
repair; the true one's repair ends the case, a wrong one is paid and seen to be wrong. Preparation is paid once.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

Action = tuple[str, int]  # ("test", number), ("repair", number) or ("elsewhere", 0)
#: (set of candidates as bits, preparations paid as bits, tests done as bits) -> what to do; None: nothing left to do.
SubPolicy = Callable[[int, int, int], Action | None]


@dataclass(frozen=True)
class SubModel:
    """``prior``: shape (H,), sums to 1. ``outcomes``: shape (T, H), number of each test's answer under each candidate.

    ``minutes``: shape (T,), ``setup``: shape (T,), the preparation of each test or -1, ``setup_minutes``: shape (S,).
    ``repair``: shape (H,), the repair of each candidate; ``repair_minutes``: shape (R,),
    with everything else a repair costs turned into minutes.
    ``elsewhere``: minutes it costs to give up and send somebody else, in place of any repair.
    """

    prior: NDArray[np.float64]
    outcomes: NDArray[np.intp]
    minutes: NDArray[np.float64]
    setup: NDArray[np.intp]
    setup_minutes: NDArray[np.float64]
    repair: NDArray[np.intp]
    repair_minutes: NDArray[np.float64]
    elsewhere: float = float("inf")
    _weights: dict[int, float] = field(default_factory=dict, repr=False, compare=False)

    @property
    def everything(self) -> int:
        """The set of all candidates."""
        return (1 << len(self.prior)) - 1

    @cached_property
    def answers(self) -> tuple[tuple[int, ...], ...]:
        """For each test the sets of candidates that give each answer."""
        return tuple(tuple(_set(np.flatnonzero(row == answer)) for answer in np.unique(row)) for row in self.outcomes)

    @cached_property
    def repairs(self) -> tuple[int, ...]:
        """For each repair the set of candidates it mends."""
        return tuple(_set(np.flatnonzero(self.repair == number)) for number in range(len(self.repair_minutes)))

    def weight(self, candidates: int) -> float:
        """Prior probability of a set."""
        found = self._weights.get(candidates)
        if found is None:
            found = sum(float(p) for number, p in enumerate(self.prior) if candidates >> number & 1)
            self._weights[candidates] = found
        return found

    def price(self, test: int, paid: int) -> float:
        """Minutes of a test with its preparation unless that is paid."""
        setup = int(self.setup[test])
        extra = 0.0 if setup < 0 or paid >> setup & 1 else float(self.setup_minutes[setup])
        return float(self.minutes[test]) + extra

    def paid_after(self, test: int, paid: int) -> int:
        """Preparations paid once a test has been done."""
        setup = int(self.setup[test])
        return paid if setup < 0 else paid | 1 << setup

    def split(self, test: int, candidates: int) -> list[int]:
        """The sets a test splits a set into; one set if it tells nothing."""
        return [part for answer in self.answers[test] if (part := answer & candidates)]

    def is_one_repair(self, candidates: int) -> bool:
        """Whether one repair mends every candidate of a set."""
        return any(candidates & ~mends == 0 for mends in self.repairs)


def _set(numbers: NDArray[np.intp]) -> int:
    return sum(1 << int(number) for number in numbers)


def optimum(model: SubModel, *, repairing: bool) -> float:
    """Least expected minutes: to isolate one repair, or, ``repairing``, until the true fault is mended."""
    known: dict[tuple[int, int], float] = {}

    def least(candidates: int, paid: int) -> float:
        """Least minutes times the weight of the set."""
        entry = (candidates, paid)
        if entry not in known:
            known[entry] = _mended(candidates, paid) if repairing else _isolated(candidates, paid)
        return known[entry]

    def _isolated(candidates: int, paid: int) -> float:
        return 0.0 if model.is_one_repair(candidates) else _tested(candidates, paid, 0.0)

    def _mended(candidates: int, paid: int) -> float:
        weight = model.weight(candidates)
        best = weight * model.elsewhere
        for number, mends in enumerate(model.repairs):
            if mends & candidates:
                rest = candidates & ~mends
                best = min(best, weight * float(model.repair_minutes[number]) + (least(rest, paid) if rest else 0.0))
        return min(best, _tested(candidates, paid, best))

    def _tested(candidates: int, paid: int, otherwise: float) -> float:
        """By the best test that splits the set; ``otherwise`` if none does."""
        weight, best = model.weight(candidates), np.inf
        for test in range(len(model.minutes)):
            cost = weight * model.price(test, paid)
            if cost >= best:
                continue
            parts = model.split(test, candidates)
            if len(parts) > 1:
                after = model.paid_after(test, paid)
                best = min(best, cost + sum(least(part, after) for part in parts))
        return float(best) if np.isfinite(best) else otherwise

    return least(model.everything, 0) / model.weight(model.everything)


def expected_minutes(model: SubModel, policy: SubPolicy, *, repairing: bool) -> float:
    """Expected minutes of a policy, over all candidates. To isolate only, a set that is one repair costs nothing."""

    def walk(candidates: int, paid: int, done: int) -> float:
        if not repairing and model.is_one_repair(candidates):
            return 0.0
        action = policy(candidates, paid, done)
        if action is None:
            return 0.0
        kind, number = action
        weight = model.weight(candidates)
        if kind == "elsewhere":
            return weight * model.elsewhere
        if kind == "repair":
            rest = candidates & ~model.repairs[number]
            return weight * float(model.repair_minutes[number]) + (walk(rest, paid, done) if rest else 0.0)
        after = model.paid_after(number, paid)
        parts = model.split(number, candidates)
        return weight * model.price(number, paid) + sum(walk(part, after, done | 1 << number) for part in parts)

    return walk(model.everything, 0, 0) / model.weight(model.everything)


# --- simple policies ----------------------------------------------------------------------------------------------
def repairs_only(model: SubModel) -> SubPolicy:
    """No test at all: repair by probability over minutes."""
    return lambda candidates, _paid, _done: next_repair(model, candidates)


def best_repair(model: SubModel, candidates: int) -> int:
    """The repair with most probability a minute."""
    shares = [
        model.weight(candidates & mends) / float(model.repair_minutes[n]) for n, mends in enumerate(model.repairs)
    ]
    return int(np.argmax(shares))


def next_repair(model: SubModel, candidates: int) -> Action:
    """The next repair of the best order by probability over minutes, or somebody else if that costs less."""
    best = best_repair(model, candidates)
    left, spent, least = candidates, 0.0, np.inf
    whole = model.weight(candidates)
    while left:  # what the order costs if it is followed to each of its points
        number = best_repair(model, left)
        spent += model.weight(left) * float(model.repair_minutes[number])
        left &= ~model.repairs[number]
        rest = model.weight(left) * model.elsewhere if left else 0.0
        least = min(least, spent + rest)
    return ("repair", best) if least <= whole * model.elsewhere else ("elsewhere", 0)


def in_order(model: SubModel, order: Sequence[int], *, repairing: bool) -> SubPolicy:
    """A fixed order of tests, whatever they tell, until one repair is left or the tests run out."""

    def policy(candidates: int, _paid: int, done: int) -> Action | None:
        if not model.is_one_repair(candidates):
            for test in order:
                if not done >> test & 1:
                    return ("test", test)
        return next_repair(model, candidates) if repairing else None

    return policy


def most_bits(model: SubModel, *, a_minute: bool, repairing: bool) -> SubPolicy:
    """The test with most information, or most a minute, until one repair is left or none tells more; then repair."""

    def policy(candidates: int, paid: int, _done: int) -> Action | None:
        if not model.is_one_repair(candidates):
            test = best_test(model, candidates, paid, a_minute=a_minute)
            if test is not None:
                return ("test", test)
        return next_repair(model, candidates) if repairing else None

    return policy


def best_test(model: SubModel, candidates: int, paid: int, *, a_minute: bool) -> int | None:
    """The number of the most telling test, None if none tells anything; ties go to the first."""
    best, chosen = 1e-12, None
    for test in range(len(model.minutes)):
        gain = bits(model, candidates, test)
        score = gain / model.price(test, paid) if a_minute else gain
        if score > best + 1e-12:
            best, chosen = score, test
    return chosen


def bits(model: SubModel, candidates: int, test: int) -> float:
    """Information of a test that is answered without error: the entropy of its answer, bits."""
    whole = model.weight(candidates)
    shares = np.array([model.weight(part) / whole for part in model.split(test, candidates)])
    return float(-(shares * np.log2(shares)).sum())
