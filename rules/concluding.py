"""From belief and firings to conclusions: what is listed, where it stands, and the reasons beside it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from rules.answer import Conclusion, FactBits, Reason
from rules.belief.posterior import Belief
from rules.belief.signatures import Hypothesis, Signatures
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
CIRCUIT = "circuit-model"


@dataclass(frozen=True)
class Fired:
    """A firing with its rule and the understood facts beneath it."""

    rule: Rule
    firing: Firing
    facts: tuple[int, ...]


@dataclass(frozen=True)
class _Group:
    """Hypotheses listed as one: the places of a fault that nothing tells apart."""

    members: tuple[int, ...]
    where: str | None
    probability: float


def conclude(
    signatures: Signatures, belief: Belief, case: CaseFile, fired: Sequence[Fired], terms: Mapping[str, FactTerm]
) -> tuple[Conclusion, ...]:
    """Conclusions, likeliest first; those a measurement ruled out come last and say so."""
    groups = _grouped(signatures, belief)
    established = _established(signatures, groups, fired)
    listed: list[tuple[_Group, str]] = []
    gone: list[tuple[_Group, str]] = []
    for group in groups:
        hypothesis = signatures.hypotheses[group.members[0]]
        out = _acts(hypothesis, group, fired, "rules_out")
        if out and group.members[0] not in established:
            gone.append((group, "ruled_out"))
        elif len(listed) < MOST_LISTED and _worth_listing(signatures, group):
            standing = "established" if group.members[0] in established else "possible"
            if standing == "possible" and group.probability >= LIKELY_FROM:
                standing = "likely"
            listed.append((group, standing))
    writer = _Writer(signatures, belief, case, fired, terms)
    return tuple(
        writer.write(group, standing, established.get(group.members[0], ())) for group, standing in [*listed, *gone]
    )


def _worth_listing(signatures: Signatures, group: _Group) -> bool:
    """Whether what was said speaks for it; a fault that merely keeps its prior share is no conclusion."""
    prior = float(signatures.prior[list(group.members)].sum())
    return group.probability >= ALWAYS_LISTED_FROM or (group.probability >= LISTED_FROM and group.probability > prior)


def _grouped(signatures: Signatures, belief: Belief) -> list[_Group]:
    """Faults at their places by falling probability; places of one fault with the same probability become one."""
    by_key: dict[tuple[str, float], list[int]] = {}
    for number, share in enumerate(signatures.by_group(belief.probability)):
        hypothesis = signatures.hypotheses[signatures.first[number]]
        if hypothesis.fault is not None:
            by_key.setdefault((hypothesis.name, round(float(share), 9)), []).append(number)
    groups = []
    for numbers in by_key.values():
        members = np.sort(np.concatenate([signatures.members[number] for number in numbers]))
        where = signatures.hypotheses[members[0]].where if len(numbers) == 1 else None
        probability = float(belief.probability[members].sum())
        groups.append(_Group(tuple(int(member) for member in members), where, probability))
    return sorted(groups, key=lambda group: (-round(group.probability, 9), group.members[0]))


def _points(fired: Fired, act: str, hypothesis: Hypothesis, places: Sequence[str | None]) -> bool:
    named: tuple[str, ...] = getattr(fired.rule, act)
    if hypothesis.name not in named:
        return False
    return hypothesis.where is None or fired.firing.where is None or fired.firing.where in places


def _acts(hypothesis: Hypothesis, group: _Group, fired: Sequence[Fired], act: str) -> bool:
    return any(_points(entry, act, hypothesis, (group.where,)) for entry in fired)


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
            and group.where == (entry.firing.where or group.where)
        ]
        known = sum(group.probability for group in groups)
        if sum(group.probability for group in inside) < GROUP_FROM * known:
            continue
        members = [group for group in inside if group.probability >= MEMBER_FROM]
        names = [signatures.hypotheses[group.members[0]].name for group in members]
        for group, name in zip(members, names, strict=True):
            rest = tuple(other for other in names if other != name)
            already = found.get(group.members[0])
            found[group.members[0]] = rest if already is None else tuple(n for n in already if n in rest)
    return found


@dataclass(frozen=True)
class _Writer:
    """Writes conclusions with their reasons."""

    signatures: Signatures
    belief: Belief
    case: CaseFile
    fired: Sequence[Fired]
    terms: Mapping[str, FactTerm]

    def write(self, group: _Group, standing: str, others: tuple[str, ...]) -> Conclusion:
        hypothesis = self.signatures.hypotheses[group.members[0]]
        fault = hypothesis.fault
        assert fault is not None  # none of these is never listed
        places = (group.where,) if group.where else self.signatures.appliance.positions
        values = {fact.key: value_words(fact, self.terms) for fact in self.case.understood}
        acts = ("rules_out",) if standing == "ruled_out" else ("establishes", "points_to")
        reasons = [
            Reason(entry.rule.rule, filled(_sentence(entry.rule), values), entry.facts)
            for act in acts
            for entry in self.fired
            if _points(entry, act, hypothesis, places)
        ]
        if standing != "ruled_out":
            reasons.append(self.circuit_reason(group, fault.because))
        unnamed = self.case.unnamed_at is not None and hypothesis.where == self.case.unnamed_at
        return Conclusion(
            fault=hypothesis.name,
            where=UNNAMED if unnamed else group.where,
            title=fault.title,
            probability=round(group.probability, 4),
            standing=standing,
            because=tuple(reasons),
            parts=fault.parts_for(self.signatures.appliance),
            not_told_apart=others if standing == "established" else (),
            bits=_bits(self.belief, group),
        )

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
    """Log2 of the statement's likelihood here over its average under the belief, strongest first."""
    members = list(group.members)
    weights = belief.probability[members] / belief.probability[members].sum()
    rows = []
    for number, bits in sorted(belief.bits.items()):
        average = float(np.log2(belief.probability @ np.exp2(bits)))
        here = float(np.log2(weights @ np.exp2(bits[members])))
        rows.append(FactBits(number, round(here - average, 2) + 0.0))
    return tuple(sorted(rows, key=lambda row: (-abs(row.bits), row.fact)))
