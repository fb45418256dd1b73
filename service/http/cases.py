"""Cases: a call as a conversation, kept. Each belongs to the API key that opened it; to any other there is none."""

from __future__ import annotations

import base64
import hashlib
import json
from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from functools import partial
from typing import Any, TypeVar
from urllib.parse import urlencode

from flask import Response, request
from marshmallow import Schema, fields, validate

from rules import Fact, InputError, Problem
from rules.talking.summing_up import Form
from service.cases.calls import Calls, Keeping, Step
from service.cases.store import STATES, Filter, Kept, NoCaseError, Position
from service.dumping import json_line
from service.http import examples
from service.http.blueprint import Blueprint, Terms, body_doc, read_json
from service.http.case_forms import (
    CaseGivenSchema,
    CaseListSchema,
    CaseTurnSchema,
    CaseWholeSchema,
    MessageGivenSchema,
    OutcomeGivenSchema,
    case_form,
    history_form,
    step_form,
)
from service.http.case_intake import (
    fact_number,
    may_be_id,
    message_from,
    message_number,
    moment_from,
    opening_from,
    outcome_from,
    reference_from,
)
from service.http.conditions import ETAG_DOC, IF_MATCH_DOC, ONCE_DOC, etag, once_asked, version_asked
from service.http.context import JSON, MARKDOWN, TEXT, house, marks, reply
from service.http.requests import told
from service.pointers import located
from service.problems import SEE_ERRORS, RefusedError

blp = Blueprint("cases", __name__, description="Calls as conversations, kept. Scope `cases`.")
Value = TypeVar("Value")
NOBODY = "local"  # owns the cases of a service that asks for no key
A_PAGE, MOST_A_PAGE = 50, 200
LOCATION_DOC = {"Location": {"schema": {"type": "string"}, "description": "The case."}}
_CHANGES = ("version-needed", "version-changed", "case-closed", "not-ready")
READS = Terms(scope="cases", more=("not-ready", "case-closed"))
OPENS = Terms(scope="cases", takes=JSON, more=("not-ready",))
RECORDS = Terms(scope="cases", takes=JSON, more=_CHANGES)
STRIKES = Terms(scope="cases", more=_CHANGES)
LISTS = Terms(scope="cases", query=("state", "reference", "since", "before", "limit", "cursor"), more=("not-ready",))
SUMS_UP = Terms(scope="cases", gives=TEXT, also=(MARKDOWN,), more=("not-ready", "case-closed"))


class CaseQuery(Schema):
    """Which cases, and which page of them."""

    state = fields.String(
        validate=validate.OneOf(STATES, error="write one of {choices}"), metadata=told("Open or closed ones only.")
    )
    reference = fields.String(metadata=told("Those with exactly this reference."))
    since = fields.String(metadata=told("Opened at this time or later, RFC 3339.", format="date-time"))
    before = fields.String(metadata=told("Opened before this time, RFC 3339.", format="date-time"))
    limit = fields.Integer(
        load_default=A_PAGE,
        validate=validate.Range(1, MOST_A_PAGE, error=f"write a whole number from 1 to {MOST_A_PAGE}"),
        error_messages={"invalid": f"write a whole number from 1 to {MOST_A_PAGE}"},
        metadata=told("Cases a page."),
    )
    cursor = fields.String(metadata=told("From `next` of the page before; opaque."))


# --- routes ----------------------------------------------------------------------------------------------------------
@blp.route("/v1/cases", methods=["POST"], terms=OPENS)
@blp.doc(
    operationId="open_case",
    summary="Open a case",
    requestBody=body_doc(CaseGivenSchema, JSON, examples.CASES),
    parameters=[ONCE_DOC],
)
@blp.response(201, CaseTurnSchema, headers={**ETAG_DOC, **LOCATION_DOC})
def open_case() -> Response:
    """With text or facts, these are heard as its first message; without, the reply asks the first question."""
    data = read_json()
    reference, appliance, said = opening_from(house().expert, data)

    def step(keeping: Keeping | None) -> Step:
        return calls().open(owner(), reference, appliance, said, keeping)

    return _once(data, 201, lambda keeping: _located(said.facts, partial(step, keeping)))


