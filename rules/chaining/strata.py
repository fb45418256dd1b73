"""The bands in which rules fire, so that a rule waiting for an absence fires only when nothing can end the absence.

A rule that negates a fact (or says ``every_tried``, which is a hidden negation) stands in a later band than every rule
that derives a fact of that name; a rule that reads a derived fact stands in the same band or a later one. The facts
that follow are then the same whatever the order of rules and facts: the perfect model of the stratified rules.
"""

from __future__ import annotations

from collections import defaultdict, deque
from collections.abc import Mapping, Sequence

from rules.bookkeeping.types import Condition, Rule
from rules.chaining.premises import EVERY_TRIED
from rules.terms import BookError


def waits_for_absence(condition: Condition) -> bool:
    """Can a further fact of this name make the premise fail?"""
    return condition.negated or condition.where == EVERY_TRIED


def strata(rules: Sequence[Rule]) -> dict[str, int]:
    """Rule id to band; band 0 fires first. Raises BookError naming the rules that wait for each other in a ring."""
    read, waited_for = _sources(rules, waits=False), _sources(rules, waits=True)
    problems = _rings(rules, read, waited_for)
    if problems:
        raise BookError(problems)
    band = {rule.rule: 0 for rule in rules}
    settled = False
    while not settled:  # ends: without a ring through an absence no band can pass the number of rules
        settled = True
        for rule in rules:
            least = max(
                [band[source] for source in read[rule.rule]] + [band[source] + 1 for source in waited_for[rule.rule]],
                default=0,
            )
            if least > band[rule.rule]:
                band[rule.rule], settled = least, False
    return band


def _sources(rules: Sequence[Rule], *, waits: bool) -> dict[str, list[str]]:
    """For each rule, the rules deriving a fact it reads; with ``waits``, only through premises that an arrival ends."""
    derive: dict[str, list[str]] = defaultdict(list)
    for rule in rules:
        for name in dict.fromkeys(derived.fact for derived in rule.derive):
            derive[name].append(rule.rule)
    return {
        rule.rule: list(
            dict.fromkeys(
                source
                for premises in rule.alternatives
                for premise in premises
                if waits_for_absence(premise) or not waits
                for source in derive[premise.fact]
            )
        )
        for rule in rules
    }


def _rings(
    rules: Sequence[Rule], read: Mapping[str, Sequence[str]], waited_for: Mapping[str, Sequence[str]]
) -> list[str]:
    """One message for every set of rules in which one waits for an absence that it helps to end."""
    by_id = {rule.rule: rule for rule in rules}
    seen: set[frozenset[str]] = set()
    problems = []
    for rule in rules:
        for source in waited_for[rule.rule]:
            way = _way(read, source, rule.rule)
            if way is None or frozenset(way) in seen:
                continue
            seen.add(frozenset(way))
            at = f"{rule.file or '(book)'}:{rule.line}"
            names = " <- ".join(f"{name} ({by_id[name].file or '(book)'}:{by_id[name].line})" for name in way)
            problems.append(
                f"{at}: when: rule {rule.rule!r} waits for the absence of a fact that rule {source!r} concludes, and "
                f"{source!r} rests on {rule.rule!r}: {names}; take the negation, or every_tried, out of one of them"
            )
    return problems


def _way(read: Mapping[str, Sequence[str]], start: str, goal: str) -> list[str] | None:
    """The shortest chain of rules from ``start`` back to ``goal``, each reading what the next one derives."""
    came_from: dict[str, str | None] = {start: None}
    waiting = deque([start])
    while waiting:
        here = waiting.popleft()
        if here == goal:
            chain: list[str] = []
            step: str | None = here
            while step is not None:
                chain.append(step)
                step = came_from[step]
            return chain[::-1]
        for source in read[here]:
            if source not in came_from:
                came_from[source] = here
                waiting.append(source)
    return None
