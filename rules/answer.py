"""The answer to a triage as one frozen value; JSON, the terminal and every page are dumped from it alone."""

from __future__ import annotations

from dataclasses import dataclass

from rules.terms import Fact


@dataclass(frozen=True)
class Scope:
    """Whether this is an electric range at all, and if not, why it is declined."""

    in_scope: bool
    reason: str | None


@dataclass(frozen=True)
class ApplianceUsed:
    """The configuration the answer was worked out for; ``assumed`` if nobody named it."""

    appliance: str
    title: str
    assumed: bool


@dataclass(frozen=True)
class StopNow:
    """A safety stop: what to say now, why, and who must deal with it."""

    signal: str
    say: str
    because: tuple[str, ...]
    refer_to: str


@dataclass(frozen=True)
class Reason:
    """A rule's sentence, or the circuit model's, with the indices of the understood facts it rests on."""

    rule: str
    text: str
    facts: tuple[int, ...]


@dataclass(frozen=True)
class FactBits:
    """How far one understood fact speaks for a conclusion: by how many bits it raises its odds, or lowers them."""

    fact: int
    bits: float


@dataclass(frozen=True)
class FaultAt:
    """A fault and its unit, if it has one."""

    fault: str
    where: str | None


@dataclass(frozen=True)
class Conclusion:
    """A fault with its probability and standing.

    ``where`` is None for a fault without a place, or where nothing tells the places apart. ``not_told_apart`` are the
    faults of the same established group that the readings so far cannot separate from this one. ``also`` names the
    other fault where the conclusion is that two are there at once.
    """

    fault: str
    where: str | None
    title: str
    probability: float
    standing: str
    because: tuple[Reason, ...]
    parts: tuple[str, ...]
    not_told_apart: tuple[str, ...]
    also: tuple[FaultAt, ...]
    bits: tuple[FactBits, ...]


@dataclass(frozen=True)
class OutcomeAdvice:
    """One answer to a test: its word, its probability, and the faults it would leave in front."""

    value: str
    probability: float
    leads_to: tuple[str, ...]


@dataclass(frozen=True)
class TestAdvice:
    """A next test, with what every outcome would lead to.

    ``minutes`` include a set-up that is not yet made. ``saves_minutes``: by how much the test lowers the expected cost
    of repair, its own price taken off; above 0 it pays. None for the hazard question and for tests far down the list.
    ``from_memory``: a stop stands, so it is asked only what is remembered; nothing is tried, touched or looked at.
    """

    __test__ = False

    test: str
    where: str | None
    reads: str
    ask: str
    why: str
    who: str
    energised: bool
    from_memory: bool
    minutes: float
    tools: tuple[str, ...]
    cautions: tuple[str, ...]
    gain_bits: float
    saves_minutes: float | None
    outcomes: tuple[OutcomeAdvice, ...]


@dataclass(frozen=True)
class NextStep:
    """The one thing to do now, with its reason.

    ``do`` is ``ask`` or ``measure`` (``test`` and ``where`` name it), ``send`` (``who`` is to go), ``settle`` (by
    telephone), ``repair`` (the first of the repair order), ``refer`` (to ``who``, or to somebody else), ``listen``
    (nothing is known yet), ``stop`` or ``decline``.
    """

    do: str
    who: str | None
    test: str | None
    where: str | None
    because: str


@dataclass(frozen=True)
class RepairStep:
    """One repair: the faults it mends, likeliest first, its parts, their probability together, minutes, who does it.

    ``cost`` is what it takes if it was in vain, in minutes: the work, the trial run, and the parts' value. The order
    is by probability over cost.
    """

    faults: tuple[str, ...]
    where: str | None
    parts: tuple[str, ...]
    probability: float
    minutes: int
    cost: int
    skill: str


@dataclass(frozen=True)
class LoadPart:
    """A part for the van and the probability that it is used."""

    part: str
    probability_used: float


@dataclass(frozen=True)
class VisitPlan:
    """Whether somebody must go, how soon, who, for how long, with what. ``needed`` is None while nothing is known.

    ``load_parts`` is the load with the greatest chance of a first-visit fix under the van's limits, that chance is
    ``first_visit_fix``; ``no_room_for`` are parts worth taking that do not fit.
    """

    needed: bool | None
    urgency: str
    skill: str
    minutes: tuple[int, int]
    load_parts: tuple[LoadPart, ...]
    no_room_for: tuple[LoadPart, ...]
    first_visit_fix: float
    tell_customer: tuple[str, ...]


@dataclass(frozen=True)
class ContradictionNote:
    """Understood facts that contradict one another, and what is made of it."""

    facts: tuple[int, ...]
    say: str


@dataclass(frozen=True)
class NearMiss:
    """A rule that lacks one premise, in words."""

    rule: str
    missing: str


@dataclass(frozen=True)
class Triage:
    """The whole answer. ``fired`` names the rules that fired, in order; records and metrics count them."""

    decision_id: str
    book: str
    scope: Scope
    appliance: ApplianceUsed
    understood: tuple[Fact, ...]
    unread: tuple[str, ...]
    contradictions: tuple[ContradictionNote, ...]
    stop: StopNow | None
    conclusions: tuple[Conclusion, ...]
    none_of_these: float
    next_step: NextStep
    next_tests: tuple[TestAdvice, ...]
    repair_order: tuple[RepairStep, ...]
    visit: VisitPlan
    cautions: tuple[str, ...]
    nearly: tuple[NearMiss, ...]
    fired: tuple[str, ...] = ()
