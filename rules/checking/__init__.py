"""Checks the book against the circuit model: pointers, coverage, examples, overlap, reach, order, reading grade."""

from __future__ import annotations

from rules.checking.ambiguity import AmbiguityGroup
from rules.checking.book import Report, check_book, report
from rules.checking.examples import Ran, run_examples, uncovered
from rules.checking.findings import ACCEPTED, KINDS, Finding, failing
from rules.checking.portrait import Portrait, Separating, Sight, portrait
from rules.checking.sentence import rule_sentence
from rules.checking.shapes import check_shapes

__all__ = [
    "ACCEPTED",
    "KINDS",
    "AmbiguityGroup",
    "Finding",
    "Portrait",
    "Ran",
    "Report",
    "Separating",
    "Sight",
    "check_book",
    "check_shapes",
    "failing",
    "portrait",
    "report",
    "rule_sentence",
    "run_examples",
    "uncovered",
]
