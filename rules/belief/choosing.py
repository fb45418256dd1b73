"""The next test: the one with most information a minute, among those that are allowed, safe and worth their minutes.

Gain is the expected fall in entropy of what must be done, in bits, less what "don't know" costs; the price is the
test's minutes with any set-up not yet paid and a surcharge for danger (information over cost: Johnson 1960). A test
pays if it lowers the expected cost of repair by more than it costs (Heckerman, Breese and Rommelse 1995); those that
pay come first. Information over cost can go badly wrong where a test tells next to nothing (Garey and Graham 1974), so
such tests are not scored at all.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from rules.belief.questions import ROLE_ORDER, Questions, questions
from rules.belief.repairs import expected_cost
from rules.belief.signatures import Signatures
from rules.belief.stack import Table
from rules.bookkeeping.types import TestCard
from rules.terms import Role

Flags = NDArray[np.bool_]

LEAST_BITS = 0.05  # below this an answer changes nothing worth a question
LEAST_TO_CONFIRM = 0.002  # a technician's confirming measurement may tell little new
IN_PLAY_FROM = 0.03  # of the leading suspect's probability
SURE_FROM = 0.95  # no more questions over the telephone once one repair has this probability
SURE_ON_SITE = 0.97  # nor on site, where the wrong repair costs another visit; both common practice, no source
MOST_TESTS = 8
MOST_WEIGHED = 24  # tests of which the saving is worked out, the best by information a minute
MOST_LEADING = 3  # tests that come before all others: the dead-check, the hazard question, one that a rule wants
MOST_REPAIRS = 24  # repairs told apart in the expected cost; the rest count as somebody else's
MOST_GATES = 1000  # of which it is kept what they let through
LEAST = 1e-300
TOLD_APART_FROM = 0.0005  # of the leading suspect's probability, where a technician wants to know just what it was
LEAST_TO_TELL_APART = 0.0001  # bits; a rare fault beside a common one leaves little to learn, and may still be there
LEADS_TO_FROM = 0.15  # an outcome "leads to" the faults that then have this probability


class Outcome(NamedTuple):
    """One answer: how likely it is, and which hypotheses it would leave in front (indices, most likely first)."""

    value: str
    probability: float
    leads_to: tuple[int, ...]


@dataclass(frozen=True)
class NextTest:
    """A test at a place, with its gain in bits and what each outcome would mean.

    ``minutes`` include a set-up that is not yet paid. ``saves``: minutes by which the test lowers the expected cost of
    repair, its own price already taken off; it pays if this is above 0. None if that is not its purpose, or if it
    stands too low in the list to be weighed.
    """

    card: TestCard
    where: str | None
    key: str
    gain_bits: float
    minutes: float
    outcomes: tuple[Outcome, ...] = ()
    opens: tuple[str, ...] = ()  # tests that wait for this one
    saves: float | None = None
    because: str = ""  # the reason of the rule that wants it asked
    from_memory: bool = False  # to be put to memory only, because a stop stands

    @property
    def pays(self) -> bool:
        """Whether the answer is worth its minutes."""
        return self.saves is not None and self.saves > 0


@dataclass(frozen=True)
class Gate:
    """What may be asked: the role, what rules allow and forbid, whether a stop stands, what is known already.

    While a stop stands a caller is asked nothing, and a technician measures only what is proved dead. ``recalls``:
    meanwhile what is only remembered may be asked. ``answered`` are keys that are known, or that this role was asked
    without being able to tell. ``paid`` are set-ups already made. ``tools`` are those at hand; None stands for all.
    """

    role: Role
    allowed: frozenset[str]
    forbidden: frozenset[str]
    stopped: bool
    answered: frozenset[str]
    measured: bool = False  # something has been measured
    paid: frozenset[str] = frozenset()
    tools: frozenset[str] | None = None
    asked: tuple[tuple[str, str], ...] = ()  # questions that rules want next, each with the rule's reason
    recalls: bool = False

    def from_memory(self, card: TestCard) -> bool:
        """Whether this test may come only as a question to memory."""
        return self.stopped and self.recalls and card.recall is not None

    def may_come(self, cards: Sequence[TestCard]) -> Flags:
        """Which tests may be shown once the dead-check has been done, their facts apart."""
        rank = ROLE_ORDER.index(self.role)
        return np.array([self._open_to(card, rank) for card in cards], dtype=bool)

    def _open_to(self, card: TestCard, rank: int) -> bool:
        if ROLE_ORDER.index(card.who) > rank or card.test in self.forbidden:
            return False
        if self.stopped and (card.who != "technician" or card.energised or card.runs_appliance):
            return self.from_memory(card)
        return self.tools is None or self.tools.issuperset(card.tools)

    def waits(self, card: TestCard) -> bool:
        """Whether this test waits for the dead-check."""
        return card.needs_permission and card.test not in self.allowed


def choose(
    signatures: Signatures, probability: Table, gate: Gate, places: Iterable[str], most: int | None = MOST_TESTS
) -> list[NextTest]:
    """The best tests, best first, each at its best place; none for a caller once one repair is as good as certain.

    Those that pay come first, then the others, each by information a minute: a person can always choose another. A
    technician who has measured nothing yet is shown what would confirm even a certain suspect, and last, for whoever
    wants to know just what it was, what tells faults apart that one repair mends.

    ``places``: units a question may be about. ``most``: None for all. Where hands-in tests wait for the dead-check,
    the dead-check comes in their place. For whoever takes a call the hazard question leads until it has been answered.
    """
    technician, certain = gate.role == "technician", sure(signatures, probability, gate.role)
    if certain and not technician:
        return _hazard_first(signatures, gate)
    asked, units = questions(signatures, gate.role), frozenset(places)
    least = LEAST_TO_CONFIRM if technician and not gate.measured else LEAST_BITS
    scores = None if certain and gate.measured else _scored(signatures, probability, asked, gate, units, least, most)
    ready, first = _ready(scores, gate, least)
    further = None
    if technician and (most is None or len(ready) < most or not (first or asked.guarded_tests <= gate.allowed)):
        further = _told_apart(signatures, probability, asked, gate, units)
    left, instead = _ready(further, gate, LEAST_TO_TELL_APART)
    listed = [*(first or instead), *_hazard_first(signatures, gate), *_wanted(signatures, gate)]
    leading = {test.card.test for test in listed}
    led = leading | {asked.tests[number] for number in ready}
    ready = [number for number in ready if asked.tests[number] not in leading]
    left = [number for number in left if asked.tests[number] not in led]
    room = len(ready) + len(left) if most is None else max(most - len(listed), 0)
    if scores:
        listed += scores.tests(ready[:room])
    if further:
        listed += further.tests(left[: max(room - len(ready), 0)])
    return listed[:most]


def _ready(scores: _Scores | None, gate: Gate, least: float) -> tuple[list[int], list[NextTest]]:
    """The questions to put now, those that pay first; and the dead-check, if others wait for it."""
    if scores is None:
        return [], []
    ready, waiting = _divided(scores, gate, least)
    ready.sort(key=lambda number: scores.saves.get(number, 0.0) <= 0)
    return ready, _dead_check_first(scores, waiting, gate)


def _divided(scores: _Scores, gate: Gate, least: float) -> tuple[list[int], list[int]]:
    """The questions that tell so much, those that may be put now and those that wait for the dead-check."""
    ready: list[int] = []
    waiting: list[int] = []
    for number in _that_tell(scores.gains, scores.ranked, least):
        (waiting if _held(number, scores.asked, gate) else ready).append(number)
    return ready, waiting


def sure(signatures: Signatures, probability: Table, role: Role) -> bool:
    """Whether one repair is as good as certain for what this role does next, *none of these* left out."""
    shares = signatures.by_repair(probability)[:-1]
    return bool(shares.max() >= sure_from(role) * shares.sum())


def sure_from(role: Role) -> float:
    """The probability from which a repair is as good as certain."""
    return SURE_ON_SITE if role == "technician" else SURE_FROM


def in_play(signatures: Signatures, probability: Table, least: float = IN_PLAY_FROM) -> Table:
    """The belief among the suspects worth telling apart, shape (H,), sums to 1.

    The long tail, and "none of these", would make any question look worth asking, however far from the complaint.
    """
    shares = signatures.by_group(probability)
    playing: Table = np.where((shares >= least * shares[:-1].max())[signatures.group], probability, 0)
    playing[-1] = 0
    playing /= playing.sum()
    return playing


@dataclass(frozen=True)
class _Scores:
    """Every question that may come, scored. ``ranked``: each card at its best place, by information a minute."""

    signatures: Signatures
    asked: Questions
    playing: Table
    gains: Table
    minutes: Table  # with any set-up not yet paid
    ranked: tuple[int, ...]
    saves: Mapping[int, float]
    gate: Gate

    def card(self, number: int) -> TestCard:
        return self.asked.asked[number].card

    def tests(self, numbers: Sequence[int]) -> list[NextTest]:
        """Some of the questions as tests, with what each answer would lead to."""
        outcomes = self._outcomes(numbers)
        return [
            NextTest(
                card=self.card(number),
                where=self.asked.asked[number].where,
                key=self.asked.asked[number].key,
                gain_bits=float(self.gains[number]),
                minutes=float(self.minutes[number]),
                outcomes=answers,
                saves=self.saves.get(number),
                from_memory=self.gate.from_memory(self.card(number)),
            )
            for number, answers in zip(numbers, outcomes, strict=True)
        ]

    def _outcomes(self, numbers: Sequence[int]) -> list[tuple[Outcome, ...]]:
        """Every answer to some questions, each with the faults it would leave in front, most likely first."""
        if not numbers:
            return []
        signatures = self.signatures
        playing = self.playing.nonzero()[0]
        playing = playing[signatures.group[playing].argsort(kind="stable")]
        group = signatures.group[playing]
        edges = np.concatenate([[0], (group[1:] != group[:-1]).nonzero()[0] + 1])
        leading = signatures.first[group[edges]].tolist()
        columns, _ = self.asked.columns_of(numbers)
        table = self.asked.cells(columns, playing) * self.playing[playing]
        joint = np.add.reduceat(table, edges, axis=1)
        marginal = joint.sum(axis=1)
        front: list[list[tuple[float, int]]] = [[] for _ in marginal]
        led = joint >= LEADS_TO_FROM * np.maximum(marginal, LEAST)[:, None]
        for column, g, share in zip(*(each.tolist() for each in led.nonzero()), joint[led].tolist(), strict=True):
            front[column].append((-share, leading[g]))
        chances, made, column = marginal.tolist(), [], 0
        for number in numbers:
            answers = []
            for word in signatures.book.facts[self.card(number).reads].values:
                before = front[column]
                ahead = sorted(before)[:3] if len(before) > 1 else before
                answers.append(Outcome(word, chances[column], tuple([first for _, first in ahead])))
                column += 1
            made.append(tuple(answers))
        return made


def _scored(
    signatures: Signatures,
    probability: Table,
    asked: Questions,
    gate: Gate,
    units: frozenset[str],
    least: float,
    most: int | None,
) -> _Scores:
    """Every question scored; of the best that tell at least so many bits it is worked out what they save.

    Those that pay come first and only ``most`` are listed: where so many pay, nothing is worked out of the others.
    What waits for the dead-check is what that is worth.
    """
    playing = in_play(signatures, probability)
    gains = asked.gains(playing, signatures.repair)
    minutes = _minutes(asked, gate)
    price = minutes + asked.surcharge
    listed = _ranked(asked, gains, price, gate, units)
    weighed = _that_tell(gains, listed[:MOST_WEIGHED], least)
    enough = len(weighed)
    if most is not None and not any(_held(number, asked, gate) for number in weighed):
        enough = most + MOST_LEADING
    savings = Savings(signatures, probability, asked, price)
    saved = savings.of(weighed[:enough])
    if len(weighed) > enough and min(saved) <= 0:  # one that pays may stand further down
        saved += savings.of(weighed[enough:])
    saves = dict(zip(weighed, saved, strict=False))
    return _Scores(signatures, asked, playing, gains, minutes, listed, saves, gate)


def _that_tell(gains: Table, numbers: Sequence[int], least: float) -> list[int]:
    """Those of some questions that tell at least so many bits."""
    told = gains.take(np.array(numbers, dtype=np.intp)).tolist()
    return [number for number, gain in zip(numbers, told, strict=True) if gain >= least]


def _held(number: int, asked: Questions, gate: Gate) -> bool:
    """Whether a question waits for the dead-check."""
    return number in asked.guarded and asked.tests[number] not in gate.allowed


def _minutes(asked: Questions, gate: Gate) -> Table:
    """What each question takes now, with its set-up if that is still to be made, shape (Q,)."""
    return (asked.recalled if gate.stopped and gate.recalls else asked.minutes) + _unpaid(asked, gate)


def _unpaid(asked: Questions, gate: Gate) -> Table:
    """Minutes of set-up that each question still asks for, shape (Q,)."""
    paid = [asked.set_up[name] for name in gate.paid if name in asked.set_up]
    if not paid:
        return asked.setup
    unpaid = asked.setup.copy()
    unpaid[np.concatenate(paid)] = 0.0
    return unpaid


def _told_apart(
    signatures: Signatures, probability: Table, asked: Questions, gate: Gate, units: frozenset[str]
) -> _Scores | None:
    """Every question scored by what it tells of the fault itself, whatever mends it; None if that is known."""
    shares = signatures.by_group(probability)[:-1]
    if shares.max() >= SURE_ON_SITE * shares.sum() and gate.measured:
        return None
    playing = in_play(signatures, probability, TOLD_APART_FROM)
    gains = asked.gains(playing, signatures.group)
    minutes = _minutes(asked, gate)
    listed = _ranked(asked, gains, minutes + asked.surcharge, gate, units, LEAST_TO_TELL_APART)
    return _Scores(signatures, asked, playing, gains, minutes, listed, {}, gate)


def _ranked(
    asked: Questions,
    gains: Table,
    price: Table,
    gate: Gate,
    units: frozenset[str],
    least: float = LEAST_TO_CONFIRM,
) -> tuple[int, ...]:
    """Questions that may come, by information a minute; each card once, at its best place."""
    may_come = _open(asked, gate, units) & (gains >= least)
    known = [asked.of_key[key] for key in gate.answered if key in asked.of_key]
    if known:
        may_come[np.concatenate(known)] = False
    coming = may_come.nonzero()[0]
    worth = (gains[coming] / price[coming]).round(12)
    coming = coming[(-worth).argsort(kind="stable")]
    ranked: dict[int, int] = {}
    for card, number in zip(asked.card_number[coming].tolist(), coming.tolist(), strict=True):
        if card not in ranked:
            ranked[card] = number
    return tuple(ranked.values())


def _open(asked: Questions, gate: Gate, units: frozenset[str]) -> Flags:
    """Which questions the gate lets through, what is known apart, shape (Q,); the same few gates come again."""
    entry = gate.role, gate.forbidden, gate.stopped, gate.recalls, gate.tools, units
    flags = asked.opened.get(entry)
    if flags is None:
        places = [one.where is None or one.where in units for one in asked.asked]
        flags = gate.may_come(asked.cards)[asked.card_number] & places
        if len(asked.opened) < MOST_GATES:
            asked.opened[entry] = flags
    return flags


class Savings:
    """Minutes by which asking a question lowers the expected cost of repair, its price taken off.

    Myopic: one answer, then repairs only. Negative: it costs more than it saves. ``price``: shape (Q,), minutes.
    """

    def __init__(self, signatures: Signatures, probability: Table, asked: Questions, price: Table) -> None:
        self.asked, self.price = asked, price
        shares = signatures.by_repair(probability)
        shares[-1] = 0  # none of these is nobody's repair
        kept = (-shares).argsort(kind="stable")[:MOST_REPAIRS]
        kept = kept[shares[kept] > 0]
        self.count, self.costs = len(kept), signatures.repair_costs[kept]
        place = np.full(len(shares), self.count)
        place[kept] = np.arange(self.count)
        # of each hypothesis, under its repair; the last is for the rest
        self.weights = np.zeros((len(probability), self.count + 1))
        self.weights[np.arange(len(probability)), place[signatures.repair]] = probability
        self.unasked = self.weights.sum(axis=0)[None]

    def of(self, numbers: Sequence[int]) -> list[float]:
        """What each of some questions saves."""
        if not len(numbers):
            return []
        columns, starts = self.asked.columns_of(numbers)
        joint = np.concatenate([self.unasked, self.asked.joint(columns, self.weights)])
        cost = expected_cost(joint[:, : self.count], self.costs, joint[:, self.count])
        after = np.add.reduceat(cost[1:], starts)
        chosen = np.array(numbers, dtype=np.intp)
        saved: list[float] = (self.asked.know[chosen] * (cost[0] - after) - self.price[chosen]).tolist()
        return saved


def _dead_check_first(scores: _Scores, waiting: Sequence[int], gate: Gate) -> list[NextTest]:
    """The dead-check, where tests that need it would tell something; without its tools none of them can be done."""
    if not waiting:
        return []
    card = scores.signatures.book.test_reading["dead_check"]
    if not gate.may_come([card])[0]:
        return []
    names = tuple(scores.card(number).test for number in waiting[:3])
    saves = max(scores.saves.get(number, 0.0) for number in waiting) - card.minutes
    gain = float(scores.gains[waiting[0]])
    return [NextTest(card, None, "dead_check", gain, card.minutes, opens=names, saves=saves)]


def _hazard_first(signatures: Signatures, gate: Gate) -> list[NextTest]:
    """The hazard question, until it has been answered as a whole; half an answer leaves the other half open."""
    if "hazard.any" in gate.answered or gate.stopped or gate.role == "technician":
        return []
    card = signatures.book.test_reading["hazard.any"]
    return [NextTest(card, None, "hazard.any", 0.0, card.minutes)]


def _wanted(signatures: Signatures, gate: Gate) -> list[NextTest]:
    """The first question that a rule wants asked, if it may be and has no answer yet."""
    for name, because in gate.asked:
        card = signatures.book.tests[name]
        if card.reads not in gate.answered and gate.may_come([card])[0] and not gate.waits(card):
            return [NextTest(card, None, card.reads, 0.0, card.minutes, because=because)]
    return []
