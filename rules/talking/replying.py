"""The reply to a message in plain words: stop first, what was understood, what it means, the next question and why."""

from __future__ import annotations

from collections.abc import Iterator

from rules.answer import Triage
from rules.bookkeeping.types import Book
from rules.talking.conversation import Heard, Number, OpenQuestion, TurnFact
from rules.talking.folding import Folded
from rules.talking.taking_back import TakenBack
from rules.talking.wording import WHO, conclusion_words, fact_words, listed, said, term_of
from rules.terms import DONT_KNOW, Role

SUSPECTS = 3  # named in a reply; the answer has all
LEAST_SHARE = 0.05  # a suspect less likely than this is not named beside others
OUTSTANDING = 0.1  # the least share with which a suspect is said to be likely
OPENING = "What is wrong with the range? Say it in your own words."


def state_words(answer: Triage, question: OpenQuestion | None, role: Role) -> list[str]:
    """What the facts so far mean and what comes next, without the stop."""
    lines = [*_meaning(answer, role)]
    if question is not None:
        lines += asking(answer, question)
    elif answer.stop is None:
        lines += _doing(answer)
    return lines


def stop_words(answer: Triage, role: Role) -> list[str]:
    """The sentence of a stop, to be said before all else."""
    if answer.stop is None:
        return []
    spoken = answer.stop.say if role == "caller" else f'Say this now: "{answer.stop.say}"'
    return [f"{answer.stop.signal}. STOP. {spoken}"]


def understood_words(heard: Heard, facts: tuple[TurnFact, ...], folded: Folded, book: Book) -> list[str]:
    """The facts read back, each with its number, what it replaces, and what stands against it."""
    lines = [line for fact in facts for line in _read_back(fact, folded, book)]
    return lines + [f'I could not read: "{clause}".' for clause in heard.unread]


def _read_back(turn: TurnFact, folded: Folded, book: Book) -> Iterator[str]:
    number = numbered(turn.number)
    if turn.fate == "does_not_fit":
        yield f"[{number}] {turn.words}: this range has nothing of the kind, so it is left out."
        return
    known = turn.fact is None or turn.fact.told
    yield f"I understood: [{number}] {turn.words}." if known else _not_known(turn, number)
    for old in turn.replaced:
        earlier = folded.told[old]
        yield f"That replaces [{numbered(old)}], {said(earlier, book.facts[earlier.fact], book.facts)}."
    for old in folded.kept.get(turn.number, ()):
        yield _danger_stands(old, folded, book)
    for old in folded.outranked.get(turn.number, ()):
        words = f"[{numbered(old)}] {fact_words(folded.told[old], book.facts)}"
        yield f"A technician found otherwise, and that counts for more: {words}."


def _danger_stands(number: Number, folded: Folded, book: Book) -> str:
    words = f"[{numbered(number)}] {fact_words(folded.told[number], book.facts)}"
    how = 'strike it, or say "I was wrong" and how it is'
    return f"The danger told before stands: {words}. If it was a mistake, {how}."


def taken_back_words(back: TakenBack, folded: Folded, book: Book) -> list[str]:
    """What was unsaid, read back, and what of it stands all the same."""
    told = [f"[{numbered(n)}] {fact_words(folded.told[n], book.facts)}" for n in back.numbers if n in folded.told]
    units = len(back.numbers) - len(told)
    lines = [f"Taken back: {'; '.join([*told, *['which unit it was'] * units])}."] if back.numbers else []
    return lines + [_danger_stands(number, folded, book) for number in back.dangers]


def _not_known(turn: TurnFact, number: str) -> str:
    title = turn.words.rpartition(": ")[0]
    return f"I noted: [{number}] {title}: nobody can tell. It will not be asked again."


def numbered(number: tuple[int, int]) -> str:
    """A fact's number as it is shown and typed: ``3.0``."""
    return f"{number[0]}.{number[1]}"


# --- what it means -----------------------------------------------------------------------------------------------
def _meaning(answer: Triage, role: Role) -> Iterator[str]:
    if not answer.scope.in_scope:
        yield answer.scope.reason or ""
        return
    for note in answer.contradictions if answer.stop is None else ():
        yield f"Contradiction: {note.say}"
    named = [c for n, c in enumerate(answer.conclusions[:SUSPECTS]) if n == 0 or c.probability >= LEAST_SHARE]
    if not named:
        if answer.stop is None:
            yield "Nothing said so far tells one fault from another."
        return
    shares = [f"{conclusion_words(c)} ({c.probability:.0%})" for c in named]
    lead = "It looks most like" if role == "caller" else "Most likely"
    if named[0].probability < OUTSTANDING:
        lead = "No fault stands out yet; the first of many"
    yield f"{lead}: {'; then '.join(shares)}."


def _doing(answer: Triage) -> Iterator[str]:
    """What is to be done where nothing is asked."""
    step = answer.next_step
    who = WHO.get(step.who or "", "somebody else")
    first = answer.repair_order[0] if answer.repair_order else None
    parts = listed((part.replace("_", " ") for part in first.parts), "and") if first and first.parts else "see above"
    words = {
        "send": f"No further question is worth asking. Send {who}.",
        "settle": "No further question is worth asking, and no visit is needed.",
        "repair": f"Repair now: {parts}.",
        "refer": f"This goes to {who}.",
    }
    if step.do in words:
        yield f"{words[step.do]} {step.because}"
        yield from answer.visit.tell_customer
    elif step.do == "listen":
        yield "What else does the range do, or not do?"


def after_stop(answer: Triage, question: OpenQuestion | None) -> list[str]:
    """Who deals with a stop, and that nothing is asked while it stands but what is remembered."""
    if answer.stop is None:
        return []
    who = f"{WHO[answer.stop.refer_to].capitalize()} must deal with it."
    if question is None:
        return [f"Nothing more is asked while this stands. {who}"]
    return [f"Nothing is tried or touched while this stands. {who} When all are safe, ask what is remembered."]


# --- the question ------------------------------------------------------------------------------------------------
def asking(answer: Triage, question: OpenQuestion) -> list[str]:
    """The next question and why it is asked, its cautions first."""
    cautions = [c for advice in answer.next_tests if advice.test == question.test for c in advice.cautions]
    lead = "Next" if answer.stop is None else "Next, from memory"
    return [*dict.fromkeys(cautions), f"{lead}: {question.ask} (Why: {question.why})"]


def in_other_words(book: Book, question: OpenQuestion) -> str:
    """The open question once more, as a choice of what may be answered."""
    term = term_of(book, question.reads)
    if term.kind == "number":
        answers = f"a number of {unit_words(term.unit)}"
    else:
        answers = listed(f'"{meaning}"' for value, meaning in term.values.items() if value != DONT_KNOW)
    still = f"The question is still: {question.ask} In other words, {term.title}: say {answers}."
    return f'{still} "Not sure" is an answer too.'


def unit_words(unit: str | None) -> str:
    """A unit as it is spoken."""
    names = {"delta_degF": "degrees F, and whether too cold or too hot", "ohm": "ohms", "V": "volts", "day": "days"}
    return names.get(unit or "", unit or "")
