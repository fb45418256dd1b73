"""Correct answers must never talk the true fault away, and one wrong answer must not take it off the list.

Answers here are correct by the ranker's own table: the point is the machinery, not the world.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rules.belief.signatures import Signatures
from rules.evaluating.people import Person, told
from rules.evaluating.ranking import Ask, Ranker, Table, Weighed, possible_words
from rules.evaluating.walking import Judge
from rules.terms import DONT_KNOW, Fact, Role, Source, fact_of

FLOOR = 1e-6
POSSIBLE_FROM = 0.05  # an answer this likely under a fault counts as a correct one
STRIDE = 1.7  # a random path is weighed whenever it has grown by this factor, and at its end
AMONG = 6  # answers, of which one is wrong


@dataclass(frozen=True)
class Probe:
    """How hard to look: answers deep and tests wide along what the ranker advises, and random orders of all tests."""

    depth: int = 4
    width: int = 2
    paths: int = 2
    wrong: int = 3


@dataclass(frozen=True)
class Sound:
    """What was found for one hypothesis. ``least``: the lowest belief in it after correct answers, and after which.

    ``kept``: of ``tried`` cases with one wrong answer, those in which it stayed in the list.
    """

    fault: str
    where: str | None
    prior: float
    least: float
    after: tuple[str, ...]
    at_stop: float
    weighed: int
    kept: int
    tried: int


def examine(ranker: Ranker, judge: Judge, number: int, probe: Probe, rng: np.random.Generator) -> Sound:
    """Examine one hypothesis of the table."""
    return _Examination(ranker, judge, number, rng).result(probe)


class _Examination:
    def __init__(self, ranker: Ranker, judge: Judge, number: int, rng: np.random.Generator) -> None:
        self.ranker, self.judge, self.number, self.rng = ranker, judge, number, rng
        hypothesis = ranker.signatures.hypotheses[number]
        self.truth = (hypothesis.name, hypothesis.where)
        self.least, self.after = 1.0, ()  # type: tuple[float, tuple[str, ...]]
        self.weighed = 0

    def result(self, probe: Probe) -> Sound:
        roles: tuple[Role, ...] = ("desk", "technician")
        stops = [self._along(self._complaint(), role, probe.depth, probe.width) for role in roles]
        for _ in range(probe.paths):
            self._random_path()
        kept = sum(self._one_wrong() for _ in range(probe.wrong))
        prior = self._belief(self.ranker.signatures, self.ranker.signatures.prior)
        name, where = self.truth
        return Sound(name, where, prior, self.least, self.after, min(stops), self.weighed, kept, probe.wrong)

    def _belief(self, signatures: Signatures, probability: Table) -> float:
        """Probability of the fault at its place, by itself."""
        fault = self.judge.grounds(signatures).fault
        shares = fault.shares(probability)
        return float(sum(shares[group] for group in fault.holding([self.truth])))

    # --- correct answers ------------------------------------------------------------------------------------------
    def _share(self, facts: Sequence[Fact]) -> tuple[Weighed, float]:
        weighed = self.ranker.weigh(facts)
        self.weighed += 1
        share = self._belief(weighed.belief.signatures, weighed.belief.probability)
        if share < self.least:
            self.least, self.after = share, tuple(f"{fact.key}={fact.value}" for fact in facts)
        return weighed, share

    def _along(self, facts: list[Fact], role: Role, depth: int, width: int) -> float:
        """Follow what is advised and every correct answer to it; give the belief at the end of the advised path."""
        weighed, share = self._share(facts)
        if not depth:
            return share
        gate = self.ranker.gate(weighed, role, frozenset())
        end = share
        for number, ask in enumerate(self.ranker.offered(weighed, gate, width)):
            ends = [
                self._along([*facts, *answered], role, depth - 1, max(width - 1, 1))
                for answered in self._correct(ask, role)
            ]
            if number == 0:
                end = min(ends)
        return end

    def _correct(self, ask: Ask, role: Role) -> list[list[Fact]]:
        if ask.card.reads == "dead_check":
            return [[Fact("dead_check", "proved", source="technician", certainty="measured")]]
        if ask.key not in self.ranker.signatures.tables:  # a question that a rule wants; no table says what is right
            return [[Fact(ask.key, DONT_KNOW, source="technician" if role == "technician" else "caller")]]
        return [[self._fact(ask.key, word, role)] for word in self._words(ask.key)]

    def _words(self, key: str) -> list[str]:
        """Words this hypothesis may show, likeliest first."""
        row = self.ranker.signatures.tables[key][self.number]
        words = list(self.ranker.book.facts[fact_of(key)].values)
        return [words[n] for n in np.argsort(-row, kind="stable") if row[n] >= POSSIBLE_FROM]

    def _fact(self, key: str, word: str, role: Role) -> Fact:
        source: Source = "technician" if role == "technician" else "caller"
        return told(self.ranker, key, Person({key: word}, frozenset(), frozenset(), source, 0.0))

    def _complaint(self) -> list[Fact]:
        """One odd thing this hypothesis shows a caller, if any."""
        odd = [key for key in self._callers() if self._words(key)[0] != self.ranker.signatures.usual[key]]
        if not odd:
            return []
        key = odd[int(self.rng.integers(len(odd)))]
        return [self._fact(key, self._words(key)[0], "caller")]

    def _callers(self) -> list[str]:
        facts = self.ranker.book.facts
        return [key for key in self.ranker.signatures.tables if facts[fact_of(key)].told_by != "technician"]

    def _random_path(self) -> None:
        """All that can be told and measured, correctly and in any order."""
        keys = list(self.ranker.signatures.tables)
        facts: list[Fact] = []
        due = float(self.rng.uniform(1, STRIDE))
        for step, number in enumerate(self.rng.permutation(len(keys)), start=1):
            words = self._words(keys[number])
            told_by = self.ranker.book.facts[fact_of(keys[number])].told_by
            facts.append(self._fact(keys[number], words[int(self.rng.integers(len(words)))], told_by))
            if step >= due or step == len(keys):
                self._share(facts)
                due = step * STRIDE

    # --- one wrong answer -----------------------------------------------------------------------------------------
    def _one_wrong(self) -> bool:
        """Whether the fault is still listed after its complaint, some correct answers and a wrong one by the caller."""
        facts = self._complaint()
        keys = [key for key in self._callers() if key not in {fact.key for fact in facts}]
        chosen = [keys[n] for n in self.rng.choice(len(keys), size=min(AMONG, len(keys)), replace=False)]
        for place, key in enumerate(chosen):
            right = self._words(key)
            words = list(possible_words(self.ranker.book.facts[fact_of(key)], key))
            wrong = [word for word in words if word not in right]
            word = str(self.rng.choice(wrong)) if place == 0 and wrong else right[0]
            facts.append(self._fact(key, word, "caller"))
        listed = self.ranker.listed(self.ranker.weigh(facts))
        return self.truth in listed or (self.truth[0], None) in listed
