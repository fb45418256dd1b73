"""What to do next, as one step with its reason: ask, measure, send somebody, settle it by telephone, repair, refer.

The list of tests stays beside it; a person can always choose another.
"""

from __future__ import annotations

from collections.abc import Sequence
from operator import itemgetter

from rules.answer import NextStep, RepairStep, StopNow, VisitPlan
from rules.belief.choosing import Gate, NextTest, sure
from rules.belief.posterior import Belief
from rules.belief.repairs import Order, Repair, best_order
from rules.belief.signatures import Signatures
from rules.terms import UNNAMED, Role

LEAST_SHARE = 0.005  # a repair less likely than this is not planned
MOST_REPAIRS = 6
DANGER = "Danger comes before diagnosis."
NO_TEST = "No test that is left is worth its minutes."
NO_QUESTION = "No question that is left is worth its minutes."
MEASURE_FIRST = "Nothing has been measured yet; a part is proved bad before it is changed."


def order_of(belief: Belief) -> Order:
    """The repairs in the order that costs least, by probability over cost, and where it is better to refer."""
    signatures = belief.signatures
    shares = signatures.by_repair(belief.probability)
    shares[-1] = 0
    kept = (shares >= LEAST_SHARE).nonzero()[0]
    order = best_order(shares[kept], signatures.repair_costs[kept], rest=max(1 - float(shares[kept].sum()), 0.0))
    return Order(tuple(int(kept[number]) for number in order.numbers), order.cost)


def repair_steps(belief: Belief, order: Order, stand_in: str | None) -> tuple[RepairStep, ...]:
    """The order in words: what each repair mends, with which parts, how likely, how long."""
    shares, beliefs = belief.signatures.by_repair(belief.probability).tolist(), belief.probability.tolist()
    steps = []
    for number in order.numbers[:MOST_REPAIRS]:
        repair = belief.signatures.repairs[number]
        assert repair.skill is not None  # none of these is never planned
        steps.append(
            RepairStep(
                faults=_faults(belief, beliefs, repair),
                where=UNNAMED if repair.where and repair.where == stand_in else repair.where,
                parts=repair.parts,
                probability=round(shares[number], 4),
                minutes=round(repair.minutes),
                cost=round(repair.cost),
                skill=repair.skill,
            )
        )
    return tuple(steps)


def _faults(belief: Belief, beliefs: Sequence[float], repair: Repair) -> tuple[str, ...]:
    """What a repair mends, likeliest first, without what is out of the question."""
    hypotheses, members = belief.signatures.hypotheses, repair.members
    if len(members) == 1 and not hypotheses[members[0]].both:
        return hypotheses[members[0]].faults
    shares: dict[str, float] = {}
    for member in members:
        share = beliefs[member]
        for name in hypotheses[member].faults:
            shares[name] = shares.get(name, 0.0) + share
    if len(shares) == 1:
        return tuple(shares)
    least = LEAST_SHARE * sum([beliefs[member] for member in members])
    likely = [(-round(share, 9), name) for name, share in shares.items() if share >= least]
    likely.sort(key=itemgetter(0))
    return tuple([name for _, name in likely])


def next_step(
    gate: Gate,
    stop: StopNow | None,
    tests: Sequence[NextTest],
    belief: Belief,
    steps: Sequence[RepairStep],
    visit: VisitPlan,
    *,
    established: bool,
) -> NextStep:
    """The one thing to do now. A question is asked only while it pays, except for danger and a first measurement.

    ``established``: a measurement has settled what it is.
    """
    role = gate.role
    if stop is not None:
        return NextStep("stop", stop.refer_to, None, None, stop.because[0])
    test, because = worth_asking(tests, role, measured=gate.measured)
    if test is not None and not (established and role == "technician"):
        verb = "measure" if test.card.who == "technician" else "ask"
        return NextStep(verb, test.card.who, test.card.test, test.where, because)
    if role == "technician":
        return _on_site(belief, steps, established=established)
    if visit.needed is None:
        return NextStep("listen", None, None, None, "Nothing unusual is known yet; let the caller say what is wrong.")
    because = _sure_words(belief, role) or NO_QUESTION
    if visit.needed:
        return NextStep("send", visit.skill, None, None, because)
    return NextStep("settle", "customer", None, None, f"{because} The customer can set it right without a visit.")


def worth_asking(tests: Sequence[NextTest], role: Role, *, measured: bool) -> tuple[NextTest | None, str]:
    """The test that comes next and why, if any does: danger, else the first that pays."""
    if not tests:
        return None, ""
    if tests[0].saves is None and tests[0].card.reads == "hazard.any":
        return tests[0], DANGER
    wanted = next((test for test in tests if test.because), None)
    if wanted is not None:
        return wanted, wanted.because
    for test in tests:
        if test.pays and test.saves is not None:
            saves = f"{max(test.saves, 1):.0f} min of work and parts on the wrong thing"
            return test, f"It takes {test.minutes:g} min and saves about {saves}."
    if role == "technician" and not measured:
        return tests[0], MEASURE_FIRST
    return None, ""


def _sure_words(belief: Belief, role: Role) -> str:
    signatures: Signatures = belief.signatures
    if not sure(signatures, belief.probability, role):
        return ""
    shares = signatures.by_repair(belief.probability)
    return f"One repair has {float(shares[:-1].max()):.0%}; no answer would change what is done."


def _on_site(belief: Belief, steps: Sequence[RepairStep], *, established: bool) -> NextStep:
    none_of_these = float(belief.probability[-1])
    if not steps or steps[0].probability < none_of_these:
        because = "Nothing the book knows explains what was seen; another repair would be a guess."
        return NextStep("refer", None, None, None, because)
    best = steps[0]
    if best.skill in ("electrician", "utility"):
        because = f"What is left most likely ({best.probability:.0%}) is not an appliance technician's work."
        return NextStep("refer", best.skill, None, None, because)
    because = "A measurement has settled it." if established else _sure_words(belief, "technician") or NO_TEST
    what = ", ".join(part.replace("_", " ") for part in best.parts) or best.faults[0]
    because += f" Of {len(steps)} repairs in question, {what} mends most for what it costs."
    return NextStep("repair", best.skill, None, best.where, because)
