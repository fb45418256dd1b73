"""What a visit needs: whether, how soon, who, how long, which parts, and what the customer is told meanwhile."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence

from rules.answer import LoadPart, StopNow, VisitPlan
from rules.belief.signatures import Signatures
from rules.belief.stack import Table
from rules.bookkeeping.types import Fault, VisitNeed

LIMITS = ("range_off", "oven_off", "unit_off", "none")  # what must stay off meanwhile, strictest first
URGENCIES = ("now", "soon", "routine", "none")
NEEDED_FROM = 0.5  # share of belief in faults the customer cannot mend alone
NEEDED_IF_GRAVE_FROM = 0.2
COUNTS_FROM = 0.2  # a fault this likely has a say in urgency and in what the customer is told
COVERS = 0.8  # minutes cover the likeliest faults up to this share
LOADED_FROM = 0.08  # a part less likely to be used than this stays in the shop
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

    Out of scope a stop still sends somebody, but nothing is guessed about parts or time.
    """
    if not in_scope or not (informed or stop or needs):
        if stop is None:
            return VisitPlan(None, "none", "customer", (0, 0), (), ())
        return VisitPlan(True, "now", stop.refer_to, (0, 0), (), (stop.say,))
    faults = [(h.fault, float(p)) for h, p in zip(signatures.hypotheses, probability, strict=True) if h.fault]
    wanted = next((need.skill for need in needs if need.skill), None)
    needed = stop is not None or wanted is not None or _cannot_wait(faults)
    urgency = _urgency(faults, stop, needs) if needed else "none"
    skill = _skill(faults, stop, wanted) if needed else "customer"
    parts = _parts(signatures, faults) if needed else ()
    minutes = _minutes([entry for entry in faults if (entry[0].skill == "customer") != needed])
    return VisitPlan(needed, urgency, skill, minutes, parts, _tell(faults, stop, needs))


def _cannot_wait(faults: Sequence[tuple[Fault, float]]) -> bool:
    """Whether somebody must go: half the belief in faults the customer cannot mend, or less if they are grave."""
    home = sum(p for fault, p in faults if fault.skill == "customer")
    grave = sum(p for fault, p in faults if fault.skill in ("electrician", "utility") or fault.urgency == "now")
    return 1 - home >= NEEDED_FROM or grave >= NEEDED_IF_GRAVE_FROM


def _merged(faults: Sequence[tuple[Fault, float]]) -> list[tuple[Fault, float]]:
    """Faults with their places added up, likeliest first; ties in the book's order."""
    total: dict[str, float] = defaultdict(float)
    by_name = {fault.fault: fault for fault, _ in faults}
    for fault, p in faults:
        total[fault.fault] += p
    order = list(by_name)
    return sorted(((by_name[n], p) for n, p in total.items()), key=lambda e: (-round(e[1], 9), order.index(e[0].fault)))


def _urgency(faults: Sequence[tuple[Fault, float]], stop: StopNow | None, needs: Sequence[VisitNeed]) -> str:
    named: list[str] = [fault.urgency for fault, p in _merged(faults) if p >= COUNTS_FROM and fault.skill != "customer"]
    named += [need.urgency for need in needs if need.urgency]
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
    for fault, p in _merged(faults):
        chosen.append(fault)
        covered += p
        if covered >= COVERS * share:
            break
    return min(f.minutes[0] for f in chosen), max(f.minutes[1] for f in chosen)


def _parts(signatures: Signatures, faults: Sequence[tuple[Fault, float]]) -> tuple[LoadPart, ...]:
    used: dict[str, float] = defaultdict(float)
    for fault, p in faults:
        for part in fault.parts_for(signatures.appliance):
            used[part] += p
    ranked = sorted(used.items(), key=lambda entry: (-round(entry[1], 4), entry[0]))
    return tuple(LoadPart(part, round(p, 4)) for part, p in ranked if p >= LOADED_FROM)


def _tell(faults: Sequence[tuple[Fault, float]], stop: StopNow | None, needs: Sequence[VisitNeed]) -> tuple[str, ...]:
    """What the customer is told. Of what several suspects ask for, only the strictest is said: never "use it, and
    switch it off"."""
    lines = [stop.say] if stop is not None else []
    lines += [need.tell for need in needs if need.tell]
    if stop is None:
        counted = [fault for fault, p in _merged(faults) if p >= COUNTS_FROM]
        strictest = min((LIMITS.index(fault.limit) for fault in counted), default=0)
        lines += [fault.tell for fault in counted if LIMITS.index(fault.limit) == strictest]
    return tuple(dict.fromkeys(lines))[:MOST_TOLD]
