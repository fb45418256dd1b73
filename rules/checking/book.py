"""All checks of the book, in the order of their kinds."""

from __future__ import annotations

from dataclasses import dataclass

from rules.checking.ambiguity import AmbiguityGroup, ambiguity_groups
from rules.checking.answers import check_answers
from rules.checking.codes import check_codes
from rules.checking.configurations import configurations
from rules.checking.coverage import check_faults
from rules.checking.examples import check_examples
from rules.checking.findings import KINDS, Finding
from rules.checking.order import check_order
from rules.checking.overlap import check_overlap
from rules.checking.pointers import check_pointers, check_ruling_out
from rules.checking.reach import check_reach
from rules.checking.readability import check_reading, spoken_texts
from rules.checking.shapes import check_shapes
from rules.triage import Expert


@dataclass(frozen=True)
class Report:
    """What a check found. ``hardest_grade``: the school grade of the hardest text for callers."""

    findings: tuple[Finding, ...]
    groups: tuple[AmbiguityGroup, ...]
    hardest_grade: float


def check_book(expert: Expert) -> list[Finding]:
    """Every finding on a book, by kind and then in the book's order."""
    return list(report(expert).findings)


def report(expert: Expert) -> Report:
    """Check a book. Rules that cannot be chained are told alone: nothing else can be worked out from them."""
    book = expert.book
    rules = list(book.rules.values())
    findings = list(check_shapes(rules))
    hardest = max((spoken.grade for spoken in spoken_texts(book)), default=0.0)
    if findings:
        return Report(tuple(findings), (), hardest)
    made = configurations(expert)
    findings += check_pointers(book, made)
    findings += check_ruling_out(book, made)
    findings += check_codes(book)
    findings += check_faults(book, made)
    findings += check_examples(expert)
    findings += check_overlap(rules)
    findings += check_reach(book, made)
    findings += check_order(expert)
    findings += check_reading(book)
    findings += check_answers(book)
    kinds = list(KINDS)
    findings.sort(key=lambda finding: kinds.index(finding.kind))
    return Report(tuple(findings), tuple(ambiguity_groups(book, made)), hardest)
