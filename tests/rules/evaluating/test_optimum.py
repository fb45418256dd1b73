"""The optimum by dynamic programming against plain enumeration, and the order optimum <= policies."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from rules.evaluating.optimum import (
    SubModel,
    best_repair,
    expected_minutes,
    in_order,
    most_bits,
    next_repair,
    optimum,
    repairs_only,
)
from tests.rules.evaluating.ideal import huffman_length


def model_of(rng: np.random.Generator, *, candidates: int, tests: int, elsewhere: float = 150.0) -> SubModel:
    repairs = int(rng.integers(2, candidates + 1))
    repair = np.concatenate([np.arange(repairs), rng.integers(0, repairs, candidates - repairs)])
    return SubModel(
        prior=rng.dirichlet(np.ones(candidates)),
        outcomes=rng.integers(0, 3, (tests, candidates)),
        minutes=rng.uniform(1, 20, tests),
        setup=rng.integers(-1, 2, tests),
        setup_minutes=np.array([8.0, 5.0]),
        repair=repair,
        repair_minutes=rng.uniform(5, 60, repairs),
        elsewhere=elsewhere,
    )


def enumerated(model: SubModel, alive: frozenset[int], paid: frozenset[int], *, repairing: bool) -> float:
    """Least minutes times weight, by trying everything, without memory and without any of the code under test."""
    weight = sum(model.prior[c] for c in alive)
    if not repairing and len({model.repair[c] for c in alive}) == 1:
        return 0.0
    choices = []
    for test in range(len(model.minutes)):
        parts = {answer: frozenset(c for c in alive if model.outcomes[test][c] == answer) for answer in range(3)}
        parts = {answer: part for answer, part in parts.items() if part}
        if len(parts) > 1:
            setup = int(model.setup[test])
            price = model.minutes[test] + (0 if setup < 0 or setup in paid else model.setup_minutes[setup])
            after = paid | ({setup} if setup >= 0 else set())
            rest = sum(enumerated(model, part, after, repairing=repairing) for part in parts.values())
            choices.append(weight * price + rest)
    if repairing:
        choices.append(weight * model.elsewhere)
        for number in {int(model.repair[c]) for c in alive}:
            rest = frozenset(c for c in alive if model.repair[c] != number)
            after = enumerated(model, rest, paid, repairing=True) if rest else 0.0
            choices.append(weight * model.repair_minutes[number] + after)
    return min(choices, default=0.0)


@pytest.mark.parametrize("repairing", [False, True])
@pytest.mark.parametrize("start", range(25))
def test_equals_plain_enumeration(start: int, repairing: bool) -> None:
    model = model_of(np.random.default_rng(start), candidates=4, tests=3, elsewhere=40.0)
    plain = enumerated(model, frozenset(range(4)), frozenset(), repairing=repairing)
    assert optimum(model, repairing=repairing) == pytest.approx(plain, abs=1e-9)


@pytest.mark.parametrize("start", range(30))
def test_no_policy_beats_the_optimum(start: int) -> None:
    model = model_of(np.random.default_rng(100 + start), candidates=8, tests=7)
    order = list(np.argsort(model.minutes))
    best = optimum(model, repairing=True)
    for policy in (
        repairs_only(model),
        in_order(model, order, repairing=True),
        most_bits(model, a_minute=True, repairing=True),
        most_bits(model, a_minute=False, repairing=True),
    ):
        assert expected_minutes(model, policy, repairing=True) >= best - 1e-9


@pytest.mark.parametrize("start", range(20))
def test_no_optimum_beats_the_ideal_tests(start: int) -> None:
    """Every candidate is its own repair, so that isolating needs at least the mean length of an ideal code."""
    rng = np.random.default_rng(200 + start)
    model = SubModel(
        prior=rng.dirichlet(np.ones(7)),
        outcomes=np.vstack([rng.integers(0, 3, (5, 7)), np.eye(7, dtype=int)]),
        minutes=rng.uniform(2, 9, 12),
        setup=np.full(12, -1),
        setup_minutes=np.zeros(0),
        repair=np.arange(7),
        repair_minutes=np.full(7, 30.0),
    )
    ideal = huffman_length(model.prior, 3) * model.minutes.min()
    assert optimum(model, repairing=False) >= ideal - 1e-9


def test_a_set_up_is_paid_once() -> None:
    model = SubModel(
        prior=np.array([0.25, 0.25, 0.5]),
        outcomes=np.array([[0, 1, 1], [0, 0, 1]]),
        minutes=np.array([1.0, 1.0]),
        setup=np.array([0, 0]),
        setup_minutes=np.array([10.0]),
        repair=np.arange(3),
        repair_minutes=np.full(3, 20.0),
    )
    # the second test first: 11 minutes, then in half the cases the other at 1
    assert optimum(model, repairing=False) == pytest.approx(11.5)


def test_repairs_alone_follow_probability_over_minutes() -> None:
    """Golden row G7's order and cost: any permutation costs at least as much."""
    share, minutes = [0.45, 0.30, 0.15, 0.10], [40.0, 10.0, 5.0, 30.0]
    model = SubModel(
        prior=np.array(share),
        outcomes=np.zeros((0, 4), dtype=int),
        minutes=np.zeros(0),
        setup=np.zeros(0, dtype=int),
        setup_minutes=np.zeros(0),
        repair=np.arange(4),
        repair_minutes=np.array(minutes),
    )

    def cost(order: tuple[int, ...]) -> float:
        return sum(minutes[n] * sum(share[m] for m in order[place:]) for place, n in enumerate(order))

    cheapest = min(cost(order) for order in itertools.permutations(range(4)))
    assert expected_minutes(model, repairs_only(model), repairing=True) == pytest.approx(cheapest)
    assert optimum(model, repairing=True) == pytest.approx(cheapest)
    assert best_repair(model, model.everything) in (1, 2)


def test_somebody_else_is_sent_for_when_that_costs_less() -> None:
    model = SubModel(
        prior=np.full(3, 1 / 3),
        outcomes=np.zeros((0, 3), dtype=int),
        minutes=np.zeros(0),
        setup=np.zeros(0, dtype=int),
        setup_minutes=np.zeros(0),
        repair=np.arange(3),
        repair_minutes=np.full(3, 60.0),
        elsewhere=50.0,
    )
    assert next_repair(model, model.everything) == ("elsewhere", 0)
    assert optimum(model, repairing=True) == pytest.approx(50.0)
    assert expected_minutes(model, repairs_only(model), repairing=True) == pytest.approx(50.0)
