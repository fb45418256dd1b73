"""What comes in about cases, checked. All that is wrong is told at once, by field."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Mapping
from datetime import UTC, datetime
from typing import Any, TypeVar, cast

from marshmallow import Schema

from rules import Expert, Fact, InputError, Problem
from rules.bookkeeping.types import Appliance
from rules.bookkeeping.yamlsource import nearest
from rules.enquiry import check_note, facts_from_list
from rules.talking import Number
from rules.terms import Role
from service.cases.calls import Said
from service.cases.folding import Outcome
from service.cases.tables import ID_LENGTH, LONGEST_REFERENCE
from service.http.case_forms import CaseGivenSchema, MessageGivenSchema, OutcomeGivenSchema
from service.http.loading import load
from service.intake import appliance_from, source_of
from service.strictjson import shown

Value = TypeVar("Value")
_ID = re.compile(rf"[A-Za-z0-9_-]{{{ID_LENGTH}}}")
_FACT = re.compile(r"(0|[1-9]\d{0,8})\.(0|[1-9]\d{0,8})")
_MESSAGE = re.compile(r"0|[1-9]\d{0,8}")
_READ_APART = ("facts", "appliance")


def opening_from(expert: Expert, data: Any) -> tuple[str | None, Appliance | None, Said]:
    """Reference, appliance and first message of a new case. Raises InputError."""
    problems: list[Problem] = []
    given = _loaded(CaseGivenSchema, data, problems)
    reference = _tried(lambda: reference_from(given.get("reference")), problems)
    appliance = _tried(lambda: appliance_from(expert, data.get("appliance")), problems)
    said = _said(expert, given, data, "desk", problems)
    if problems:
        raise InputError(problems)
    return reference, appliance, said


def message_from(expert: Expert, data: Any) -> Callable[[Role], Said]:
    """A message, once it is known who spoke before. Raises InputError."""
    problems: list[Problem] = []
    given = _loaded(MessageGivenSchema, data, problems)
    _said(expert, given, data, "desk", problems)
    empty = given.get("text") is None and not data.get("facts") and given.get("role") is None
    if empty and not problems:
        problems.append(Problem("text", "missing; give text, facts, or the role that speaks from now on"))
    if problems:
        raise InputError(problems)
    return lambda before: _said(expert, given, data, before, [])


def outcome_from(expert: Expert, data: Any) -> Outcome:
    """Raises InputError."""
    problems: list[Problem] = []
    given = _loaded(OutcomeGivenSchema, data, problems)
    book = expert.book
    for field, names, known in (
        ("fault", [given.get("fault")], book.faults),
        ("parts", given.get("parts") or [], book.parts),
    ):
        for number, name in enumerate(names):
            if name is not None and name not in known:
                at = field if field == "fault" else f"{field}/{number}"
                problems.append(Problem(at, f"the book has no {shown(name)!r}{nearest(name[:60], known)}"))
    places = {unit.where for appliance in book.appliances.values() for unit in appliance.units}
    if (where := given.get("where")) is not None and where not in places:
        problems.append(Problem("where", f"no unit {shown(where)!r}{nearest(where[:60], places)}"))
    if given.get("fault") is None and given.get("found") is None and not problems:
        problems.append(Problem("fault", "missing; name the fault, or write in found what it was"))
    if (found := given.get("found")) is not None:
        _tried(lambda: _checked_text("found", found), problems)
    if problems:
        raise InputError(problems)
    return Outcome(
        given["fixed"], given.get("fault"), where, found, tuple(given.get("parts") or ()), given.get("minutes"),
        bool(given.get("call_back")),
    )  # fmt: skip


def reference_from(given: str | None) -> str | None:
    """A ticket's reference without spaces around it. Raises InputError."""
    if given is None:
        return None
    text = given.strip()
    if not 1 <= len(text) <= LONGEST_REFERENCE:
        raise InputError([Problem("reference", f"write 1 to {LONGEST_REFERENCE} characters")])
    if any(unicodedata.category(sign) in ("Cc", "Cs") for sign in text):
        raise InputError([Problem("reference", "holds a control character; write letters, digits, spaces and signs")])
    return text


def moment_from(given: str | None, field: str) -> datetime | None:
    """A time of the query. Raises InputError."""
    if given is None:
        return None
    try:
        at = datetime.fromisoformat(given)
        return at.astimezone(UTC) if at.tzinfo is not None else _no_time(field)
    except (ValueError, OverflowError):
        return _no_time(field)


def _no_time(field: str) -> datetime:
    told = "write date and time with its offset, for example 2026-03-01T09:00:00Z (a plus sign as %2B)"
    raise InputError([Problem(field, told)])


def may_be_id(given: str) -> bool:
    """Whether this has the form of a case's id at all."""
    return _ID.fullmatch(given) is not None


def fact_number(given: str) -> Number:
    """``3.1``. Raises InputError."""
    found = _FACT.fullmatch(given)
    if found is None:
        told = f"{shown(given)!r} is no fact's number; write message and place as the case lists them, for example 0.1"
        raise InputError([Problem("fact", told)])
    return int(found[1]), int(found[2])


def message_number(given: str) -> int:
    """Raises InputError."""
    if not _MESSAGE.fullmatch(given):
        raise InputError([Problem("message", f"{shown(given)!r} is no message's number; they count from 0")])
    return int(given)


# --- pieces ----------------------------------------------------------------------------------------------------------
def _loaded(schema: type[Schema], data: Any, problems: list[Problem]) -> dict[str, Any]:
    """The fields that the schema reads; those read apart, by the book's own words, are left out."""
    if not isinstance(data, Mapping):
        raise InputError([Problem("", 'write a JSON object, for example {"text": "the oven is dead"}')])
    known = schema().fields
    apart = {name for name in _READ_APART if name in known}
    try:
        return load(schema(exclude=tuple(apart)), {name: value for name, value in data.items() if name not in apart})
    except InputError as error:
        problems += error.problems
        return {}


def _said(expert: Expert, given: dict[str, Any], data: Any, before: Role, problems: list[Problem]) -> Said:
    role = cast("Role | None", given.get("role"))
    text = given.get("text")
    if text is not None:
        _tried(lambda: _checked_text("text", text), problems)
    listed = data.get("facts")
    source = source_of(role or before)
    facts = _tried(lambda: facts_from_list([] if listed is None else listed, expert.book.facts, source), problems)
    return Said(text, tuple[Fact, ...](facts or ()), role)


def _checked_text(field: str, text: str) -> str:
    try:
        return check_note(text)
    except InputError as error:
        raise InputError([Problem(field, problem.message) for problem in error.problems]) from error


def _tried(work: Callable[[], Value], problems: list[Problem]) -> Value | None:
    try:
        return work()
    except InputError as error:
        problems += error.problems
        return None
