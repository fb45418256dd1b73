"""Small problems cut out of the real tables, where the ranker can be held against the exact optimum."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from rules.evaluating.optimum import (
    Action,
    SubModel,
    SubPolicy,
    best_test,
    expected_minutes,
    in_order,
    most_bits,
    next_repair,
    optimum,
    repairs_only,
)
from rules.evaluating.policies import every_test
from rules.evaluating.ranking import ELSEWHERE, Ask, Ranker, Table, cut_down, open_gate
from rules.terms import fact_of

MOST = 12  # candidates, and tests
LEAST_REPAIRS, LEAST_TESTS = 3, 3
TRIES = 200

#: Ways of working that are held against the optimum; Coldleg's own comes first.
COLDLEG, UNPROVED = "coldleg", "coldleg, repairs unproved too"
MOST_BITS, REPAIRS_ONLY, CHEAPEST = "most bits a minute", "repairs only", "cheapest first"


@dataclass(frozen=True)
class Cut:
    """A sub-model, and which hypotheses and tests of the real table it was made of."""

    model: SubModel
    members: NDArray[np.intp]
    asks: tuple[Ask, ...]
    setups: tuple[str, ...]


@dataclass(frozen=True)
class Ratios:
    """Expected minutes over the optimum's, by policy: ``isolating`` by tests alone, ``repairing`` the whole job."""

    isolating: dict[str, float]
    repairing: dict[str, float]


def cut(ranker: Ranker, rng: np.random.Generator) -> Cut | None:
    """A random sub-model: what one odd observation leaves in play, or any hypotheses. None if none can be cut."""
    every = every_test(ranker)
    for _ in range(TRIES):
        chosen = _after_complaint(ranker, rng) if rng.random() < 0.5 else _any(ranker, rng)
        asks = [ask for ask in every if len(set(_answers(ranker, ask, chosen))) > 1]
        asks = _one_a_key(ranker, asks)
        if len(asks) > MOST:
            asks = [asks[number] for number in sorted(rng.choice(len(asks), size=MOST, replace=False))]
        if len(set(ranker.signatures.repair[chosen])) >= LEAST_REPAIRS and len(asks) >= LEAST_TESTS:
            return _cut(ranker, chosen, asks)
    return None


def _answers(ranker: Ranker, ask: Ask, members: NDArray[np.intp]) -> NDArray[np.intp]:
    """The likeliest answer under each hypothesis: in a sub-model nobody errs."""
    answers: NDArray[np.intp] = ranker.signatures.tables[ask.key][members].argmax(axis=1)
    return answers


def _any(ranker: Ranker, rng: np.random.Generator) -> NDArray[np.intp]:
    known = len(ranker.signatures.hypotheses) - 1
    return np.sort(rng.choice(known, size=min(MOST, known), replace=False))


def _after_complaint(ranker: Ranker, rng: np.random.Generator) -> NDArray[np.intp]:
    """The likeliest hypotheses that show one odd thing a caller can see."""
    signatures = ranker.signatures
    prior = signatures.prior[:-1] / signatures.prior[:-1].sum()
    hypothesis = int(rng.choice(len(prior), p=prior))
    odd = []
    for key, table in signatures.tables.items():
        term = ranker.book.facts[fact_of(key)]
        word = int(table[hypothesis].argmax())
        if term.told_by != "technician" and list(term.values)[word] != signatures.usual[key]:
            odd.append((key, word))
    if not odd:
        return _any(ranker, rng)
    key, word = odd[rng.integers(len(odd))]
    showing = np.flatnonzero(signatures.tables[key][:-1].argmax(axis=1) == word)
    likeliest = showing[np.argsort(-signatures.prior[showing], kind="stable")][:MOST]
    return np.sort(likeliest)


def _one_a_key(ranker: Ranker, asks: Sequence[Ask]) -> list[Ask]:
    """Of tests that read the same, the cheapest."""
    by_key: dict[str, Ask] = {}
    for ask in sorted(asks, key=lambda ask: ranker.price(ask.card, frozenset())):
        by_key.setdefault(ask.key, ask)
    return [ask for ask in asks if by_key[ask.key] is ask]


