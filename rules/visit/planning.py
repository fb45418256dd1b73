"""What a visit needs: whether, how soon, who, how long, which parts, and what the customer is told meanwhile."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence

import numpy as np

from rules.answer import LoadPart, StopNow, VisitPlan
from rules.belief.signatures import Signatures
from rules.belief.stack import Table
from rules.bookkeeping.types import Fault, VisitNeed
from rules.visit.loading import load, needs_of

LIMITS = ("range_off", "oven_off", "unit_off", "none")  # what must stay off meanwhile, strictest first
URGENCIES = ("now", "soon", "routine", "none")
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
    faults = _likeliest(signatures, probability)
    wanted = next((need.skill for need in needs if need.skill), None)
    needed = stop is not None or wanted is not None or _cannot_wait(faults)
    urgency = _urgency(faults, stop, needs) if needed else "none"
    skill = _skill(faults, stop, wanted) if needed else "customer"
    minutes = _minutes([entry for entry in faults if (entry[0].skill == "customer") != needed])
    tell = _tell(faults, stop, needs)
    if not needed:
        return VisitPlan(False, urgency, skill, minutes, (), (), 0.0, tell)
    van = next(iter(signatures.book.vans.values()))
    loaded = load(needs_of(signatures, probability, skill), signatures.book.parts, van)
    aboard, left = (tuple(LoadPart(p, round(loaded.used[p], 4)) for p in ps) for ps in (loaded.parts, loaded.left))
    return VisitPlan(True, urgency, skill, minutes, aboard, left, round(loaded.fix, 4), tell)


def _likeliest(signatures: Signatures, probability: Table) -> list[tuple[Fault, float]]:
    """Faults with their places and variants added up, likeliest first; ties in the book's order."""
    shares = signatures.by_fault(probability)
    order = np.argsort(-np.round(shares, 9), kind="stable")
    return [(signatures.faults[number], float(shares[number])) for number in order]


def _cannot_wait(faults: Sequence[tuple[Fault, float]]) -> bool:
    """Whether somebody must go: half the belief in faults the customer cannot mend, or less if they are grave."""
    home = sum(p for fault, p in faults if fault.skill == "customer")
    grave = sum(p for fault, p in faults if fault.skill in ("electrician", "utility") or fault.urgency == "now")
    return 1 - home >= NEEDED_FROM or grave >= NEEDED_IF_GRAVE_FROM


def _urgency(faults: Sequence[tuple[Fault, float]], stop: StopNow | None, needs: Sequence[VisitNeed]) -> str:
    """The soonest that enough of the belief asks for, all faults that are at least as urgent taken together."""
    named = [need.urgency for need in needs if need.urgency]
    share = 0.0
    for urgency in URGENCIES:
        share += sum(p for fault, p in faults if fault.urgency == urgency and fault.skill != "customer")
        if share >= COUNTS_FROM:
            named.append(urgency)
            break
    if stop is not None:
        named.append("now")
    return min(named, key=URGENCIES.index, default="routine")


def _skill(faults: Sequence[tuple[Fault, float]], stop: StopNow | None, wanted: str | None) -> str:
    if stop is not None:
        return stop.refer_to
    if wanted is not None:
        return wanted
    shares: dict[str, float] = defaultdict(float)
    for fault, p in faults:
        if fault.skill != "customer":
            shares[fault.skill] += p
    return max(sorted(shares), key=lambda skill: round(shares[skill], 9))


def _minutes(faults: Sequence[tuple[Fault, float]]) -> tuple[int, int]:
    covered, chosen = 0.0, []
    share = sum(p for _, p in faults)
    for fault, p in faults:
        chosen.append(fault)
        covered += p
        if covered >= COVERS * share:
            break
    return min(f.minutes[0] for f in chosen), max(f.minutes[1] for f in chosen)


def _tell(faults: Sequence[tuple[Fault, float]], stop: StopNow | None, needs: Sequence[VisitNeed]) -> tuple[str, ...]:
    """What the customer is told. Of what several suspects ask for, only the strictest is said: never "use it, and
    switch it off"."""
    lines = [stop.say] if stop is not None else []
    lines += [need.tell for need in needs if need.tell]
    if stop is None:
        lines += _limits(faults)
    return tuple(dict.fromkeys(lines))[:MOST_TOLD]


def _limits(faults: Sequence[tuple[Fault, float]]) -> list[str]:
    """What the likeliest faults of the strictest kind that enough of the belief asks for say to the customer."""
    share = 0.0
    for limit in LIMITS:
        strict = [(fault, p) for fault, p in faults if fault.limit == limit]
        share += sum(p for _, p in strict)
        if share >= COUNTS_FROM:
            said: dict[str, float] = defaultdict(float)
            for fault, p in strict:
                said[fault.tell] += p
            return sorted(said, key=lambda tell: -round(said[tell], 9))[:1]
    return []
