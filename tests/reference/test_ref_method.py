"""Golden rows of the methods: numbers published elsewhere or derived by hand, against the project's own functions.

Row G1 (gains) is in tests/rules/belief/test_choosing.py.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, replace

import numpy as np
import pytest

from rules import Expert
from rules.belief.posterior import believe, likelihood
from rules.belief.questions import information
from rules.belief.repairs import best_order, expected_cost
from rules.bookkeeping.types import Part, Van
from rules.casefile import Statement
from rules.visit import load
from tests.rules.belief.models import invented

INPUTS = {"A": 3, "B": 2, "C": 2, "D": 3, "E": 3}
PARTS = ("M1", "M2", "M3", "A1", "A2")


def polybox(faulty: frozenset[str], seen: dict[str, int]) -> dict[str, int] | None:
    """What follows from the sound parts and the readings, by propagation; None if they contradict each other.

    X = A*C (M1), Y = B*D (M2), Z = C*E (M3), F = X+Y (A1), G = Y+Z (A2); the box of de Kleer and Williams (1987).
    """
    known = dict(seen)

    def learn(name: str, value: int) -> bool:
        fresh = name not in known
        if known.setdefault(name, value) != value:
            raise ArithmeticError(name)
        return fresh

    try:
        again = True
        while again:
            again = False
            for part, name, left, right in (("M1", "X", "A", "C"), ("M2", "Y", "B", "D"), ("M3", "Z", "C", "E")):
                if part not in faulty:
                    again |= learn(name, INPUTS[left] * INPUTS[right])
            for part, name, left, right in (("A1", "F", "X", "Y"), ("A2", "G", "Y", "Z")):
                if part in faulty:
                    continue
                if left in known and right in known:
                    again |= learn(name, known[left] + known[right])
                elif name in known and left in known:
                    again |= learn(right, known[name] - known[left])
                elif name in known and right in known:
                    again |= learn(left, known[name] - known[right])
    except ArithmeticError:
        return None
    return known


@dataclass(frozen=True)
class Diagnoses:
    """Fault sets that fit the readings."""

    seen: dict[str, int]
    sets: tuple[frozenset[str], ...]

    def table(self, probe: str, values: int | None = None) -> np.ndarray:
        """P(value of the probe | fault set): sure where it is predicted, else even over ``values`` values."""
        predicted = [polybox(faulty, self.seen) for faulty in self.sets]
        words = sorted({p[probe] for p in predicted if p is not None and probe in p})
        width = values or len(words)
        rows = np.full((len(self.sets), width), 1 / width)
        for row, p in zip(rows, predicted, strict=True):
            if p is not None and probe in p:
                row[:] = 0
                row[words.index(p[probe])] = 1
        return rows


def diagnoses(seen: dict[str, int]) -> Diagnoses:
    sets = [frozenset(c) for size in range(6) for c in itertools.combinations(PARTS, size)]
    return Diagnoses(seen, tuple(s for s in sets if polybox(s, seen) is not None))


def minimal(found: Diagnoses) -> list[frozenset[str]]:
    return [s for s in found.sets if not any(other < s for other in found.sets)]


def crude_scores(seen: dict[str, int]) -> dict[str, float]:
    """De Kleer's (1990) score sum c log2 c over the smallest diagnoses, from the project's own information.

    With n equally likely diagnoses the expected entropy after a probe is that sum divided by n.
    """
    found = diagnoses(seen)
    fewest = min(len(s) for s in found.sets)
    few = Diagnoses(seen, tuple(s for s in found.sets if len(s) == fewest))
    n = len(few.sets)
    even = np.full(n, 1 / n)
    return {probe: n * (math.log2(n) - information(few.table(probe), even)) for probe in "XYZFG"}


def test_g2_the_polybox_after_one_reading() -> None:
    """Output of the code of Forbus and de Kleer (1993), BPS/gde/polyex.txt."""
    assert minimal(diagnoses({"F": 10})) == [{"M1"}, {"M2"}, {"A1"}]
    assert crude_scores({"F": 10}) == pytest.approx({"X": 2, "Y": 2, "G": 2, "Z": 4.7549, "F": 4.7549}, abs=5e-5)


def test_g3_the_polybox_after_two_readings() -> None:
    seen = {"F": 10, "G": 12}
    assert set(minimal(diagnoses(seen))) == {
        frozenset({"M1"}),
        frozenset({"A1"}),
        frozenset({"A2", "M2"}),
        frozenset({"M2", "M3"}),
    }
    assert crude_scores(seen) == pytest.approx({"X": 0, "Y": 2, "Z": 2, "F": 2, "G": 2}, abs=1e-9)


def test_g4_expected_entropy_with_probabilities() -> None:
    """Failure probability .01 each, 16 values a node; derived, not published."""
    m, p = 16, 0.01
    found = diagnoses({"F": 10, "G": 12})
    assert len(found.sets) == 27
    weights = []
    for faulty in found.sets:
        prior = math.prod(p if part in faulty else 1 - p for part in PARTS)
        before = polybox(faulty, {})
        after = polybox(faulty, {"F": 10})
        assert before is not None
        assert after is not None
        said = (1 if "F" in before else 1 / m) * (1 if "G" in after else 1 / m)
        weights.append(prior * said)
    posterior = np.array(weights) / sum(weights)
    share = dict(zip(found.sets, posterior, strict=True))
    assert share[frozenset({"M1"})] == pytest.approx(0.49622, abs=5e-6)
    assert share[frozenset({"A1"})] == pytest.approx(0.49622, abs=5e-6)
    assert share[frozenset({"A1", "M1"})] == pytest.approx(0.00501, abs=5e-6)
    entropy = float(-(posterior * np.log2(posterior)).sum())
    assert entropy == pytest.approx(1.0714, abs=5e-5)
    left = {probe: entropy - information(found.table(probe, m), posterior) for probe in "XYZ"}
    assert left == pytest.approx({"X": 0.0383, "Y": 1.0635, "Z": 1.0670}, abs=5e-5)


def test_the_published_form_of_expected_entropy_is_the_exact_one() -> None:
    """De Kleer and Williams (1987), from memory: dHe = sum q log q + U log U - n (U/m) log(U/m), and H + dHe is exact.

    U is the weight of what predicts nothing, n the number of values that are predicted at all.
    """
    rng = np.random.default_rng(11)
    for _ in range(100):
        size, m = int(rng.integers(2, 12)), int(rng.integers(3, 9))
        p = rng.dirichlet(np.ones(size))
        says = rng.integers(-1, m - 1, size=size)  # -1 predicts nothing; the last value never is
        table = np.array([np.full(m, 1 / m) if value < 0 else np.eye(m)[value] for value in says])
        u = float(p[says < 0].sum())
        values = sorted({int(value) for value in says if value >= 0})
        q = np.array([p[says == value].sum() + u / m for value in values])
        change = float((q * np.log2(q)).sum())
        if u:
            change += u * math.log2(u) - len(values) * (u / m) * math.log2(u / m)
        assert information(table, p) == pytest.approx(-change, abs=1e-9)


def certainty_factor(ratio: float) -> float:
    return (ratio - 1) / max(ratio, 1)


def combined(x: float, y: float) -> float:
    """EMYCIN's rule, as published by Novak (University of Texas, cs381k)."""
    if x > 0 and y > 0:
        return x + y - x * y
    if x < 0 and y < 0:
        return x + y + x * y
    return (x + y) / (1 - min(abs(x), abs(y)))