def _cut(ranker: Ranker, members: NDArray[np.intp], asks: Sequence[Ask]) -> Cut:
    signatures = ranker.signatures
    prior = signatures.prior[members]
    numbers, repair = np.unique(signatures.repair[members], return_inverse=True)
    setups = list(dict.fromkeys(ask.card.setup for ask in asks if ask.card.setup))
    model = SubModel(
        prior=prior / prior.sum(),
        outcomes=np.array([_answers(ranker, ask, members) for ask in asks]),
        minutes=np.array([ask.card.minutes for ask in asks], dtype=float),
        setup=np.array([setups.index(ask.card.setup) if ask.card.setup else -1 for ask in asks], dtype=np.intp),
        setup_minutes=np.array([ranker.book.setups[name].minutes for name in setups], dtype=float),
        repair=repair.astype(np.intp),
        repair_minutes=np.array([signatures.repairs[number].cost for number in numbers]),
        elsewhere=ELSEWHERE,
    )
    return Cut(model, members, tuple(asks), tuple(setups))


def ratios(ranker: Ranker, small: Cut) -> Ratios:
    """Every policy's expected minutes over the optimum's."""
    model = small.model
    cheapest = sorted(range(len(small.asks)), key=lambda test: model.price(test, 0))
    advised = advised_policy(ranker, small)
    mending = {
        COLDLEG: advised,
        UNPROVED: advised_policy(ranker, small, measured=True),
        MOST_BITS: most_bits(model, a_minute=True, repairing=True),
        REPAIRS_ONLY: repairs_only(model),
        CHEAPEST: in_order(model, cheapest, repairing=True),
    }
    telling = {
        COLDLEG: _unstoppable(model, advised),
        MOST_BITS: most_bits(model, a_minute=True, repairing=False),
        CHEAPEST: in_order(model, cheapest, repairing=False),
    }
    return Ratios(_over(small.model, telling, repairing=False), _over(small.model, mending, repairing=True))


def _over(model: SubModel, policies: dict[str, SubPolicy], *, repairing: bool) -> dict[str, float]:
    least = optimum(model, repairing=repairing)
    if least <= 0:
        return dict.fromkeys(policies, 1.0)
    return {name: expected_minutes(model, p, repairing=repairing) / least for name, p in policies.items()}


def _unstoppable(model: SubModel, advised: SubPolicy) -> SubPolicy:
    """The ranker's order of tests where only the cause is asked for: where it would stop, bits a minute go on.

    None once no test tells more: such candidates stay together under every policy.
    """

    def policy(candidates: int, paid: int, done: int) -> Action | None:
        action = advised(candidates, paid, done)
        if action is not None and action[0] == "test" and len(model.split(action[1], candidates)) > 1:
            return action
        test = best_test(model, candidates, paid, a_minute=True)
        return None if test is None else ("test", test)

    return policy


def advised_policy(ranker: Ranker, small: Cut, *, measured: bool = False) -> SubPolicy:
    """What the ranker advises in the sub-model; once it advises no test, repair by probability over minutes.

    ``measured``: leave out that something is measured before any repair, which no optimum cares for.
    """
    model = small.model
    inner = _inner(ranker, small)
    number_of = {ask.key: number for number, ask in enumerate(small.asks)}

    def policy(candidates: int, paid: int, done: int) -> Action | None:
        probability = np.zeros(len(small.members) + 1)
        for number in range(len(small.members)):
            if candidates >> number & 1:
                probability[number] = model.prior[number]
        probability /= probability.sum()
        done_keys = frozenset(ask.key for number, ask in enumerate(small.asks) if done >> number & 1)
        bought = frozenset(name for number, name in enumerate(small.setups) if paid >> number & 1)
        gate = open_gate(inner.book, done_keys, bought, measured=measured)
        units = inner.signatures.appliance.positions
        ask = inner.advised_at(inner.signatures, probability, gate, units, worth_it=True)
        return ("test", number_of[ask.key]) if ask is not None else next_repair(model, candidates)

    return policy


def _inner(ranker: Ranker, small: Cut) -> Ranker:
    """The ranker with the sub-model's hypotheses and tests alone; *none of these* stays, without belief."""
    signatures = ranker.signatures
    rows = np.append(small.members, len(signatures.hypotheses) - 1)
    tables: dict[str, Table] = {}
    for ask in small.asks:
        whole = signatures.tables[ask.key]
        made = np.zeros((len(rows), whole.shape[1]))
        made[np.arange(len(rows)), whole[rows].argmax(axis=1)] = 1.0
        tables[ask.key] = made
    kept = {ask.card.test for ask in small.asks}
    needed = ("dead_check", "hazard.any")
    tests = {name: card for name, card in ranker.book.tests.items() if name in kept or card.reads in needed}
    book = replace(ranker.book, tests=tests)
    return Ranker(book, ranker.chainer, cut_down(signatures, book, rows, tables))
