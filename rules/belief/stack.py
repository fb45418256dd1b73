"""All signature tables of an appliance side by side, so that one product answers for every test at once.

A row is one word of one key; a column is one hypothesis. A statement of somebody who is wrong in a share ``e`` of his
answers gives the row ``true * (1 - e * slips) + e * wrong``: what is shown, less what is misnamed, and what is said by
mistake. Mistakes go mostly to neighbouring words (``mistaken_for`` in the vocabulary), so that "heats" for a cold
burner is rarer than "warm" for a cold one.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray

from rules.bookkeeping.types import FactTerm
from rules.terms import fact_of

Table = NDArray[np.float64]
Numbers = NDArray[np.intp]

FALSE_ALARM = 0.06  # how much rarer it is to call something odd that is not, than to miss or misname what is odd
RARE = 0.1  # weight of a mistake the vocabulary does not name, beside 1 for one it does


@lru_cache(maxsize=512)
def _mistakes(
    words: tuple[str, ...], usual: str | None, named: tuple[tuple[str, tuple[tuple[str, float], ...]], ...]
) -> Table:
    """Row u: how often, beside the source's error, one who should say u says another word; the diagonal is 0."""
    size = len(words)
    weights = np.full((size, size), 1.0)
    for word, others in named:
        row = np.full(size, RARE)
        for other, weight in others:
            row[words.index(other)] = weight
        weights[words.index(word)] = row
    np.fill_diagonal(weights, 0)
    if size == 1:
        return weights
    weights /= weights.sum(axis=1, keepdims=True)
    if usual is not None:
        weights[words.index(usual)] *= FALSE_ALARM
    return weights


def mistakes(term: FactTerm, usual: str | None) -> Table:
    """The table of mistaken words of a fact, shape (K, K), to be multiplied by a source's error.

    ``usual``: the word a sound appliance shows.
    """
    named = tuple((word, tuple(others.items())) for word, others in term.mistaken_for.items())
    return _mistakes(tuple(term.values), usual, named)


