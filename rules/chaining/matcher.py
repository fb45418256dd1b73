"""experta's Rete network with three habits changed: nothing shared between engines, a full reset, fewer tests a fact.

* experta keeps the list of the network's end nodes in one cache entry for all engines, so two engines evict each
  other's, and the last engine is never freed. Here each matcher keeps its own.
* After a predicate raised, experta's reset leaves activations of the broken case behind. Here they are cleared too.
* experta tries a fact against every sibling constant test one after the other. Here constants of one slot are looked
  up in a table; each test still runs on what the table hands it, so the table can save work but not add a match.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Hashable, Iterator, Mapping, Sequence

from rules.chaining.experta_import import (
    Activation,
    AnyChild,
    ChildNode,
    ConflictSetNode,
    Fact,
    FeatureCheck,
    FeatureTesterNode,
    L,
    Node,
    NoMemory,
    OneInputNode,
    ReteMatcher,
    Token,
)


class ConstantSwitch(AnyChild, NoMemory, OneInputNode):
    """Stands before sibling tests of one slot against constants, and hands a fact only to those of its value."""

    def __init__(self, slot: str, children: Sequence[ChildNode]) -> None:
        super().__init__()
        self.slot = slot
        self.children = list(children)
        self._by_constant: dict[Hashable, list[ChildNode]] = defaultdict(list)
        for child in children:
            self._by_constant[_constant_test(child).expected.value].append(child)

    def activate(self, token: Token) -> None:
        """Pass the token on without a copy: each child makes its own."""
        (fact,) = token.data
        for child in self._by_constant.get(fact.get(self.slot), ()):
            child.callback(token)

    def _activate(self, token: Token) -> None:
        self.activate(token)


def _constant_test(child: ChildNode) -> FeatureCheck:
    check: FeatureCheck = child.node.matcher  # type: ignore[attr-defined]
    return check


def _slot_of_constant(child: ChildNode) -> str | None:
    """The slot that a child compares with a constant, or None if it tests something else."""
    if not isinstance(child.node, FeatureTesterNode):
        return None
    check = child.node.matcher
    if isinstance(check, FeatureCheck) and isinstance(check.expected, L) and isinstance(check.what, str):
        return check.what
    return None


def _with_switches(children: Sequence[ChildNode]) -> list[ChildNode]:
    """The same children, where two or more constants of one slot are gathered behind a switch."""
    by_slot: Mapping[str | None, list[ChildNode]] = defaultdict(list)
    for child in children:
        by_slot[_slot_of_constant(child)].append(child)
    gathered: list[ChildNode] = []
    for slot, siblings in by_slot.items():
        if slot is None or len(siblings) == 1:
            gathered.extend(siblings)
        else:
            switch = ConstantSwitch(slot, siblings)
            gathered.append(ChildNode(switch, switch.activate))
    return gathered


def _every_node(root: Node) -> Iterator[Node]:
    """Each node of the network once, although many paths lead to it."""
    seen: set[int] = set()
    waiting: list[Node] = [root]
    while waiting:
        node = waiting.pop()
        if id(node) not in seen:
            seen.add(id(node))
            yield node
            waiting.extend(child.node for child in reversed(node.children))


class BookMatcher(ReteMatcher):
    """The matcher of one engine. Finds what experta's finds; it is built once and reset for every case."""

    def build_network(self) -> None:
        """Build experta's network, then note its nodes and put the switches in."""
        super().build_network()
        self._nodes = tuple(_every_node(self.root_node))
        self._ends = tuple(node for node in self._nodes if isinstance(node, ConflictSetNode))
        for node in self._nodes:
            if node is self.root_node or isinstance(node, FeatureTesterNode):
                node.children = _with_switches(node.children)

    def changes(
        self, adding: list[Fact] | None = None, deleting: list[Fact] | None = None
    ) -> tuple[list[Activation], list[Activation]]:
        """Send facts through the network; return activations that arose and that ceased to hold."""
        for fact in deleting or ():
            self.root_node.remove(fact)
        for fact in adding or ():
            self.root_node.add(fact)
        added: list[Activation] = []
        removed: list[Activation] = []
        for end in self._ends:
            if end.added or end.removed:
                arisen, ceased = end.get_activations()
                added.extend(arisen)
                removed.extend(ceased)
        return added, removed

    def reset(self) -> None:
        """Forget every fact, and every activation that was not yet fetched."""
        for node in self._nodes:
            node._reset()
        for end in self._ends:
            end.added, end.removed = set(), set()
