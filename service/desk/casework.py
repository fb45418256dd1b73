"""A case as a page: read, worked out, put together; and steps recorded once however often their form is sent."""

from __future__ import annotations

import hashlib
import re
import secrets
import threading
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, cast

from flask import Response, current_app, make_response, redirect, render_template, request, url_for

from rules import Enquiry, Expert, InputError, Problem, triage
from rules.answer import TestAdvice
from rules.bookkeeping.types import Appliance
from rules.talking import Conversation, Heard, Number, Turn, heard_from_plain, look
from rules.tracing import Tracer
from service.cases.calls import Keeping, Step
from service.cases.store import Entry, Kept, NoCaseError, Once
from service.desk import showing
from service.desk.drawing import draw, units_told
from service.desk.readings import outlook, reading_of
from service.desk.showing import Question, Sure
from service.http.case_intake import may_be_id
from service.http.cases import calls, owner
from service.http.context import house

TREND = 6  # messages back that the page tells of
MOST_TRENDS = 4096
NOT_OPEN = "That question or test is not open now; here is what is."
_TOKEN = re.compile(r"[A-Za-z0-9_-]{22}")


@dataclass(frozen=True)
class Line:
    """A message or another step in the history, with the reply it got."""

    kind: str
    who: str
    said: str
    reply: str
    unread: tuple[str, ...] = ()


@dataclass(frozen=True)
class Asked:
    """What the page was asked to show besides: a chosen question, a reading to judge, a refused text.

    ``more``: list every question and test there is, not the best few.
    """

    ask: str | None = None
    reading: str | None = None
    text: str = ""
    problems: Sequence[Problem] = ()
    notice: str | None = None
    status: int = 200
    more: bool = False


class Desk:
    """What the desk keeps between requests, all of it worked out from the book and the cases."""

    def __init__(self, expert: Expert) -> None:
        self.tracer = Tracer(expert)
        self._sure: dict[Any, Sure] = {}
        self._lock = threading.Lock()

    def sure(self, key: Any, work: Callable[[], Sure]) -> Sure:
        """How sure the picture was at a point of a case; worked out once."""
        with self._lock:
            found = self._sure.get(key)
        if found is None:
            found = work()
            with self._lock:
                while len(self._sure) >= MOST_TRENDS:
                    self._sure.pop(next(iter(self._sure)))
                self._sure[key] = found
        return found


def desk() -> Desk:
    return cast(Desk, current_app.extensions["coldleg-desk"])


def found(case: str) -> str:
    """The case's id, if it may be one. Raises NoCaseError."""
    if not may_be_id(case):
        raise NoCaseError(case)
    return case


def new_token() -> str:
    """What makes one form one request."""
    return secrets.token_urlsafe(16)


# --- the page --------------------------------------------------------------------------------------------------------
def page(case: str, asked: Asked) -> Response:
    """The case's page. Raises NoCaseError."""
    whole, step = calls().seen(owner(), found(case))
    book, turn = house().expert.book, step.turn
    answer, conversation = turn.answer, turn.conversation
    appliance = showing.appliance_in(book, answer, conversation.appliance)
    tests = _tests(turn, appliance, asked)
    if asked.ask is not None and asked.ask not in {test.reads for test in tests}:
        asked = replace(asked, reading=None, notice=asked.notice or NOT_OPEN)
    question = showing.question_of(turn, tests, book, asked.ask)
    expected, asked = _expected(question, appliance, step, asked)
    words = tuple(showing.fact_words(fact, book.facts) for fact in answer.understood)
    drawing = draw(appliance, desk().tracer.trace(appliance, answer.understood), words)
    history = tuple(lines(whole.entries))
    text = render_template(
        "desk/case.html",
        case=step.case,
        outcome=step.outcome,
        answer=answer,
        conversation=conversation,
        question=question,
        others=[
            test
            for test in (tests if asked.more else answer.next_tests)
            if question is None or test.reads != question.reads
        ],
        reply=showing.heard_words(history[-1].reply if history and history[-1].reply else turn.reply),
        facts=tuple(showing.fact_lines(turn.facts, book.facts)),
        suspects=showing.suspects_of(answer, book),
        none_of_these=showing.percent(answer.none_of_these),
        trend=_trend(step, conversation),
        drawing=drawing,
        units=tuple(units_told(drawing)),
        expected=expected,
        history=history,
        summary=calls().for_ticket(step, "text"),
        asked=asked,
        who=showing.WHO,
        steps=showing.STEPS,
        percent=showing.percent,
        part_title=lambda part: showing.part_title(part, book),
        faults=book.faults,
    )
    return make_response(text, asked.status)


