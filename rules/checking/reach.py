"""Rules that can never fire: a value nobody derives, a value no machine shows, premises that exclude each other."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from rules.bookkeeping.types import Book, Condition, Rule
from rules.chaining.premises import written
from rules.checking.configurations import Looks
from rules.checking.conjunctions import can_hold_together, satisfied, unfold
from rules.checking.findings import Finding, at


def check_reach(book: Book, configurations: Sequence[Looks]) -> Iterator[Finding]:
    """Findings of kind ``unreachable-rule``, one for each premise or alternative that keeps a rule from firing."""
    for rule in book.rules.values():
        wrong = dict.fromkeys(
            message for alternative in rule.alternatives for message in _wrong(alternative, rule, book, configurations)
        )
        for message in wrong:
            yield Finding("unreachable-rule", at(rule.file, rule.line), rule.rule, message)


def _wrong(alternative: Sequence[Condition], rule: Rule, book: Book, configurations: Sequence[Looks]) -> list[str]:
    asked = [condition for condition in alternative if not condition.negated]
    # a stop hears whatever is told, also what no fault of the book would show
    told = configurations if not (rule.stop or rule.forbid) else ()
    found = [message for condition in asked for message in _never(condition, book, told)]
    if found:
        return found
    ways = unfold(alternative, book)
    if not any(can_hold_together(way, looks) for looks in configurations for way in ways):
        premises = "; ".join(written(condition) for condition in asked)
        return [f"its premises exclude each other on every appliance ({premises}); take one out or split the rule"]
    return []


def _never(condition: Condition, book: Book, configurations: Sequence[Looks]) -> Iterator[str]:
    """Why one premise alone is never met. What a caller may say of a thing outside the circuit always can be."""
    ways = unfold([condition], book)
    if not ways:
        yield f"{written(condition)!r}: no rule derives this value; write one that does, or take the premise out"
    elif configurations and book.facts[condition.fact].model == "circuit":
        shown = (satisfied(way, looks) for looks in configurations for way in ways)
        if not any(rows.any() for found in shown for rows in found.values()):
            yield (
                f"{written(condition)!r}: neither a sound machine nor any fault shows this value on any appliance; "
                "write one that occurs"
            )
