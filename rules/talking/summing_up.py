"""The case in few words, for the ticket."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Literal

from rules.answer import Triage
from rules.talking.conversation import Conversation, Number
from rules.talking.folding import Folded
from rules.talking.replying import SUSPECTS, numbered
from rules.talking.weighing import stand, weigh
from rules.talking.wording import WHO, conclusion_words, fact_words
from rules.terms import InputError, Problem
from rules.triage import Expert

Form = Literal["text", "markdown"]
FORMS: tuple[Form, ...] = ("text", "markdown")

#: Whatever Markdown, or HTML in it, might act on: anywhere, in an address, and at the beginning of an entry.
_ACTIVE = re.compile(
    r"([\\`*_\[\]<>#|~&@$])|(?<=\w)(:)(?=//)|(?<=www)(\.)|^([-+=])|(?<=^\d)([.)])|(?<=^\d\d)([.)])", re.I
)
_Section = tuple[str, list[str]]


def summary(expert: Expert, conversation: Conversation, form: Form = "text", answer: Triage | None = None) -> str:
    """What was told, by whom, what it most likely is, the visit and its parts, as plain text or Markdown.

    ``answer``: that of :func:`look`, where it is at hand. Whatever a caller wrote stays text: in Markdown every sign
    that could mean something is escaped. Raises InputError for another form.
    """
    if form not in FORMS:
        raise InputError([Problem("form", f"{str(form)[:40]!r} is not known; write one of {', '.join(FORMS)}")])
    if answer is None:
        answer = weigh(expert, conversation).answer
    folded, _ = stand(expert, conversation)
    title = f"{answer.appliance.title}{' (assumed)' if answer.appliance.assumed else ''}"
    sections = [
        ("Stop", list(_stop(answer))),
        ("Told", list(_told(expert, folded))),
        ("Not read", [f'"{" ".join(c.split())}"' for heard in conversation.messages for c in heard.unread]),
        ("Unsaid since", list(_unsaid(expert, folded, conversation.struck))),
        ("Most likely", list(_suspects(answer))),
        ("Next", list(_next(answer))),
        ("Visit", list(_visit(answer))),
        ("Tell the customer", list(answer.visit.tell_customer)),
    ]
    kept = [(head, lines) for head, lines in sections if lines]
    return _markdown(title, kept) if form == "markdown" else _text(title, kept)


def _text(title: str, sections: list[_Section]) -> str:
    lines = [title]
    for head, entries in sections:
        lines += [f"{head}:", *(f"  - {' '.join(entry.split())}" for entry in entries)]
    return "\n".join(lines) + "\n"


def _markdown(title: str, sections: list[_Section]) -> str:
    lines = [f"# {_escaped(title)}"]
    for head, entries in sections:
        lines += ["", f"## {head}", "", *(f"- {_escaped(' '.join(entry.split()))}" for entry in entries)]
    return "\n".join(lines) + "\n"


def _escaped(text: str) -> str:
    return _ACTIVE.sub(r"\\\g<0>", text)


def _stop(answer: Triage) -> Iterator[str]:
    if answer.stop is not None:
        yield f"{answer.stop.signal}: {answer.stop.say}"
        yield from answer.stop.because
        yield f"Goes to {WHO[answer.stop.refer_to]}."


def _told(expert: Expert, folded: Folded) -> Iterator[str]:
    for number, fact in folded.standing.items():
        who = "caller" if fact.source == "note" else fact.source
        yield f"[{numbered(number)}] {fact_words(fact, expert.book.facts)} ({who})"


def _unsaid(expert: Expert, folded: Folded, struck: frozenset[Number]) -> Iterator[str]:
    for number in sorted(struck & folded.told.keys()):
        yield f"[{numbered(number)}] {fact_words(folded.told[number], expert.book.facts)}"


def _suspects(answer: Triage) -> Iterator[str]:
    for conclusion in answer.conclusions[:SUSPECTS]:
        settled = ", settled by a measurement" if conclusion.standing == "established" else ""
        yield f"{conclusion_words(conclusion)}: {conclusion.probability:.0%}{settled}"


def _next(answer: Triage) -> Iterator[str]:
    if not answer.scope.in_scope:
        yield answer.scope.reason or ""
        return
    step = answer.next_step
    asked = next((t.ask for t in answer.next_tests if (t.test, t.where) == (step.test, step.where)), None)
    if asked is not None and answer.stop is None:
        yield f"Open question: {asked}"
    elif step.do in ("send", "refer", "repair", "settle"):
        who = f" {WHO[step.who]}" if step.who in WHO and step.do in ("send", "refer") else ""
        yield f"{step.do.capitalize()}{' to' if step.do == 'refer' and who else ''}{who}: {step.because}"


def _visit(answer: Triage) -> Iterator[str]:
    visit = answer.visit
    if visit.needed is None:
        return
    if not visit.needed:
        yield "Not needed as it looks now."
        return
    low, high = visit.minutes
    yield f"{WHO[visit.skill].capitalize()}, urgency {visit.urgency}, {low} to {high} minutes on site."
    if visit.load_parts:
        parts = ", ".join(f"{part.part.replace('_', ' ')} ({part.probability_used:.0%})" for part in visit.load_parts)
        yield f"Parts to take: {parts}. Mended at this visit: {visit.first_visit_fix:.0%}."
