"""The pipeline, top to bottom: note and facts in; stop, conclusions, next tests and visit out.

note -> facts -> case file -> rules chained -> belief -> conclusions -> next tests -> visit -> one frozen Triage.
"""

from __future__ import annotations

import hashlib
import json
import threading
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import Literal

from rules import concluding, visit
from rules.advising import advise
from rules.answer import (
    ApplianceUsed,
    Conclusion,
    ContradictionNote,
    NearMiss,
    NextStep,
    Scope,
    StopNow,
    Triage,
    VisitPlan,
)
from rules.appliance.wiring import element_of, expected_reading
from rules.belief.choosing import MOST_TESTS, Gate, NextTest, choose
from rules.belief.pairs import believe_all
from rules.belief.posterior import Belief, factors, place_prior, unexplained
from rules.belief.signatures import Signatures, build
from rules.bookkeeping import codes
from rules.bookkeeping.types import Appliance, Book, Rule, Stop
from rules.casefile import CaseFile, lay_out
from rules.chaining import Chainer, ChainRecord, near_misses
from rules.concluding import Fired
from rules.deciding import next_step, order_of, repair_steps
from rules.enquiry import check_note, check_places, check_tools
from rules.notes import read_note
from rules.notes.lexicon import Lexicon
from rules.terms import ALL, OTHERS, UNNAMED, Fact, InputError, Problem, Role, fact_key, fact_of, split_key
from rules.wording import condition_words, place_words, value_words

Explain = Literal["off", "brief", "full"]
EXPLAINS: tuple[Explain, ...] = ("off", "brief", "full")

DEFAULT_APPLIANCE = "radiant_range"
BY_COOKTOP = {"coil": "coil_range", "radiant": "radiant_range"}
DECLINED = {
    "gas": "This is about a gas appliance. Coldleg knows electric ranges only. If anyone smells gas: no switches, no "
    "flames, everybody out, and call the gas utility from outside.",
    "induction": "This is about an induction cooktop. Coldleg knows coil and radiant electric cooktops only.",
    "dual_fuel": "This is about a gas cooktop over an electric oven. Coldleg knows electric ranges only. If anyone "
    "smells gas: no switches, no flames, everybody out, and call the gas utility from outside.",
}
SIGNALS = ("DANGER", "WARNING", "CAUTION", "NOTICE")
REFERRALS = ("utility", "electrician", "appliance_technician", "customer")  # of several, who must come first
NOTHING: frozenset[str] = frozenset()
MOST_APPLIANCES = 32  # signature tables kept; each takes some hundred kilobytes


@dataclass(frozen=True)
class Enquiry:
    """What a caller of Coldleg sends: a note, facts, or both. ``tools``: those at hand; None stands for all."""

    note: str | None = None
    facts: tuple[Fact, ...] = ()
    appliance: Appliance | None = None
    role: Role = "desk"
    explain: Explain = "brief"
    tools: tuple[str, ...] | None = None


@dataclass
class Expert:
    """An open book with everything that is worked out from it once. Safe to share between threads."""

    book: Book
    lexicon: Lexicon
    chainer: Chainer
    _tables: dict[Appliance, Signatures] = field(default_factory=dict)
    _building: threading.Lock = field(default_factory=threading.Lock)

    def signatures(self, appliance: Appliance) -> Signatures:
        """The signature table of an appliance, simulated when first asked for; nobody waits for another's."""
        made = self._tables.get(appliance)
        if made is not None:
            return made
        with self._building:
            if appliance not in self._tables:
                while len(self._tables) >= MOST_APPLIANCES:
                    self._tables.pop(next(iter(self._tables)))
                self._tables[appliance] = build(self.book, appliance)
            return self._tables[appliance]


@dataclass(frozen=True)
class Considered:
    """A case as far as the belief: everything the answer is written from."""

    case: CaseFile
    record: ChainRecord
    fired: tuple[Fired, ...]
    belief: Belief
    informed: bool  # whether anything is known that a sound appliance would not show
    scope: Scope
    stop: StopNow | None
    visit: VisitPlan
    appliance: ApplianceUsed
    unread: tuple[str, ...]


