"""Cuts a message into pieces: words by which it takes part in the conversation, and all others."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from rules.notes import Lexicon
from rules.notes.normalise import Token, tokens

_COMMAS = (",", ":", "-", "(", ")")
_BREAKING = ("but", "however", "though", "although")
_NOTHING: frozenset[str] = frozenset()


class Piece(NamedTuple):
    """A stretch of the message. ``kind`` is one of ``TURNS``, or word, number, comma, stop, mark."""

    kind: str
    word: str
    start: int
    end: int
    length: int = 1  # words


def cut(plain: str, lexicon: Lexicon) -> list[Piece]:
    """The pieces of normalised text; the longest phrase is taken."""
    kept = [token for token in tokens(plain) if not _joins(plain, token)]
    words = [token.word for token in kept]
    pieces, at = [], 0
    while at < len(kept):
        token = kept[at]
        found = None
        if token.kind in ("word", "number"):
            found = lexicon.turns.longest(words, at, _NOTHING, frozenset(words))
        end = found[0] if found else at + 1
        kind = found[1].kind if found else _kind(token.kind, token.word)
        pieces.append(Piece(kind, " ".join(words[at:end]), token.start, kept[end - 1].end, end - at))
        at = end
    return pieces


def _joins(plain: str, token: Token) -> bool:
    """A stroke inside a word: self-clean, on/off."""
    inside = token.start > 0 and token.end < len(plain)
    return token.word in ("-", "/") and inside and plain[token.start - 1].isalpha() and plain[token.end].isalpha()


def _kind(kind: str, word: str) -> str:
    return "comma" if kind == "mark" and word in _COMMAS else kind


def sentences(pieces: Sequence[Piece]) -> list[list[Piece]]:
    """The pieces from stop to stop, each with its stop."""
    found: list[list[Piece]] = [[]]
    for piece in pieces:
        found[-1].append(piece)
        if piece.kind == "stop":
            found.append([])
    return [sentence for sentence in found if sentence]


def first_clause(pieces: Sequence[Piece]) -> list[Piece]:
    """The pieces before the first comma, stop or turn of the sentence."""
    clause: list[Piece] = []
    for piece in pieces:
        ends = piece.kind in ("comma", "stop") or piece.word in _BREAKING
        if ends and clause:
            break
        if not ends:
            clause.append(piece)
    return clause


def blanked(text: str, pieces: Sequence[Piece]) -> str:
    """The text with some pieces made blank, so that every offset stays what it was."""
    kept = list(text)
    for piece in pieces:
        kept[piece.start : piece.end] = " " * (piece.end - piece.start)
    return "".join(kept)
