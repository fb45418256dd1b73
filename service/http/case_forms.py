"""The forms of cases: bodies that come in, and what goes out."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import UTC, datetime
from typing import Any

from marshmallow import Schema, fields, validate

from rules import Fact
from rules.bookkeeping.types import FactTerm
from rules.enquiry import LONGEST_NOTE, MOST_FACTS
from rules.talking import KINDS, Number, OpenQuestion, TurnFact, heard_from_plain
from rules.terms import ROLES
from service.cases.calls import Step
from service.cases.folding import Outcome
from service.cases.store import STATES, Case, Entry
from service.cases.tables import LONGEST_REFERENCE
from service.dumping import Dump, plan
from service.http.requests import APPLIANCE, FactGivenSchema, Strict, told
from service.schemas import FactSchema, TriageSchema, with_unit

LONGEST_FOUND = 1000
MOST_MINUTES = 24 * 60.0


# --- in --------------------------------------------------------------------------------------------------------------
class MessageGivenSchema(Strict):
    """A message of a call: text, facts, both, or a role alone."""

    text = fields.String(
        allow_none=True,
        validate=validate.Length(min=1, max=LONGEST_NOTE),
        metadata=told(
            "What was said: an answer to the open question (yes, no, left front, about 40 low, not sure), other facts, "
            "a correction (no wait, the clock is dead), or a question back (why do you ask? how do you know?)."
        ),
    )
    facts = fields.List(
        fields.Nested(FactGivenSchema),
        allow_none=True,
        validate=validate.Length(max=MOST_FACTS),
        metadata=told("What is known for sure."),
    )
    role = fields.String(
        allow_none=True,
        validate=validate.OneOf(ROLES, error="write one of {choices}"),
        metadata=told("Who speaks from now on; left out, who spoke before. The belief carries over."),
    )


class CaseGivenSchema(MessageGivenSchema):
    """A case to be opened; with text or facts, these are its first message."""

    reference = fields.String(
        allow_none=True,
        metadata=told(f"Of the ticket, 1 to {LONGEST_REFERENCE} characters.", maxLength=LONGEST_REFERENCE),
    )
    appliance = fields.Raw(allow_none=True, metadata=APPLIANCE)


class OutcomeGivenSchema(Strict):
    """What it was in the end."""

    fixed = fields.Boolean(
        required=True, truthy={True}, falsy={False}, metadata=told("Whether the range works as it should.")
    )
    fault = fields.String(
        allow_none=True, metadata=told("Id of the fault, as GET /v1/faults lists them.", example="supply.leg_l2_open")
    )
    where = fields.String(allow_none=True, metadata=told("Its unit, such as left_front."))
    found = fields.String(
        allow_none=True,
        validate=validate.Length(min=1, max=LONGEST_FOUND),
        metadata=told("What was found, in words; needed if no fault is named."),
    )
    parts = fields.List(
        fields.String(), allow_none=True, validate=validate.Length(max=20), metadata=told("Parts put in, by the book.")
    )
    minutes = fields.Float(
        allow_none=True,
        validate=validate.Range(0, MOST_MINUTES, error=f"write minutes from 0 to {MOST_MINUTES:g}"),
        metadata=told("On site, min."),
    )
    call_back = fields.Boolean(
        allow_none=True, truthy={True}, falsy={False}, metadata=told("Whether the customer had to call again.")
    )


# --- out -------------------------------------------------------------------------------------------------------------
class CaseSchema(Schema):
    id = fields.String()
    reference = fields.String(allow_none=True)
    state = fields.String(validate=validate.OneOf(STATES))
    version = fields.Integer()
    opened_at = fields.String(metadata={"format": "date-time"})
    changed_at = fields.String(metadata={"format": "date-time"})
    erased_at = fields.String(allow_none=True, metadata={"format": "date-time"})


class CaseListSchema(Schema):
    items = fields.List(fields.Nested(CaseSchema))
    next = fields.String(allow_none=True)


class CaseFactSchema(Schema):
    number = fields.String()
    fact = fields.Nested(FactSchema, allow_none=True)
    words = fields.String()
    answers = fields.Boolean()
    fate = fields.String()
    replaced = fields.List(fields.String())


class OpenQuestionSchema(Schema):
    test = fields.String()
    reads = fields.String()
    ask = fields.String()
    why = fields.String()
    who = fields.String()


class CaseOutcomeSchema(Schema):
    fixed = fields.Boolean()
    fault = fields.String(allow_none=True)
    where = fields.String(allow_none=True)
    found = fields.String(allow_none=True)
    parts = fields.List(fields.String())
    minutes = fields.Float(allow_none=True)
    call_back = fields.Boolean()


class CaseTurnSchema(Schema):
    case = fields.Nested(CaseSchema)
    role = fields.String()
    message = fields.Integer(allow_none=True)
    kind = fields.String(validate=validate.OneOf(KINDS))
    facts = fields.List(fields.Nested(CaseFactSchema))
    unread = fields.List(fields.String())
    reply = fields.String()
    asks = fields.Nested(OpenQuestionSchema, allow_none=True)
    outcome = fields.Nested(CaseOutcomeSchema, allow_none=True)
    answer = fields.Nested(TriageSchema)


class HeardFactSchema(Schema):
    number = fields.String()
    fact = fields.Nested(FactSchema)


class CaseEntrySchema(Schema):
    number = fields.Integer()
    kind = fields.String()
    at = fields.String(metadata={"format": "date-time"})
    message = fields.Integer(allow_none=True)
    role = fields.String(allow_none=True)
    text = fields.String(allow_none=True)
    heard = fields.String(allow_none=True)
    facts = fields.List(fields.Nested(HeardFactSchema))
    struck = fields.List(fields.String())
    reply = fields.String(allow_none=True)
    outcome = fields.Nested(CaseOutcomeSchema, allow_none=True)


class CaseWholeSchema(CaseTurnSchema):
    history = fields.List(fields.Nested(CaseEntrySchema))


# --- written ---------------------------------------------------------------------------------------------------------
_FACT: Dump = plan(FactSchema())
_QUESTION: Dump = plan(OpenQuestionSchema())


def moment(at: datetime | None) -> str | None:
    """RFC 3339 in UTC, to the microsecond."""
    return None if at is None else at.astimezone(UTC).isoformat(timespec="microseconds").replace("+00:00", "Z")


def number_of(number: Number) -> str:
    """A fact's number as it stands in addresses: message and place, ``3.1``."""
    return f"{number[0]}.{number[1]}"