@blp.route("/v1/cases", endpoint="case_page", terms=LISTS)
@blp.doc(operationId="list_cases", summary="List your cases, newest first")
@blp.arguments(CaseQuery, location="query")
@blp.response(200, CaseListSchema)
def list_cases(query: dict[str, Any]) -> Response:
    """Yours are those opened with the same API key. A page does not move while cases are opened."""
    wanted = _filter(query)
    after = _position(query.get("cursor"), wanted)
    found, position = calls().store.page(owner(), wanted, after, query["limit"])
    following = None
    if position is not None:
        kept = {name: value for name, value in query.items() if name != "cursor"}
        following = "/v1/cases?" + urlencode({**kept, "cursor": _cursor(position, wanted)})
    response = reply({"items": [case_form(case) for case in found], "next": following})
    if following is not None:
        response.headers["Link"] = f'<{following}>; rel="next"'
    return response


@blp.route("/v1/cases/<string:case>", terms=READS)
@blp.doc(operationId="get_case", summary="One case with its history")
@blp.response(200, CaseWholeSchema, headers=ETAG_DOC)
def get_case(case: str) -> Response:
    """Where it stands by the present book, and every entry since it was opened; nothing is ever taken out of these."""
    inside = house()
    whole, step = calls().seen(owner(), _known(case))
    form = step_form(step, inside.expert.book.facts, inside.dump)
    form["history"] = list(history_form(whole.entries, inside.expert.book.facts))
    return _tagged(reply(form), step.case.version)


@blp.route("/v1/cases/<string:case>/messages", methods=["POST"], terms=RECORDS)
@blp.doc(
    operationId="say",
    summary="Say something in a case",
    requestBody=body_doc(MessageGivenSchema, JSON, examples.MESSAGES),
    parameters=[IF_MATCH_DOC, ONCE_DOC],
)
@blp.response(200, CaseTurnSchema, headers=ETAG_DOC)
def say(case: str) -> Response:
    """A reply in plain words (what was understood, what it means, the next question and why), and the whole answer."""
    data, number = read_json(), _known(case)
    saying = message_from(house().expert, data)

    def step(keeping: Keeping | None) -> Step:
        return calls().hear(owner(), number, _version(number), saying, keeping)

    return _once(data, 200, lambda keeping: _located(saying("desk").facts, partial(step, keeping)))


@blp.route("/v1/cases/<string:case>/facts/<string:fact>", methods=["DELETE"], terms=STRIKES)
@blp.doc(operationId="strike_fact", summary="Unsay a fact", parameters=[IF_MATCH_DOC])
@blp.response(200, CaseTurnSchema, headers=ETAG_DOC)
def strike_fact(case: str, fact: str) -> Response:
    """It stays in the history and counts no longer; everything is worked out anew. One struck already stays so."""
    number = _known(case)
    struck = _addressed("fact", lambda: fact_number(fact))
    return _told(_addressed("fact", lambda: calls().strike_fact(owner(), number, _version(number), struck)))


@blp.route("/v1/cases/<string:case>/messages/<string:message>", methods=["DELETE"], terms=STRIKES)
@blp.doc(operationId="strike_message", summary="Unsay all that a message told", parameters=[IF_MATCH_DOC])
@blp.response(200, CaseTurnSchema, headers=ETAG_DOC)
def strike_message(case: str, message: str) -> Response:
    """It stays in the history; none of its facts counts any longer."""
    number = _known(case)
    struck = _addressed("message", lambda: message_number(message))
    return _told(_addressed("message", lambda: calls().strike_message(owner(), number, _version(number), struck)))


@blp.route("/v1/cases/<string:case>/outcome", methods=["POST"], terms=RECORDS)
@blp.doc(
    operationId="settle",
    summary="Record what it was",
    requestBody=body_doc(OutcomeGivenSchema, JSON, examples.OUTCOMES),
    parameters=[IF_MATCH_DOC, ONCE_DOC],
)
@blp.response(200, CaseTurnSchema, headers=ETAG_DOC)
def settle(case: str) -> Response:
    """Closes the case. Recorded again, the later one counts and both are in the history."""
    data, number = read_json(), _known(case)
    outcome = outcome_from(house().expert, data)
    return _once(data, 200, lambda keeping: calls().settle(owner(), number, _version(number), outcome, keeping))


@blp.route("/v1/cases/<string:case>/outcome", methods=["DELETE"], endpoint="reopen", terms=STRIKES)
@blp.doc(operationId="reopen", summary="Take the outcome back", parameters=[IF_MATCH_DOC])
@blp.response(200, CaseTurnSchema, headers=ETAG_DOC)
def reopen(case: str) -> Response:
    """The case is open again; the outcome stays in the history."""
    number = _known(case)
    return _told(calls().reopen(owner(), number, _version(number)))


