"""The matcher of one engine: finds the activations that a change of facts makes and ends, starting from the change.

It stands behind experta's matcher interface in place of its Rete network, for the shapes of rules that
:mod:`rules.chaining.plans` reads. Every distinct test has one memory; a new fact is looked up by its constants, and
each rule that reads one of its memories is joined outward from that fact, through memories indexed by the variables.
Nothing is asked that the change did not touch, and a reset clears only what a case has filled.

Two identical patterns in one rule may be satisfied by two facts or by one, in every combination, as in CLIPS; experta's
own network gives both patterns the same fact.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from operator import itemgetter
from typing import Any

from rules.chaining.experta_import import Activation, Fact, KnowledgeEngine, Matcher, Rule
from rules.chaining.memories import Memory, Slot, Switch
from rules.chaining.plans import FactTest, Pattern, Plan, plan_of

Key = tuple[int, ...]  # the numbers of an activation's facts, pattern by pattern
_number = itemgetter("__factid__")


class Match(Activation):
    """An activation that knows its facts in the order of the rule's patterns. Compared by identity.

    ``key`` is its place in the firing order, as :func:`rules.chaining.strategy.firing_order` would work it out.
    """

    def __init__(self, rule: Rule, matched: tuple[Fact, ...], context: dict[str, Any], key: tuple[Any, ...]) -> None:
        self.rule = rule
        self.matched = matched
        self.context = context
        self.key = key

    @property
    def facts(self) -> set[Fact]:  # type: ignore[override]
        return set(self.matched)

    def __eq__(self, other: object) -> bool:
        return self is other

    def __hash__(self) -> int:
        return id(self)


@dataclass(frozen=True)
class _Step:
    """Joining one more pattern: variables known by then, to be equal, and those it binds."""

    position: int
    memory: Memory
    known: tuple[tuple[str, Slot], ...]
    fresh: tuple[tuple[str, Slot], ...]


@dataclass(frozen=True)
class _Absence:
    """A negation: no fact in the memory has the variables' values."""

    memory: Memory
    known: tuple[tuple[str, Slot], ...]

    def blocks(self, bound: dict[str, Any]) -> bool:
        if not self.known:
            return bool(self.memory.facts)
        (variable, slot), *others = self.known
        for fact in self.memory.by_value[slot].get(bound[variable], ()):
            if all(fact[other] == bound[name] for name, other in others):
                return True
        return False

    def blocked_by(self, fact: Fact, bound: dict[str, Any]) -> bool:
        return all(fact[slot] == bound[variable] for variable, slot in self.known)


class _Joiner:
    """One rule with its memories. ``live``: its activations that hold, fired or not."""

    def __init__(self, plan: Plan, memories: Sequence[Memory], absences: Sequence[Memory]) -> None:
        self.rule = plan.rule
        self.memories = tuple(memories)
        self.names = tuple(pattern.name for pattern in plan.positive)
        self.rank = (-plan.rule.salience, plan.rule.__name__)
        self.by_name = sorted((name, position) for position, name in enumerate(self.names) if name is not None)
        self.own = tuple(pattern.variables for pattern in plan.positive)
        self.steps = tuple(self._steps(seed, plan.positive) for seed in range(len(memories)))
        self.absences = tuple(
            _Absence(memory, pattern.variables) for memory, pattern in zip(absences, plan.negative, strict=True)
        )
        self.live: dict[Key, Match] = {}
        for steps in self.steps:
            for step in steps:
                for _, slot in step.known[:1]:
                    step.memory.index(slot)
        for absence in self.absences:
            for _, slot in absence.known[:1]:
                absence.memory.index(slot)

    def _steps(self, seed: int, patterns: Sequence[Pattern]) -> tuple[_Step, ...]:
        """The other patterns in the order of joining: those that share a variable with what is bound come first."""
        bound = {variable for variable, _ in patterns[seed].variables}
        left = [position for position in range(len(patterns)) if position != seed]
        steps = []
        while left:
            position = max(left, key=lambda p: (any(v in bound for v, _ in patterns[p].variables), -p))
            left.remove(position)
            known = tuple((v, slot) for v, slot in patterns[position].variables if v in bound)
            fresh = tuple((v, slot) for v, slot in patterns[position].variables if v not in bound)
            bound |= {variable for variable, _ in fresh}
            steps.append(_Step(position, self.memories[position], known, fresh))
        return tuple(steps)

    def seeded(self, seed: int, fact: Fact) -> Iterator[Match]:
        """New activations in which ``fact`` is the newest fact, and ``seed`` the first pattern that has it."""
        for memory in self.memories:
            if not memory.facts:
                return
        bound: dict[str, Any] = {}
        if not _bind(fact, self.own[seed], bound):
            return
        chosen: list[Fact] = [fact] * len(self.memories)
        yield from self._joined(seed, _number(fact), 0, chosen, bound)

    def _joined(self, seed: int, newest: int, depth: int, chosen: list[Fact], bound: dict[str, Any]) -> Iterator[Match]:
        steps = self.steps[seed]
        if depth == len(steps):
            key = tuple(map(_number, chosen))
            if key not in self.live and not any(absence.blocks(bound) for absence in self.absences):
                yield self._match(key, tuple(chosen), bound)
            return
        step = steps[depth]
        for fact in _candidates(step, bound):
            number = _number(fact)
            if number > newest or (number == newest and step.position < seed):
                continue
            if all(fact[slot] == bound[variable] for variable, slot in step.known[1:]):
                further = bound
                if step.fresh:
                    further = dict(bound)
                    if not _bind(fact, step.fresh, further):
                        continue
                chosen[step.position] = fact
                yield from self._joined(seed, newest, depth + 1, chosen, further)

    def _match(self, key: Key, matched: tuple[Fact, ...], bound: dict[str, Any]) -> Match:
        named = {name: fact for name, fact in zip(self.names, matched, strict=True) if name is not None}
        context: dict[str, Any] = {**bound, **named}
        order = (*self.rank, [(name, key[position]) for name, position in self.by_name], sorted(set(key)))
        match = Match(self.rule, matched, context, order)
        self.live[key] = match
        return match

    def ended_by(self, absence: _Absence, fact: Fact) -> list[Match]:
        """Activations that a new fact in a negation's memory ends."""
        ended = [key for key, match in self.live.items() if absence.blocked_by(fact, match.context)]
        return [self.live.pop(key) for key in ended]

    def ended_without(self, number: int) -> list[Match]:
        """Activations that rest on a fact that has been withdrawn."""
        ended = [key for key in self.live if number in key]
        return [self.live.pop(key) for key in ended]

    def again(self) -> Iterator[Match]:
        """Activations that hold and are not live: after a fact was withdrawn that blocked them."""
        for fact in list(self.memories[0].facts):
            bound: dict[str, Any] = {}
            if _bind(fact, self.own[0], bound):
                chosen = [fact] * len(self.memories)
                yield from self._joined(0, _NO_LIMIT, 0, chosen, bound)


