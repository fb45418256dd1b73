"""Rules that the engine cannot chain, or whose absences do not settle: the chaining's own checks, as findings."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from rules.bookkeeping.types import Rule
from rules.chaining.premises import problems_of
from rules.chaining.strata import strata
from rules.checking.findings import Finding, at
from rules.terms import BookError


def check_shapes(rules: Sequence[Rule]) -> Iterator[Finding]:
    """Findings of kind ``unsafe-shape`` and ``negation-not-stratified``."""
    for rule in rules:
        for problem in problems_of(rule):
            yield Finding("unsafe-shape", at(rule.file, rule.line), rule.rule, _message(problem))
    try:
        strata(rules)
    except BookError as error:
        for problem in error.problems:
            place = ":".join(problem.split(":")[:2])
            subject = next((rule.rule for rule in rules if at(rule.file, rule.line) == place), place)
            yield Finding("negation-not-stratified", place, subject, _message(problem))


def _message(problem: str) -> str:
    """The problem without its ``file:line: ``, which the finding carries already."""
    return problem.split(": ", 1)[1]
