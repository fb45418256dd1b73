"""Call notes to facts of the closed vocabulary: deterministic, explainable, from the words in ``rules/book/words``.

The way of a note: :mod:`normalise` cuts tokens without moving an offset, :mod:`tagging` finds the lexicon's
phrases, :mod:`readings` the figures, :mod:`clauses` the stretches that say one thing, :mod:`claims` which state is
said of which thing, :mod:`scope` conditions, doubt and former times, :mod:`meaning` the facts, :mod:`alarms`
dangers that no phrase told, :mod:`merging` the note as a whole.

Facts read from text are soft evidence: read them back to the caller before they are believed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from rules.notes.entries import Lexicon
from rules.notes.lexicon import compile_lexicon
from rules.notes.reading import NoteReader
from rules.terms import Fact, Role, Source

__all__ = ["Lexicon", "NoteReading", "compile_lexicon", "read_note"]


@dataclass(frozen=True)
class NoteReading:
    """The facts of a note, in the order they were written, and the clauses nobody could read, as they were written."""

    facts: tuple[Fact, ...]
    unread: tuple[str, ...]


def read_note(text: str, lexicon: Lexicon, positions: Sequence[str], role: Role = "desk") -> NoteReading:
    """Read a note.

    ``positions`` are the appliance's surface units (empty: not known); a place that it does not have is ``unnamed``.
    A fact's ``span`` is the half-open range of characters of ``text`` it was read from, ``text`` those characters.
    Facts that contradict each other are both given. Never raises on any text.
    """
    reader = NoteReader(text, lexicon, positions)
    source: Source = "technician" if role == "technician" else "note"
    facts = tuple(
        Fact(
            told.fact,
            told.value,
            where=told.where,
            between=told.between,
            during=told.during,
            source=source,
            certainty=told.certainty,
            span=(told.start, told.end),
            text=text[told.start : told.end],
        )
        for told in reader.told
    )
    unread = tuple(text[start:end].strip() for start, end in reader.unread)
    return NoteReading(facts, unread)