def consider(expert: Expert, enquiry: Enquiry) -> Considered:
    """From the note and the facts to the belief and the visit. Raises InputError for what cannot be used."""
    book = expert.book
    facts, unread = _gather(expert, enquiry)
    appliance, assumed = appliance_of(book, enquiry.appliance, facts)
    facts, misplaced = _fitting(facts, enquiry, appliance)
    signatures = expert.signatures(appliance)
    facts, foreign = _answerable(signatures, book, facts, enquiry)
    weighed = weigh(book, expert.chainer, signatures, facts)
    case, fired, stop, belief = weighed.case, weighed.fired, weighed.stop, weighed.belief
    scope = _scope(case)
    informed = scope.in_scope and _anything_odd(signatures, case)
    needs = [entry.rule.visit for entry in fired if entry.rule.visit]
    going = visit.plan(belief.signatures, belief.probability, stop, needs, informed, in_scope=scope.in_scope)
    used = ApplianceUsed(appliance.appliance, appliance.title, assumed)
    lost = tuple(unread) + misplaced + foreign
    return Considered(case, weighed.record, tuple(fired), belief, informed, scope, stop, going, used, lost)


def triage(expert: Expert, enquiry: Enquiry) -> Triage:
    """Work out the whole answer. Raises InputError for a note or facts that cannot be used."""
    book, seen = expert.book, consider(expert, enquiry)
    case, belief, full = seen.case, seen.belief, enquiry.explain == "full"
    signatures = belief.signatures
    tools = check_tools(enquiry.tools, book.tests)
    gate = gate_of(book, enquiry.role, case, seen.fired, stop=seen.stop, tools=tools)
    chosen: list[NextTest] = []
    if seen.scope.in_scope:
        places = askable(case, signatures.appliance)
        chosen = choose(signatures, belief.probability, gate, places, None if full else MOST_TESTS)
    repairs = repair_steps(belief, order_of(belief), case.unnamed_at) if seen.informed else ()
    conclusions: tuple[Conclusion, ...] = ()
    if seen.informed:
        conclusions = concluding.conclude(belief, case, seen.fired, reasons=enquiry.explain != "off", bits=full)
    step = NextStep("decline", None, None, None, seen.scope.reason or "")
    if seen.scope.in_scope or seen.stop is not None:
        settled = concluding.settled(conclusions)
        step = next_step(gate, seen.stop, chosen, belief, repairs, seen.visit, established=settled)
        if step.where is not None and step.where == case.unnamed_at:
            step = replace(step, where=UNNAMED)
    return Triage(
        decision_id=_decision_id(seen, enquiry, book.version),
        book=book.version,
        scope=seen.scope,
        appliance=seen.appliance,
        understood=case.understood,
        unread=seen.unread,
        contradictions=_contradictions(book, case),
        stop=seen.stop,
        conclusions=conclusions,
        none_of_these=round(float(belief.probability[-1]), 4) if seen.informed else 0.0,
        next_step=step,
        next_tests=advise(book, signatures, chosen, case.unnamed_at),
        repair_order=repairs,
        visit=seen.visit,
        cautions=(f"NOTICE: {book.cautions['local_code'].say}",),
        nearly=_nearly(book, seen.record, case) if full else (),
        fired=tuple(dict.fromkeys(entry.rule.rule for entry in seen.fired)),
    )


# --- into the house ----------------------------------------------------------------------------------------------
def _gather(expert: Expert, enquiry: Enquiry) -> tuple[list[Fact], list[str]]:
    """Facts given and facts read from the note, and what of the note nobody could read."""
    if enquiry.note is None:
        if not enquiry.facts:
            raise InputError([Problem("note", "missing; give a note, facts, or both")])
        return list(enquiry.facts), []
    positions = tuple(enquiry.appliance.positions) if enquiry.appliance else expert.book.positions
    reading = read_note(check_note(enquiry.note), expert.lexicon, positions, enquiry.role)
    return [*enquiry.facts, *reading.facts], list(reading.unread)


