"""The next test: the one with most information a minute, among those that are allowed, safe and worth their minutes.

Gain is the expected fall in entropy of what must be done, in bits, less what "don't know" costs; the price is the
test's minutes with any set-up not yet paid and a surcharge for danger (information over cost: Johnson 1960). A test
pays if it lowers the expected cost of repair by more than it costs (Heckerman, Breese and Rommelse 1995); those that
pay come first. Information over cost can go badly wrong where a test tells next to nothing (Garey and Graham 1974), so
such tests are not scored at all.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from rules.belief.questions import Questions, questions
from rules.belief.repairs import expected_cost
from rules.belief.signatures import Signatures
from rules.belief.stack import Numbers, Table
from rules.bookkeeping.types import TestCard
from rules.terms import Role

LEAST_BITS = 0.05  # below this an answer changes nothing worth a question
LEAST_TO_CONFIRM = 0.002  # a technician's confirming measurement may tell little new
IN_PLAY_FROM = 0.03  # of the leading suspect's probability
SURE_FROM = 0.95  # no more questions once one repair has this probability
MOST_TESTS = 8
MOST_WEIGHED = 24  # tests of which the saving is worked out, the best by information a minute
MOST_REPAIRS = 40  # repairs told apart in the expected cost; the rest count as somebody else's
LEAST = 1e-300
LEADS_TO_FROM = 0.15  # an outcome "leads to" the faults that then have this probability
ROLE_ORDER: tuple[Role, ...] = ("caller", "desk", "technician")


@dataclass(frozen=True)
class Outcome:
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
    number: int | None = None  # among the questions of the role; None where the answer is no symptom

    @property
    def pays(self) -> bool:
        """Whether the answer is worth its minutes."""
        return self.saves is not None and self.saves > 0


@dataclass(frozen=True)
class Gate:
    """What may be asked: the role, what rules allow and forbid, whether a stop stands, what is known already.

    While a stop stands a caller is asked nothing, and a technician measures only what is proved dead. ``answered`` are
    keys that are known, or that this role was asked without being able to tell. ``paid`` are set-ups already made.
    ``tools`` are those at hand; None stands for all.
    """

    role: Role
    allowed: frozenset[str]
    forbidden: frozenset[str]
    stopped: bool
    answered: frozenset[str]
    measured: bool = False  # something has been measured
    paid: frozenset[str] = frozenset()
    tools: frozenset[str] | None = None

    def lets_through(self, card: TestCard) -> bool:
        """Whether this test may be shown now, its fact apart."""
        return self.may_come(card) and (not card.needs_permission or card.test in self.allowed)

    def may_come(self, card: TestCard) -> bool:
        """Whether this test may be shown once the dead-check has been done."""
        if ROLE_ORDER.index(card.who) > ROLE_ORDER.index(self.role) or card.test in self.forbidden:
            return False
        if self.stopped and (card.who != "technician" or card.energised or card.runs_appliance):
            return False
        return self.tools is None or self.tools.issuperset(card.tools)


def choose(
    signatures: Signatures, probability: Table, gate: Gate, places: Iterable[str], most: int | None = MOST_TESTS
) -> list[NextTest]:
    """The best tests, best first, each at its best place; none once one repair is as good as certain.

    Those that pay come first, then the others, each by information a minute: a person can always choose another. A
    technician who has measured nothing yet is shown what would confirm even a certain suspect.

    ``places``: units a question may be about. ``most``: None for all. Where hands-in tests wait for the dead-check,
    the dead-check comes in their place. For whoever takes a call the hazard question leads until it has been answered.
    """
    unmeasured = gate.role == "technician" and not gate.measured
    if sure(signatures, probability) and not unmeasured:
        return _hazard_first(signatures, gate)
    scores = _scored(signatures, probability, gate, frozenset(places))
    least = LEAST_TO_CONFIRM if unmeasured else LEAST_BITS
    waiting = scores.tests(lambda card: card.needs_permission and card.test not in gate.allowed, least)
    ready = scores.tests(gate.lets_through, least)
    ready.sort(key=lambda test: not test.pays)
    first = _dead_check_first(signatures, waiting) + _hazard_first(signatures, gate)
    led = {test.card.test for test in first}
    best = (first + [test for test in ready if test.card.test not in led])[:most]
    return [replace(test, outcomes=scores.outcomes(test)) for test in best]


def sure(signatures: Signatures, probability: Table) -> bool:
    """Whether one repair is as good as certain, *none of these* left out."""
    shares = signatures.by_repair(probability)[:-1]
    return bool(shares.max() >= SURE_FROM * shares.sum())


def in_play(signatures: Signatures, probability: Table) -> Table:
    """The belief among the suspects worth telling apart, shape (H,), sums to 1.

    The long tail, and "none of these", would make any question look worth asking, however far from the complaint.
    """
    shares = signatures.by_group(probability)
    playing: Table = np.where((shares >= IN_PLAY_FROM * shares[:-1].max())[signatures.group], probability, 0)
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

    def tests(self, among: Callable[[TestCard], bool], least: float) -> list[NextTest]:
        """The tests of some cards that gain at least so many bits, best first."""
        made = []
        for number in self.ranked:
            asked, gain = self.asked.asked[number], float(self.gains[number])
            if gain >= least and among(asked.card):
                minutes, saves = float(self.minutes[number]), self.saves.get(number)
                made.append(NextTest(asked.card, asked.where, asked.key, gain, minutes, saves=saves, number=number))
        return made

    def outcomes(self, test: NextTest) -> tuple[Outcome, ...]:
        """Every answer to a test; none where the answer is no symptom (the dead-check)."""
        if test.number is None:
            return ()
        table = self.asked.heard[:, self.asked.columns(test.number)]
        marginal = self.playing @ table
        outcomes = []
        for column, word in enumerate(self.signatures.book.facts[test.card.reads].values):
            after = self.playing * table[:, column]
            shares = self.signatures.by_group(after) / max(float(marginal[column]), LEAST)
            best = [int(g) for g in np.argsort(-shares, kind="stable")[:3] if shares[g] >= LEADS_TO_FROM]
            leading = tuple(int(self.signatures.first[g]) for g in best)
            outcomes.append(Outcome(word, float(marginal[column]), leading))
        return tuple(outcomes)


def _scored(signatures: Signatures, probability: Table, gate: Gate, units: frozenset[str]) -> _Scores:
    asked = questions(signatures, gate.role)
    playing = in_play(signatures, probability)
    gains = asked.gains(playing, signatures.repair)
    unpaid = asked.setup
    if gate.paid:
        unpaid = np.where([question.card.setup in gate.paid for question in asked.asked], 0.0, unpaid)
    price = asked.minutes + unpaid + asked.surcharge
    order = np.argsort(-np.round(gains / price, 12), kind="stable")
    ranked: dict[int, int] = {}
    may_come: dict[int, bool] = {}
    for number in map(int, order):
        question = asked.asked[number]
        if question.rank in ranked or question.key in gate.answered or gains[number] < LEAST_TO_CONFIRM:
            continue
        if question.where is not None and question.where not in units:
            continue
        if may_come.setdefault(question.rank, gate.may_come(question.card)):
            ranked[question.rank] = number
    listed = tuple(ranked.values())
    weighed = np.array(listed[:MOST_WEIGHED], dtype=np.intp)
    saves = dict(zip(map(int, weighed), savings(signatures, probability, asked, weighed, price), strict=True))
    return _Scores(signatures, asked, playing, gains, asked.minutes + unpaid, listed, saves)


def savings(
    signatures: Signatures, probability: Table, asked: Questions, numbers: Numbers, price: Table
) -> list[float]:
    """Minutes by which asking each of some questions lowers the expected cost of repair, its price taken off.

    Myopic: one answer, then repairs only. Negative: it costs more than it saves. ``price``: shape (Q,), minutes.
    """
    if not len(numbers):
        return []
    shares = signatures.by_repair(probability)
    shares[-1] = 0  # none of these is nobody's repair
    kept = np.argsort(-shares, kind="stable")[:MOST_REPAIRS]
    kept = kept[shares[kept] > 0]
    minutes = np.array([signatures.repairs[number].minutes for number in kept])
    slices = [asked.columns(int(number)) for number in numbers]
    table = np.concatenate([asked.heard[:, columns] for columns in slices], axis=1)
    starts = np.cumsum([0, *(columns.stop - columns.start for columns in slices[:-1])])
    place = np.full(len(signatures.repairs), -1)
    place[kept] = np.arange(len(kept))
    rows = np.flatnonzero(place[signatures.repair] >= 0)
    rows = rows[np.argsort(place[signatures.repair[rows]], kind="stable")]
    edges = np.flatnonzero(np.diff(place[signatures.repair[rows]], prepend=-1))
    joint = np.add.reduceat(probability[rows, None] * table[rows], edges, axis=0)
    rest = np.maximum(probability @ table - joint.sum(axis=0), 0.0)
    now = float(expected_cost(shares[kept][None, :], minutes, max(1 - float(shares[kept].sum()), 0.0))[0])
    after = np.add.reduceat(expected_cost(joint.T, minutes, rest), starts)
    saved = asked.know[numbers] * (now - after) - price[numbers]
    return [float(minute) for minute in saved]


def _dead_check_first(signatures: Signatures, waiting: Sequence[NextTest]) -> list[NextTest]:
    """The dead-check, where tests that need it would tell something."""
    if not waiting:
        return []
    card = next(c for c in signatures.book.tests.values() if c.reads == "dead_check")
    best = max((test.saves for test in waiting if test.saves is not None), default=0.0)
    names = tuple(test.card.test for test in waiting)[:3]
    saves = best - card.minutes
    return [NextTest(card, None, "dead_check", waiting[0].gain_bits, card.minutes, opens=names, saves=saves)]


def _hazard_first(signatures: Signatures, gate: Gate) -> list[NextTest]:
    """The hazard question, until it has been answered as a whole; half an answer leaves the other half open."""
    if "hazard.any" in gate.answered or gate.stopped or gate.role == "technician":
        return []
    card = next(c for c in signatures.book.tests.values() if c.reads == "hazard.any")
    return [NextTest(card, None, "hazard.any", 0.0, card.minutes)]
