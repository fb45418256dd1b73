"""From belief and firings to conclusions: what is listed, where it stands, and the reasons beside it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from rules.answer import Conclusion, FactBits, FaultAt, Reason
from rules.belief.posterior import Belief
from rules.belief.signatures import Hypothesis, Signatures
from rules.belief.stack import Table
from rules.bookkeeping.types import FactTerm, Rule
from rules.casefile import CaseFile, Statement
from rules.chaining import Firing
from rules.terms import UNNAMED, fact_of
from rules.wording import filled, value_words

LISTED_FROM = 0.01
ALWAYS_LISTED_FROM = 0.2
MOST_LISTED = 8
LIKELY_FROM = 0.5
GROUP_FROM = 0.5  # an established group must have this share of belief in known faults; else rule and circuit disagree
MEMBER_FROM = 0.05
FITS_FROM, AGAINST_TO = 0.5, 0.05  # how probable a word is under a fault, to be said to fit it, or to speak against
LEAST_BITS, TINY = -60.0, 1e-300
CIRCUIT = "circuit-model"


@dataclass(frozen=True)
class Fired:
    """A firing with its rule and the understood facts beneath it."""

    rule: Rule
    firing: Firing
    facts: tuple[int, ...]


@dataclass(frozen=True)
class _Group:
    """Hypotheses listed as one: the variants of a fault at a place, or at places that nothing tells apart."""

    members: tuple[int, ...]
    where: str | None
    probability: float
    apart: bool  # whether it is one place


def conclude(
    belief: Belief, case: CaseFile, fired: Sequence[Fired], *, reasons: bool = True, bits: bool = True
) -> tuple[Conclusion, ...]:
    """Conclusions, likeliest first; those a measurement ruled out come last and say so.

    ``reasons`` and ``bits`` leave these out where nobody reads them.
    """
    signatures = belief.signatures
    named_out = {name for entry in fired for name in entry.rule.rules_out}
    groups = _grouped(signatures, belief)
    established = _established(signatures, groups, fired)
    listed: list[tuple[_Group, str]] = []
    gone: list[tuple[_Group, str]] = []
    for group in groups:
        hypothesis = signatures.hypotheses[group.members[0]]
        out = not named_out.isdisjoint(one.name for one in hypothesis.both or (hypothesis,))
        out = out and any(_points(entry, "rules_out", hypothesis, (group.where,)) for entry in fired)
        if out and hypothesis.both:
            continue  # the one that stays is listed by itself
        if out and group.members[0] not in established:
            gone.append((group, "ruled_out"))
        elif len(listed) < MOST_LISTED and _worth_listing(signatures, group):
            standing = "established" if group.members[0] in established else "possible"
            if standing == "possible" and group.probability >= LIKELY_FROM:
                standing = "likely"
            listed.append((group, standing))
    writer = _Writer(belief, case, fired, reasons, bits)
    return tuple(
        writer.write(group, standing, established.get(group.members[0], ())) for group, standing in [*listed, *gone]
    )


def settled(conclusions: Sequence[Conclusion]) -> bool:
    """Whether a measurement has settled what it is: the first is established, and told apart from all others."""
    return any(c.standing == "established" and not c.not_told_apart for c in conclusions[:1])


def _worth_listing(signatures: Signatures, group: _Group) -> bool:
    """Whether what was said speaks for it; a fault that merely keeps its prior share is no conclusion."""
    if group.probability < LISTED_FROM:
        return False
    return group.probability >= ALWAYS_LISTED_FROM or group.probability > signatures.prior[list(group.members)].sum()


def _grouped(signatures: Signatures, belief: Belief) -> list[_Group]:
    """Faults at their places by falling probability; places of one fault with the same probability become one."""
    by_key: dict[tuple[str, float], list[int]] = {}
    shares = np.round(signatures.by_group(belief.probability), 9).tolist()
    for number, (first, share) in enumerate(zip(signatures.first[:-1].tolist(), shares, strict=False)):
        by_key.setdefault((signatures.hypotheses[first].name, share), []).append(number)
    groups = []
    for (_, share), numbers in by_key.items():
        members = tuple(sorted(m for number in numbers for m in signatures.members[number]))
        where = signatures.hypotheses[members[0]].where if len(numbers) == 1 else None
        groups.append(_Group(members, where, share * len(numbers), len(numbers) == 1))
    return sorted(groups, key=lambda group: (-round(group.probability, 9), group.members[0]))


def _points(fired: Fired, act: str, hypothesis: Hypothesis, places: Sequence[str | None]) -> bool:
    """Whether a firing says this of a hypothesis; of two faults at once, whether it says it of either."""
    if hypothesis.both:
        return any(_points(fired, act, one, (one.where,)) for one in hypothesis.both)
    named: tuple[str, ...] = getattr(fired.rule, act)
    if not named or hypothesis.name not in named:
        return False
    return hypothesis.where is None or fired.firing.where is None or fired.firing.where in places


def _established(
    signatures: Signatures, groups: Sequence[_Group], fired: Sequence[Fired]
) -> dict[int, tuple[str, ...]]:
    """Group's first member to the other faults that the establishing measurement cannot tell from it."""
    found: dict[int, tuple[str, ...]] = {}
    for entry in fired:
        if not entry.rule.establishes:
            continue
        inside = [
            group
            for group in groups
            if _points(entry, "establishes", signatures.hypotheses[group.members[0]], (group.where,))
            and (_both(signatures, group) or group.where == (entry.firing.where or group.where))
        ]
        known = sum(group.probability for group in groups)
        if sum(group.probability for group in inside) < GROUP_FROM * known:
            continue
        members = [group for group in inside if group.probability >= MEMBER_FROM and not _both(signatures, group)]
        names = [signatures.hypotheses[group.members[0]].name for group in members]
        for group, name in zip(members, names, strict=True):
            rest = tuple(other for other in names if other != name)
            already = found.get(group.members[0])
            found[group.members[0]] = rest if already is None else tuple(n for n in already if n in rest)
    return found


