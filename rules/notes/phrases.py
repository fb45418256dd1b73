"""The little grammar in which the book's words are written, and the look-up that finds them in a note.

``left/l front (burner)`` stands for ``left front``, ``l front burner`` and so on: ``a/b`` is either word, ``(a b)`` may
be left out, ``..`` skips up to four words, but no mark, no negation and no thing.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import product
from math import prod
from operator import itemgetter

from rules.notes.branches import Branch, ClashError, Memo, grown, joined
from rules.notes.normalise import phrase_words

MOST_SPELLINGS = 4000
LONGEST_GAP = 4
GAP = ".."
#: Kinds of phrases that say nothing: a misspelled word is never mended to one of theirs.
MUTE = (
    "filler",
    "blocked",
    "article",
    "preposition",
    "person",
    "verb",
    "yes",
    "no",
    "history",
    "unsure",
    "hedge",
    "opinion",
    "correction",
)
_STEP = re.compile(r"\([^()]*\)|[^\s()]+|[()]")

Words = tuple[str, ...]


class PhraseError(ValueError):
    """A phrase that is not written in the grammar; the message says what to write instead."""


@dataclass(frozen=True, slots=True)
class Entry:
    """What a phrase stands for. ``denies``: the phrase is a negation by itself. ``plural``: it names several things."""

    kind: str
    name: str
    plural: bool = False
    denies: bool = False


def spellings(phrase: str) -> list[Words]:
    """Every spelling of a phrase, each a tuple of words in which ``..`` may stand for a gap."""
    found = set(_spell(phrase, phrase))
    if () in found:
        raise PhraseError(f"{phrase!r} may be left out altogether; write at least one word outside the brackets")
    if any(words[0] == GAP or words[-1] == GAP for words in found):
        raise PhraseError(f"{phrase!r} begins or ends with a gap; put a word before and after '..'")
    return sorted(found)


def _spell(part: str, phrase: str) -> Iterator[Words]:
    for words in product(*_steps(part, phrase)):
        yield tuple(word for group in words for word in group)


def _steps(part: str, phrase: str) -> list[list[Words]]:
    """What may stand at each step of a phrase."""
    steps = [_choices(found.group(), phrase) for found in _STEP.finditer(part)]
    count = prod(len(step) for step in steps)
    if count > MOST_SPELLINGS:
        raise PhraseError(f"{phrase!r} has {count} spellings; split it into phrases of at most {MOST_SPELLINGS}")
    return steps


def _choices(step: str, phrase: str) -> list[Words]:
    """What may stand at one step: each a tuple of words, empty if the step may be left out."""
    if step.startswith("(") and step.endswith(")") and len(step) > 2:
        return [*_spell(step[1:-1], phrase), ()]
    if step == GAP:
        return [(GAP,)]
    choices = [tuple(phrase_words(choice)) for choice in step.split("/")]
    if not all(choice and all(word.isalnum() for word in choice) for choice in choices):
        raise PhraseError(f"{phrase!r}: {step!r} is not a word; write words, a/b for either, (a) if it may be left out")
    return choices


class PhraseIndex:
    """Every spelling, by its words. Look-up takes the longest phrase that begins at a token."""

    def __init__(self) -> None:
        self._first: dict[str, Branch[Entry]] = {}
        self._gapped: dict[str, _Gapped] = {}
        self._with_gap: dict[Words, Entry] = {}
        self._entries: set[Entry] = set()
        self.openings: set[str] = set()  # words that begin a phrase
        self.words: set[str] = set()
        self.telling: set[str] = set()  # words of phrases that say something; others are never the meaning of a typo

    def add_phrase(self, phrase: str, entry: Entry) -> tuple[set[str], dict[Words, Entry]]:
        """Store every spelling of a phrase.

        Gives those of one word, and those that stand for something else already, which are not stored. Raises
        PhraseError.
        """
        steps = _steps(phrase, phrase)
        if any((GAP,) in step for step in steps):
            return self._one_by_one(phrase, entry)
        branch = grown(steps, entry)
        if branch.entry is not None:
            spellings(phrase)  # which says that it may be left out altogether
        try:
            self._join(branch)
        except ClashError:
            return self._one_by_one(phrase, entry)
        self.openings.update(branch.following)
        self._noted((word for step in steps for words in step for word in words), entry)
        return {word for word, after in branch.following.items() if after.entry is not None}, {}

    def _one_by_one(self, phrase: str, entry: Entry) -> tuple[set[str], dict[Words, Entry]]:
        clashes: dict[Words, Entry] = {}
        stored: set[str] = set()
        for words in spellings(phrase):
            other = self.add(words, entry)
            if other is not None:
                clashes[words] = other
            elif len(words) == 1:
                stored.update(words)
        return stored, clashes

    def add(self, spelling: Words, entry: Entry) -> Entry | None:
        """Store a spelling. If it already stands for something else, that is given back and nothing is stored."""
        held = self.entry(*spelling)
        if held is not None and held != entry:
            return held
        self.openings.add(spelling[0])
        self._noted((word for word in spelling if word != GAP), entry)
        if GAP not in spelling:
            self._join(grown([[(word,)] for word in spelling], entry))
        elif held is None:
            self._with_gap[spelling] = entry
            self._gapped.setdefault(spelling[0], _Gapped()).add(spelling, entry)
        return None

    def _join(self, branch: Branch[Entry]) -> None:
        memo: Memo[Entry] = {}
        joint = {}
        for word, after in branch.following.items():
            held = self._first.get(word)
            joint[word] = after if held is None else joined(held, after, memo)
        self._first.update(joint)

    def _noted(self, words: Iterable[str], entry: Entry) -> None:
        said = set(words)
        self._entries.add(entry)
        self.words |= said
        if entry.kind not in MUTE:
            self.telling |= said

    def entry(self, *words: str) -> Entry | None:
        """What exactly these words stand for."""
        if GAP in words:
            return self._with_gap.get(words)
        first = self._first.get(words[0]) if words else None
        return None if first is None else first.at(words[1:])

    def entries(self) -> set[Entry]:
        """Everything that some spelling stands for."""
        return set(self._entries)

    def longest(
        self, words: Sequence[str], at: int, barriers: frozenset[str], named: frozenset[str]
    ) -> tuple[int, Entry] | None:
        """The end and the entry of the longest phrase that begins at token ``at``, or None. ``named``: all words."""
        node = self._first.get(words[at])
        gapped = self._gapped.get(words[at])
        if node is None and gapped is None:
            return None
        found: tuple[int, Entry] | None = None
        end, last = at + 1, len(words)
        while node is not None:
            if node.entry is not None:
                found = (end, node.entry)
            node = node.following.get(words[end]) if end < last else None
            end += 1
        for parts, entry in gapped.worth_a_try(named) if gapped is not None else ():
            reached = _reach(words, at, parts, barriers)
            if reached and (found is None or reached > found[0]):
                found = (reached, entry)
        return found


class _Gapped:
    """The spellings with gaps that begin with one word, under the word of each that is likely the rarest in notes."""

    def __init__(self) -> None:
        self._under: dict[str, list[tuple[int, frozenset[str], tuple[Words, ...], Entry]]] = {}
        self._rare: frozenset[str] = frozenset()
        self._count = 0

    def add(self, spelling: Words, entry: Entry) -> None:
        """Add a spelling."""
        parts = tuple(_parts(spelling))
        needed = frozenset(spelling) - {GAP}
        rare = max((word for part in parts[1:] for word in part), key=len)  # long words are rare
        self._under.setdefault(rare, []).append((self._count, needed, parts, entry))
        self._rare = frozenset(self._under)
        self._count += 1

    def worth_a_try(self, named: frozenset[str]) -> list[tuple[tuple[Words, ...], Entry]]:
        """Those of which all words are among ``named``, as they were added."""
        if self._rare.isdisjoint(named):
            return []
        found = [
            (number, parts, entry)
            for rare in self._rare & named
            for number, needed, parts, entry in self._under[rare]
            if needed <= named
        ]
        if len(found) > 1:
            found.sort(key=itemgetter(0))
        return [(parts, entry) for _, parts, entry in found]


def _parts(spelling: Words) -> Iterator[Words]:
    part: list[str] = []
    for word in (*spelling, GAP):
        if word != GAP:
            part.append(word)
        elif part:
            yield tuple(part)
            part = []


def _reach(words: Sequence[str], at: int, parts: tuple[Words, ...], barriers: frozenset[str]) -> int | None:
    """Where a phrase with gaps ends if it begins at ``at``. A gap crosses no barrier: no mark, negation or thing."""
    end = at
    for number, part in enumerate(parts):
        for _ in range(LONGEST_GAP + 1 if number else 1):
            if tuple(words[end : end + len(part)]) == part:
                break
            if number == 0 or end >= len(words) or words[end] in barriers or not words[end].isalnum():
                return None
            end += 1
        else:
            return None
        end += len(part)
    return end
