"""The ranker under evaluation, through the same doors as :func:`rules.triage.triage`.

Everything this package knows of ``rules.belief`` and of the pipeline is in this module. Nothing is put into words
here, so that a step costs a millisecond or two.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from rules.answer import Conclusion
from rules.belief import posterior
from rules.belief.choosing import LEAST_BITS, SURE_ON_SITE, Gate, choose
from rules.belief.posterior import error_of
from rules.belief.questions import RECALL_MINUTES, questions
from rules.belief.repairs import ELSEWHERE, TRIAL_RUN
from rules.belief.signatures import Signatures
from rules.belief.stack import Table, mistakes, stack_up
from rules.bookkeeping.types import Book, FactTerm, TestCard
from rules.chaining import Chainer
from rules.concluding import conclude, settled
from rules.deciding import order_of, worth_asking
from rules.terms import Fact, Role, fact_key, fact_of, split_key
from rules.triage import Expert, Weighed, askable, expected_at, gate_of, weigh

__all__ = [
    "ELSEWHERE",
    "LEAST_BITS",
    "RECALL_MINUTES",
    "SURE_ON_SITE",
    "TRIAL_RUN",
    "Ask",
    "Ranker",
    "Table",
    "Weighed",
    "assuming",
    "cut_down",
    "error_of",
    "meter_points",
    "misled",
    "mistakes",
    "open_gate",
    "order_of",
    "possible_words",
    "ranker_for",
]


MOST_KEPT = 256  # weighed cases kept


@dataclass(frozen=True)
class Ask:
    """A test at a place, and the key it reads; put to memory only where a stop stands."""

    card: TestCard
    where: str | None
    key: str
    from_memory: bool = False


@dataclass(frozen=True)
class Ranker:
    """A book with its rules and the signature table of one appliance."""

    book: Book
    chainer: Chainer
    signatures: Signatures
    _kept: dict[tuple[Fact, ...], Weighed] = field(default_factory=dict, repr=False, compare=False)

    def weigh(self, facts: Sequence[Fact]) -> Weighed:
        """The case through rules and belief. Several walks through one case share what they have in common."""
        asked = tuple(facts)
        found = self._kept.get(asked)
        if found is None:
            if len(self._kept) >= MOST_KEPT:
                self._kept.clear()
            found = self._kept[asked] = weigh(self.book, self.chainer, self.signatures, facts)
        return found

    def expected(self, fact: str, place: str) -> float:
        """What a sound part reads, for bands that are relative to it."""
        return expected_at(self.signatures, fact, place)

    def gate(self, weighed: Weighed, role: Role, asked: frozenset[str]) -> Gate:
        """What may be asked; ``asked`` are keys that were asked in vain and are not asked again."""
        gate = gate_of(self.book, role, weighed.case, weighed.fired, stop=weighed.stop)
        return replace(gate, answered=gate.answered | asked)

    def advised(self, weighed: Weighed, gate: Gate, *, worth_it: bool) -> Ask | None:
        """What Coldleg would ask next. ``worth_it``: nothing once no test saves more than it costs, as its next step
        says; otherwise the first test of its list, as long as there is one."""
        if worth_it and gate.role == "technician" and settled(self.conclusions(weighed)):
            return None
        units = askable(weighed.case, self.signatures.appliance)
        return self.advised_at(weighed.belief.signatures, weighed.belief.probability, gate, units, worth_it=worth_it)

    def advised_at(
        self, signatures: Signatures, probability: Table, gate: Gate, units: Sequence[str], *, worth_it: bool
    ) -> Ask | None:
        """The same at a given belief."""
        chosen = choose(signatures, probability, gate, units)
        test = chosen[0] if chosen else None
        if worth_it:
            test, _ = worth_asking(chosen, gate.role, measured=gate.measured)
        return Ask(test.card, test.where, test.key, test.from_memory) if test is not None else None

    def offered(self, weighed: Weighed, gate: Gate, most: int) -> list[Ask]:
        """The first tests of the list."""
        units = askable(weighed.case, self.signatures.appliance)
        chosen = choose(weighed.belief.signatures, weighed.belief.probability, gate, units)
        return [Ask(test.card, test.where, test.key) for test in chosen[:most]]

    def listed(self, weighed: Weighed) -> set[tuple[str, str | None]]:
        """Faults and places that an answer would list; no place where nothing tells the places apart."""
        return {(conclusion.fault, conclusion.where) for conclusion in self.conclusions(weighed)}

    def conclusions(self, weighed: Weighed) -> tuple[Conclusion, ...]:
        """What an answer would list, without reasons."""
        return conclude(weighed.belief, weighed.case, weighed.fired, reasons=False, bits=False)

    def at_places(self, card: TestCard, units: Sequence[str]) -> list[Ask]:
        """A test at each place it can be done on this appliance; the dead-check reads no symptom and has its own."""
        if self.book.facts[card.reads].place == "surface":
            asks = [Ask(card, unit, fact_key(card.reads, unit)) for unit in units]
        else:
            asks = [Ask(card, None, fact_key(card.reads, card.between, card.during))]
        return [ask for ask in asks if ask.key in self.signatures.tables or card.reads == "dead_check"]

    def dead_check(self) -> Ask:
        """The test that opens the way to hands-in work."""
        card = next(card for card in self.book.tests.values() if card.reads == "dead_check")
        return Ask(card, None, "dead_check")

    def gains(self, signatures: Signatures, probability: Table) -> dict[str, float]:
        """What each of a technician's tests is expected to tell at a belief, bits, less what "don't know" costs."""
        asked = questions(signatures, "technician")
        gains = asked.gains(probability, signatures.repair)
        return {question.key: float(gain) for question, gain in zip(asked.asked, gains, strict=True)}

    def price(self, card: TestCard, paid: frozenset[str]) -> float:
        """Minutes of a test with its preparation, unless that is paid already."""
        setup = self.book.setups[card.setup].minutes if card.setup and card.setup not in paid else 0.0
        return card.minutes + setup


