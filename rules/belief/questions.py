"""All tests of an appliance at all their places, mistakes of whoever answers mixed in, scored in one product."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from itertools import pairwise

import numpy as np

from rules.belief.posterior import error_for
from rules.belief.signatures import Flags, Signatures
from rules.belief.stack import Beside, Numbers, Stack, Table, put_in
from rules.bookkeeping.types import TestCard
from rules.terms import Role, fact_key

ROLE_ORDER: tuple[Role, ...] = ("caller", "desk", "technician")

#: Minutes a dangerous minute is worth, so that of two tests with equal information the safer one is done. Common
#: practice, no source.
LIVE_SURCHARGE, RUNNING_SURCHARGE = 3.0, 1.0
RECALL_MINUTES = 0.5  # what is only remembered takes no trial; common practice, no source


@dataclass(frozen=True)
class Question:
    """A test at one place."""

    card: TestCard
    rank: int  # of the card in the book
    where: str | None
    key: str


@dataclass(frozen=True)
class Questions:
    """Q questions with C outcomes in all.

    ``start``: first column of each question, shape (Q,). ``heard``: P(answer | hypothesis), shape (H, C); the columns
    of a question sum to 1. ``doubt``: entropy of the answer to a question under a hypothesis, bits, shape (H, Q).
    ``know``: probability that the question is answered at all. ``minutes``, ``recalled`` (minutes where it is put to
    memory only), ``setup`` (minutes of the preparation a test needs) and ``surcharge``: shape (Q,). ``more``: the rows
    of ``heard`` for pairs, which stand before the last; they are not laid beside the others, because a case reads few
    rows of a large table, and their doubt is worked out only of the few that are in question.
    """

    asked: tuple[Question, ...]
    cards: tuple[TestCard, ...]  # each once, in the book's order
    card_number: Numbers  # of each question, among the cards, shape (Q,)
    start: Numbers
    alone: Table  # as heard and doubt, without the pairs
    alone_doubt: Table
    know: Table
    minutes: Table
    recalled: Table
    setup: Table
    surcharge: Table
    columns: tuple[slice, ...]  # of each question
    set_up: Mapping[str, Numbers]  # the questions that ask for each set-up
    of_key: Mapping[str, Numbers]  # the questions about each key
    by_column: Table  # ``alone`` turned over, so that a column is a piece of memory
    guarded: frozenset[int]  # questions that wait for the dead-check unless it is done
    guarded_tests: frozenset[str]  # the same by the names of their tests
    tests: tuple[str, ...]  # the name of each question's test
    words: Numbers  # the row of the stack that each column stands for, shape (C,)
    errors: Table  # the share of wrong answers, shape (C, 1)
    opened: dict[object, Flags] = field(default_factory=dict, repr=False)  # by what a gate asks; see choosing.py
    more: Table | None = None

    @cached_property
    def heard(self) -> Table:
        return self.alone if self.more is None else put_in(self.alone, self.more)

    def columns_of(self, numbers: Sequence[int]) -> tuple[Numbers, list[int]]:
        """The columns of some questions side by side, and at which of these each question starts."""
        columns: list[int] = []
        starts = []
        for number in numbers:
            one = self.columns[number]
            starts.append(len(columns))
            columns += range(one.start, one.stop)
        return np.array(columns, dtype=np.intp), starts

    def cells(self, columns: Numbers, numbers: Numbers) -> Table:
        """Some columns of ``heard`` for some hypotheses, shape (columns, numbers)."""
        table = self.by_column.take(columns, axis=0)
        if self.more is not None:
            table = put_in(table, self.more.T.take(columns, axis=0), axis=1)
        return np.asarray(table.take(numbers, axis=1))

    def joint(self, columns: Numbers, weights: Table) -> Table:
        """The weight of each answer of some columns, shape (columns, K). ``weights``: shape (H, K)."""
        table = self.by_column.take(columns, axis=0)
        if self.more is None:
            return np.asarray(table @ weights)
        last = len(self.alone) - 1
        singles = np.concatenate([weights[:last], weights[-1:]])
        return np.asarray(table @ singles + self.more.T.take(columns, axis=0) @ weights[last:-1])

    def gains(self, probability: Table, alike: Numbers) -> Table:
        """Information of one answer to each question about *which kind* of hypothesis it is, in bits, shape (Q,).

        ``probability``: shape (H,), sums to 1. ``alike``: shape (H,), hypotheses with one number need no telling
        apart. Exact, and never below 0.
        """
        playing = np.flatnonzero(probability)
        playing = playing[alike[playing].argsort(kind="stable")]
        p, kind = probability[playing], alike[playing]
        rows = _rows(self.alone, self.more, playing)
        gain = np.add.reduceat(_minus_p_log_p(p @ rows), self.start)
        edges = [0, *((kind[1:] != kind[:-1]).nonzero()[0] + 1).tolist(), len(kind)]
        several = [(first, end) for first, end in pairwise(edges) if end - first > 1]
        alone = np.array([first for first, end in pairwise(edges) if end - first == 1], dtype=np.intp)
        gain -= p[alone] @ self.doubt(playing[alone])
        if several:
            joint = np.empty((len(several), rows.shape[1]))
            for number, (first, end) in enumerate(several):
                np.dot(p[first:end], rows[first:end], out=joint[number])
            shares = np.array([p[first:end].sum() for first, end in several])
            gain -= np.add.reduceat(_minus_p_log_p(joint).sum(axis=0), self.start) - _minus_p_log_p(shares).sum()
        bits: Table = np.maximum(gain, 0.0) * self.know
        return bits

    def doubt(self, numbers: Numbers) -> Table:
        """The entropy of the answer to each question under some hypotheses, bits, shape (numbers, Q)."""
        if self.more is None:
            return np.asarray(self.alone_doubt.take(numbers, axis=0))
        last = len(self.alone) - 1
        chosen: Table = self.alone_doubt.take(np.minimum(numbers, last), axis=0)
        added = ((numbers >= last) & (numbers < last + len(self.more))).nonzero()[0]
        if len(added):
            rows = self.more.take(numbers[added] - last, axis=0)
            chosen[added] = np.add.reduceat(_minus_p_log_p(rows), self.start, axis=1)
        return chosen


def _rows(table: Table, more: Table | None, numbers: Numbers) -> Table:
    """Some rows of a table into which others are thought put in before the last."""
    if more is None:
        return np.asarray(table.take(numbers, axis=0))
    last = len(table) - 1
    chosen: Table = table.take(np.minimum(numbers, last), axis=0)
    added = ((numbers >= last) & (numbers < last + len(more))).nonzero()[0]
    chosen[added] = more[numbers[added] - last]
    return chosen


def information(table: Table, probability: Table) -> float:
    """Expected fall in entropy from one answer, bits; never below 0. ``table``: P(answer | hypothesis), (H, K)."""
    told = float(_minus_p_log_p(probability @ table).sum())
    return max(0.0, told - float(probability @ _minus_p_log_p(table).sum(axis=1)))


def _starts(sizes: Numbers) -> Numbers:
    return np.concatenate([[0], np.cumsum(sizes)[:-1]]).astype(np.intp)


def _minus_p_log_p(p: Table) -> Table:
    """-p log2 p, 0 where p is 0."""
    made: Table = -p * np.log2(p + 1e-300)
    return made


def questions(signatures: Signatures, role: Role) -> Questions:
    """The questions that a role may ask or have asked of an appliance, worked out once for each."""
    who: Role = "technician" if role == "technician" else "caller"
    kept = signatures.asked
    if who not in kept:
        alone = signatures.alone
        kept[who] = _lined_up(signatures, who) if alone is None else _widened(questions(alone, who), signatures)
    return kept[who]


def _lined_up(signatures: Signatures, who: Role) -> Questions:
    asked = tuple(_questions(signatures, who))
    spans = [signatures.stack.spans[question.key] for question in asked]
    sizes = np.array([end - first for first, end in spans], dtype=np.intp)
    words = np.concatenate([np.arange(first, end) for first, end in spans]).astype(np.intp)
    errors = np.repeat([_error(signatures, question, who) for question in asked], sizes)[:, None]
    heard, start = _heard(signatures.stack, words, errors), _starts(sizes)
    cards = [question.card for question in asked]
    setups = signatures.book.setups
    risk = [LIVE_SURCHARGE * card.energised + RUNNING_SURCHARGE * card.runs_appliance for card in cards]
    ranks = list(dict.fromkeys(question.rank for question in asked))
    every = list(signatures.book.tests.values())
    return Questions(
        asked=asked,
        cards=tuple(every[rank] for rank in ranks),
        card_number=np.array([ranks.index(question.rank) for question in asked], dtype=np.intp),
        start=start,
        alone=heard,
        alone_doubt=np.add.reduceat(_minus_p_log_p(heard), start, axis=1),
        know=np.array([1 - card.dont_know for card in cards]),
        minutes=np.array([card.minutes for card in cards]),
        recalled=np.array([min(RECALL_MINUTES, card.minutes) if card.recall else card.minutes for card in cards]),
        setup=np.array([setups[card.setup].minutes if card.setup else 0.0 for card in cards]),
        surcharge=np.array(risk),
        columns=tuple(slice(first, first + size) for first, size in zip(start.tolist(), sizes.tolist(), strict=True)),
        set_up=_by_name([card.setup for card in cards]),
        of_key=_by_name([question.key for question in asked]),
        by_column=np.ascontiguousarray(heard.T),
        guarded=frozenset(number for number, card in enumerate(cards) if card.hands_in),
        guarded_tests=frozenset(card.test for card in cards if card.hands_in),
        tests=tuple(card.test for card in cards),
        words=words,
        errors=errors,
    )


def _by_name(names: Sequence[str | None]) -> dict[str, Numbers]:
    """The numbers at which each name stands."""
    found: dict[str, list[int]] = {}
    for number, name in enumerate(names):
        if name is not None:
            found.setdefault(name, []).append(number)
    return {name: np.array(numbers, dtype=np.intp) for name, numbers in found.items()}


def _widened(known: Questions, signatures: Signatures) -> Questions:
    """The same questions with the rows of pairs put in before *none of these*."""
    beside = signatures.stack
    assert isinstance(beside, Beside)
    return replace(known, more=_heard(beside.other, known.words, known.errors))


def _questions(signatures: Signatures, who: Role) -> Iterator[Question]:
    """Every card this one may use, at every place, where a table tells what the answer means."""
    book = signatures.book
    for rank, card in enumerate(book.tests.values()):
        if card.who == "technician" and who != "technician":
            continue
        surface = book.facts[card.reads].place == "surface"
        for where in signatures.appliance.positions if surface else (None,):
            key = fact_key(card.reads, where or card.between, card.during)
            if key in signatures.stack.spans:
                yield Question(card, rank, where, key)


def _heard(stack: Stack, words: Numbers, errors: Table) -> Table:
    """P(answer | hypothesis), shape (H, C)."""
    return np.ascontiguousarray(stack.heard(words, errors).T)


def _error(signatures: Signatures, question: Question, who: Role) -> float:
    """What is mistaken of the answer: a technician's reading is measured, anything else is told by whoever looks."""
    measured = who == "technician" and signatures.book.facts[question.card.reads].told_by == "technician"
    return error_for(signatures, question.key, who, "measured" if measured else "said")
