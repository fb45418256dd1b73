"""What a visit needs: whether, how soon, who, how long, which parts, and what the customer is told meanwhile."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from rules.answer import LoadPart, StopNow, VisitPlan
from rules.belief.signatures import TRAITS, Flags, Signatures
from rules.belief.stack import Numbers, Table
from rules.bookkeeping.types import Fault, VisitNeed
from rules.visit.loading import load, needs_of

URGENCIES = TRAITS["urgency"]
LIMITS = TRAITS["limit"]  # what must stay off meanwhile, strictest first
NEEDED_FROM = 0.5  # share of belief in faults the customer cannot mend alone
NEEDED_IF_GRAVE_FROM = 0.2
COUNTS_FROM = 0.2  # a fault this likely has a say in urgency and in what the customer is told
COVERS = 0.8  # minutes cover the likeliest faults up to this share
MOST_TOLD = 3


def plan(
    signatures: Signatures,
    probability: Table,
    stop: StopNow | None,
    needs: Sequence[VisitNeed],
    informed: bool,
    *,
    in_scope: bool = True,
) -> VisitPlan:
    """Plan the visit from the belief. Without anything unusual to go by nothing is planned but a stop.

    Out of scope a stop still sends somebody, but nothing is guessed about parts or time. A rule that only has something
    to tell the customer sends nobody.
    """
    asked_for = any(need.skill or need.urgency for need in needs)
    if not in_scope or not (informed or stop or asked_for):
        if stop is None:
            told = tuple(dict.fromkeys(need.tell for need in needs if need.tell and in_scope))[:MOST_TOLD]
            return VisitPlan(None, "none", "customer", (0, 0), (), (), 0.0, told)
        return VisitPlan(True, "now", stop.refer_to, (0, 0), (), (), 0.0, (stop.say,))
    faults = _Suspects.of(signatures, probability)
    wanted = next((need.skill for need in needs if need.skill), None)
    needed = stop is not None or wanted is not None or _cannot_wait(faults)
    urgency = _urgency(faults, stop, needs) if needed else "none"
    skill = _skill(faults, stop, wanted) if needed else "customer"
    minutes = _minutes(faults, ~faults.home if needed else faults.home)
    tell = _tell(faults, stop, needs)
    if not needed:
        return VisitPlan(False, urgency, skill, minutes, (), (), 0.0, tell)
    van = next(iter(signatures.book.vans.values()))
    loaded = load(needs_of(signatures, probability, skill), signatures.book.parts, van)
    aboard, left = (tuple(LoadPart(p, round(loaded.used[p], 4)) for p in ps) for ps in (loaded.parts, loaded.left))
    return VisitPlan(True, urgency, skill, minutes, aboard, left, round(loaded.fix, 4), tell)


@dataclass(frozen=True)
class _Suspects:
    """Faults with their places and variants added up, likeliest first; ties in the book's order. All arrays alike."""

    faults: tuple[Fault, ...]
    number: Numbers  # in ``faults``
    share: Table
    traits: Mapping[str, Numbers]  # numbers in signatures.TRAITS
    home: Flags  # what the customer can mend

    @classmethod
    def of(cls, signatures: Signatures, probability: Table) -> _Suspects:
        shares = signatures.by_fault(probability)
        order = np.argsort(-np.round(shares, 9), kind="stable")
        traits = {name: numbers[order] for name, numbers in signatures.traits.items()}
        return cls(
            signatures.faults, order, shares[order], traits, traits["skill"] == TRAITS["skill"].index("customer")
        )

    def that(self, trait: str, word: str) -> Flags:
        """Those of which a trait is this word."""
        these: Flags = self.traits[trait] == TRAITS[trait].index(word)
        return these

    def belief(self, these: Flags) -> float:
        """Belief in some of them together, added up from the likeliest."""
        return total(self.share[these])


def total(shares: Table) -> float:
    """The sum, from the first to the last."""
    return float(np.cumsum(shares)[-1]) if len(shares) else 0.0


def _cannot_wait(faults: _Suspects) -> bool:
    """Whether somebody must go: half the belief in faults the customer cannot mend, or less if they are grave."""
    others = faults.that("skill", "electrician") | faults.that("skill", "utility")
    grave = faults.belief(others | faults.that("urgency", "now"))
    return 1 - faults.belief(faults.home) >= NEEDED_FROM or grave >= NEEDED_IF_GRAVE_FROM


def _urgency(faults: _Suspects, stop: StopNow | None, needs: Sequence[VisitNeed]) -> str:
    """The soonest that enough of the belief asks for, all faults that are at least as urgent taken together."""
    named = [need.urgency for need in needs if need.urgency]
    share = 0.0
    for urgency in URGENCIES:
        share += faults.belief(faults.that("urgency", urgency) & ~faults.home)
        if share >= COUNTS_FROM:
            named.append(urgency)
            break
    if stop is not None:
        named.append("now")
    return min(named, key=URGENCIES.index, default="routine")


def _skill(faults: _Suspects, stop: StopNow | None, wanted: str | None) -> str:
    if stop is not None:
        return stop.refer_to
    if wanted is not None:
        return wanted
    shares = {skill: round(faults.belief(faults.that("skill", skill)), 9) for skill in sorted(TRAITS["skill"])}
    return max((skill for skill in shares if skill != "customer"), key=shares.__getitem__)


def _minutes(faults: _Suspects, these: Flags) -> tuple[int, int]:
    covered = np.cumsum(faults.share[these])
    count = int(np.argmax(covered >= COVERS * covered[-1])) + 1
    chosen = [faults.faults[number] for number in faults.number[these][:count].tolist()]
    return min(f.minutes[0] for f in chosen), max(f.minutes[1] for f in chosen)


def _tell(faults: _Suspects, stop: StopNow | None, needs: Sequence[VisitNeed]) -> tuple[str, ...]:
    """What the customer is told. Of what several suspects ask for, only the strictest is said: never "use it, and
    switch it off"."""
    lines = [stop.say] if stop is not None else []
    lines += [need.tell for need in needs if need.tell]
    if stop is None:
        lines += _limits(faults)
    return tuple(dict.fromkeys(lines))[:MOST_TOLD]


def _limits(faults: _Suspects) -> list[str]:
    """What the likeliest faults of the strictest kind that enough of the belief asks for say to the customer."""
    share = 0.0
    for limit in LIMITS:
        strict = faults.that("limit", limit)
        share += faults.belief(strict)
        if share >= COUNTS_FROM:
            said: dict[str, float] = defaultdict(float)
            for number, p in zip(faults.number[strict].tolist(), faults.share[strict].tolist(), strict=True):
                said[faults.faults[number].tell] += p
            return sorted(said, key=lambda tell: -round(said[tell], 9))[:1]
    return []
