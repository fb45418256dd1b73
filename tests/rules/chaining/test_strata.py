"""Bands: who fires before whom, which rings are refused, and that the result does not depend on the file."""

from __future__ import annotations

import random
from itertools import permutations

import pytest

from rules.bookkeeping.types import Condition, Derivation, Rule
from rules.chaining import Chainer
from rules.chaining.strata import strata
from rules.terms import BookError
from tests.rules.chaining.casegen import facts, random_facts, random_rules, rule
from tests.rules.chaining.plainly import as_refs, plainly


def reads(name: str, *, negated: bool = False, where: str | None = None) -> Condition:
    return Condition(name, where=where, values=("yes",), negated=negated)


def derives(name: str, where: str | None = None) -> Derivation:
    return Derivation(name, "yes", where)


LADDER = [
    rule("a", [reads("seen")], derive=[derives("d1")], line=1),
    rule("b", [reads("seen"), reads("d1", negated=True)], derive=[derives("d2")], line=2),
    rule("c", [reads("d2", negated=True)], derive=[derives("d3")], line=3),
    rule("d", [reads("d3")], derive=[derives("d4")], line=4),
    rule("e", [reads("d4"), reads("d4", negated=True, where="left_front")], line=5),
]


def test_absences_come_after_everything_that_could_end_them() -> None:
    assert strata(LADDER) == {"a": 0, "b": 1, "c": 2, "d": 2, "e": 3}


def test_every_tried_is_a_hidden_absence() -> None:
    rules = [
        rule("tried", [reads("d1", where="every_tried")]),
        rule("any", [reads("d1", where="any")]),
        rule("source", [reads("seen")], derive=[derives("d1", "left_front")]),
    ]
    assert strata(rules) == {"tried": 1, "any": 0, "source": 0}


def test_facts_may_support_each_other_without_an_absence() -> None:
    rules = [
        rule("there", [reads("d1")], derive=[derives("d2")]),
        rule("back", [reads("d2")], derive=[derives("d1")]),
        rule("after", [reads("d1", negated=True)]),
    ]
    assert strata(rules) == {"there": 0, "back": 0, "after": 1}


@pytest.mark.parametrize("order", list(permutations(range(4))))
def test_the_order_in_the_file_changes_nothing(order: tuple[int, ...]) -> None:
    """Rule a ends what b waits for, b would end what c waits for; every order of writing gives a, c and d."""
    record = Chainer([LADDER[index] for index in order]).run(facts(("seen", "", "yes")))
    assert {firing.rule for firing in record.firings} == {"a", "c", "d"}
    assert {fact.name for fact in record.derived} == {"d1", "d3", "d4"}
    assert [firing.rule for firing in record.firings] == [LADDER[i].rule for i in order if LADDER[i].rule != "b"]


def test_a_ring_through_an_absence_names_its_rules_and_their_lines() -> None:
    rules = [
        rule("one", [reads("d3", negated=True)], derive=[derives("d1")], line=10),
        rule("two", [reads("d1")], derive=[derives("d2")], line=20),
        rule("three", [reads("d2")], derive=[derives("d3")], line=30),
        rule("bystander", [reads("d1")], derive=[derives("d9")], line=40),
    ]
    with pytest.raises(BookError) as refused:
        Chainer(rules)
    (problem,) = refused.value.problems
    assert problem.startswith("trade/test.yaml:10: when: rule 'one' waits for the absence")
    assert "three (trade/test.yaml:30) <- two (trade/test.yaml:20) <- one (trade/test.yaml:10)" in problem
    assert "bystander" not in problem


def test_a_rule_may_not_wait_for_its_own_conclusion() -> None:
    with pytest.raises(BookError, match=r"rule 'self' waits .* self \(trade/test.yaml:7\); take the negation"):
        strata([rule("self", [reads("d1", negated=True)], derive=[derives("d1")], line=7)])


def test_two_rings_are_two_problems_and_one_ring_is_told_once() -> None:
    def ring(first: str, second: str) -> list[Rule]:
        return [
            rule(first, [reads(second, negated=True)], derive=[derives(first)]),
            rule(second, [reads(first, negated=True)], derive=[derives(second)]),
        ]

    with pytest.raises(BookError) as refused:
        strata([*ring("a", "b"), *ring("c", "d")])
    assert len(refused.value.problems) == 2


def test_the_bands_obey_both_laws_on_random_rules() -> None:
    deepest = 0
    for number in range(150):
        rules = random_rules(number, most=14)
        band = strata(rules)
        for reader in rules:
            for premise in (premise for premises in reader.alternatives for premise in premises):
                later = premise.negated or premise.where == "every_tried"
                for source in rules:
                    if any(derived.fact == premise.fact for derived in source.derive):
                        assert band[reader.rule] >= band[source.rule] + later
        deepest = max(deepest, *band.values())
    assert deepest >= 2


def test_without_the_bands_some_results_would_be_wrong(monkeypatch: pytest.MonkeyPatch) -> None:
    """The bands are needed: with all rules in one, some of these cases differ from the plain reckoning."""

    def differing() -> int:
        cases = 0
        for number in range(100):
            rules = random_rules(number, most=14)
            random.Random(number).shuffle(rules)
            known = random_facts(number)
            cases += as_refs(Chainer(rules).run(known)) != plainly(rules, known)
        return cases

    assert differing() == 0
    monkeypatch.setattr("rules.chaining.compiler.strata", lambda rules: {rule.rule: 0 for rule in rules})
    assert differing() > 0
