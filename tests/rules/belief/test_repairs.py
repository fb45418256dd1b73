"""What one repair mends, and that nothing is asked to tell its faults apart."""

from __future__ import annotations

import numpy as np
import pytest

from rules import Expert
from rules.belief.choosing import Gate, choose, sure
from rules.belief.repairs import DOLLARS_A_MINUTE, TRIAL_RUN
from tests.conftest import Asker


def test_repairs_are_parts_at_a_place_by_a_skill(expert: Expert) -> None:
    signatures = expert.signatures(expert.book.appliances["radiant_range"])
    assert sum(len(repair.members) for repair in signatures.repairs) == len(signatures.hypotheses)
    for number, repair in enumerate(signatures.repairs[:-1]):
        for member in repair.members:
            hypothesis = signatures.hypotheses[member]
            assert hypothesis.fault is not None
            assert signatures.repair[member] == number
            assert hypothesis.fault.parts_for(signatures.appliance) == repair.parts
            assert (hypothesis.where, hypothesis.fault.skill) == (repair.where, repair.skill)
            low, high = hypothesis.fault.minutes
            if len(repair.members) == 1:
                assert repair.minutes == pytest.approx((low + high) / 2)
                value = sum(expert.book.parts[part].value for part in repair.parts)
                assert repair.cost == pytest.approx(repair.minutes + TRIAL_RUN + value / DOLLARS_A_MINUTE)
    assert signatures.repairs[-1].skill is None
    assert signatures.repairs[-1].members == (len(signatures.hypotheses) - 1,)


def test_faults_without_a_part_are_mended_each_in_its_own_way(expert: Expert) -> None:
    signatures = expert.signatures(expert.book.appliances["radiant_range"])
    names = [h.name for h in signatures.hypotheses]
    lock, demo = (signatures.repair[names.index(f"settings.{n}")] for n in ("control_lock", "demo_mode"))
    assert lock != demo


def test_nothing_is_asked_inside_one_repair(expert: Expert) -> None:
    """The board goes in whichever of its relays is at fault: as good as sure, though no fault is."""
    signatures = expert.signatures(expert.book.appliances["radiant_range"])
    board = next(r for r in signatures.repairs if r.parts == ("control_board",))
    assert len(board.members) > 2
    p = np.full(len(signatures.hypotheses), 1e-9)
    p[list(board.members)] = 1.0
    p /= p.sum()
    assert p.max() < 0.5
    assert sure(signatures, p, "caller")
    gate = Gate("caller", frozenset(), frozenset(), False, frozenset({"hazard.any"}))
    assert choose(signatures, p, gate, signatures.appliance.positions) == []


def test_repair_order_is_told_with_parts_and_probability(ask: Asker) -> None:
    answer = ask(None, "oven.bake.heat=none", "display=lit", "hazard.any=no", "surface.heat@all=normal")
    assert answer.repair_order
    rates = [step.probability / step.cost for step in answer.repair_order]
    assert rates == pytest.approx(sorted(rates, reverse=True), rel=0.03)  # costs are shown in whole minutes
    assert sum(step.probability for step in answer.repair_order) <= 1.001
    named = {fault for step in answer.repair_order for fault in step.faults}
    assert "settings.control_lock" in named
