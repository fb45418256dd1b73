"""A code on the display is the control's opinion: it may shift odds, point and derive, but never decide."""

from __future__ import annotations

from collections.abc import Iterator

from rules.bookkeeping.codes import FACT
from rules.bookkeeping.types import Book, Rule
from rules.checking.findings import Finding, at


def check_codes(book: Book) -> Iterator[Finding]:
    """Findings of kind ``code-decides``: rules that establish or rule out a fault on a code, told or derived from one.

    A derived fact counts as a code's as soon as one of the rules that derive it rests on a code.
    """
    tainted = _tainted(book)
    for rule in book.rules.values():
        used = sorted(_facts(rule) & tainted)
        decided = [act for act in ("establishes", "rules_out") if getattr(rule, act)]
        if used and decided:
            through = "" if FACT in used else f" (through {', '.join(used)})"
            message = (
                f"{' and '.join(decided)} rest on {FACT}{through}; a code only shifts odds: write shift or points_to, "
                "or decide by a measurement in a rule of its own"
            )
            yield Finding("code-decides", at(rule.file, rule.line), rule.rule, message)


def _facts(rule: Rule) -> set[str]:
    return {condition.fact for alternative in rule.alternatives for condition in alternative}


def _tainted(book: Book) -> set[str]:
    """The code's fact, and every fact that some rule derives from it."""
    found: set[str] = {FACT}
    while True:
        more = {d.fact for rule in book.rules.values() if _facts(rule) & found for d in rule.derive} - found
        if not more:
            return found
        found |= more
