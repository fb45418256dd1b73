"""Mends misspelled words of the lexicon, and leaves every other word alone.

A word of four letters is mended only if two neighbouring letters changed places; longer words may have one wrong,
missing or extra letter, words of eleven letters or more two. The first letter must be right. Words close to ours
that are spelled right (``hearing``) are listed in the book as ``ordinary``.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from functools import lru_cache

from rapidfuzz.distance import OSA

from rules.notes.entries import Lexicon

SHORTEST_SWAPPED = 4
SHORTEST_MENDED = 5
SHORTEST_TWO_WRONG = 11
_DRAWN_OUT = re.compile(r"(.)\1\1+")  # "smooooke"
MOST_REMEMBERED = 50_000  # words whose mending is kept; some 10 MB
MOST_LOOK_UPS = 3000  # unknown words of one note that are looked at; a guard for very long notes


class _Shelf:
    """A lexicon's words by first letter and length, and by their letters in order."""

    def __init__(self, words: Iterable[str], right: frozenset[str], typos: frozenset[str]) -> None:
        self.right = right  # spelled right: never mended
        self.kept = right - typos
        self.mended: dict[str, str] = {}  # of all notes; what a word is read as
        self.by_letters: dict[tuple[str, str], str] = {}
        self.by_length: dict[tuple[str, int], list[str]] = {}
        for word in sorted(words):
            if word.isalpha() and len(word) >= SHORTEST_SWAPPED:
                self.by_letters.setdefault((word[0], "".join(sorted(word))), word)
                self.by_length.setdefault((word[0], len(word)), []).append(word)


@lru_cache(maxsize=4)
def _shelf(lexicon: Lexicon) -> _Shelf:
    right = frozenset(lexicon.index.words) | lexicon.ordinary | frozenset(lexicon.alarms.words)
    return _Shelf(lexicon.index.telling | lexicon.alarms.heads, right, frozenset(lexicon.typos))


class Speller:
    """Mends the words of one note. Look-ups are remembered."""

    def __init__(self, lexicon: Lexicon) -> None:
        self._lexicon = lexicon
        self._shelf = _shelf(lexicon)
        self._right = self._shelf.right
        self._kept = self._shelf.kept
        self.mended = self._shelf.mended  # of the words that were met so far
        self._looked_up = 0

    def mend(self, word: str) -> str:
        """The lexicon's word that ``word`` was meant to be, or ``word`` itself."""
        mended = self.mended.get(word)
        if mended is None:
            mended = word if word in self._kept else self._lexicon.typos.get(word)
            if mended is None and (word in self._right or len(word) < SHORTEST_SWAPPED or not word.isalpha()):
                mended = word
            elif mended is None:
                if self._looked_up >= MOST_LOOK_UPS:
                    return word
                self._looked_up += 1
                mended = self._closest(word)
            if len(self.mended) < MOST_REMEMBERED:
                self.mended[word] = mended
        return mended

    def _closest(self, word: str) -> str:
        drawn = _DRAWN_OUT.search(word) and next(
            (short for short in (_DRAWN_OUT.sub(r"\1\1", word), _DRAWN_OUT.sub(r"\1", word)) if short in self._right),
            "",
        )
        return drawn or self._nearest(word)

    def _nearest(self, word: str) -> str:
        swapped = self._shelf.by_letters.get((word[0], "".join(sorted(word))))
        if swapped and OSA.distance(word, swapped, score_cutoff=1) <= 1:
            return swapped
        best, least = word, 99
        for length in range(len(word) - 2, len(word) + 3):
            allowed = 2 if length >= SHORTEST_TWO_WRONG else 1
            if length < SHORTEST_MENDED or abs(length - len(word)) > allowed:
                continue
            for known in self._shelf.by_length.get((word[0], length), ()):
                distance = OSA.distance(word, known, score_cutoff=allowed)
                nearer = distance < least or (distance == least and length > len(best))  # a letter is sooner left out
                if distance <= allowed and nearer and not _only_inflected(word, known):
                    best, least = known, distance
        return best


def _only_inflected(word: str, known: str) -> bool:
    """An ending is no slip of the pen: ``cooler`` is not ``cooled``."""
    stem = min(len(word), len(known)) - 2
    return word[:stem] == known[:stem] and word[-1] != known[-1] and {word[-1], known[-1]} & set("rdyg") != set()
