"""One simulated case from the complaint to its end: over the telephone, and on site."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from rules.belief.signatures import Signatures
from rules.evaluating.grouping import Entry, Grouping, Truth, by_fault, by_part, family, faults_of
from rules.evaluating.people import Case, answer, reply
from rules.evaluating.ranking import RECALL_MINUTES, SURE_ON_SITE, TRIAL_RUN, Ask, Ranker, Table, Weighed, order_of
from rules.terms import Fact

MOST_QUESTIONS = 8
MOST_STEPS = 80  # of a fixed order on site; a range has about that many tests at places
ANOTHER_VISIT = 150.0  # minutes, if the range is not mended on this one; common practice, no source
MOST_KEPT = 64  # tables of hypotheses whose grounds are kept


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
    """What a belief over some hypotheses is judged by."""

    part: Grouping
    fault: Grouping

    def snapshot(self, probability: Table, truths: Sequence[Truth]) -> Snapshot:
        """Of several truths the one that stands best counts; without any, *none of these* is the truth."""
        shares, by_itself = self.part.shares(probability), self.fault.shares(probability)
        entries, lines = self.part.ranked(shares), self.fault.ranked(by_itself)
        true_parts, true_faults = self.part.holding(truths), self.fault.holding(truths)
        foremost = set(self.part.member[np.isin(self.fault.member, lines[0].groups)].tolist())
        p_true = float(max(shares[group] for group in true_parts))
        logs = -np.log(np.maximum(shares, 1e-300))
        entropy = float(shares @ logs)
        part_rank = _rank(entries, true_parts)
        return Snapshot(
            part_rank=part_rank,
            fault_rank=_rank(lines, true_faults),
            same_part=bool(foremost & true_parts),
            stated=float(entries[0].probability),
            first=part_rank == 0,
            p_true=p_true,
            entropy=entropy,
            spread=max(float(shares @ logs**2) - entropy**2, 0.0),
            brier=float(shares @ shares) - 2 * p_true + 1,
        )


def _rank(entries: Sequence[Entry], true: frozenset[int]) -> int:
    """0 for a truth that stands first; the number of lines if it is nowhere."""
    return next((place for place, entry in enumerate(entries) if not true.isdisjoint(entry.groups)), len(entries))


class Judge:
    """Grounds for every set of hypotheses that comes up: an appliance's, and these with pairs of faults."""

    def __init__(self) -> None:
        self._kept: dict[int, tuple[Signatures, Grounds]] = {}

    def grounds(self, signatures: Signatures) -> Grounds:
        """The grounds for a table's hypotheses, worked out once for each table."""
        entry = self._kept.get(id(signatures))
        if entry is None or entry[0] is not signatures:
            if len(self._kept) >= MOST_KEPT:
                self._kept.clear()
            entry = (signatures, Grounds(by_part(signatures), by_fault(signatures)))
            self._kept[id(signatures)] = entry
        return entry[1]

    def snapshot(self, weighed: Weighed, truths: Sequence[Truth]) -> Snapshot:
        """How a weighed case stands against the truth."""
        return self.grounds(weighed.belief.signatures).snapshot(weighed.belief.probability, truths)


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


def telephone(ranker: Ranker, judge: Judge, case: Case, *, worth_it: bool = True, most: int = MOST_QUESTIONS) -> Phone:
    """Ask what the ranker advises until it stops asking, or ``most`` questions are asked.

    ``worth_it`` off: go on while any question is listed, though none is worth its minutes.
    """
    call = Phone(facts=list(case.complaint))
    asked: set[str] = set()
    while True:
        weighed = ranker.weigh(call.facts)
        call.at.append(judge.snapshot(weighed, case.happening.truths))
        if call.questions >= most:
            call.ended = "asked_out"
            return call
        ask = ranker.advised(weighed, ranker.gate(weighed, "desk", frozenset(asked)), worth_it=worth_it)
        if ask is None:
            call.ended = "nothing_left" if weighed.stop is None else "stop"
            return call
        call.questions += 1
        call.minutes += spent(case, ask, frozenset())
        asked.add(ask.key)
        heard = reply(ranker, ask, case.caller)
        call.answers += heard[0].told
        call.wrong += heard[0].told and case.misreports(ask.key)
        call.facts += heard


def everything_told(ranker: Ranker, case: Case, tests: Sequence[Ask]) -> list[Fact]:
    """The complaint and the caller's answers to all of some tests."""
    known = {fact.key for fact in case.complaint}
    return [*case.complaint, *(answer(ranker, ask.key, case.caller) for ask in tests if ask.key not in known)]


def everything_measured(ranker: Ranker, case: Case, facts: Sequence[Fact], tests: Sequence[Ask]) -> list[Fact]:
    """Facts known, and a technician's answers to all of some tests."""
    proved = reply(ranker, ranker.dead_check(), case.technician)
    return [*facts, *proved, *(answer(ranker, ask.key, case.technician) for ask in tests)]


#: What to do next on site: (weighed case, keys asked, set-ups paid) -> a test, or None to stop testing.
Policy = Callable[[Weighed, frozenset[str], frozenset[str]], Ask | None]