@dataclass(frozen=True)
class Stack:
    """Tables by row. ``spans[key]``: half-open range of a key's rows, in the order of the fact's values.

    ``true``: P(shown | hypothesis), shape (R, H). ``wrong``: P(said | a mistake was made), shape (R, H). ``slips``:
    how often, beside the source's error, a word is misnamed, shape (R,). ``told``: the keys that a caller can tell of.
    """

    spans: Mapping[str, tuple[int, int]]
    words: Mapping[str, tuple[str, ...]]  # by fact
    mixes: Mapping[str, Table]  # by key, the table of mistaken words
    usual: Mapping[str, str]
    true: Table
    wrong: Table
    slips: Table
    told: frozenset[str]
    known: dict[tuple[str, str], int] = field(
        default_factory=dict, init=False, repr=False
    )  # rows that were asked for before

    @property
    def width(self) -> int:
        """How many hypotheses there are."""
        return len(self.true[0])

    def row(self, key: str, word: str) -> int:
        """The row of a word of a key."""
        row = self.known.get((key, word))
        if row is None:
            row = self.known[key, word] = self.spans[key][0] + self.words[fact_of(key)].index(word)
        return row

    def shown(self, rows: Sequence[int]) -> Table:
        """P(all of some words of different keys are shown | hypothesis), shape (H,)."""
        return self.true[rows[0]] if len(rows) == 1 else np.asarray(self.true[list(rows)].prod(axis=0))

    def heard(self, rows: Numbers, error: float | Table) -> Table:
        """P(said | hypothesis) for some rows, shape (rows, H). ``error``: one for all, or shape (rows, 1)."""
        mixed: Table = self.true[rows] * (1 - error * self.slips[rows][:, None]) + error * self.wrong[rows]
        return mixed

    def said(self, rows: Numbers, error: float) -> Table:
        """Likelihood of one statement that gives several words at once (``all units cold``), shape (H,).

        Somebody who is wrong is wrong about the whole; so a statement about four units is one mistake, not four.
        """
        if len(rows) == 1:
            row = rows[0]
            one: Table = self.true[row] * (1 - error * self.slips[row]) + error * self.wrong[row]
            return one
        shown = self.true[rows].prod(axis=0)
        several: Table = shown * (1 - error * self.slips[rows].mean()) + error * self.wrong[rows].mean(axis=0)
        return several

    @cached_property
    def severity(self) -> Numbers:
        """For each key its rows from the usual word to the one farthest from it, in the vocabulary's order."""
        order: list[int] = []
        for key, (start, _) in self.spans.items():
            words = self.words[fact_of(key)]
            usual = words.index(self.usual[key])
            order += [start + i for i in sorted(range(len(words)), key=lambda i: (abs(i - usual), i))]
        return np.array(order, dtype=np.intp)

    @cached_property
    def up_to(self) -> Table:
        """P(this word or a milder one), within each key by :attr:`severity`, shape (H, R)."""
        return np.ascontiguousarray(self._up_to().T)

    def _up_to(self) -> Table:
        """As :attr:`up_to`, but of shape (R, H) and not kept."""
        starts = [start for start, _ in self.spans.values()]
        number = np.repeat(np.arange(len(starts)), [end - start for start, end in self.spans.values()])
        summed = np.cumsum(self.true[self.severity], axis=0) - number[:, None]
        this = np.empty_like(summed)
        this[self.severity] = summed
        return this

    @cached_property
    def _steps(self) -> tuple[Numbers, Numbers]:
        """The rows of every word but the mildest of each key, and of the next milder word."""
        order, starts = self.severity, {start for start, _ in self.spans.values()}
        later = np.array([place for place in range(len(order)) if place not in starts], dtype=np.intp)
        return order[later], order[later - 1]

    @cached_property
    def as_told(self) -> tuple[Stack, Numbers]:
        """What a caller can tell of as a stack of its own, and the row there of each row here, -1 for none."""
        tables = {key: self.true[start:end].T for key, (start, end) in self.spans.items() if key in self.told}
        part = _stack(tables, self.words, self.mixes, self.usual, self.told)
        rows = np.full(len(self.true), -1, dtype=np.intp)
        for key, (start, end) in part.spans.items():
            rows[slice(*self.spans[key])] = range(start, end)
        held = (rows >= 0).nonzero()[0]  # not summed anew, which would be rounded otherwise
        part.__dict__["up_to"] = np.ascontiguousarray(self._up_to()[held].T)
        return part, rows

    def together(self, first: Numbers, second: Numbers) -> Pairs:
        """The tables of pairs of hypotheses, by noisy maximum: of two faults the worse word is what is shown."""
        return Pairs(self, first, second)

    def worse_of(self, first: Numbers, second: Numbers) -> Stack:
        """All rows of :meth:`together`."""
        this = self.up_to.take(first, axis=0) * self.up_to.take(second, axis=0)
        word, milder = self._steps
        shown = this.copy()
        shown[:, word] -= this[:, milder]
        true = np.ascontiguousarray(np.minimum(np.maximum(shown, 0.0, out=shown), 1.0, out=shown).T)
        wrong = np.empty(true.shape)
        for rows, mixes in self._by_size:
            wrong[rows] = mixes @ true.take(rows, axis=0)
        return Stack(self.spans, self.words, self.mixes, self.usual, true, wrong, self.slips, self.told)

    @cached_property
    def _by_size(self) -> tuple[tuple[Numbers, Table], ...]:
        """Keys of as many words side by side: their rows, shape (keys, K), and what turns shown into wrongly said."""
        sizes: dict[int, list[str]] = {}
        for key, (start, end) in self.spans.items():
            sizes.setdefault(end - start, []).append(key)
        return tuple(
            (
                np.array([np.arange(*self.spans[key]) for key in keys], dtype=np.intp),
                np.array([self.mixes[key].T for key in keys]),
            )
            for keys in sizes.values()
        )

    def beside(self, other: Stack) -> Beside:
        """These hypotheses with others put in before the last, *none of these*."""
        return Beside(self, other)


