"""Broken copies of the shipped book: one rule, fault, test or term changed, everything else as it is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from rules import Expert
from rules.bookkeeping.types import Book, Condition, Rule
from rules.chaining import Chainer
from rules.checking import Finding


def opened(expert: Expert, book: Book, *, chained: bool = True) -> Expert:
    """The expert on another book; ``chained=False`` keeps the old chainer, for rules that cannot be chained."""
    chainer = Chainer(list(book.rules.values())) if chained else expert.chainer
    simulated = dict(expert._tables) if book.faults is expert.book.faults else {}
    return Expert(book, expert.lexicon, chainer, simulated)


def with_rules(expert: Expert, *rules: Rule, chained: bool = True) -> Expert:
    """The book with some rules put in, or put in place of those of the same id."""
    changed = dict(expert.book.rules) | {rule.rule: rule for rule in rules}
    return opened(expert, replace(expert.book, rules=changed), chained=chained)


def changed_rule(expert: Expert, name: str, **fields: Any) -> Expert:
    return with_rules(expert, replace(expert.book.rules[name], **fields))


def made(name: str, *alternatives: Sequence[Condition], **fields: Any) -> Rule:
    """A rule written for a test; its examples are left to the caller."""
    return Rule(
        name, tuple(map(tuple, alternatives)), "Invented.", "invented", file="trade/test.yaml", line=7, **fields
    )


def only(findings: list[Finding], kind: str) -> list[Finding]:
    return [finding for finding in findings if finding.kind == kind]
