"""The checker's reading of premises against the engine itself: whatever fires on a machine's own signs was foreseen."""

from __future__ import annotations

import random

import numpy as np
import pytest

from rules import Expert
from rules.bookkeeping.types import Condition
from rules.chaining import KnownFact
from rules.checking.configurations import Looks, configurations, fact_of
from rules.checking.conjunctions import _edges, satisfied, unfold
from rules.checking.pointers import fitting, ways_of
from rules.terms import split_key


@pytest.fixture(scope="module")
def looks(expert: Expert) -> Looks:
    return next(made for made in configurations(expert) if made.appliance.appliance == "radiant_range")


def signs(looks: Looks, row: int, dice: random.Random, left_out: float = 0.0) -> list[KnownFact]:
    """What a machine shows, each by a technician, words drawn as its tables have it; a share of facts left out."""
    known: list[KnownFact] = []
    for key in looks.tables:
        if dice.random() < left_out:
            continue
        name, place, state = split_key(key)
        term = looks.terms[name]
        word = dice.choices(list(term.values), weights=list(looks.tables[key][row]))[0]
        number = None
        if term.kind == "number":
            low, high = np.clip(_edges(term, key, looks)[word], -1e3, 1e4)
            number = float(dice.uniform(low, high))
        known.append(KnownFact(len(known), name, place or "", state or "", word, number, "technician"))
    return known


def test_what_fires_was_foreseen(expert: Expert, looks: Looks) -> None:
    dice = random.Random(8)
    rules = {name: rule for name, rule in expert.book.rules.items() if rule.points_to or rule.establishes}
    foreseen = {name: [satisfied(way, looks) for way in ways_of(rule, expert.book)] for name, rule in rules.items()}
    firings = 0
    for row in range(len(looks.signatures.hypotheses)):
        for _ in range(3):
            for firing in expert.chainer.run(signs(looks, row, dice, 0.2)).firings:
                if firing.rule in rules:
                    firings += 1
                    there = [found.get(firing.where) for found in foreseen[firing.rule]]
                    assert any(rows is not None and rows[row] for rows in there), (firing, row)
    assert firings > 300


def test_what_is_foreseen_as_certain_fires(expert: Expert, looks: Looks) -> None:
    """With everything said that a machine shows, a rule foreseen as certain does fire."""
    dice = random.Random(9)
    certain = 0
    for rule in expert.book.rules.values():
        premises = [premise for premises in rule.alternatives for premise in premises]
        # an absence, a statement about all units and what is no symptom are not among a machine's own signs
        if any(p.negated or p.where == "all" or looks.terms[p.fact].model == "context" for p in premises):
            continue
        for row in np.flatnonzero(fitting(ways_of(rule, expert.book), looks, certain=True))[:3]:
            certain += 1
            fired = {firing.rule for firing in expert.chainer.run(signs(looks, int(row), dice)).firings}
            assert rule.rule in fired, (rule.rule, row)
    assert certain > 40


def test_a_derived_fact_is_followed_down(expert: Expert) -> None:
    ways = unfold([Condition("leg.both_alive", values=("yes",))], expert.book)
    asked = {premise.condition.fact for way in ways for premise in way.premises}
    assert {"surface.heat", "oven.bake.heat", "oven.broil.heat"} <= asked
    assert unfold([Condition("leg.both_alive", values=("no",))], expert.book) == []


def test_joined_premises_share_a_unit(looks: Looks, expert: Expert) -> None:
    cold = Condition("surface.heat", where="same", values=("none",))
    hot = Condition("surface.heat", where="same", values=("normal",))
    (both,) = unfold([cold, hot], expert.book)
    assert not any(rows.any() for rows in satisfied(both, looks).values())
    (elsewhere,) = unfold([cold, Condition("surface.heat", where="any", values=("normal",))], expert.book)
    found = satisfied(elsewhere, looks)
    assert set(found) == set(looks.appliance.positions)
    names = {looks.signatures.hypotheses[row].name for row in np.flatnonzero(found["left_front"])}
    assert "surface.element_open" in names
    assert "supply.leg_l2_open" not in names
    assert all(fact_of(key) in looks.terms for key in looks.tables)
