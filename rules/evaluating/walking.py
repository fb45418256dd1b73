"""One simulated case from the complaint to its end: over the telephone, and on site."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np

from rules.evaluating.grouping import Grouping, Truth, by_fault, by_part, family
from rules.evaluating.people import Case, reply
from rules.evaluating.ranking import SURE_FROM, Ask, Ranker, Table, Weighed
from rules.terms import Fact

MOST_QUESTIONS = 8
MOST_STEPS = 80  # of a fixed order on site; a range has about that many tests at places
MOST_WRONG_REPAIRS = 3  # then somebody else is sent for
ESCALATE_MINUTES = 150.0  # what that costs, as in method 3.2


@dataclass(frozen=True)
class Snapshot:
    """How the belief stands against the truth. Ranks count lines of the list from 0.

    ``part_rank``: faults of one part at one place are one line; ``fault_rank``: each fault is its own. ``same_part``:
    the first fault's repair at its place is the true one's. ``stated`` is
    the probability of the first line (by part) and ``first`` whether it is right; the rest is over groups by part:
    ``p_true``, ``entropy`` and ``spread`` of -ln p in nats, ``brier`` as a sum over groups.
    """

    part_rank: int
    fault_rank: int
    same_part: bool
    stated: float
    first: bool
    p_true: float
    entropy: float
    spread: float
    brier: float


@dataclass(frozen=True)
class Grounds:
    """What a ranking is judged by on one appliance."""

    part: Grouping
    fault: Grouping
    part_of_fault: tuple[int, ...]  # for each group by fault its group by part

    @classmethod
    def of(cls, ranker: Ranker) -> Grounds:
        part, fault = by_part(ranker.signatures), by_fault(ranker.signatures)
        pairs = dict(zip(fault.member.tolist(), part.member.tolist(), strict=True))
        return cls(part, fault, tuple(pairs[group] for group in range(len(fault.kind))))

    def snapshot(self, probability: Table, truths: Sequence[Truth]) -> Snapshot:
        """Of several truths the one that stands best counts; without any, *none of these* is the truth."""
        shares = self.part.shares(probability)
        entries = self.part.ranked(shares)
        groups = {self.part.of_truth[truth] for truth in truths} or {len(shares) - 1}
        part = min((n for n, e in enumerate(entries) if groups & set(e.groups)), default=len(entries))
        by_itself = self.fault.shares(probability)
        fault = min((self.fault.rank_of(truth, by_itself) for truth in truths), default=len(entries))
        foremost = self.fault.ranked(by_itself)[0].groups[0]
        same_part = self.part_of_fault[foremost] in groups
        truth = max(groups, key=lambda group: shares[group])
        p_true = float(shares[truth])
        logs = -np.log(np.maximum(shares, 1e-300))
        entropy = float(shares @ logs)
        spread = max(float(shares @ logs**2) - entropy**2, 0.0)
        brier = float(shares @ shares) - 2 * p_true + 1
        return Snapshot(
            part, fault, same_part, float(entries[0].probability), part == 0, p_true, entropy, spread, brier
        )


@dataclass
class Phone:
    """A telephone call: ``at[n]`` after n questions; the last one stands for every later n."""

    at: list[Snapshot] = field(default_factory=list)
    facts: list[Fact] = field(default_factory=list)
    questions: int = 0
    minutes: float = 0.0
    ended: str = ""  # asked_out, nothing_left, stop
    answers: int = 0
    wrong: int = 0  # answers that do not say what the appliance shows

    def after(self, questions: int) -> Snapshot:
        return self.at[min(questions, len(self.at) - 1)]


def telephone(ranker: Ranker, grounds: Grounds, case: Case, most: int = MOST_QUESTIONS) -> Phone:
    """Ask what the ranker advises until it stops asking, a stop stands, or ``most`` questions are asked."""
    call = Phone(facts=list(case.complaint))
    asked: set[str] = set()
    while True:
        weighed = ranker.weigh(call.facts)
        call.at.append(grounds.snapshot(weighed.belief.probability, case.happening.truths))
        if weighed.stop is not None or call.questions >= most:
            call.ended = "stop" if weighed.stop is not None else "asked_out"
            return call
        gate = ranker.gate(weighed, "desk", frozenset(asked))
        best = ranker.advised(weighed, gate, frozenset())
        if not best:
            call.ended = "nothing_left"
            return call
        call.questions += 1
        call.minutes += case.test_minutes[best[0].card.test]
        asked.add(best[0].key)
        heard = reply(ranker, best[0], case.caller)
        call.answers += heard[0].told
        call.wrong += heard[0].told and case.misreports(best[0].key)
        call.facts += heard


#: What to do next on site: (weighed case, keys asked, set-ups paid) -> a test, or None to stop testing.
Policy = Callable[[Weighed, frozenset[str], frozenset[str]], Ask | None]


@dataclass
class Visit:
    """A visit. ``isolated``: test minutes until one part had ``SURE_FROM`` of the belief, all of them if none did."""

    end: Snapshot
    tests: int
    test_minutes: float
    isolated: float
    is_isolated: bool
    established: bool
    repair_minutes: float
    own_repair: float  # what the true fault's repair alone takes
    wrong_repairs: int
    escalated: bool

    @property
    def fixed(self) -> float:
        """Minutes of tests and repairs."""
        return self.test_minutes + self.repair_minutes


def on_site(
    ranker: Ranker, grounds: Grounds, case: Case, facts: Sequence[Fact], policy: Policy, *, until_sure: bool = False
) -> Visit:
    """Test as a policy says, then repair in the order of probability over minutes until the range works.

    ``until_sure`` stops a policy that never stops by itself once one part has SURE_FROM of the belief.
    """
    known = list(facts)
    asked: frozenset[str] = frozenset()
    paid: frozenset[str] = frozenset()
    minutes, tests = 0.0, 0
    isolated: float | None = None
    while True:
        weighed = ranker.weigh(known)
        shares = grounds.part.shares(weighed.belief.probability)
        if isolated is None and shares[:-1].max() >= SURE_FROM:
            isolated = minutes
        ask = None if (until_sure and isolated is not None) or tests >= MOST_STEPS else policy(weighed, asked, paid)
        if ask is None:
            break
        tests += 1
        minutes += spent(case, ask, paid)
        paid |= {ask.card.setup} if ask.card.setup else set()
        asked |= {ask.key}
        known += reply(ranker, ask, case.technician)
    truths = case.happening.truths
    mended = _repaired(ranker, grounds, case, shares)
    return Visit(
        end=grounds.snapshot(weighed.belief.probability, truths),
        tests=tests,
        test_minutes=minutes,
        isolated=minutes if isolated is None else isolated,
        is_isolated=isolated is not None,
        established=any(entry.rule.establishes for entry in weighed.fired),
        repair_minutes=mended[0],
        own_repair=sum(case.repair_minutes[name] for name, _ in truths),
        wrong_repairs=mended[1],
        escalated=mended[2],
    )


def spent(case: Case, ask: Ask, paid: frozenset[str]) -> float:
    """What a test really takes in this case, minutes, with preparation that was not yet done."""
    setup = ask.card.setup
    prepared = case.setup_minutes[setup] if setup and setup not in paid else 0.0
    return case.test_minutes[ask.card.test] + prepared


def _repaired(ranker: Ranker, grounds: Grounds, case: Case, shares: Table) -> tuple[float, int, bool]:
    """Minutes of repairs tried, how many were wrong, and whether it was given up."""
    wanted = {grounds.part.of_truth[truth] for truth in case.happening.truths}
    cost = repair_costs(ranker, grounds.part)
    order = np.argsort(-shares[:-1] / cost, kind="stable")
    name_of = _likeliest_fault(ranker, grounds.part)
    total, wrong = 0.0, 0
    for group in order:
        if not wanted:
            break
        if wrong >= MOST_WRONG_REPAIRS or shares[-1] > shares[:-1].max():
            return total + ESCALATE_MINUTES, wrong, True
        total += case.repair_minutes[name_of[group]]
        if int(group) in wanted:
            wanted.discard(int(group))
        else:
            wrong += 1
    return total, wrong, False


def repair_costs(ranker: Ranker, grouping: Grouping) -> Table:
    """Minutes of each group's repair by the book, mean over its faults, shape (G - 1,)."""
    total, count = np.zeros(len(grouping.kind)), np.zeros(len(grouping.kind))
    for number, hypothesis in zip(grouping.member, ranker.signatures.hypotheses, strict=True):
        if hypothesis.fault is not None:
            total[number] += sum(hypothesis.fault.minutes) / 2
            count[number] += 1
    costs: Table = total[:-1] / count[:-1]
    return costs


def _likeliest_fault(ranker: Ranker, grouping: Grouping) -> list[str]:
    """For each group the fault its repair is meant for: the first of its hypotheses by prior."""
    best: list[tuple[float, str]] = [(-1.0, "")] * len(grouping.kind)
    signatures = ranker.signatures
    for number, hypothesis, prior in zip(grouping.member, signatures.hypotheses, signatures.prior, strict=True):
        if prior > best[number][0]:
            best[number] = (float(prior), hypothesis.name)
    return [name for _, name in best]


def family_of(case: Case) -> str:
    """The family of a case's first fault."""
    return family(case.happening.truths[0][0]) if case.happening.truths else "outside the book"
