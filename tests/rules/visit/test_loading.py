"""The van's load, against every choice there is."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence

import numpy as np
import pytest

from rules.bookkeeping.types import Part, Van
from rules.visit import Needs, load, load_for_day
from rules.visit.loading import _solve, at_least, first_visit_fixes

Case = tuple[list[Needs], dict[str, Part], Van]


def made_up(seed: int, parts: int, calls: int, *, several: bool) -> Case:
    """Invented parts, needs and a van with room for about half of it."""
    rng = np.random.default_rng(seed)
    names = [f"p{n}" for n in range(parts)]
    stock = {n: Part(n, n, float(rng.integers(1, 9)), float(rng.integers(5, 200))) for n in names}
    needs: list[Needs] = []
    for _ in range(calls):
        sets = {
            frozenset(rng.choice(names, size=int(rng.integers(1, 3)) if several else 1, replace=False).tolist())
            for _ in range(int(rng.integers(2, 7)))
        }
        *shares, nothing, _ = map(float, rng.dirichlet(np.ones(len(sets) + 2)))
        needs.append(dict(zip(sorted(sets, key=sorted), shares, strict=True)) | {frozenset(): nothing})
    half = 0.3 + 0.4 * rng.random()
    room = half * sum(p.space for p in stock.values())
    money = half * sum(p.value for p in stock.values())
    return needs, stock, Van("van", "van", room, money, "invented")


def stocks(parts: Sequence[Part], van: Van, most: int) -> Iterator[dict[str, int]]:
    for counts in itertools.product(range(most + 1), repeat=len(parts)):
        space = sum(p.space * c for p, c in zip(parts, counts, strict=True))
        value = sum(p.value * c for p, c in zip(parts, counts, strict=True))
        if space <= van.space + 1e-6 and value <= van.value + 1e-6:
            yield {p.part: c for p, c in zip(parts, counts, strict=True)}


def worth(needs: Needs, aboard: set[str]) -> float:
    return sum(share for needed, share in needs.items() if needed <= aboard)


@pytest.mark.parametrize("seed", range(120))
def test_one_call_by_every_road_is_the_best_of_all_choices(seed: int) -> None:
    needs, parts, van = made_up(seed, 8, 1, several=True)
    best = max(worth(needs[0], {p for p, c in stock.items() if c}) for stock in stocks(list(parts.values()), van, 1))
    listed_out = load(needs[0], parts, van, 0.0)
    assert listed_out.fix == pytest.approx(best)
    solved = _solve(needs, parts, van, 0.0)
    assert worth(needs[0], {part for part, count in solved.items() if count}) == pytest.approx(best, abs=1e-6)
    assert load_for_day(needs, parts, van, 0.0).fix == pytest.approx((best,), abs=1e-6)


@pytest.mark.parametrize("seed", range(40))
def test_a_day_of_one_part_faults_is_the_best_of_all_stocks(seed: int) -> None:
    """Each unit serves one call: the sum of E[min(stock, demand)] over the parts, by brute force."""
    calls, parts, van = made_up(seed, 4, 3, several=False)

    def served(stock: dict[str, int]) -> float:
        none = sum(call[frozenset()] for call in calls)
        shares = {p: [call.get(frozenset({p}), 0.0) for call in calls] for p in parts}
        return none + sum(float(at_least(shares[p])[:count].sum()) for p, count in stock.items())

    best = max(served(stock) for stock in stocks(list(parts.values()), van, 3))
    found = load_for_day(calls, parts, van, 0.0)
    assert served(dict.fromkeys(parts, 0) | dict(found.units)) == pytest.approx(best, abs=1e-6)
    assert sum(found.fix) == pytest.approx(best, abs=1e-6)  # in order of the drive or not, as many are served
    assert found.space <= van.space + 1e-6
    assert found.value <= van.value + 1e-6


def test_a_day_of_faults_of_several_parts_is_near_the_best_of_all_stocks() -> None:
    """Where whole jobs compete for units the programme is hopeful; measured here against every stock."""
    ratios = []
    for seed in range(25):
        calls, parts, van = made_up(seed, 4, 3, several=True)
        best = max(sum(first_visit_fixes(calls, stock)) for stock in stocks(list(parts.values()), van, 3))
        ratios.append(sum(load_for_day(calls, parts, van, 0.0).fix) / best)
    assert max(ratios) <= 1 + 1e-9
    assert np.mean(ratios) > 0.97
    assert min(ratios) > 0.85


@pytest.mark.parametrize("seed", range(30))
def test_chances_of_a_day_by_every_way_it_can_go(seed: int) -> None:
    calls, parts, _ = made_up(seed, 4, 3, several=True)
    rng = np.random.default_rng(seed)
    units = {part: int(rng.integers(0, 3)) for part in parts}
    exact = np.zeros(3)
    outcomes = [[*call.items(), (None, 1 - sum(call.values()))] for call in calls]
    for day in itertools.product(*outcomes):
        left, weight, fixed = dict(units), 1.0, np.zeros(3)
        for number, (needed, share) in enumerate(day):
            weight *= share
            if needed is not None and all(left[part] > 0 for part in needed):
                fixed[number] = 1
                for part in needed:
                    left[part] -= 1
        exact += weight * fixed
    assert first_visit_fixes(calls, units) == pytest.approx(tuple(exact))


def test_many_parts_go_through_the_solver() -> None:
    needs, parts, van = made_up(3, 40, 1, several=True)
    many = {frozenset({f"p{n}"}): 1 / 41 for n in range(40)} | {frozenset(): 1 / 41}
    found = load(many, parts, van, 0.0)
    assert found.left
    assert sum(parts[p].space for p in found.parts) <= van.space + 1e-6
    assert found.fix == pytest.approx((len(found.parts) + 1) / 41)
    assert needs


def test_what_is_seldom_used_stays_in_the_shop() -> None:
    _, parts, _ = made_up(0, 3, 1, several=False)
    van = Van("van", "van", 100.0, 1000.0, "invented")
    found = load({frozenset({"p0"}): 0.9, frozenset({"p1"}): 0.05}, parts, van)
    assert (found.parts, found.left) == (("p0",), ())
    assert found.fix == pytest.approx(0.9)


def test_a_day_without_calls_loads_nothing() -> None:
    _, parts, van = made_up(0, 3, 1, several=False)
    assert load_for_day([], parts, van).units == {}
    assert load_for_day([{frozenset(): 1.0}], parts, van).fix == (1.0,)
