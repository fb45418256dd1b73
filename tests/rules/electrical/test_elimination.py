"""Elimination in a fixed order, held against LAPACK's dense solution of the same system."""

from __future__ import annotations

from itertools import combinations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from rules.electrical.circuit import Network
from rules.electrical.elimination import Elimination

CASES = 3


@given(st.integers(1, 9), st.data())
def test_any_drawing_gives_what_the_dense_solution_gives(size: int, data: st.DataObject) -> None:
    """Conductances and capacitances in any drawing, one part or several, with one side and with two."""
    joined = data.draw(st.lists(st.sampled_from([*combinations(range(size), 2)] or [(0, 0)]), unique=True))
    joined = [ends for ends in joined if ends[0] != ends[1]]
    dice = np.random.default_rng(data.draw(st.integers(0, 99)))
    plan = Elimination.of(size, joined)
    cells = np.zeros((len(plan.cell), CASES), dtype=complex)
    dense = np.zeros((CASES, size, size), dtype=complex)
    for a, b in joined:
        y = 10.0 ** dice.uniform(-6, 2, CASES) * np.exp(1j * dice.uniform(0, np.pi / 2, CASES))
        cells[plan.cell[a, b]] -= y
        cells[[a, b]] += y
        dense[:, [a, b], [b, a]] -= y[:, None]
        dense[:, [a, b], [a, b]] += y[:, None]
    cells[:size] += 1e-3  # every node leaks to the reference
    dense[:, range(size), range(size)] += 1e-3
    sides = dice.normal(size=(size, 2, CASES)).astype(complex)
    wanted = np.linalg.solve(dense, sides.transpose(2, 0, 1)).transpose(1, 2, 0)
    assert np.allclose(plan.solve(cells.copy(), sides.copy()), wanted, rtol=1e-6, atol=1e-9 * np.abs(wanted).max())
    alone = plan.solve(cells.copy(), sides[:, 0].copy())
    assert np.allclose(alone, wanted[:, 0], rtol=1e-6, atol=1e-9 * np.abs(wanted).max())


def test_nodes_in_a_row_go_every_second_at_once() -> None:
    """Thirty-three in a row take as many steps as halving takes, and join no more than what is left after each."""
    plan = Elimination.of(33, [(n, n + 1) for n in range(32)])
    assert len(plan.steps) <= 6
    assert len(plan.cell) <= 33 + 2 * 32


def test_no_case_and_no_source() -> None:
    network = Network.draw({"G": 0}, {"a": ("X", "Y")})
    assert network.solve(np.zeros((0, 1))).volts.shape == (0, 3)
    assert np.isnan(network.solve(np.array([[1.0]])).node("X")).all()
