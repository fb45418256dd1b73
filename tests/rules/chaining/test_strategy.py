"""The order of firing: withdrawn activations never fire, and the order is the same every time."""

from __future__ import annotations

import random
from typing import Any

import pytest

from rules.bookkeeping.types import Condition, Derivation
from rules.bookkeeping.types import Rule as TradeRule
from rules.chaining.caseengine import CaseEngine, engine_fact
from rules.chaining.compiler import compile_book
from rules.chaining.experta_import import NOT, Fact, KnowledgeEngine, L, Rule, Strategy
from rules.chaining.record import RawFiring
from rules.chaining.strategy import StableStrategy
from tests.rules.chaining.casegen import DERIVED, PLAIN, VALUES, random_facts, random_premise, rule
from tests.rules.chaining.plainly import Item, is_blocked

DepthStrategy = KnowledgeEngine.__strategy__  # what experta uses if one says nothing

TIED = 10


class Go(Fact):
    """Starts the rules."""


class Block(Fact):
    """Takes back the activation of rule ``number``."""


def tied_rules(strategy: type[Strategy], *, blocker: int | None = None) -> KnowledgeEngine:
    """Ten rules of one salience, each held back by its own Block; ``blocker`` declares one while the rules run."""

    def body(number: int) -> Any:
        def fire(engine: Any, **bound: Any) -> None:
            engine.fired.append(number)

        fire.__name__ = f"tied_{number}"
        return fire

    rules: dict[str, Any] = {
        f"tied_{number}": Rule("go" << Go(), NOT(Block(number=L(number))))(body(number)) for number in range(TIED)
    }
    if blocker is not None:

        def block(engine: Any, **bound: Any) -> None:
            engine.declare(Block(number=blocker))

        rules["first"] = Rule("go" << Go(), salience=1)(block)
    tied: KnowledgeEngine = type("Tied", (KnowledgeEngine,), {**rules, "__strategy__": strategy, "fired": None})()
    return tied


def wrongly_fired(strategy: type[Strategy]) -> list[int]:
    """Of ten runs, those in which the one rule blocked before the run fired all the same."""
    engine: Any = tied_rules(strategy)
    wrong = []
    for blocked in range(TIED):
        engine.reset()
        engine.fired = []
        engine.declare(Go())
        engine.declare(Block(number=blocked))
        engine.run()
        assert set(engine.fired) >= set(range(TIED)) - {blocked}
        wrong += [blocked] if blocked in engine.fired else []
    return wrong


def wrongly_fired_when_blocked_in_the_run(strategy: type[Strategy]) -> list[int]:
    """The same, with the block declared by a rule that fires first."""
    wrong = []
    for blocked in range(TIED):
        engine: Any = tied_rules(strategy, blocker=blocked)
        engine.reset()
        engine.fired = []
        engine.declare(Go())
        engine.run()
        assert set(engine.fired) >= set(range(TIED)) - {blocked}
        wrong += [blocked] if blocked in engine.fired else []
    return wrong


@pytest.mark.parametrize("blocked_runs", [wrongly_fired, wrongly_fired_when_blocked_in_the_run])
def test_a_withdrawn_activation_fires_in_stock_experta_and_never_here(blocked_runs: Any) -> None:
    assert blocked_runs(DepthStrategy) != []
    assert blocked_runs(StableStrategy) == []


class Watched(CaseEngine):
    """Counts firings that a fact present at that moment should have prevented."""

    broken = 0
    premises_of: Any = ()

    def note(self, fired: RawFiring) -> None:
        present = [
            Item(fact["id"], *(fact[slot] for slot in ("name", "place", "state", "value", "number", "by")))
            for fact in self.facts.values()
            if "id" in fact
        ]
        (premises,) = self.premises_of[fired.rule].alternatives
        self.broken += any(is_blocked(premise, present, fired.where) for premise in premises)
        super().note(fired)


def many_rules(number: int) -> list[TradeRule]:
    """Thirty rules tied on few facts, held back by one or two random absences; some derive what blocks others."""
    dice = random.Random(number)
    return [
        rule(
            f"r{index}",
            [
                Condition(dice.choice(PLAIN), not_values=("absent",)),
                *(random_premise(dice, negated=True, joined=False) for _ in range(dice.choice((1, 2)))),
            ],
            derive=[Derivation(dice.choice(DERIVED), dice.choice(VALUES))] if dice.random() < 0.3 else (),
        )
        for index in range(30)
    ]


def broken_firings(strategy: type[Strategy]) -> int:
    """Firings against a present fact, over random rule sets, with facts arriving one by one."""
    broken = 0
    for number in range(15):
        rules = many_rules(number)
        bases = (compile_book(rules), Watched)
        engine: Any = type("One", bases, {"__strategy__": strategy, "premises_of": rules, "note": Watched.note})()
        for case in range(3):
            known = random_facts(1000 * number + case)
            random.Random(case).shuffle(known)
            engine.begin()
            for fact in known:
                engine.declare(engine_fact(fact))
            engine.run()
        broken += engine.broken
    return broken


def test_random_rules_never_fire_against_a_present_fact(monkeypatch: pytest.MonkeyPatch) -> None:
    """All rules in one band, rings and all: what must hold at the moment of firing does not need the bands."""
    monkeypatch.setattr("rules.chaining.compiler.strata", lambda rules: {rule.rule: 0 for rule in rules})
    assert broken_firings(DepthStrategy) > 0
    assert broken_firings(StableStrategy) == 0


def test_ties_are_broken_by_name_then_by_the_facts_bound() -> None:
    class Named(Fact):
        """Matched by both rules."""

    def body(engine: Any, item: Fact) -> None:
        engine.fired.append(("b", item["number"]))

    def other(engine: Any, item: Fact) -> None:
        engine.fired.append(("a", item["number"]))

    def urgent(engine: Any, item: Fact) -> None:
        engine.fired.append(("z", item["number"]))

    body.__name__, other.__name__, urgent.__name__ = "b", "a", "z"
    engine: Any = type(
        "Ordered",
        (KnowledgeEngine,),
        {
            "__strategy__": StableStrategy,
            "x": Rule("item" << Named())(body),
            "y": Rule("item" << Named())(other),
            "w": Rule("item" << Named(number=L(2)), salience=1)(urgent),
        },
    )()
    engine.reset()
    engine.fired = []
    engine.declare(*(Named(number=number) for number in (1, 2, 3)))
    engine.run()
    assert engine.fired == [("z", 2), ("a", 1), ("a", 2), ("a", 3), ("b", 1), ("b", 2), ("b", 3)]


def test_two_engines_share_no_agenda_and_nothing_is_kept_of_a_case() -> None:
    assert not hasattr(StableStrategy, "get_key")
    first, second = StableStrategy(), StableStrategy()
    assert vars(first) == vars(second) == {"resolved": {}}
