"""What machines show at the edges of their tolerances."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.polynomial.hermite_e import hermegauss

from rules import Expert
from rules.appliance import observe_machines
from rules.appliance.injecting import SHARES, Machine
from rules.appliance.tolerances import NODES, moved, put_off
from rules.appliance.wiring import wire


def test_the_points_are_those_of_gauss_and_hermite() -> None:
    """Against numpy's hermegauss of three points, whose weights add up to the square root of two pi."""
    points, weights = hermegauss(3)
    ours = sorted((node, sixths / 6) for node, sixths in NODES)
    assert np.allclose([node for node, _ in ours], points)
    assert np.allclose([share for _, share in ours], weights / math.sqrt(2 * math.pi))


@pytest.mark.parametrize("mode", [*SHARES, "resistive", "wrong_ohms", "drift", "in_series", "offset_f"])
@pytest.mark.parametrize("amount", [0.1, 0.6, 0.95])
def test_a_size_moves_with_its_factor_and_a_share_stays_one(mode: str, amount: float) -> None:
    moves = [moved(mode, amount, by) for by in (-2.0, -0.5, 0.0, 0.5, 2.0)]
    assert moves == sorted(moves)
    assert moves[2] == pytest.approx(amount)
    assert all(size > 0 for size in moves)
    if mode in (*SHARES, "wrong_ohms", "drift"):
        assert all(size < 1 for size in moves)


def test_what_is_a_number_of_something_does_not_move() -> None:
    assert moved("line_open", 2, 0.5) == 2
    assert moved("undersized", 30, 0.5) == 30
    assert moved("jammed", 1, 0.5) == 1


def test_a_sound_appliance_shows_nothing_odd_at_any_tolerance(expert: Expert) -> None:
    """Else every call would be about it."""
    book = expert.book
    for appliance in book.appliances.values():
        wiring, usual = wire(appliance), expert.signatures(appliance).usual
        made = [Machine() for _ in NODES]
        for machine, (node, _) in zip(made, NODES, strict=True):
            put_off(machine, wiring, node)
        for key, words in observe_machines(wiring, made, book.facts).items():
            assert {str(word) or usual[key] for word in words} == {usual[key]}, (appliance.appliance, key)


def test_a_fault_near_the_edge_of_a_band_shows_both_words(expert: Expert) -> None:
    """A bridge of 7,000 ohm holds a key down; a little more of it, within what moisture does, no longer does."""
    book = expert.book
    signatures = expert.signatures(book.appliances["radiant_range"])
    rows = signatures.at_name["control.keypad_wet"]
    stuck = list(book.facts["oven.keys"].values).index("stuck")
    assert sorted(np.round(signatures.tables["oven.keys"][rows, stuck], 4)) == [pytest.approx(5 / 6, abs=1e-4), 1.0]
    assert np.allclose([table.sum(axis=1) for table in signatures.tables.values()], 1)
