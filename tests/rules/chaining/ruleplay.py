"""Random rules and random sequences of declaring and withdrawing, for engines that must agree on what then holds."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from hypothesis import strategies as st

from rules.chaining.experta_import import NOT, Fact, KnowledgeEngine, L, Matcher, P, Rule, W
from rules.chaining.strategy import StableStrategy

SLOTS = ("a", "b")
VALUES = (0, 1, 2)


class First(Fact):
    """One kind of fact."""


class Second(Fact):
    """Another kind."""


KINDS = (First, Second)
ABOVE = {limit: (lambda value, limit=limit: value >= limit) for limit in VALUES}  # one function a test, as in the book


@dataclass(frozen=True)
class Slot:
    """How a slot is compared: with a constant, from a limit up, with a variable, or not at all."""

    constant: int | None = None
    limit: int | None = None
    variable: str | None = None


@dataclass(frozen=True)
class PatternPlan:
    kind: int
    slots: tuple[Slot, ...]

    @property
    def variables(self) -> set[str]:
        return {slot.variable for slot in self.slots if slot.variable}


@dataclass(frozen=True)
class RulePlan:
    positive: tuple[PatternPlan, ...]
    negative: tuple[PatternPlan, ...]
    salience: int


slot_plans = st.one_of(
    st.just(Slot()),
    st.builds(Slot, constant=st.sampled_from(VALUES)),
    st.builds(Slot, limit=st.sampled_from(VALUES)),
    st.builds(Slot, variable=st.sampled_from(("x", "y"))),
)
pattern_plans = st.builds(PatternPlan, st.integers(0, 1), st.tuples(*[slot_plans] * len(SLOTS)))


@st.composite
def rule_plans(draw: Any) -> RulePlan:
    """Rules of safe shapes, each pattern once."""
    positive = draw(st.lists(pattern_plans, min_size=1, max_size=3, unique=True))
    bound = set().union(*(pattern.variables for pattern in positive))
    negative = [p for p in draw(st.lists(pattern_plans, max_size=2, unique=True)) if p.variables <= bound]
    return RulePlan(tuple(positive), tuple(negative), draw(st.integers(0, 1)))


fact_plans = st.tuples(st.integers(0, 1), st.sampled_from(VALUES), st.sampled_from(VALUES))
#: ("+", fact): declare; ("-", n): withdraw the n-th fact that is there; ("run", how many firings)
steps = st.one_of(
    st.tuples(st.just("+"), st.lists(fact_plans, min_size=1, max_size=3)),
    st.tuples(st.just("-"), st.integers(0, 5)),
    st.tuples(st.just("run"), st.integers(1, 3)),
)


def engine_of(plans: list[RulePlan], matcher: type[Matcher]) -> Any:
    """An engine of experta with the rules, that logs its firings as (rule, fact numbers by name)."""

    def body(number: int) -> Any:
        def fire(engine: Any, **bound: Any) -> None:
            named = {name: f["__factid__"] for name, f in bound.items() if isinstance(f, Fact)}
            engine.log.append((number, tuple(sorted(named.items()))))

        fire.__name__ = f"rule{number:03d}"
        return fire

    rules = {}
    for number, plan in enumerate(plans):
        parts: list[Any] = [f"f{at}" << _pattern(pattern) for at, pattern in enumerate(plan.positive)]
        parts += [NOT(f"n{at}" << _pattern(pattern)) for at, pattern in enumerate(plan.negative)]
        rules[f"rule{number:03d}"] = Rule(*parts, salience=plan.salience)(body(number))
    made: Any = type("Played", (KnowledgeEngine,), {**rules, "__matcher__": matcher, "__strategy__": StableStrategy})()
    made.log = []
    made.reset()
    return made


def _pattern(plan: PatternPlan) -> Fact:
    slots: dict[str, Any] = {}
    for name, slot in zip(SLOTS, plan.slots, strict=True):
        if slot.constant is not None:
            slots[name] = L(slot.constant)
        elif slot.limit is not None:
            slots[name] = P(ABOVE[slot.limit])
        elif slot.variable is not None:
            slots[name] = slot.variable << W()
    return KINDS[plan.kind](**slots)


def play(engine: Any, moves: list[tuple[str, Any]]) -> list[Any]:
    """Make the moves; the log of firings, and after each move what waits on the agenda, in its order."""
    seen: list[Any] = []
    for move, what in moves:
        if move == "+":
            for kind, a, b in what:
                engine.declare(KINDS[kind](a=a, b=b))
        elif move == "-":
            there = [number for number, fact in engine.facts.items() if isinstance(fact, KINDS)]
            if there:
                engine.retract(there[what % len(there)])
        else:
            engine.run(what)
        waiting = [(act.rule.__name__, tuple(sorted(f["__factid__"] for f in act.facts))) for act in _agenda(engine)]
        seen.append((list(engine.log), waiting))
    return seen


def _agenda(engine: Any) -> list[Any]:
    listed: list[Any] = engine.agenda.activations
    return listed
