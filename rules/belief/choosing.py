"""The next test: the one with most information a minute, among those that are allowed and safe.

Gain is the expected fall in entropy of the belief, in bits, less what "don't know" costs; the price is the test's
minutes with any preparation not yet paid (method of Johnson 1960: information over cost).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from rules.belief.posterior import error_of, heard
from rules.belief.signatures import Signatures, Table
from rules.bookkeeping.types import Book, TestCard
from rules.terms import Role, fact_key

LEAST_BITS = 0.05  # below this an answer changes nothing worth a question
LEAST_TO_CONFIRM = 0.002  # a technician's confirming measurement may tell little new
IN_PLAY_FROM = 0.03  # of the leading suspect's probability
SURE_FROM = 0.95  # no more questions once one fault has this probability
MOST_TESTS = 8
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
    """A test at a place, with its gain in bits and what each outcome would mean."""

    card: TestCard
    where: str | None
    key: str
    gain_bits: float
    minutes: float
    outcomes: tuple[Outcome, ...]
    opens: tuple[str, ...] = ()  # tests that wait for this one


@dataclass(frozen=True)
class Gate:
    """What may be asked: the role, what rules allow and forbid, whether a stop stands, what is known already.

    While a stop stands a caller is asked nothing, and a technician measures only what is proved dead.
    """

    role: Role
    allowed: frozenset[str]
    forbidden: frozenset[str]
    stopped: bool
    answered: frozenset[str]
    measured: bool = False  # something has been measured

    def lets_through(self, card: TestCard) -> bool:
        """Whether this test may be shown now, its fact apart."""
        if ROLE_ORDER.index(card.who) > ROLE_ORDER.index(self.role) or card.test in self.forbidden:
            return False
        if self.stopped and (card.who != "technician" or card.energised or card.runs_appliance):
            return False
        return not card.needs_permission or card.test in self.allowed


def choose(book: Book, signatures: Signatures, probability: Table, gate: Gate, places: Iterable[str]) -> list[NextTest]:
    """The best tests, best first, each at its best place; none once one fault is as good as certain.

    A technician who has measured nothing yet is shown what would confirm even a certain suspect.

    ``places``: units a question may be about. Where hands-in tests wait for the dead-check, the dead-check comes in
    their place. For whoever takes a call the hazard question leads the list until it has been answered.
    """
    units = tuple(places)
    unmeasured = gate.role == "technician" and not gate.measured
    shares = signatures.by_group(probability)[:-1]
    if shares.max() >= SURE_FROM * shares.sum() and not unmeasured:
        return _hazard_first(book, gate)
    probability = _in_play(signatures, probability)
    least = LEAST_TO_CONFIRM if unmeasured else LEAST_BITS
    scored = []
    for card in book.tests.values():
        if gate.lets_through(card):
            scored.extend(_scored(book, signatures, probability, card, gate, units))
    scored.sort(
        key=lambda test: (-test.gain_bits / test.minutes, list(book.tests).index(test.card.test), test.where or "")
    )
    first = _dead_check_first(book, signatures, probability, gate, units, least) + _hazard_first(book, gate)
    chosen = {test.card.test: test for test in first}
    for test in scored:
        if test.gain_bits >= least:
            chosen.setdefault(test.card.test, test)
    best = list(chosen.values())[:MOST_TESTS]
    return [replace(test, outcomes=_outcomes(book, signatures, probability, test, gate.role)) for test in best]


def _in_play(signatures: Signatures, probability: Table) -> Table:
    """The belief among the suspects worth telling apart.

    The long tail, and "none of these", would make any question look worth asking, however far from the complaint.
    """
    shares = signatures.by_group(probability)[signatures.group]
    kept = np.where(shares >= IN_PLAY_FROM * shares[:-1].max(), probability, 0)
    kept[-1] = 0
    playing: Table = kept / kept.sum()
    return playing


def _keys(card: TestCard, book: Book, units: tuple[str, ...]) -> list[tuple[str | None, str]]:
    if book.facts[card.reads].place == "surface":
        return [(unit, fact_key(card.reads, unit)) for unit in units]
    return [(None, fact_key(card.reads, card.between, card.during))]


def _scored(
    book: Book, signatures: Signatures, probability: Table, card: TestCard, gate: Gate, units: tuple[str, ...]
) -> list[NextTest]:
    minutes = card.minutes + (book.setups[card.setup].minutes if card.setup else 0)
    found = []
    for where, key in _keys(card, book, units):
        if key not in gate.answered and key in signatures.tables:
            gain = information(_heard(book, signatures, card, key, gate.role), probability) * (1 - card.dont_know)
            found.append(NextTest(card, where, key, gain, minutes, ()))
    return found


def _heard(book: Book, signatures: Signatures, card: TestCard, key: str, role: Role) -> Table:
    """What this role would hear or read under each hypothesis, mistakes included."""
    certainty = "measured" if card.who == "technician" else "said"
    error = error_of("technician" if role == "technician" else "caller", certainty)
    return heard(signatures.tables[key], book.facts[card.reads], signatures.usual.get(key), error)


def information(table: Table, probability: Table) -> float:
    """Expected fall in entropy from one answer, bits; never below 0. ``table``: (H, K)."""
    marginal = probability @ table
    return max(0.0, _entropy(marginal) - float(probability @ _row_entropy(table)))


def _entropy(p: Table) -> float:
    positive = p[p > 0]
    return float(-(positive * np.log2(positive)).sum())


def _row_entropy(table: Table) -> Table:
    rows: Table = -(table * np.log2(np.where(table > 0, table, 1))).sum(axis=1)
    return rows


def _outcomes(
    book: Book, signatures: Signatures, probability: Table, test: NextTest, role: Role
) -> tuple[Outcome, ...]:
    """Every answer to a chosen test; none where the answer is no symptom (the dead-check)."""
    if test.key not in signatures.tables or not test.gain_bits or test.opens:
        return ()
    table = _heard(book, signatures, test.card, test.key, role)
    marginal = probability @ table
    outcomes = []
    for column, word in enumerate(book.facts[test.card.reads].values):
        after = probability * table[:, column]
        after = after / after.sum() if after.sum() > 0 else probability
        shares = signatures.by_group(after)
        best = [int(g) for g in np.argsort(-shares, kind="stable")[:3] if shares[g] >= LEADS_TO_FROM]
        leading = [int(signatures.first[g]) for g in best]
        outcomes.append(Outcome(word, float(marginal[column]), tuple(leading)))
    return tuple(outcomes)


def _dead_check_first(
    book: Book, signatures: Signatures, probability: Table, gate: Gate, units: tuple[str, ...], least: float
) -> list[NextTest]:
    """The dead-check, where tests that need it would tell something."""
    opened = replace(gate, allowed=frozenset(book.tests))
    waiting = [
        c for c in book.tests.values() if c.needs_permission and c.test not in gate.allowed and opened.lets_through(c)
    ]
    best = [
        t for c in waiting for t in _scored(book, signatures, probability, c, opened, units) if t.gain_bits >= least
    ]
    best.sort(key=lambda t: (-t.gain_bits / t.minutes, t.card.test))
    if not best:
        return []
    card = next(c for c in book.tests.values() if c.reads == "dead_check")
    names = tuple(dict.fromkeys(test.card.test for test in best))[:3]
    return [NextTest(card, None, "dead_check", best[0].gain_bits, card.minutes, (), names)]


def _hazard_first(book: Book, gate: Gate) -> list[NextTest]:
    """The hazard question, until it has been answered as a whole; half an answer leaves the other half open."""
    if "hazard.any" in gate.answered or gate.stopped or gate.role == "technician":
        return []
    card = next(c for c in book.tests.values() if c.reads == "hazard.any")
    return [NextTest(card, None, "hazard.any", 0.0, card.minutes, ())]