def case_form(case: Case) -> dict[str, Any]:
    return {
        "id": case.id,
        "reference": case.reference,
        "state": case.state,
        "version": case.version,
        "opened_at": moment(case.opened_at),
        "changed_at": moment(case.changed_at),
        "erased_at": moment(case.erased_at),
    }


def step_form(step: Step, terms: Mapping[str, FactTerm], answer: Dump) -> dict[str, Any]:
    """A step as the answer to its request."""
    turn = step.turn
    return {
        "case": case_form(step.case),
        "role": turn.conversation.role,
        "message": turn.message,
        "kind": turn.kind,
        "facts": [_turn_fact(fact, terms) for fact in turn.facts],
        "unread": list(turn.unread),
        "reply": turn.reply,
        "asks": _asks(turn.asks),
        "outcome": None if step.outcome is None else outcome_form(step.outcome),
        "answer": answer(turn.answer),
    }


def history_form(entries: tuple[Entry, ...], terms: Mapping[str, FactTerm]) -> Iterator[dict[str, Any]]:
    """Every entry; what an entry of its kind has not is null or empty."""
    for entry in entries:
        body, form = entry.body, dict.fromkeys(("message", "role", "text", "heard", "reply", "outcome"))
        form |= {"number": entry.number, "kind": entry.kind, "at": moment(entry.at), "facts": [], "struck": []}
        form |= {name: body.get(name) for name in ("message", "role", "reply")}
        if entry.kind == "message":
            heard = heard_from_plain(body["heard"])
            form |= {"message": heard.message.number, "role": heard.message.role, "text": heard.message.text}
            form["heard"] = heard.kind
            form["struck"] = [f"{message}.{index}" for message, index in body.get("struck", ())]
            form["facts"] = [
                {"number": number_of(number), "fact": _fact(one.fact, terms)}
                for number, one in zip(heard.numbers(), heard.facts, strict=False)
            ]
        elif entry.kind == "opened":
            form["role"] = body["stands"]["role"]
        elif entry.kind == "strike":
            form["struck"] = [f"{message}.{index}" for message, index in body["numbers"]]
        elif entry.kind == "outcome":
            form["outcome"] = body
        yield form


def outcome_form(outcome: Outcome) -> dict[str, Any]:
    return {**outcome.__dict__, "parts": list(outcome.parts)}


def _turn_fact(one: TurnFact, terms: Mapping[str, FactTerm]) -> dict[str, Any]:
    return {
        "number": number_of(one.number),
        "fact": None if one.fact is None else _fact(one.fact, terms),
        "words": one.words,
        "answers": one.answers,
        "fate": one.fate,
        "replaced": [number_of(number) for number in one.replaced],
    }


def _fact(fact: Fact, terms: Mapping[str, FactTerm]) -> dict[str, Any]:
    return with_unit(_FACT(fact), terms)


def _asks(question: OpenQuestion | None) -> dict[str, Any] | None:
    return None if question is None else _QUESTION(question)
