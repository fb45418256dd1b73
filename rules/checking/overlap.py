"""Rules that say what another rule says already."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import combinations

from rules.bookkeeping.types import Condition, Rule
from rules.chaining.premises import ANY, EVERY_TRIED, SAME
from rules.checking.findings import Finding, at
from rules.terms import ALL


def check_overlap(rules: Sequence[Rule]) -> Iterator[Finding]:
    """Findings of kind ``duplicate-rule`` and ``subsumed-rule``: the same acts under the same or narrower premises."""
    for first, second in combinations(rules, 2):
        if _acts(first) != _acts(second):
            continue
        forward, backward = _covers(first, second), _covers(second, first)
        if forward and backward:
            message = f"says what {first.rule} ({at(first.file, first.line)}) says; take one of the two out"
            yield Finding("duplicate-rule", at(second.file, second.line), second.rule, message)
        elif forward or backward:
            wide, narrow = (first, second) if forward else (second, first)
            message = (
                f"{wide.rule} ({at(wide.file, wide.line)}) does the same with fewer or wider premises, so this rule "
                "adds nothing; take it out, or give it an act of its own"
            )
            yield Finding("subsumed-rule", at(narrow.file, narrow.line), narrow.rule, message)


def _acts(rule: Rule) -> tuple[object, ...]:
    """All that a firing of the rule does, whatever the order it was written in."""
    named = (rule.derive, rule.points_to, rule.establishes, rule.rules_out, rule.allow, rule.forbid, rule.ask)
    shifts = frozenset((fault, shift.factor) for shift in rule.shift for fault in shift.faults)
    return (*map(frozenset, named), shifts, rule.stop, rule.visit, _joins(rule) and not rule.stop)


def _joins(rule: Rule) -> bool:
    """Whether what the rule does is said of one unit."""
    return any(p.where == SAME for premises in rule.alternatives for p in premises)


def _covers(wide: Rule, narrow: Rule) -> bool:
    """Whether the wide rule fires whenever the narrow one does."""
    return all(any(_follows(w, n) for w in wide.alternatives) for n in narrow.alternatives)


def _follows(wide: Sequence[Condition], narrow: Sequence[Condition]) -> bool:
    """Whether each wide premise is met once all narrow ones are."""
    return all(any(implies(n, w) for n in narrow) for w in wide)


def implies(narrow: Condition, wide: Condition) -> bool:
    """Whether the wide premise holds wherever the narrow one does, at the same unit if both say ``same``."""
    if narrow.negated != wide.negated or narrow.fact != wide.fact:
        return False
    if narrow.negated:  # the absence of more is the narrower premise
        narrow, wide = wide, narrow
    return _place_within(narrow, wide) and _narrower(narrow, wide) and _compares_within(narrow, wide)


def _place_within(narrow: Condition, wide: Condition) -> bool:
    loose = (None, ANY)
    if narrow.where == wide.where or (narrow.where in loose and wide.where in loose):
        return True
    if wide.where in loose:
        return narrow.where != ALL  # a statement about all is kept as a fact of its own, beside those of the units
    return False


def _narrower(narrow: Condition, wide: Condition) -> bool:
    """Meter points, state and source: as the wide one asks, or it does not ask."""
    if EVERY_TRIED in (narrow.where, wide.where) and narrow.by != wide.by:
        return False
    return all(getattr(wide, slot) in (None, getattr(narrow, slot)) for slot in ("between", "during", "by"))


def _compares_within(narrow: Condition, wide: Condition) -> bool:
    if narrow.values and wide.values:
        return set(narrow.values) <= set(wide.values)
    if narrow.not_values and wide.not_values:
        return set(narrow.not_values) >= set(wide.not_values)
    if narrow.values and wide.not_values:
        return not set(narrow.values) & set(wide.not_values)
    if narrow.values or narrow.not_values or wide.values or wide.not_values:
        return False
    inf = float("inf")
    low = (-inf if wide.at_least is None else wide.at_least) <= (-inf if narrow.at_least is None else narrow.at_least)
    return low and (inf if wide.below is None else wide.below) >= (inf if narrow.below is None else narrow.below)