def possible_words(term: FactTerm, key: str) -> Collection[str]:
    """Words this key can have; between some meter points not every band of the fact exists."""
    return term.values if term.kind == "choice" else term.bands_at(meter_points(term, key)).ranges


def meter_points(term: FactTerm, key: str) -> str | None:
    return split_key(key)[1] if term.place == "meter" else None


def ranker_for(expert: Expert, configuration: str) -> Ranker:
    """The ranker on one of the book's configurations."""
    return Ranker(expert.book, expert.chainer, expert.signatures(expert.book.appliances[configuration]))


def open_gate(book: Book, answered: frozenset[str], paid: frozenset[str], *, measured: bool) -> Gate:
    """A technician's gate with everything allowed. ``measured``: nothing need be measured before a repair."""
    measured = measured or any(book.facts[fact_of(key)].told_by == "technician" for key in answered)
    return Gate("technician", frozenset(book.tests), frozenset(), False, answered, measured, paid)


def cut_down(signatures: Signatures, book: Book, rows: NDArray[np.intp], tables: dict[str, Table]) -> Signatures:
    """A signature table of some of the hypotheses and other tables; the last row must be *none of these*.

    The prior is left as it is, and not normalised.
    """
    _, first, group = np.unique(signatures.group[rows], return_index=True, return_inverse=True)
    order = np.argsort(first, kind="stable")
    place = np.empty_like(order)
    place[order] = np.arange(len(order))
    return Signatures(
        book=book,
        appliance=signatures.appliance,
        wiring=signatures.wiring,
        hypotheses=tuple(signatures.hypotheses[row] for row in rows),
        prior=signatures.prior[rows],
        stack=stack_up(tables, book.facts, signatures.usual),
        group=place[group].astype(np.intp),
        first=first[order].astype(np.intp),
    )


def misled(ranker: Ranker, prior: Table | None, book: Book | None) -> Ranker:
    """The ranker with another prior or other minutes than the true ones; nothing worked out before is kept."""
    signatures = ranker.signatures
    changed = replace(
        signatures, book=book or signatures.book, prior=signatures.prior if prior is None else prior, asked={}
    )
    return Ranker(book or ranker.book, ranker.chainer, changed)


@contextmanager
def assuming(caller_error: float | None) -> Iterator[None]:
    """Let the ranker assume another error of callers, for as long as the block runs (this process, one thread)."""
    kept = dict(posterior.ERROR)
    if caller_error is not None:
        posterior.ERROR.update(caller=caller_error, desk=caller_error)
    try:
        yield
    finally:
        posterior.ERROR.update(kept)
