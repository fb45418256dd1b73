"""The network: finds what experta's own finds, resets fully, shares nothing between engines."""

from __future__ import annotations

import gc
import weakref
from typing import Any

import pytest

from rules.chaining.caseengine import engine_fact
from rules.chaining.compiler import compile_book
from rules.chaining.experta_import import Fact, KnowledgeEngine, L, Matcher, P, ReteMatcher, Rule
from rules.chaining.matcher import BookMatcher
from rules.chaining.strategy import StableStrategy
from tests.rules.chaining.casegen import facts, random_facts, random_rules


def sequence_of_firings(matcher: type[Matcher]) -> list[Any]:
    """All firings, in order and with supports, of 60 random rule sets over two cases each."""
    seen: list[Any] = []
    for number in range(60):
        engine: Any = type("One", (compile_book(random_rules(number)),), {"__matcher__": matcher})()
        for case in range(2):
            engine.begin()
            engine.declare(*map(engine_fact, random_facts(500 * number + case)))
            engine.run()
            seen.append(engine.raw)
    return seen


def test_it_fires_what_the_stock_network_fires_in_the_same_order() -> None:
    stock = sequence_of_firings(ReteMatcher)
    assert sum(map(len, stock)) > 100
    assert sequence_of_firings(BookMatcher) == stock


class Reading(Fact):
    """A fact with a number."""


class Switch(Fact):
    """Another fact."""


def failing_engine(matcher: type[Matcher]) -> Any:
    """One rule fires on Switch; a predicate of the other raises for the number 13."""

    def raises(number: int) -> bool:
        if number == 13:
            raise ZeroDivisionError
        return False

    def fire(engine: Any, **bound: Any) -> None:
        engine.fired.append(bound["f0"]["case"])

    def never(engine: Any, **bound: Any) -> None:
        engine.fired.append("never")

    rules = {
        "a": Rule("f0" << Switch(on=L("yes")))(fire),
        "b": Rule("f0" << Reading(number=P(raises)))(never),
    }
    engine: Any = type(
        "Failing", (KnowledgeEngine,), {**rules, "__matcher__": matcher, "__strategy__": StableStrategy}
    )()
    engine.fired = []
    return engine


@pytest.mark.parametrize(("matcher", "left_over"), [(ReteMatcher, ["old"]), (BookMatcher, [])])
def test_after_a_predicate_raised_reset_forgets_the_case(matcher: type[Matcher], left_over: list[str]) -> None:
    engine = failing_engine(matcher)
    engine.reset()
    with pytest.raises(ZeroDivisionError):
        engine.declare(Switch(on="yes", case="old"), Reading(number=13))
    engine.reset()
    engine.run()
    assert engine.fired == left_over


def test_engines_do_not_evict_each_other_and_a_dropped_one_is_freed() -> None:
    compiled = compile_book(random_rules(1))
    first, second = compiled(), compiled()
    for engine in (first, second):
        engine.begin()
        engine.declare(*map(engine_fact, facts(("display", "", "lit"))))
        engine.run()
    gone = weakref.ref(first)
    del first, engine
    gc.collect()
    assert gone() is None
    assert second.raw is not None
