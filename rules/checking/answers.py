"""Can a yes and a no be taken down? Questions that ask for them, and facts that say what they stand for."""

from __future__ import annotations

import re
from collections.abc import Iterator

from rules.bookkeeping.types import Book, FactTerm
from rules.checking.findings import Finding, at

_QUESTION = re.compile(r"[^.?!]*\?")
_VERB = r"(?:does|do|did|is|are|was|were|has|have|had|can|could|will|any)"
_YES_OR_NO = re.compile(rf"(?:^|[,:]\s)\s*{_VERB}\b", re.IGNORECASE)
_CHOICE = re.compile(r",\s(?:or|and\swhich)\b|\bwhich\b|\bwhat\b|\bhow\b", re.IGNORECASE)


def asks_yes_or_no(ask: str) -> bool:
    """Whether a question is answered by yes or no: it opens with its verb and offers no choice after a comma."""
    return any(
        _YES_OR_NO.search(found.group().strip()) and not _CHOICE.search(found.group())
        for found in _QUESTION.finditer(ask)
    )


def check_answers(book: Book) -> Iterator[Finding]:
    """Findings of kind ``answer-without-value``."""
    for card in book.tests.values():
        term = book.facts[card.reads]
        if asks_yes_or_no(card.ask) and not _answerable(term):
            message = f"asks {card.ask!r}; say in {term.fact} what yes and no stand for (yes: VALUE, no: VALUE)"
            yield Finding("answer-without-value", at(term.file, term.line), f"test {card.test}", message)


def _answerable(term: FactTerm) -> bool:
    """Whether a bare answer has a value: yes or no, or words for two values at least where the question names them."""
    return term.kind == "number" or term.yes is not None or term.no is not None or len(term.answers) > 1