def test_g5_g6_certainty_factors_are_odds(expert: Expert) -> None:
    """Heckerman (1986): with CF = (L-1)/max(L, 1) that rule is Bayes on odds; the project's belief obeys it."""
    assert combined(0.5, 0.6) == pytest.approx(0.8)
    assert combined(0.999, -0.8) == pytest.approx(0.995)
    rng = np.random.default_rng(5)
    for _ in range(50):
        signatures = invented(expert, rng, 2, 2)
        said = [Statement(n, ((f"f{n}", f"w{rng.integers(2)}"),), "caller", "said") for n in range(2)]
        ratios = [float(like[0] / like[1]) for like in (likelihood(signatures, s) for s in said)]
        after = believe(signatures, signatures.prior, np.ones(2), said).probability
        odds = float(after[0] / after[1] / (signatures.prior[0] / signatures.prior[1]))
        assert certainty_factor(odds) == pytest.approx(combined(*map(certainty_factor, ratios)), abs=1e-9)


def sequence_cost(p: np.ndarray, minutes: np.ndarray, order: tuple[int, ...], elsewhere: float = 0.0) -> float:
    left, paid = 1.0, 0.0
    for number in order:
        paid += float(minutes[number]) * left
        left -= float(p[number])
    return paid + max(left, 0.0) * elsewhere