def _tests(turn: Turn, appliance: Appliance, asked: Asked) -> tuple[TestAdvice, ...]:
    """The tests to choose from: the answer's best few, all of them where more or another is wished."""
    listed = turn.answer.next_tests
    if not turn.answer.understood or not (asked.more or (asked.ask and asked.ask not in {t.reads for t in listed})):
        return listed
    enquiry = Enquiry(facts=turn.answer.understood, appliance=appliance, role=turn.conversation.role, explain="full")
    return triage(house().expert, enquiry).next_tests


def _expected(question: Question | None, appliance: Appliance, step: Step, asked: Asked) -> tuple[Any, Asked]:
    """What a technician's test shows under each suspect, and what the reading on the page says of them."""
    if question is None or step.turn.conversation.role != "technician":
        return None, asked
    signatures = house().expert.signatures(appliance)
    read = None
    if asked.reading:
        try:
            read = reading_of(signatures, question.reads, asked.reading)
        except InputError as error:
            asked = replace(asked, problems=tuple(Problem("reading", p.message) for p in error.problems), status=422)
    return outlook(signatures, question.reads, step.turn.answer.conclusions, read), asked


def _trend(step: Step, conversation: Conversation) -> tuple[tuple[int, Sure], ...]:
    """How sure the picture was after each of the last messages, counted from 1, and is now."""
    expert, last = house().expert, len(conversation.messages)
    marks = (step.case.id, expert.book.version, conversation.appliance, conversation.role, conversation.struck)
    made = []
    for count in range(max(1, last - TREND + 1), last):
        kept = {number for number in conversation.struck if number[0] < count}
        before = replace(
            conversation, messages=conversation.messages[:count], struck=frozenset[Number](kept), asks=None
        )

        def worked_out(then: Conversation = before) -> Sure:
            return showing.sureness(look(expert, then).answer)

        made.append((count, desk().sure((*marks, count), worked_out)))
    now = showing.sureness(step.turn.answer)
    desk().sure((*marks, last), lambda: now)
    return (*made, (last, now)) if last else ()


def lines(entries: Sequence[Entry]) -> list[Line]:
    """The history as it was: what was said by whom, and the reply."""
    terms = house().expert.book.facts
    made = []
    for entry in entries:
        body, reply = entry.body, entry.body.get("reply") or ""
        if entry.kind == "message":
            heard = heard_from_plain(body["heard"])
            made.append(Line("message", heard.message.role, _said(heard, terms), reply, heard.unread))
        elif entry.kind == "role":
            made.append(Line("role", "", f"From here on the {body['role']} speaks.", reply))
        elif entry.kind == "strike":
            made.append(Line("strike", "", "Struck: what was said counts no longer.", reply))
        elif entry.kind in ("outcome", "reopened"):
            told = "The outcome was recorded." if entry.kind == "outcome" else "The call was opened again."
            made.append(Line(entry.kind, "", told, ""))
    return made


def _said(heard: Heard, terms: Mapping[str, Any]) -> str:
    picked = [showing.fact_words(fact, terms) for fact in heard.message.facts]
    if heard.message.text is not None:
        picked.insert(0, heard.message.text)
    return "; ".join(picked) or "(erased)"


# --- steps -----------------------------------------------------------------------------------------------------------
def version_asked() -> int:
    """The version of the case that the form's page showed. Raises InputError."""
    given = request.form.get("version", "")
    if not re.fullmatch(r"[1-9]\d{0,8}", given):
        raise InputError([Problem("version", "the form is not whole; open the page anew")])
    return int(given)


def once() -> Once:
    """The form's own mark, so that a second click, a reload or the back button records nothing twice."""
    token = request.form.get("once", "")
    if not _TOKEN.fullmatch(token):
        raise InputError([Problem("once", "the form is not whole; open the page anew")])
    asked = sorted((name, value) for name, value in request.form.items(multi=True) if name not in ("form", "once"))
    printed = hashlib.sha256(repr((request.path, asked)).encode("utf-8", "surrogatepass")).hexdigest()
    return Once(f"desk-{token}", printed)


def recorded(act: Callable[[Keeping], Step]) -> Response:
    """Do what a form asks, once, and lead to the case. Raises InputError, VersionError, KeyReusedError, ClosedError."""
    return to_case(calls().once(owner(), once(), _written, act).case)


def _written(step: Step) -> Kept:
    return Kept(step.case.id, 303, step.case.version, b"")


def to_case(case: str) -> Response:
    """After a form: the case's page by GET, so that a reload sends nothing."""
    return make_response(redirect(url_for("desk.show_case", case=case), 303))