def appliance_of(book: Book, named: Appliance | None, facts: Iterable[Fact]) -> tuple[Appliance, bool]:
    """The appliance named, else the one its cooktop tells of, else the common one; and whether it is assumed."""
    if named is not None:
        return named, False
    kinds = {str(fact.value) for fact in facts if fact.fact == "cooktop"}
    if len(kinds) == 1:
        return book.appliances[BY_COOKTOP[kinds.pop()]], False
    return book.appliances[DEFAULT_APPLIANCE], True


def _fitting(facts: Sequence[Fact], enquiry: Enquiry, appliance: Appliance) -> tuple[list[Fact], tuple[str, ...]]:
    """Facts about units this appliance has. One that was given is refused; one read from a note counts as unread."""
    problems = check_places(enquiry.facts, appliance)
    if problems:
        raise InputError(problems)
    if not check_places(facts, appliance):
        return list(facts), ()
    read = [fact for fact in facts if check_places([fact], appliance)]
    return [fact for fact in facts if fact not in read], tuple(dict.fromkeys(fact.text or fact.key for fact in read))


def _answerable(
    signatures: Signatures, book: Book, facts: Sequence[Fact], enquiry: Enquiry
) -> tuple[list[Fact], tuple[str, ...]]:
    """Facts about things this appliance has. As with units: one that was given is refused, one read is unread."""
    foreign = foreign_to(signatures, book, facts)
    if not foreign:
        return list(facts), ()
    title = signatures.appliance.title
    problems = [
        Problem(fact.key, f"{title} has nothing this is about; leave it out")
        for fact in foreign
        if fact in enquiry.facts
    ]
    if problems:
        raise InputError(problems)
    return [fact for fact in facts if fact not in foreign], tuple(dict.fromkeys(f.text or f.key for f in foreign))


def foreign_to(signatures: Signatures, book: Book, facts: Iterable[Fact]) -> list[Fact]:
    """Facts about things that the appliance of ``signatures`` does not have."""
    known = signatures.facts
    return [fact for fact in facts if fact.fact not in known and book.facts[fact.fact].model != "context"]


def expected_at(signatures: Signatures, fact: str, place: str) -> float:
    """What a sound element reads, for a fact with relative bands. Raises InputError if there is none."""
    element = element_of(fact, place)
    if element not in signatures.wiring.elements:
        raise InputError([Problem(fact, f"{signatures.appliance.title} has no such element")])
    return expected_reading(signatures.wiring, fact, element)


# --- through it --------------------------------------------------------------------------------------------------
@dataclass(frozen=True)
class Weighed:
    """A case through the rules and the belief, before anything is put into words."""

    case: CaseFile
    record: ChainRecord
    fired: Sequence[Fired]
    stop: StopNow | None
    belief: Belief


def weigh(book: Book, chainer: Chainer, signatures: Signatures, facts: Sequence[Fact]) -> Weighed:
    """Lay the facts of a case out, chain the rules over them and weigh every fault.

    The facts must fit the appliance of ``signatures``.
    """
    case = lay_out(facts, book.facts, signatures.appliance, lambda fact, place: expected_at(signatures, fact, place))
    record = chainer.run(case.known)
    fired = _fired(book, case, record)
    stop = _stop([entry for entry in fired if not _doubtful(entry, case, book)])
    return Weighed(case, record, fired, stop, _belief(signatures, case, fired))


def _fired(book: Book, case: CaseFile, record: ChainRecord) -> list[Fired]:
    made = []
    for firing in record.firings:
        if firing.where == ALL:
            continue  # a statement about all units has fired at each of them already
        numbers = sorted({n for known in firing.observed for n in case.origins[known]})
        made.append(Fired(book.rules[firing.rule], firing, tuple(numbers)))
    return made


