"""The chaining worked out plainly, without experta and without bands, as a second opinion.

Facts are derived by the alternating fixpoint: first what could follow if every absence held, then what must follow if
none of that were absent, and so on until both agree. That is the well-founded model; it needs no order of rules.
Written from the meaning of a premise, not from the code under test.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from rules.bookkeeping.types import Condition, Rule
from rules.chaining import ChainRecord, KnownFact

#: id of an observed fact, or (name, place, state, value) of a derived one
Ref = int | tuple[str, str, str, str]
#: (rule, place or None) -> the facts it rests on
Firings = dict[tuple[str, str | None], frozenset[Ref]]


class Item:
    """A fact to compare premises with."""

    def __init__(self, ref: Ref, name: str, place: str, state: str, value: str, number: float | None, by: str) -> None:
        self.ref, self.name, self.place, self.state = ref, name, place, state
        self.value, self.number, self.by = value, number, by


def _compares(premise: Condition, item: Item) -> bool:
    if premise.values:
        return item.value in premise.values
    if premise.not_values:
        return item.value not in premise.not_values
    if item.number is None:
        return False
    low = float("-inf") if premise.at_least is None else premise.at_least
    high = float("inf") if premise.below is None else premise.below
    return low <= item.number and (item.number < high or premise.below is None)


def _about(premise: Condition, item: Item, place: str | None) -> bool:
    wanted = premise.between or {"same": place, "any": None, "every_tried": None}.get(
        premise.where or "", premise.where
    )
    return item.name == premise.fact and wanted in (None, item.place) and premise.during in (None, item.state)


def _matching(premise: Condition, items: Iterable[Item], place: str | None) -> set[Ref]:
    return {
        item.ref
        for item in items
        if _about(premise, item, place) and premise.by in (None, item.by) and _compares(premise, item)
    }


def is_blocked(premise: Condition, present: Iterable[Item], place: str | None) -> bool:
    """Is some fact in the way of a negated or ``every_tried`` premise?"""
    if premise.negated:
        return bool(_matching(premise, present, place))
    return premise.where == "every_tried" and any(
        _about(premise, item, place) and not _compares(premise, item) for item in present
    )


def _holding(
    rules: Sequence[Rule], present: Sequence[Item], in_the_way: Sequence[Item]
) -> Iterator[tuple[Rule, str | None, set[Ref]]]:
    """Each rule with its place and supports, if absences are judged by ``in_the_way``."""
    for rule in rules:
        for premises in rule.alternatives:
            joined = any(premise.where == "same" for premise in premises)
            for place in sorted({item.place for item in present}) if joined else [None]:
                supports: set[Ref] = set()
                for premise in premises:
                    found = set() if premise.negated else _matching(premise, present, place)
                    if is_blocked(premise, in_the_way, place) or not (found or premise.negated):
                        break
                    supports |= found
                else:
                    yield rule, place or None, supports


def _follows(rules: Sequence[Rule], observed: Sequence[Item], in_the_way: Sequence[Item]) -> list[Item]:
    """Observed facts and all that can be derived while the absences are judged by ``in_the_way``."""
    items = {item.ref: item for item in observed}
    size = -1
    while size != len(items):
        size = len(items)
        for rule, place, _ in list(_holding(rules, list(items.values()), in_the_way)):
            for derived in rule.derive:
                at = (place if derived.where == "same" else derived.where) or ""
                ref = (derived.fact, at, "", derived.value)
                items.setdefault(ref, Item(ref, derived.fact, at, "", derived.value, None, "rule"))
    return list(items.values())


def plainly(rules: Sequence[Rule], facts: Sequence[KnownFact]) -> tuple[set[Ref], Firings]:
    """Derived facts and firings. Fails if a fact is neither certain nor impossible (a ring through a negation)."""
    observed = [Item(f.id, f.name, f.place, f.state, f.value, f.number, f.by) for f in facts]
    certain = observed
    while True:
        possible = _follows(rules, observed, certain)
        more = _follows(rules, observed, possible)
        if len(more) == len(certain):
            break
        certain = more
    assert {item.ref for item in certain} == {item.ref for item in possible}
    firings: Firings = {}
    for rule, place, supports in _holding(rules, certain, certain):
        firings[rule.rule, place] = firings.get((rule.rule, place), frozenset()) | supports
    return {item.ref for item in certain if isinstance(item.ref, tuple)}, firings


def as_refs(record: ChainRecord) -> tuple[set[Ref], Firings]:
    """A record in the terms of :func:`plainly`, so that the two can be compared."""
    names: dict[int, Ref] = {fact.id: (fact.name, fact.place, fact.state, fact.value) for fact in record.derived}
    firings = {
        (firing.rule, firing.where): frozenset(names.get(support, support) for support in firing.supports)
        for firing in record.firings
    }
    return set(names.values()), firings
