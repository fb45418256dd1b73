"""The outcome in words, for the summary that goes into the ticket."""

from __future__ import annotations

import re
from collections.abc import Iterator

from rules.bookkeeping.types import Book
from rules.talking.summing_up import Form
from rules.wording import place_words
from service.cases.folding import Outcome

_ACTS_IN_MARKDOWN = re.compile(r"([\\`*_{}\[\]()<>#+\-.!|~&])")


def outcome_words(outcome: Outcome, book: Book, form: Form) -> str:
    """One line for each thing known; what a person wrote is quoted so that Markdown does not act on it."""
    lines = list(_lines(outcome, book, form))
    if form == "markdown":
        return "\n".join(["## Outcome", "", *(f"- {line}" for line in lines)]) + "\n"
    return "\n".join(["OUTCOME", *(f"  {line}" for line in lines)]) + "\n"


def _lines(outcome: Outcome, book: Book, form: Form) -> Iterator[str]:
    if outcome.fault is not None:
        fault = book.faults.get(outcome.fault)
        title = fault.title if fault is not None else outcome.fault
        yield f"It was: {title}" + (f", {place_words(outcome.where)}" if outcome.where else "")
    if outcome.found is not None:
        words = " ".join(outcome.found.split())
        yield "Found: " + (_ACTS_IN_MARKDOWN.sub(r"\\\1", words) if form == "markdown" else words)
    if outcome.parts:
        yield "Parts: " + ", ".join(book.parts[part].title if part in book.parts else part for part in outcome.parts)
    yield "Fixed" if outcome.fixed else "Not fixed"
    if outcome.minutes is not None:
        yield f"Minutes: {outcome.minutes:g}"
    if outcome.call_back:
        yield "A call-back: the customer had to call again"