def _stop(fired: Sequence[Fired]) -> StopNow | None:
    """All stops as one: the gravest signal, every sentence, gravest first, and the one who must come first.

    Stops of the same signal keep the book's order, which puts fire before shock.
    """
    entries = sorted((entry for entry in fired if entry.rule.stop), key=lambda entry: _gravity(entry.rule.stop))
    stops = [entry.rule.stop for entry in entries if entry.rule.stop]
    if not stops:
        return None
    say = " ".join(dict.fromkeys(stop.say for stop in stops))
    because = tuple(dict.fromkeys(entry.rule.because for entry in entries))
    return StopNow(stops[0].signal, say, because, min((stop.refer_to for stop in stops), key=REFERRALS.index))


def _doubtful(entry: Fired, case: CaseFile, book: Book) -> bool:
    """Whether a danger is told in doubt only: it is asked about first, and does not stop yet."""
    dangers = [fact for fact in (case.understood[n] for n in entry.facts) if book.facts[fact.fact].hazard]
    return bool(dangers) and all(fact.certainty == "hedged" for fact in dangers)


def _gravity(stop: Stop | None) -> int:
    return SIGNALS.index(stop.signal) if stop else len(SIGNALS)


def _scope(case: CaseFile) -> Scope:
    fuel = next((known.value for known in case.known if known.name == "fuel"), "electric")
    reason = DECLINED.get(fuel)
    return Scope(reason is None, reason)


def _belief(signatures: Signatures, case: CaseFile, fired: Sequence[Fired]) -> Belief:
    shifts = [(shift, entry.firing.where) for entry in fired for shift in entry.rule.shift]
    ruled_out = [(fault, entry.firing.where) for entry in fired for fault in entry.rule.rules_out]
    named = [fact.where for fact in case.understood if fact.where and fact.told]
    prior = place_prior(signatures, _singled_out(signatures, case), named)
    factor = factors(signatures, shifts, ruled_out) * unexplained(signatures, case.statements)
    return believe_all(signatures, prior, factor, case.statements)


def _singled_out(signatures: Signatures, case: CaseFile) -> list[str]:
    """Units of which something odd is said by name, or as the one the caller did not name."""
    units = []
    for statement in case.statements:
        fact = case.understood[statement.number]
        for key, word in statement.says if fact.where not in (None, ALL, OTHERS) else ():
            place = split_key(key)[1]
            if place in signatures.appliance.positions and signatures.usual.get(key, word) != word:
                units.append(str(place))
    return units


def _anything_odd(signatures: Signatures, case: CaseFile) -> bool:
    """Whether anything was said that a sound appliance of this configuration would not show; a code counts."""
    return any(
        signatures.usual.get(key, word) != word or (key == codes.FACT and word != codes.NO_CODE)
        for statement in case.statements
        for key, word in statement.says
    )


def gate_of(
    book: Book,
    role: Role,
    case: CaseFile,
    fired: Sequence[Fired],
    *,
    stop: StopNow | None,
    tools: frozenset[str] | None = None,
) -> Gate:
    """What may be asked next in this case by this role: what rules allow and forbid, a stop, what is known already.

    ``tools``: those at hand, None for all.
    """
    allowed = NOTHING.union(*{book.tests_like(entry.rule.allow) for entry in fired if entry.rule.allow})
    forbidden = NOTHING.union(*{book.tests_like(entry.rule.forbid) for entry in fired if entry.rule.forbid})
    forbidden |= book.on_demand - allowed
    measured = any(fact.source == "technician" and fact.told and fact.fact != "dead_check" for fact in case.understood)
    own = role if stop is None else "desk"  # while a stop stands nobody looks again at what was told
    answered = _answered(book, case, own) | _not_told(case, role)
    asked = tuple((test, entry.rule.because) for entry in fired for test in entry.rule.ask)
    paid, recalls = _paid(book, case), stop is not None and _recalls(book, role, case, fired, stop)
    return Gate(role, allowed, forbidden, stop is not None, answered, measured, paid, tools, asked, recalls)


