"""Is a careful technician led to the fault? Walks through the answers, told the truth by a simulated appliance.

The walk starts from the complaint: the first thing out of the ordinary that a caller can see. Then the first test
offered is done, each time, and answered as the faulty appliance would answer it, until no test is left. Where the book
gives only probabilities (a noise, a smell), the likeliest word is the answer.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from rules.belief.signatures import Hypothesis, Signatures
from rules.bookkeeping.types import Appliance, Book, FactTerm
from rules.terms import DONT_KNOW, Fact, fact_key, fact_of, split_key
from rules.triage import Enquiry, Expert, expected_at, triage

MOST_STEPS = 600  # without a complaint everything is looked at once
DEAD_CHECK = "dead_check"


@dataclass(frozen=True)
class Walk:
    """One walk. ``answers``: fact keys and words in the order given; ``first``: the likeliest faults with their places
    at the end, all those that share the highest probability; ``led``: whether the true fault, or one that no test of
    the walk's appliance tells from it, is among them, or, where a stop has ended the measuring, among those that a
    reading establishes together or that the same repair mends; ``ruled_out``: whether the true fault was ever ruled
    out.
    """

    appliance: str
    hypothesis: Hypothesis
    answers: tuple[tuple[str, str], ...]
    first: tuple[str, ...]
    led: bool
    ruled_out: bool

    @property
    def name(self) -> str:
        """``appliance: fault@place, variant``."""
        return f"{self.appliance}: {named(self.hypothesis)}, variant {self.hypothesis.variant}"


def named(hypothesis: Hypothesis) -> str:
    """``fault`` or ``fault@place``."""
    return hypothesis.name + (f"@{hypothesis.where}" if hypothesis.where else "")


def walks(expert: Expert, appliance: Appliance) -> Iterator[Walk]:
    """A walk for every fault of the book at every place of the appliance, in every variant."""
    signatures = expert.signatures(appliance)
    for row, hypothesis in enumerate(signatures.hypotheses):
        if hypothesis.fault:
            yield walk(expert, appliance, row)


def walk(expert: Expert, appliance: Appliance, row: int) -> Walk:
    """Walk with the fault of one row of the appliance's signature table."""
    signatures = expert.signatures(appliance)
    hypothesis = signatures.hypotheses[row]
    truth = _Truth(expert.book, signatures, row)
    facts = [truth.fact(key) for key in truth.complaint()] or [truth.fact(DEAD_CHECK)]
    answers = [(fact.key, truth.word(fact.key)) for fact in facts]
    ruled_out = False
    for _ in range(MOST_STEPS):
        answer = triage(expert, Enquiry(facts=tuple(facts), appliance=appliance, role="technician", explain="off"))
        ruled_out |= any(
            c.standing == "ruled_out" and c.fault == hypothesis.name and c.where in (None, hypothesis.where)
            for c in answer.conclusions
        )
        if not answer.next_tests:
            break
        test = answer.next_tests[0]
        card = expert.book.tests[test.test]
        key = fact_key(card.reads, test.where or card.between, card.during)
        if key in dict(answers):
            break  # what is asked again can never be answered better
        facts.append(truth.fact(key))
        answers.append((key, truth.word(key)))
    standing = [c for c in answer.conclusions if c.standing != "ruled_out"]
    top = {
        (c.fault, c.where if c.where in appliance.positions else None)
        for c in standing
        if c.probability >= standing[0].probability - 1e-9
    }
    first = tuple(sorted(fault + (f"@{where}" if where else "") for fault, where in top))
    twins = [signatures.hypotheses[other] for other in _twins(expert.book, signatures, row)]
    led = any((twin.name, twin.where) in top or (twin.name, None) in top for twin in twins)
    if standing and answer.stop:
        led |= standing[0].standing == "established" and hypothesis.name in standing[0].not_told_apart
        mended = [signatures.hypotheses[other] for other in np.flatnonzero(signatures.repair == signatures.repair[row])]
        led |= any((other.name, other.where) in top for other in mended)
    return Walk(appliance.appliance, hypothesis, tuple(answers), first, led, ruled_out)


def _twins(book: Book, signatures: Signatures, row: int) -> list[int]:
    """Rows that every test of the book reads alike with this one, itself among them."""
    reads = {card.reads for card in book.tests.values()}
    keys = [key for key in signatures.tables if fact_of(key) in reads]
    alike = np.ones(len(signatures.hypotheses), dtype=bool)
    for key in keys:
        table = signatures.tables[key]
        alike &= np.abs(table - table[row]).max(axis=1) < 1e-9
    alike[-1] = False
    return [int(other) for other in np.flatnonzero(alike)]


@dataclass(frozen=True)
class _Truth:
    """The faulty appliance, asked."""

    book: Book
    signatures: Signatures
    row: int

    def word(self, key: str) -> str:
        """The likeliest word; a dead-check is always proved, and what no table speaks of is not known."""
        if key == DEAD_CHECK:
            return "proved"
        term = self.book.facts[fact_of(key)]
        table = self.signatures.tables.get(key)
        if table is None:
            return DONT_KNOW
        return list(term.values)[int(np.argmax(table[self.row]))]

    def complaint(self) -> list[str]:
        """The first thing out of the ordinary that a caller can tell, in the vocabulary's order; else nothing."""
        for key in self.signatures.tables:
            term = self.book.facts[fact_of(key)]
            if term.told_by != "technician" and self.word(key) != self.signatures.usual[key]:
                return [key]
        return []

    def fact(self, key: str) -> Fact:
        """The answer as a technician gives it: measured where it takes a meter, else said."""
        name, place, during = split_key(key)
        term = self.book.facts[name]
        word = self.word(key)
        value = word if term.kind == "choice" or word == DONT_KNOW else self._number(term, place, word)
        at_meter = term.place == "meter"
        return Fact(
            fact=name,
            value=value,
            where=None if at_meter else place,
            between=place if at_meter else None,
            during=during,
            source="technician",
            certainty="measured" if term.told_by == "technician" else "said",
        )

    def _number(self, term: FactTerm, place: str | None, word: str) -> float:
        """A number inside the band that the word names."""
        bands = term.bands_at(place if term.place == "meter" else None)
        low, high = bands.ranges[word]
        number = low * 2 + 1 if np.isinf(high) and low >= 0 else low if np.isinf(high) else (low + high) / 2
        if np.isinf(term.most or 0.0) and np.isinf(high):
            return float("inf")
        return number * expected_at(self.signatures, term.fact, place or "") if bands.relative else number