def test_g7_probability_over_minutes() -> None:
    p, minutes = np.array([0.45, 0.30, 0.15, 0.10]), np.array([40.0, 10.0, 5.0, 30.0])
    best = best_order(p, minutes, elsewhere=1000)
    assert best.numbers == (1, 2, 0, 3)
    assert best.cost == pytest.approx(38.5)
    assert expected_cost(p[None, :], minutes, elsewhere=1000) == pytest.approx([38.5])
    assert sequence_cost(p, minutes, (0, 1, 2, 3)) == pytest.approx(49.75)
    assert sequence_cost(p, minutes, (2, 1, 3, 0)) == pytest.approx(48.0)


def test_g8_the_same_order_for_tests_until_one_fails() -> None:
    """Inputs of a published exercise: cost over probability of failing; here the trials are independent."""
    cost, fails = np.array([51.75, 2.00, 52.40]), np.array([0.125, 0.075, 0.14])

    def until_one_fails(order: tuple[int, ...]) -> float:
        return sum(cost[n] * math.prod(1 - fails[m] for m in order[:i]) for i, n in enumerate(order))

    order = best_order(fails, cost, rest=1 - fails.sum(), elsewhere=1e9).numbers
    assert order == (1, 2, 0)
    assert until_one_fails(order) == pytest.approx(91.637, abs=5e-4)
    assert until_one_fails((1, 0, 2)) == pytest.approx(92.280, abs=5e-4)
    assert until_one_fails((0, 1, 2)) == pytest.approx(95.911, abs=5e-4)


@pytest.mark.parametrize("size", range(1, 8))
def test_the_order_is_the_best_of_all_permutations(size: int) -> None:
    """Kadane and Simon (1977), against every permutation and every point to call somebody else."""
    rng = np.random.default_rng(size)
    for _ in range(40 if size < 7 else 8):
        p, minutes = rng.dirichlet(np.ones(size + 1))[:size], np.exp(rng.uniform(1, 4, size=size))
        elsewhere = float(rng.uniform(20, 300))
        brute = min(
            sequence_cost(p, minutes, order[:count], elsewhere)
            for order in itertools.permutations(range(size))
            for count in range(size + 1)
        )
        assert best_order(p, minutes, 1 - p.sum(), elsewhere).cost == pytest.approx(brute)
        assert expected_cost(p[None, :], minutes, 1 - p.sum(), elsewhere) == pytest.approx([brute])


G12 = {"1": (3, 45), "2": (1, 30), "3": (1, 25), "4": (4, 180), "5": (1, 20), "6": (2, 40)}


@pytest.mark.parametrize(
    ("space", "value", "chance", "aboard"),
    [(4, 120, 0.60, {"1", "2"}), (6, 250, 0.83, {"1", "2", "3", "5"}), (9, 300, 0.87, {"1", "2", "3", "4"})],
)
def test_g12_the_van(space: float, value: float, chance: float, aboard: set[str]) -> None:
    """Seven faults, one of which needs two parts and one none; derived, equal to brute force."""
    parts = {name: Part(name, name, room, dollars) for name, (room, dollars) in G12.items()}
    needs = {
        frozenset("1"): 0.34,
        frozenset("2"): 0.22,
        frozenset("3"): 0.15,
        frozenset("4"): 0.12,
        frozenset("5"): 0.08,
        frozenset("46"): 0.05,
        frozenset[str](): 0.04,
    }
    van = Van("van", "van", space, value, "invented")
    for least in (0.0, 0.01):
        found = load(needs, parts, van, least)
        assert found.fix == pytest.approx(chance)
        assert set(found.parts) == aboard
    roomy = load(needs, parts, replace(van, space=100, value=1000), 0.0)
    assert (set(roomy.parts), roomy.left) == (set(G12), ())
