"""From belief and firings to conclusions: what is listed, where it stands, and the reasons beside it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from rules.answer import Conclusion, FactBits, FaultAt, Reason
from rules.belief.posterior import Belief
from rules.belief.signatures import Hypothesis, Signatures
from rules.belief.stack import Table
from rules.bookkeeping.types import FactTerm, Rule
from rules.casefile import CaseFile
from rules.chaining import Firing
from rules.terms import UNNAMED
from rules.wording import filled, value_words

LISTED_FROM = 0.01
ALWAYS_LISTED_FROM = 0.2
MOST_LISTED = 8
LIKELY_FROM = 0.5
GROUP_FROM = 0.5  # an established group must have this share of belief in known faults; else rule and circuit disagree
MEMBER_FROM = 0.05
FITS_FROM, AGAINST_TO = 0.5, 0.05  # how probable a word is under a fault, to be said to fit it, or to speak against
ROUNDING = 1e-8  # more than the rounding of probabilities in comparisons
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
    naming = [names for e in fired for names in (e.rule.establishes, e.rule.rules_out) if names]
    groups = _Groups(signatures, belief.probability, naming)
    established = _established(groups, fired)
    out = _ruled_out(groups, fired)
    listed: list[tuple[_Group, str]] = []
    for rank in groups.listed:
        if len(listed) == MOST_LISTED:
            break
        if rank in out and rank not in established:
            continue
        group = groups[rank]
        if _worth_listing(signatures, group):
            standing = "established" if rank in established else "possible"
            if standing == "possible" and group.probability >= LIKELY_FROM:
                standing = "likely"
            listed.append((group, standing))
    gone = [(groups[rank], "ruled_out") for rank in sorted(out) if rank not in established and not groups.of_two(rank)]
    told_apart = {groups[rank].members[0]: others for rank, others in established.items()}
    writer = _Writer(belief, case, fired, reasons, bits)
    return tuple(
        writer.write(group, standing, told_apart.get(group.members[0], ())) for group, standing in [*listed, *gone]
    )


def settled(conclusions: Sequence[Conclusion]) -> bool:
    """Whether a measurement has settled what it is: the first is established, and told apart from all others."""
    return any(c.standing == "established" and not c.not_told_apart for c in conclusions[:1])


def _worth_listing(signatures: Signatures, group: _Group) -> bool:
    """Whether what was said speaks for it; a fault that merely keeps its prior share is no conclusion."""
    if group.probability < LISTED_FROM:
        return False
    return group.probability >= ALWAYS_LISTED_FROM or group.probability > signatures.prior_of(group.members)


class _Groups:
    """Faults at their places by falling probability; places of one fault with the same probability are one group.

    Most are so unlikely that nothing is said of them: only those that may be listed, and those that rules name with
    ``naming``, are here. They are numbered by their rank.
    """

    def __init__(self, signatures: Signatures, probability: Table, naming: Iterable[tuple[str, ...]]) -> None:
        self.signatures = signatures
        shares, names = signatures.by_group(probability)[:-1], signatures.name_of_group
        kept = shares >= LISTED_FROM / signatures.most_places - ROUNDING
        for faults in naming:
            kept |= signatures.faults_with(faults)[names]
        numbers = kept.nonzero()[0]
        alike: dict[tuple[int, float], list[int]] = {}
        entries = zip(names[numbers].tolist(), shares[numbers].round(9).tolist(), numbers.tolist(), strict=True)
        for name, share, number in entries:
            alike.setdefault((name, share), []).append(number)
        ranked = sorted(
            [
                (-round(share * len(same), 9), int(signatures.first[same[0]]), name, share * len(same), same)
                for (name, share), same in alike.items()
            ]
        )
        self.sum = float(shares.sum())
        self.first, self.names = [entry[1] for entry in ranked], [entry[2] for entry in ranked]
        self.probability = [entry[3] for entry in ranked]
        self._same = [entry[4] for entry in ranked]
        self._made: dict[int, _Group] = {}

    @property
    def listed(self) -> range:
        """Those likely enough to be listed."""
        most = next((rank for rank, share in enumerate(self.probability) if share < LISTED_FROM), len(self.probability))
        return range(most)

    def of_two(self, rank: int) -> bool:
        """Whether it is of two faults at once."""
        return bool(self.signatures.hypotheses[self.first[rank]].both)

    def that_name(self, faults: tuple[str, ...]) -> list[int]:
        """Those of some faults, or of one of them and another at once, likeliest first."""
        return self.signatures.faults_with(faults)[self.names].nonzero()[0].tolist()

    def __getitem__(self, rank: int) -> _Group:
        made = self._made.get(rank)
        if made is None:
            numbers, of = self._same[rank], self.signatures.members
            members = of[numbers[0]]
            if len(numbers) > 1:
                members = tuple(sorted([member for number in numbers for member in of[number]]))
            where = self.signatures.hypotheses[members[0]].where if len(numbers) == 1 else None
            made = self._made[rank] = _Group(members, where, self.probability[rank], len(numbers) == 1)
        return made


def _ruled_out(groups: _Groups, fired: Sequence[Fired]) -> set[int]:
    return {
        rank
        for entry in fired
        if entry.rule.rules_out
        for rank in groups.that_name(entry.rule.rules_out)
        if _points(entry, "rules_out", _leader(groups, rank), (groups[rank].where,))
    }


def _leader(groups: _Groups, rank: int) -> Hypothesis:
    leader: Hypothesis = groups.signatures.hypotheses[groups.first[rank]]
    return leader


def _points(fired: Fired, act: str, hypothesis: Hypothesis, places: Sequence[str | None]) -> bool:
    """Whether a firing says this of a hypothesis; of two faults at once, whether it says it of either."""
    if hypothesis.both:
        return any(_points(fired, act, one, (one.where,)) for one in hypothesis.both)
    named: tuple[str, ...] = getattr(fired.rule, act)
    if not named or hypothesis.name not in named:
        return False
    return hypothesis.where is None or fired.firing.where is None or fired.firing.where in places


def _established(groups: _Groups, fired: Sequence[Fired]) -> dict[int, tuple[str, ...]]:
    """Rank of each group established, to the other faults that the measurement cannot tell from it."""
    found: dict[int, tuple[str, ...]] = {}
    for entry in fired:
        if not entry.rule.establishes:
            continue
        inside = [
            rank
            for rank in groups.that_name(entry.rule.establishes)
            if _points(entry, "establishes", _leader(groups, rank), (groups[rank].where,))
            and (groups.of_two(rank) or groups[rank].where == (entry.firing.where or groups[rank].where))
        ]
        if sum(groups.probability[rank] for rank in inside) < GROUP_FROM * groups.sum:
            continue
        members = [r for r in inside if groups.probability[r] >= MEMBER_FROM and not groups.of_two(r)]
        names = [_leader(groups, rank).name for rank in members]
        for rank, name in zip(members, names, strict=True):
            rest = tuple(other for other in names if other != name)
            already = found.get(rank)
            found[rank] = rest if already is None else tuple(n for n in already if n in rest)
    return found


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
        made = [reason for act in acts for entry, reason in self.given[act] if _points(entry, act, hypothesis, places)]
        if standing != "ruled_out":
            made.append(self.circuit_reason(group, because))
        return tuple(made)

    @cached_property
    def given(self) -> Mapping[str, Sequence[tuple[Fired, Reason]]]:
        """What the rules that fired say, by what they do to the faults they name."""
        return {
            act: [
                (entry, Reason(entry.rule.rule, filled(_sentence(entry.rule), self.values), entry.facts))
                for entry in self.fired
                if getattr(entry.rule, act)
            ]
            for act in ("establishes", "points_to", "rules_out")
        }

    def place(self, where: str | None) -> str | None:
        """A unit as the caller speaks of it."""
        return UNNAMED if where is not None and where == self.case.unnamed_at else where

    @cached_property
    def said(self) -> tuple[Sequence[int], Table]:
        """The statements that a table speaks of, by number, and how often each hypothesis shows what they say.

        The table has shape (H, statements).
        """
        stack, numbers, shown = self.signatures.stack, [], []
        for statement in self.case.statements:
            rows = [stack.row(key, word) for key, word in statement.says if key in stack.spans]
            if rows:
                numbers.append(statement.number)
                shown.append(stack.shown(rows))
        return numbers, np.array(shown).T

    @cached_property
    def told(self) -> Sequence[str]:
        """Everything understood, each in words with what it is about."""
        return [f"{self.terms[f.fact].title}: {value_words(f, self.terms)}" for f in self.case.understood]

    def circuit_reason(self, group: _Group, because: str) -> Reason:
        """What the circuit says: the observations this fault would show, and those that speak against it."""
        fits, against = [], []
        numbers, table = self.said
        shows = [table[member].tolist() for member in group.members] if numbers else [[]]
        most = shows[0] if len(shows) == 1 else [max(each) for each in zip(*shows, strict=True)]
        for number, shown in zip(numbers, most, strict=True):
            if shown >= FITS_FROM:
                fits.append(number)
            elif shown <= AGAINST_TO:
                against.append(number)
        text = because
        if against:
            text += f" Against it speaks {'; '.join([self.told[number] for number in against])}."
        return Reason(CIRCUIT, text, tuple(fits))


def _sentence(rule: Rule) -> str:
    """A rule's reason, with what would make it wrong."""
    return rule.because + (f" Not when {rule.not_when}." if rule.not_when else "")


def _bits(belief: Belief, group: _Group) -> tuple[FactBits, ...]:
    """By how much each statement raises the odds of a conclusion beside all else that is known, strongest first.

    It is the difference between the log2 odds with the statement and without it.
    """
    here = np.zeros(len(belief.probability), dtype=bool)
    here[list(group.members)] = True
    rows = []
    for number, bits in zip(belief.numbers, belief.bits, strict=True):
        without = belief.probability * np.exp2(-np.maximum(bits, LEAST_BITS))
        gained = _log_odds(belief.probability, here) - _log_odds(without, here)
        rows.append(FactBits(number, round(gained, 2) + 0.0))
    return tuple(sorted(rows, key=lambda row: (-abs(row.bits), row.fact)))


def _log_odds(weights: Table, here: NDArray[np.bool_]) -> float:
    return float(np.log2(weights[here].sum() + TINY) - np.log2(weights[~here].sum() + TINY))