def _recalls(book: Book, role: Role, case: CaseFile, fired: Sequence[Fired], stop: StopNow) -> bool:
    """Whether what is only remembered may be asked while a stop stands.

    Whoever takes the call may ask it while a WARNING stands; in DANGER people are to be got away from it, and nobody is
    kept talking. Who is on site may, from the first reading, because what the danger is comes before what was seen of
    it, until a reading settles what it is.
    """
    if role != "technician":
        return role == "desk" and stop.signal != "DANGER"
    told = (fact for fact in case.understood if fact.told and fact.fact != "dead_check")
    looked = any(book.facts[fact.fact].told_by == "technician" for fact in told)
    return looked and not any(entry.rule.establishes for entry in fired)


def _answered(book: Book, case: CaseFile, role: Role) -> frozenset[str]:
    """Keys that are known. A technician may look for himself at what was only told, dangers apart: those stand."""
    if role != "technician":
        return frozenset(case.words())
    own = (known for known in case.known if known.by in ("technician", "rule") or book.facts[known.name].hazard)
    return frozenset(fact_key(known.name, known.place or None, known.state or None) for known in own)


def _not_told(case: CaseFile, role: Role) -> frozenset[str]:
    """Keys this role was asked about and could not tell. A technician may still look where a caller could not."""
    return frozenset(key for key, source in case.not_told if source == "technician" or role != "technician")


def _paid(book: Book, case: CaseFile) -> frozenset[str]:
    """Set-ups that were made for a reading a technician has taken, or tried to take."""
    read = {known.name for known in case.known if known.by == "technician"}
    read |= {fact_of(key) for key, source in case.not_told if source == "technician"}
    return frozenset(setup for fact, setup in book.set_up_for if fact in read) if read else NOTHING


def askable(case: CaseFile, appliance: Appliance) -> tuple[str, ...]:
    """Units a question may be about: with an unnamed one in play, that one and those named."""
    if case.unnamed_at is None:
        return appliance.positions
    named = {fact.where for fact in case.understood if fact.told}
    return tuple(place for place in appliance.positions if place == case.unnamed_at or place in named)


# --- out of it ---------------------------------------------------------------------------------------------------
def _contradictions(book: Book, case: CaseFile) -> tuple[ContradictionNote, ...]:
    notes = []
    for entry in case.contradictions:
        said = " and ".join(
            f"{value_words(f, book.facts)} ({f.source})" for f in (case.understood[n] for n in entry.numbers)
        )
        name, _, rest = entry.key.partition("@")
        place = UNNAMED if rest == case.unnamed_at and rest else rest
        title = book.facts[name.partition("/")[0]].title + (f", {place_words(place)}" if place else "")
        outcome = f"rules go by {entry.stands}" if entry.stands else "no rule goes by either; ask again"
        notes.append(ContradictionNote(entry.numbers, f"{title}: said to be {said}; {outcome}."))
    return tuple(notes)


def _nearly(book: Book, record: ChainRecord, case: CaseFile) -> tuple[NearMiss, ...]:
    rules: list[Rule] = list(book.rules.values())
    missing: dict[str, list[str]] = {}
    for miss in near_misses(rules, record, case.known):
        missing.setdefault(miss.rule, []).append(condition_words(miss.missing, book.facts))
    return tuple(NearMiss(rule, "; or ".join(dict.fromkeys(words))) for rule, words in missing.items())


def _decision_id(seen: Considered, enquiry: Enquiry, version: str) -> str:
    """The hash of what was asked, so that the same question has the same id everywhere."""
    appliance = repr(seen.appliance.appliance) if enquiry.appliance is None else _written(enquiry.appliance)
    facts = [_as_repr(fact) for fact in seen.case.understood]
    asked = [version, enquiry.role, enquiry.explain, appliance, enquiry.note, enquiry.tools, facts]
    return hashlib.sha256(_JSON.encode(asked).encode()).hexdigest()[:24]


_JSON = json.JSONEncoder()
_written = lru_cache(maxsize=MOST_APPLIANCES)(repr)


def _as_repr(f: Fact) -> str:
    """A fact as its repr writes it, in a third of the time."""
    return (
        f"Fact(fact={f.fact!r}, value={f.value!r}, where={f.where!r}, between={f.between!r}, during={f.during!r}, "
        f"source={f.source!r}, certainty={f.certainty!r}, span={f.span!r}, text={f.text!r})"
    )