_NO_LIMIT = 1 << 62  # more than any fact's number


def _bind(fact: Fact, variables: Sequence[tuple[str, Slot]], bound: dict[str, Any]) -> bool:
    """Bind variables to the fact's values; False if one is bound to another value already."""
    for variable, slot in variables:
        value = fact[slot]
        if bound.setdefault(variable, value) != value:
            return False
    return True


def _candidates(step: _Step, bound: dict[str, Any]) -> Sequence[Fact]:
    if not step.known:
        return step.memory.facts
    variable, slot = step.known[0]
    return step.memory.by_value[slot].get(bound[variable], ())


class BookMatcher(Matcher):
    """Built once for an engine and reset for every case. Raises TypeError for rules of another shape."""

    def __init__(self, engine: KnowledgeEngine) -> None:
        super().__init__(engine)
        self._by_test: dict[FactTest, Memory] = {}
        self._joiners = [self._joiner(plan_of(rule)) for rule in engine.get_rules()]
        entries: dict[type[Fact], list[tuple[Memory, dict[Slot, Any]]]] = {}
        for test, memory in self._by_test.items():
            entries.setdefault(test.kind, []).append((memory, dict(test.constants)))
        self._switches = {kind: Switch(listed) for kind, listed in entries.items()}
        self._filled: list[Memory] = []

    def _joiner(self, plan: Plan) -> _Joiner:
        memories = [self._memory(pattern.test) for pattern in plan.positive]
        absences = [self._memory(pattern.test) for pattern in plan.negative]
        joiner = _Joiner(plan, memories, absences)
        for position, memory in enumerate(memories):
            memory.readers.append((joiner, position))
        for absence in joiner.absences:
            absence.memory.blockers.append((joiner, absence))
        return joiner

    def _memory(self, test: FactTest) -> Memory:
        return self._by_test.setdefault(test, Memory(test))

    def changes(
        self, adding: Sequence[Fact] | None = None, deleting: Sequence[Fact] | None = None
    ) -> tuple[list[Activation], list[Activation]]:
        """Take withdrawn facts out and new ones in; return activations that arose and that ceased to hold."""
        removed: list[Activation] = []
        added: list[Activation] = []
        unblocked: dict[_Joiner, None] = {}
        for fact in deleting or ():
            self._withdraw(fact, removed, unblocked)
        arrived = [(fact, self._arrive(fact, removed)) for fact in adding or ()]
        # only now does what is live depend on nothing but the facts that are there
        for joiner in unblocked:
            added.extend(joiner.again())
        for fact, memories in arrived:
            for memory in memories:
                for joiner, position in memory.readers:
                    added.extend(joiner.seeded(position, fact))
        return added, removed

    def _memories_of(self, fact: Fact) -> list[Memory]:
        found: list[Memory] = []
        switch = self._switches.get(type(fact))
        if switch is not None:
            switch.find(fact, found)
        return found

    def _arrive(self, fact: Fact, removed: list[Activation]) -> list[Memory]:
        """Put a fact into its memories, end what it blocks, and return the memories."""
        found = self._memories_of(fact)
        for memory in found:
            if not memory.facts:
                self._filled.append(memory)
            memory.add(fact)
            for joiner, absence in memory.blockers:
                if joiner.live:
                    removed.extend(joiner.ended_by(absence, fact))
        return found

    def _withdraw(self, fact: Fact, removed: list[Activation], unblocked: dict[_Joiner, None]) -> None:
        for memory in self._memories_of(fact):
            memory.remove(fact)
            for joiner, _ in memory.readers:
                removed.extend(joiner.ended_without(_number(fact)))
            unblocked.update((joiner, None) for joiner, _ in memory.blockers)

    def reset(self) -> None:
        """Forget every fact and every activation."""
        for memory in self._filled:
            memory.clear()
            for joiner, _ in memory.readers:
                joiner.live.clear()
        self._filled.clear()
