"""The shipped book's lexicon, compiled once."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import cache
from pathlib import Path

import pytest

from rules import Expert, open_book
from rules.bookkeeping.loading import load_book
from rules.bookkeeping.types import FactTerm
from rules.notes import Lexicon, NoteReading, compile_lexicon, read_note
from rules.terms import Role

POSITIONS = ("left_front", "right_front", "left_rear", "right_rear")
PHRASES = Path(__file__).parent / "phrases"


@pytest.fixture(scope="session")
def expert() -> Expert:
    """The whole shipped expert, opened once: opening it takes seconds."""
    return open_book()


@pytest.fixture(scope="session")
def vocabulary() -> Mapping[str, FactTerm]:
    return load_book().facts


@pytest.fixture(scope="session")
def lexicon() -> Lexicon:
    book = load_book()
    return compile_lexicon(book.words, book.facts)


@pytest.fixture(scope="session")
def read(lexicon: Lexicon) -> Callable[..., NoteReading]:
    @cache
    def reader(note: str, positions: tuple[str, ...] = POSITIONS, role: Role = "desk") -> NoteReading:
        return read_note(note, lexicon, positions, role)

    return reader


@pytest.fixture(scope="session")
def said(read: Callable[..., NoteReading]) -> Callable[[str], dict[str, object]]:
    """A note as ``{key: value}``; a key that was read with two values fails."""

    def reader(note: str) -> dict[str, object]:
        facts = read(note).facts
        found: dict[str, object] = {fact.key: fact.value for fact in facts}
        assert len(found) == len(facts), f"read twice: {facts}"
        return found

    return reader