def _both(signatures: Signatures, group: _Group) -> tuple[Hypothesis, ...]:
    """The two faults, where a group is of two at once."""
    return signatures.hypotheses[group.members[0]].both


@dataclass(frozen=True)
class _Writer:
    """Writes conclusions with their reasons."""

    belief: Belief
    case: CaseFile
    fired: Sequence[Fired]
    with_reasons: bool
    with_bits: bool

    @property
    def signatures(self) -> Signatures:
        return self.belief.signatures

    @property
    def terms(self) -> Mapping[str, FactTerm]:
        return self.belief.signatures.book.facts

    @cached_property
    def values(self) -> Mapping[str, str]:
        """Every understood value in words, by key."""
        return {fact.key: value_words(fact, self.terms) for fact in self.case.understood}

    def write(self, group: _Group, standing: str, others: tuple[str, ...]) -> Conclusion:
        hypothesis = self.signatures.hypotheses[group.members[0]]
        fault = hypothesis.fault
        assert fault is not None  # none of these is never listed
        one, *rest = hypothesis.both or (hypothesis,)
        return Conclusion(
            fault=one.name,
            where=self.place(one.where) if group.apart else None,
            also=tuple(FaultAt(other.name, self.place(other.where) if group.apart else None) for other in rest),
            title=fault.title,
            probability=round(group.probability, 4),
            standing=standing,
            because=self.reasons(group, standing, fault.because) if self.with_reasons else (),
            parts=fault.parts_for(self.signatures.appliance),
            not_told_apart=others if standing == "established" else (),
            bits=_bits(self.belief, group) if self.with_bits else (),
        )

    def reasons(self, group: _Group, standing: str, because: str) -> tuple[Reason, ...]:
        """What the rules say of it, then what the circuit says."""
        hypothesis = self.signatures.hypotheses[group.members[0]]
        places = (group.where,) if group.where else self.signatures.appliance.positions
        acts = ("rules_out",) if standing == "ruled_out" else ("establishes", "points_to")
        made = [
            Reason(entry.rule.rule, filled(_sentence(entry.rule), self.values), entry.facts)
            for act in acts
            for entry in self.fired
            if _points(entry, act, hypothesis, places)
        ]
        if standing != "ruled_out":
            made.append(self.circuit_reason(group, because))
        return tuple(made)

    def place(self, where: str | None) -> str | None:
        """A unit as the caller speaks of it."""
        return UNNAMED if where is not None and where == self.case.unnamed_at else where

    def circuit_reason(self, group: _Group, because: str) -> Reason:
        """What the circuit says: the observations this fault would show, and those that speak against it."""
        fits, against = [], []
        for statement in self.case.statements:
            shares = [_share(self.signatures, statement, member, self.terms) for member in group.members]
            known = [share for share in shares if share is not None]
            if known and max(known) >= FITS_FROM:
                fits.append(statement.number)
            elif known and max(known) <= AGAINST_TO:
                against.append(statement.number)
        text = because
        if against:
            facts = (self.case.understood[number] for number in against)
            words = "; ".join(f"{self.terms[f.fact].title}: {value_words(f, self.terms)}" for f in facts)
            text += f" Against it speaks {words}."
        return Reason(CIRCUIT, text, tuple(fits))


def _sentence(rule: Rule) -> str:
    """A rule's reason, with what would make it wrong."""
    return rule.because + (f" Not when {rule.not_when}." if rule.not_when else "")


def _share(signatures: Signatures, statement: Statement, member: int, terms: Mapping[str, FactTerm]) -> float | None:
    """Probability that this hypothesis shows what the statement says; None if no table speaks of it."""
    share = None
    for key, word in statement.says:
        table = signatures.tables.get(key)
        if table is not None:
            column = list(terms[fact_of(key)].values).index(word)
            share = (1.0 if share is None else share) * float(table[member, column])
    return share


def _bits(belief: Belief, group: _Group) -> tuple[FactBits, ...]:
    """By how much each statement raises the odds of a conclusion beside all else that is known, strongest first.

    It is the difference between the log2 odds with the statement and without it.
    """
    here = np.zeros(len(belief.probability), dtype=bool)
    here[list(group.members)] = True
    rows = []
    for number, bits in sorted(belief.bits.items()):
        without = belief.probability * np.exp2(-np.maximum(bits, LEAST_BITS))
        gained = _log_odds(belief.probability, here) - _log_odds(without, here)
        rows.append(FactBits(number, round(gained, 2) + 0.0))
    return tuple(sorted(rows, key=lambda row: (-abs(row.bits), row.fact)))


def _log_odds(weights: Table, here: NDArray[np.bool_]) -> float:
    return float(np.log2(weights[here].sum() + TINY) - np.log2(weights[~here].sum() + TINY))
