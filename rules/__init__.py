"""Coldleg's expert: facts about an electric range in; stop, conclusions, next tests and visit out.

The front door is small: :func:`open_book` once, then :func:`triage` for each :class:`Enquiry`. This package knows
nothing of HTTP, storage or the command line.
"""

from __future__ import annotations

from pathlib import Path

from rules.bookkeeping.loading import load_appliance, load_book
from rules.chaining import Chainer
from rules.dayplan import DayPlan, plan_day
from rules.expecting import expected_readings
from rules.notes.lexicon import compile_lexicon
from rules.proving import prove
from rules.recalling import Answers
from rules.terms import BookError, Fact, InputError, Problem
from rules.triage import EXPLAINS, Enquiry, Expert, triage

__all__ = [
    "EXPLAINS",
    "Answers",
    "BookError",
    "DayPlan",
    "Enquiry",
    "Expert",
    "Fact",
    "InputError",
    "Problem",
    "expected_readings",
    "load_appliance",
    "open_book",
    "plan_day",
    "triage",
]


def open_book(folder: Path | None = None) -> Expert:
    """Load the book, check it against the circuit model, compile its rules and its lexicon.

    Raises BookError with one line for each problem: file, line, field, what to write instead.
    """
    book = load_book(folder)
    problems = prove(book)
    if problems:
        raise BookError(problems)
    return Expert(book, compile_lexicon(book.words, book.facts), Chainer(list(book.rules.values())))