@blp.route("/v1/cases/<string:case>/summary", terms=SUMS_UP)
@blp.doc(
    operationId="summary",
    summary="The case for the ticket",
    responses={
        "200": {
            "description": "The summary.",
            "content": {made: {"schema": {"type": "string"}} for made in (TEXT, MARKDOWN)},
            "headers": ETAG_DOC,
        }
    },
)
def summary(case: str) -> Response:
    """Plain text; Markdown for `Accept: text/markdown`."""
    made = request.accept_mimetypes.best_match((TEXT, MARKDOWN), TEXT)
    form: Form = "markdown" if made == MARKDOWN else "text"
    kept, text = calls().summed_up(owner(), _known(case), form)
    response = _tagged(Response(text, content_type=f"{made}; charset=utf-8"), kept.version)
    response.headers["Vary"] = "Accept"
    return response


# --- who and which ---------------------------------------------------------------------------------------------------
def calls() -> Calls:
    """Raises RefusedError where no database is open."""
    open_calls = house().calls
    if open_calls is None:
        raise RefusedError("not-ready", "This service keeps no cases; it was started without a database.")
    return open_calls


def owner() -> str:
    """Whose cases the request is about."""
    return marks().key or NOBODY


def _known(case: str) -> str:
    if not may_be_id(case):
        raise NoCaseError(case)
    return case


def _version(case: str) -> int | None:
    return version_asked(lambda: calls().store.case(owner(), case).version)


# --- answers ---------------------------------------------------------------------------------------------------------
def _once(data: Any, status: int, act: Callable[[Keeping | None], Step]) -> Response:
    """The answer to a recording request: a new one, or the one it got before."""
    once = once_asked(data)
    if once is None:
        return _told(act(None), status)
    return _sent(calls().once(owner(), once, partial(_written, status=status), act))


def _written(step: Step, status: int) -> Kept:
    inside = house()
    body = json_line(step_form(step, inside.expert.book.facts, inside.dump))
    return Kept(step.case.id, status, step.case.version, body)


def _told(step: Step, status: int = 200) -> Response:
    return _sent(_written(step, status))


def _sent(kept: Kept) -> Response:
    response = _tagged(Response(kept.body, status=kept.status, content_type=JSON), kept.version)
    if kept.status == 201:
        response.headers["Location"] = f"/v1/cases/{kept.case}"
    return response


def _tagged(response: Response, version: int) -> Response:
    response.headers["ETag"] = etag(version)
    return response


def _located(facts: Sequence[Fact], act: Callable[[], Step]) -> Step:
    """Problems of what was said, at their places in the body."""
    try:
        return act()
    except InputError as error:
        raise InputError(located(error.problems, facts)) from error


def _addressed(parameter: str, act: Callable[[], Value]) -> Value:
    """A number that the case does not have is an address that leads nowhere."""
    try:
        return act()
    except InputError as error:
        errors = [{"parameter": parameter, "detail": problem.message} for problem in error.problems]
        raise RefusedError("not-found", f"The case has no such {parameter}.", errors) from error


# --- lists -----------------------------------------------------------------------------------------------------------
def _filter(query: dict[str, Any]) -> Filter:
    try:
        return Filter(
            query.get("state"),
            reference_from(query.get("reference")),
            moment_from(query.get("since"), "since"),
            moment_from(query.get("before"), "before"),
        )
    except InputError as error:
        raise _in_query(error.problems) from error


def _in_query(problems: list[Problem]) -> RefusedError:
    return RefusedError(
        "unusable-input", SEE_ERRORS, [{"parameter": problem.field, "detail": problem.message} for problem in problems]
    )


def _mark(wanted: Filter) -> str:
    return hashlib.sha256(repr(wanted).encode("utf-8", "surrogatepass")).hexdigest()[:12]


def _cursor(position: Position, wanted: Filter) -> str:
    packed = json.dumps([position[0].isoformat(), position[1], _mark(wanted)], separators=(",", ":"))
    return base64.urlsafe_b64encode(packed.encode()).decode().rstrip("=")


def _position(cursor: str | None, wanted: Filter) -> Position | None:
    if cursor is None:
        return None
    told_how = "leave it out to start again from the first page"
    try:
        raw = base64.b64decode(cursor + "=" * (-len(cursor) % 4), altchars=b"-_", validate=True)
        at, case, mark = json.loads(raw)
        position = datetime.fromisoformat(at).astimezone(UTC), str(case)
        good = may_be_id(position[1])
    except (ValueError, TypeError, OverflowError, RecursionError):
        good, mark = False, None
    if good and mark == _mark(wanted):
        return position
    wrong = "belongs to another filter" if good else "was not made by this route"
    raise _in_query([Problem("cursor", f"{wrong}; {told_how}")])