@dataclass
class Visit:
    """A visit from its first test to the range that works, or to somebody else who is sent for.

    ``end``: the belief when the first repair is begun. ``isolated``: test minutes until one repair had SURE_ON_SITE of
    the belief, all of them if none did. ``own_repair``: what mending the true faults alone takes.
    """

    end: Snapshot
    tests: int
    test_minutes: float
    isolated: float
    is_isolated: bool
    established: bool
    repair_minutes: float
    own_repair: float
    wrong_repairs: int
    given_up: bool
    stopped: bool = False  # a danger stood when the first repair was begun, and only what is proved dead was measured

    @property
    def fixed(self) -> float:
        """Minutes of tests and repairs."""
        return self.test_minutes + self.repair_minutes


def on_site(
    ranker: Ranker, judge: Judge, case: Case, facts: Sequence[Fact], policy: Policy, *, until_sure: bool = False
) -> Visit:
    """Test as a policy says, repair when it says no more, and go on so while a repair turns out to be the wrong one.

    ``until_sure`` stops a policy that never stops by itself while one repair has SURE_ON_SITE of the belief.
    """
    return _Site(ranker, judge, case, list(facts), policy, until_sure).visit()


@dataclass
class _Site:
    ranker: Ranker
    judge: Judge
    case: Case
    known: list[Fact]
    policy: Policy
    until_sure: bool
    asked: frozenset[str] = frozenset()
    paid: frozenset[str] = frozenset()
    tests: int = 0
    minutes: float = 0.0
    repairing: float = 0.0
    wrong_repairs: int = 0
    wrong: list[frozenset[Truth]] = field(default_factory=list)  # faults that were mended already

    def visit(self) -> Visit:
        truths = self.case.happening.truths
        wanted = set(truths)
        isolated: float | None = None
        end: Snapshot | None = None
        established = given_up = stopped = False
        while True:
            weighed = self.weighed()
            certain = sure(weighed)
            if isolated is None and certain:
                isolated = self.minutes
            if not (self.until_sure and certain) and self.tests < MOST_STEPS and self.test(weighed):
                continue
            if end is None:
                end = self.judge.snapshot(weighed, truths)
                established = any(entry.rule.establishes for entry in weighed.fired)
                stopped = weighed.stop is not None
            order = order_of(weighed.belief)
            if not order.numbers:
                given_up = True
                self.repairing += ANOTHER_VISIT
                break
            wanted -= self.repair(weighed, order.numbers[0], wanted)
            if truths and not wanted:
                break
        return Visit(
            end=end,
            tests=self.tests,
            test_minutes=self.minutes,
            isolated=self.minutes if isolated is None else isolated,
            is_isolated=isolated is not None,
            established=established,
            repair_minutes=self.repairing,
            own_repair=sum(self.case.repair_minutes[name] + TRIAL_RUN for name, _ in truths),
            wrong_repairs=self.wrong_repairs,
            given_up=given_up,
            stopped=stopped,
        )

    def weighed(self) -> Weighed:
        """The case as it stands, without what was mended to no avail."""
        weighed = self.ranker.weigh(self.known)
        if not self.wrong:
            return weighed
        signatures = weighed.belief.signatures
        out = np.array([any(faults_of(h) == mended for mended in self.wrong) for h in signatures.hypotheses])
        left = np.where(out, 0.0, weighed.belief.probability)
        return replace(weighed, belief=replace(weighed.belief, probability=left / left.sum()))

    def test(self, weighed: Weighed) -> bool:
        """Do the test the policy asks for; whether it asked for one."""
        ask = self.policy(weighed, self.asked, self.paid)
        if ask is None:
            return False
        self.tests += 1
        self.minutes += spent(self.case, ask, self.paid)
        self.paid |= {ask.card.setup} if ask.card.setup else set()
        self.asked |= {ask.key}
        self.known += reply(self.ranker, ask, self.case.technician)
        return True

    def repair(self, weighed: Weighed, number: int, wanted: set[Truth]) -> set[Truth]:
        """Make a repair; the faults among those wanted that it mends. Without any it was the wrong one."""
        signatures = weighed.belief.signatures
        members = [signatures.hypotheses[member] for member in signatures.repairs[number].members]
        mends = {truth for h in members for truth in faults_of(h)} & wanted
        self.repairing += TRIAL_RUN
        self.repairing += sum(self.case.repair_minutes[name] for name, _ in mends or faults_of(members[0]))
        self.wrong_repairs += not mends
        self.wrong += [faults_of(h) for h in members]
        return mends


def sure(weighed: Weighed) -> bool:
    """Whether one repair has SURE_ON_SITE of the whole belief."""
    return bool(weighed.belief.signatures.by_repair(weighed.belief.probability)[:-1].max() >= SURE_ON_SITE)


def spent(case: Case, ask: Ask, paid: frozenset[str]) -> float:
    """What a test really takes in this case, minutes, with preparation that was not yet done."""
    setup = ask.card.setup
    prepared = case.setup_minutes[setup] if setup and setup not in paid else 0.0
    tried = case.test_minutes[ask.card.test]
    return (min(RECALL_MINUTES, tried) if ask.from_memory else tried) + prepared


def family_of(case: Case) -> str:
    """The family of a case's first fault."""
    return family(case.happening.truths[0][0]) if case.happening.truths else "outside the book"
