"""Repairs: what mends which faults, what each costs, and the order that costs least.

With one fault, perfect repairs and a check after each, the expected cost of a sequence is least when probability over
cost falls (Kadane and Simon 1977, Ann. Stat. 5:237-255, from memory; golden row G7 of the method notes). At
any point somebody else may be called instead (Heckerman, Breese and Rommelse 1995, from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from rules.belief.stack import Numbers, Table
from rules.bookkeeping.types import Appliance, Book, Skill

if TYPE_CHECKING:
    from rules.belief.signatures import Hypothesis

#: What it costs when nobody on site can mend it, in minutes: another visit by somebody else (150), and the repair and
#: the part it takes there (250). Common practice, no source.
ELSEWHERE = 400.0

#: Minutes of the trial run after each repair, that shows whether it was the right one. Common practice, no source.
TRIAL_RUN = 10.0

#: What a minute of a technician's is worth: 90 dollars an hour. Common practice, no source.
DOLLARS_A_MINUTE = 1.5

MOST_MENDS = 4000  # kept of an appliance, most of them of two faults at once


@dataclass(frozen=True)
class Repair:
    """One thing to do: which parts, at which place, by whom; ``members`` are the hypotheses it mends.

    ``minutes``: the middle of the book's span, weighted by the prior over the members. ``cost``: these minutes, the
    trial run, and the parts' value in minutes; a part that was fitted in vain is spent, so a dear one is proved bad
    first. ``skill`` is None for the last, which stands for *none of these*.
    """

    parts: tuple[str, ...]
    where: str | None
    skill: Skill | None
    minutes: float
    cost: float
    members: tuple[int, ...]


@dataclass(frozen=True)
class Order:
    """Repairs in the order that costs least, and whether somebody else is called before any, after some, or last.

    ``numbers``: of the repairs, the best first. ``cost``: expected for the whole in minutes, somebody else included.
    """

    numbers: tuple[int, ...]
    cost: float


@dataclass(frozen=True)
class Mend:
    """What mends one hypothesis. One repair mends all that have equal ``parts``, ``places``, ``skill`` and ``way``.

    ``way`` tells faults without a part apart (a setting, a breaker). ``minutes``: the middle of the fault's span.
    ``value``: of the parts, in minutes.
    """

    parts: tuple[str, ...]
    places: tuple[str | None, ...]
    skill: Skill
    way: str
    where: str | None
    minutes: float
    value: float

    @cached_property
    def same(self) -> object:
        return self.parts, self.places, self.skill, self.way


Mends = dict[tuple[str, tuple[str | None, ...]], Mend]  # by the fault and its places


def repairs_of(
    hypotheses: Sequence[Hypothesis],
    prior: Table,
    appliance: Appliance,
    book: Book,
    known: tuple[tuple[Repair, ...], Numbers] | None = None,
    mends: Mends | None = None,
) -> tuple[tuple[Repair, ...], Numbers]:
    """The repairs of an appliance's hypotheses, and the number of each one's repair, shape (H,).

    ``known``: the same for the first of these hypotheses and *none of these*, where only pairs were put in between; no
    pair is mended by what mends one. ``mends``: those that were worked out before; further ones are put there.
    """
    made, of = ([], np.empty(0, dtype=np.intp)) if known is None else (list(known[0][:-1]), known[1][:-1])
    mends = {} if mends is None else mends
    members: dict[object, list[tuple[int, Mend]]] = {}
    last = len(hypotheses) - 1
    for number in range(len(of), last):
        mend = _mend_of(hypotheses[number], appliance, book, mends)
        members.setdefault(mend.same, []).append((number, mend))
    further = np.empty(last + 1 - len(of), dtype=np.intp)
    for mended in members.values():
        for number, _ in mended:
            further[number - len(of)] = len(made)
        made.append(_repair(mended, prior))
    further[-1] = len(made)
    made.append(Repair((), None, None, ELSEWHERE, ELSEWHERE, (last,)))
    return tuple(made), np.concatenate([of, further])


def _mend_of(hypothesis: Hypothesis, appliance: Appliance, book: Book, mends: Mends) -> Mend:
    fault = hypothesis.fault
    assert fault is not None  # only the last is none of these
    places = tuple([one.where for one in hypothesis.both]) or (hypothesis.where,)
    known = mends.get((fault.fault, places))
    if known is None:
        parts, least, most = fault.parts_for(appliance), *fault.minutes
        way = "" if parts else fault.fault
        value = sum(book.parts[part].value for part in parts) / DOLLARS_A_MINUTE
        known = Mend(parts, places, fault.skill, way, hypothesis.where, (least + most) / 2, value)
        if len(mends) < MOST_MENDS:
            mends[fault.fault, places] = known
    return known


def _repair(mended: Sequence[tuple[int, Mend]], prior: Table) -> Repair:
    """``mended``: what it mends, with their numbers. ``prior``: of all hypotheses, shape (H,)."""
    mend = mended[0][1]
    members = tuple([number for number, _ in mended])
    middle = _mean([one.minutes for _, one in mended], members, prior)
    return Repair(mend.parts, mend.where, mend.skill, middle, middle + TRIAL_RUN + mend.value, members)


def _mean(values: Sequence[float], members: tuple[int, ...], prior: Table) -> float:
    """The mean of one value a member, by the prior; a pair's repair mends nothing else, and most are those."""
    if len(members) == 1:
        share = float(prior[members[0]])
        return values[0] * share / share  # rounded as the mean of several is
    shares = prior[list(members)]
    return float((np.array(values) * shares).sum() / shares.sum())


def expected_cost(shares: Table, costs: Table, rest: Table | float = 0.0, elsewhere: float = ELSEWHERE) -> Table:
    """Expected cost of repair, shape (rows,), homogeneous in the weights of a row.

    ``shares``: weight of what each repair mends, shape (rows, repairs). ``costs``: of each repair. ``rest``: weight
    of what none of them mends, shape (rows,). Each row takes its own best order, and calls somebody else (at
    ``elsewhere``) at its own best point.
    """
    rows, count = shares.shape
    order = (shares / -costs).argsort(axis=1)  # equals cost the same in any order
    ranked = shares.ravel().take(order + np.arange(0, rows * count, count)[:, None]) if count else shares
    left = np.empty((rows, count + 1))  # what is not mended yet, before each repair and after the last
    mended = ranked.cumsum(axis=1)
    left[:, 0] = mended[:, -1] + rest if count else rest
    np.subtract(left[:, :1], mended, out=left[:, 1:])
    paid = np.zeros((rows, count + 1))
    np.cumsum(costs.take(order) * left[:, :-1], axis=1, out=paid[:, 1:])
    cost: Table = (paid + left * elsewhere).min(axis=1)
    return cost


def best_order(shares: Table, costs: Table, rest: float = 0.0, elsewhere: float = ELSEWHERE) -> Order:
    """The repairs worth doing before somebody else is called, best first. Shapes (repairs,)."""
    likely, spent = shares.tolist(), costs.tolist()
    ranked = sorted(range(len(likely)), key=lambda i: (-round(likely[i] / spent[i], 12), i))
    left = float(shares.sum()) + rest
    paid, best, done = 0.0, left * elsewhere, 0
    for count, number in enumerate(ranked, start=1):
        paid += spent[number] * left
        left -= likely[number]
        whole = paid + max(left, 0.0) * elsewhere
        if whole < best:
            best, done = whole, count
    return Order(tuple(ranked[:done]), best)
