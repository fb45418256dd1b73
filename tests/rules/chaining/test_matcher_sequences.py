"""The book's matcher against experta's own network and against CLIPS, on random rules, declarations and withdrawals.

Named exceptions, where experta's network is wrong and CLIPS agrees with this matcher: a fact that feeds a pattern and a
negation of one rule ends its network with a KeyError when it is withdrawn (those sequences are left out against it, and
not against CLIPS); two identical patterns without names always take the same fact (test_compiler).
"""

from __future__ import annotations

from typing import Any

import clips  # type: ignore[import-untyped]
from hypothesis import HealthCheck, given, reject, settings
from hypothesis import strategies as st

from rules.chaining.experta_import import ReteMatcher
from rules.chaining.matcher import BookMatcher
from tests.rules.chaining.ruleplay import SLOTS, RulePlan, engine_of, play, rule_plans, steps

RULES = st.lists(rule_plans(), min_size=1, max_size=4)
MOVES = st.lists(steps, min_size=1, max_size=10)
relaxed = settings(max_examples=300, deadline=None, suppress_health_check=list(HealthCheck))


@relaxed
@given(RULES, MOVES)
def test_it_agrees_with_expertas_network_on_every_firing_and_agenda(rules: list[RulePlan], moves: list[Any]) -> None:
    ours = play(engine_of(rules, BookMatcher), moves)
    try:
        theirs = play(engine_of(rules, ReteMatcher), moves)
    except KeyError:
        reject()
    assert ours == theirs


class ClipsPlay:
    """The same rules and moves in CLIPS; tells after each move which activations hold."""

    def __init__(self, rules: list[RulePlan]) -> None:
        self.environment = clips.Environment()
        for kind in ("first", "second"):
            self.environment.build(f"(deftemplate {kind} (slot id) {' '.join(f'(slot {s})' for s in SLOTS)})")
        for number, plan in enumerate(rules):
            parts = [self._pattern(p, f"i{at}") for at, p in enumerate(plan.positive)]
            parts += [f"(not {self._pattern(p, f'j{at}')})" for at, p in enumerate(plan.negative)]
            self.environment.build(f"(defrule rule{number:03d} {' '.join(parts)} => )")
        self.environment.reset()
        self.facts: dict[int, Any] = {}

    @staticmethod
    def _pattern(plan: Any, tag: str) -> str:
        written = []
        for at, (name, slot) in enumerate(zip(SLOTS, plan.slots, strict=True)):
            if slot.constant is not None:
                written.append(f"({name} {slot.constant})")
            elif slot.limit is not None:
                written.append(f"({name} ?{tag}s{at}&:(>= ?{tag}s{at} {slot.limit}))")
            elif slot.variable is not None:
                written.append(f"({name} ?{slot.variable})")
        return f"({('first', 'second')[plan.kind]} {' '.join(written)})"

    def holds(self) -> list[tuple[str, tuple[int, ...]]]:
        """Rule and the numbers of the facts of its patterns, in their order."""
        number = {fact.index: own for own, fact in self.facts.items()}
        found = []
        for activation in self.environment.activations():
            matched = str(activation).partition(":")[2].strip().split(",")
            found.append((activation.name, tuple(number[int(m.strip()[2:])] for m in matched if m.strip("* "))))
        return sorted(found)


@relaxed
@given(RULES, st.lists(steps.filter(lambda step: step[0] != "run"), min_size=1, max_size=10))
def test_it_agrees_with_clips_on_what_holds_after_every_move(rules: list[RulePlan], moves: list[Any]) -> None:
    """Rules whose patterns one fact may satisfy together are among these: here CLIPS is the judge."""
    engine, other = engine_of(rules, BookMatcher), ClipsPlay(rules)
    for move in moves:
        before = dict(engine.facts)
        play(engine, [move])
        for number in before.keys() - engine.facts.keys():
            other.facts.pop(number).retract()
        for number in sorted(engine.facts.keys() - before.keys()):
            fact = engine.facts[number]
            template = other.environment.find_template(type(fact).__name__.lower())
            other.facts[number] = template.assert_fact(id=number, **{slot: fact[slot] for slot in SLOTS})
        waiting = [
            (act.rule.__name__, tuple(f["__factid__"] for f in act.matched)) for act in engine.agenda.activations
        ]
        assert sorted(waiting) == other.holds()