class Pairs(Stack):
    """Pairs of the hypotheses of a stack.

    What a caller can tell of is a third of all rows. A call taken by telephone reads no others, so these are worked
    out apart, and the whole only once another row is read.
    """

    def __init__(self, of: Stack, first: Numbers, second: Numbers) -> None:
        for name in ("spans", "words", "mixes", "usual", "slips", "told", "known"):
            object.__setattr__(self, name, getattr(of, name))
        object.__setattr__(self, "of", of)
        object.__setattr__(self, "pairs", (first, second))

    of: Stack
    pairs: tuple[Numbers, Numbers]

    @cached_property
    def _whole(self) -> Stack:
        return self.of.worse_of(*self.pairs)

    @cached_property
    def _as_told(self) -> Stack:
        return self.of.as_told[0].worse_of(*self.pairs)

    def _holding(self, rows: Numbers) -> tuple[Stack, Numbers]:
        """A stack that holds some rows, and their numbers in it."""
        there = self.of.as_told[1][rows]
        if "_whole" in self.__dict__ or there.min(initial=0) < 0:
            return self._whole, rows
        return self._as_told, there

    @property
    def true(self) -> Table:
        return self._whole.true

    @property
    def wrong(self) -> Table:
        return self._whole.wrong

    @property
    def width(self) -> int:
        return len(self.pairs[0])

    def shown(self, rows: Sequence[int]) -> Table:
        held, there = self._holding(np.array(rows, dtype=np.intp))
        return held.shown(there.tolist())

    def heard(self, rows: Numbers, error: float | Table) -> Table:
        held, there = self._holding(rows)
        return held.heard(there, error)

    def said(self, rows: Numbers, error: float) -> Table:
        held, there = self._holding(rows)
        return held.said(there, error)


class Beside(Stack):
    """Two stacks as one, the hypotheses of ``other`` before the last of ``one``.

    It is worked on in its two halves: most rows of the whole are never read, and laying them side by side would cost
    more than all that is asked of them.
    """

    def __init__(self, one: Stack, other: Stack) -> None:
        for name in ("spans", "words", "mixes", "usual", "slips", "told", "known"):
            object.__setattr__(self, name, getattr(one, name))
        object.__setattr__(self, "one", one)
        object.__setattr__(self, "other", other)

    one: Stack
    other: Stack

    @cached_property
    def true(self) -> Table:  # laid out when first read
        return put_in(self.one.true, self.other.true, axis=1)

    @cached_property
    def wrong(self) -> Table:
        return put_in(self.one.wrong, self.other.wrong, axis=1)

    @property
    def width(self) -> int:
        return self.one.width + self.other.width

    def shown(self, rows: Sequence[int]) -> Table:
        return put_in(self.one.shown(rows), self.other.shown(rows))

    def said(self, rows: Numbers, error: float) -> Table:
        return put_in(self.one.said(rows, error), self.other.said(rows, error))


def put_in(table: Table, more: Table, axis: int = 0) -> Table:
    """A table with more hypotheses along ``axis`` (0 or 1), put in before the last."""
    if axis == 0:
        return np.concatenate([table[:-1], more, table[-1:]])
    return np.concatenate([table[:, :-1], more, table[:, -1:]], axis=1)


def stack_up(tables: Mapping[str, Table], terms: Mapping[str, FactTerm], usual: Mapping[str, str]) -> Stack:
    """Stack tables of shape (H, K), by key."""
    words = {fact: tuple(terms[fact].values) for fact in {fact_of(key) for key in tables}}
    mixes = {key: mistakes(terms[fact_of(key)], usual[key]) for key in tables}
    told = frozenset(key for key in tables if terms[fact_of(key)].told_by != "technician")
    return _stack(tables, words, mixes, usual, told)


def _stack(
    tables: Mapping[str, Table],
    words: Mapping[str, tuple[str, ...]],
    mixes: Mapping[str, Table],
    usual: Mapping[str, str],
    told: frozenset[str],
) -> Stack:
    spans: dict[str, tuple[int, int]] = {}
    start = 0
    for key, table in tables.items():
        spans[key] = (start, start + table.shape[1])
        start += table.shape[1]
    true = np.concatenate([table.T for table in tables.values()], axis=0)
    wrong = np.empty_like(true)
    for key, (start, end) in spans.items():
        wrong[start:end] = mixes[key].T @ true[start:end]
    slips = np.concatenate([mixes[key].sum(axis=1) for key in spans])
    return Stack(spans, words, mixes, usual, np.ascontiguousarray(true), wrong, slips, told)
