"""What the matcher remembers of facts: one memory for each distinct test, found by constants, indexed by variables."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Hashable, Iterable, Sequence
from typing import Any

from rules.chaining.experta_import import Fact
from rules.chaining.plans import FactTest

Slot = str | int
_ABSENT = object()


class Memory:
    """The facts that pass one test, in the order in which they came; by value for the slots that variables join on.

    ``readers`` and ``blockers`` are what a new fact here may satisfy or end; the matcher fills them.
    """

    __slots__ = ("blockers", "by_value", "facts", "plain", "present", "readers", "tests")

    def __init__(self, test: FactTest) -> None:
        self.tests: tuple[tuple[Slot, Callable[[Any], Any]], ...] = test.predicates
        self.present = test.present
        self.plain = not (test.predicates or test.present)
        self.facts: list[Fact] = []
        self.by_value: dict[Slot, defaultdict[Hashable, list[Fact]]] = {}
        self.readers: list[Any] = []
        self.blockers: list[Any] = []

    def index(self, slot: Slot) -> None:
        """From now on find facts by their value in this slot."""
        self.by_value.setdefault(slot, defaultdict(list))

    def takes(self, fact: Fact) -> bool:
        """Whether a fact that has the constants passes the rest of the test."""
        for slot in self.present:
            if value_of(fact, slot) is _ABSENT:
                return False
        for slot, test in self.tests:
            value = value_of(fact, slot)
            if value is _ABSENT or not test(value):
                return False
        return True

    def add(self, fact: Fact) -> None:
        self.facts.append(fact)
        for slot, table in self.by_value.items():
            table[fact[slot]].append(fact)

    def remove(self, fact: Fact) -> None:
        self.facts.remove(fact)
        for slot, table in self.by_value.items():
            table[fact[slot]].remove(fact)

    def clear(self) -> None:
        self.facts.clear()
        for table in self.by_value.values():
            table.clear()


def value_of(fact: Fact, slot: Slot) -> Any:
    """A slot's value, with the class's default, or a mark that nothing else equals."""
    try:
        return fact[slot]
    except KeyError:
        return _ABSENT


class Switch:
    """Finds the memories whose constants a fact has: one look-up for each slot that any of them compares.

    ``here`` have no constants left to compare; ``table`` goes on by the value of ``slot``, ``rest`` with those that do
    not compare it.
    """

    __slots__ = ("here", "rest", "slot", "table")

    def __init__(self, entries: Iterable[tuple[Memory, dict[Slot, Hashable]]]) -> None:
        listed = list(entries)
        self.here: Sequence[Memory] = [memory for memory, left in listed if not left]
        waiting = [(memory, left) for memory, left in listed if left]
        self.slot: Slot | None = None
        self.table: dict[Hashable, Switch] = {}
        self.rest: Switch | None = None
        if waiting:
            # the slot most of them compare; of several the first seen
            self.slot = Counter(slot for _, left in waiting for slot in left).most_common(1)[0][0]
            self._divide(self.slot, waiting)

    def _divide(self, slot: Slot, waiting: list[tuple[Memory, dict[Slot, Hashable]]]) -> None:
        groups: dict[Hashable, list[tuple[Memory, dict[Slot, Hashable]]]] = defaultdict(list)
        others = []
        for memory, left in waiting:
            if slot in left:
                groups[left[slot]].append((memory, {s: v for s, v in left.items() if s != slot}))
            else:
                others.append((memory, left))
        self.table = {value: Switch(group) for value, group in groups.items()}
        self.rest = Switch(others) if others else None

    def find(self, fact: Fact, found: list[Memory]) -> None:
        """Append the memories that take the fact."""
        node: Switch | None = self
        while node is not None:
            found += [memory for memory in node.here if memory.plain or memory.takes(fact)]
            if node.slot is not None:
                chosen = node.table.get(value_of(fact, node.slot))
                if chosen is not None:
                    chosen.find(fact, found)
            node = node.rest
