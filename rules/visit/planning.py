"""What a visit needs: whether, how soon, who, how long, which parts, and what the customer is told meanwhile."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from rules.answer import LoadPart, StopNow, VisitPlan
from rules.belief.signatures import TRAITS, Flags, Signatures
from rules.belief.stack import Numbers, Table
from rules.bookkeeping.types import VisitNeed
from rules.visit.loading import load, needs_of

URGENCIES = TRAITS["urgency"]
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
    faults = _Suspects(signatures, probability)
    wanted = next((need.skill for need in needs if need.skill), None)
    needed = stop is not None or wanted is not None or _cannot_wait(faults)
    urgency = _urgency(faults, stop, needs) if needed else "none"
    skill = _skill(faults, stop, wanted) if needed else "customer"
    minutes = _minutes(faults, ~signatures.home if needed else signatures.home)
    tell = _tell(faults, stop, needs)
    if not needed:
        return VisitPlan(False, urgency, skill, minutes, (), (), 0.0, tell)
    van = next(iter(signatures.book.vans.values()))
    loaded = load(needs_of(signatures, probability, skill), signatures.book.parts, van)
    aboard, left = (tuple(LoadPart(p, round(loaded.used[p], 4)) for p in ps) for ps in (loaded.parts, loaded.left))
    return VisitPlan(True, urgency, skill, minutes, aboard, left, round(loaded.fix, 4), tell)


class _Suspects:
    """Faults with their places and variants added up, and how much of the belief each trait has."""

    def __init__(self, signatures: Signatures, probability: Table) -> None:
        self.signatures = signatures
        self.share = signatures.by_fault(probability)
        self.traits = signatures.traits
        self.at_home = float(self.share[signatures.home].sum())

    def belief_by(self, trait: str, *, abroad: bool = False) -> list[float]:
        """Belief in each word of a trait, in the order of TRAITS; ``abroad``: without what the customer can mend."""
        weights = np.where(self.signatures.home, 0.0, self.share) if abroad else self.share
        sums: list[float] = np.bincount(self.traits[trait], weights, len(TRAITS[trait])).tolist()
        return sums

    def likeliest(self, these: Flags) -> Numbers:
        """Some of the faults, likeliest first; ties in the book's order."""
        numbers = these.nonzero()[0]
        return np.asarray(numbers[(-self.share[numbers].round(9)).argsort(kind="stable")])


def _cannot_wait(faults: _Suspects) -> bool:
    """Whether somebody must go: half the belief in faults the customer cannot mend, or less if they are grave."""
    skill, urgency = faults.traits["skill"], faults.traits["urgency"]
    others = skill <= TRAITS["skill"].index("electrician")
    grave = float(faults.share[others | (urgency == URGENCIES.index("now"))].sum())
    return 1 - faults.at_home >= NEEDED_FROM or grave >= NEEDED_IF_GRAVE_FROM


def _urgency(faults: _Suspects, stop: StopNow | None, needs: Sequence[VisitNeed]) -> str:
    """The soonest that enough of the belief asks for, all faults that are at least as urgent taken together."""
    named = [need.urgency for need in needs if need.urgency]
    share = 0.0
    for urgency, more in zip(URGENCIES, faults.belief_by("urgency", abroad=True), strict=True):
        share += more
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
    shares = dict(
        sorted((skill, round(p, 9)) for skill, p in zip(TRAITS["skill"], faults.belief_by("skill"), strict=True))
    )
    return max((skill for skill in shares if skill != "customer"), key=shares.__getitem__)


def _minutes(faults: _Suspects, these: Flags) -> tuple[int, int]:
    numbers = faults.likeliest(these)
    covered = faults.share[numbers].cumsum()
    count = int((covered >= COVERS * covered[-1]).argmax()) + 1
    spans = [faults.signatures.faults[number].minutes for number in numbers[:count].tolist()]
    return min(least for least, _ in spans), max(most for _, most in spans)


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
    for limit, more in enumerate(faults.belief_by("limit")):
        share += more
        if share >= COUNTS_FROM:
            return [_said_most(faults, faults.traits["limit"] == limit)]
    return []


def _said_most(faults: _Suspects, these: Flags) -> str:
    """What most of the belief in some faults says to the customer; of equal ones what the likeliest fault says."""
    said, of = faults.signatures.tells
    shares = np.bincount(of[these], faults.share[these]).round(9)
    leading: list[int] = (shares == shares.max()).nonzero()[0].tolist()
    if len(leading) > 1:
        leading = [number for number in of[faults.likeliest(these)].tolist() if number in leading]
    return said[leading[0]]
