"""Rows of a batch: one line in, one row out, whatever the line holds.

A row is ``{"line": n, "id": ..., "answer": {...}}`` or ``{"line": n, "id": ..., "error": {"title", "detail",
"errors": [{"pointer", "detail"}]}}``; ``id`` is the caller's own or null.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

from rules import Expert, InputError, Problem, triage
from rules.answer import Triage
from service.intake import enquiry_from_json
from service.schemas import TriageSchema

LONGEST_LINE = 256 * 1024  # bytes
LONGEST_ID = 200  # characters


def answer_row(
    expert: Expert, line_number: int, raw: bytes, *, dump: Callable[[Triage], Any] | None = None
) -> dict[str, Any]:
    """The row for one input line. Never raises: a line that cannot be answered gives an error row.

    ``dump`` stands in for the schema's, where many rows share it.
    """
    row: dict[str, Any] = {"line": line_number, "id": None}
    try:
        row["answer"] = _answer(expert, raw, row, dump)
    except InputError as error:
        row["error"] = error_of(error.problems)
    except Exception as error:
        row["error"] = {"title": "Internal error", "detail": f"The failure is here, not in the line: {error!r}"[:300]}
    return row


def error_of(problems: list[Problem]) -> dict[str, Any]:
    """Problems as a row's error."""
    return {
        "title": "The input cannot be used",
        "detail": "; ".join(map(str, problems)),
        "errors": [{"pointer": f"/{p.field}" if p.field else "", "detail": p.message} for p in problems],
    }


def _answer(expert: Expert, raw: bytes, row: dict[str, Any], dump: Callable[[Triage], Any] | None) -> Any:
    data = parsed(raw)
    problems = []
    if isinstance(data, dict) and "id" in data:
        given = data.pop("id")
        if is_id(given):
            row["id"] = given
        else:
            problems.append(Problem("id", f"write text of at most {LONGEST_ID} characters, or a whole number"))
    try:
        enquiry = enquiry_from_json(expert, data)
    except InputError as error:
        raise InputError([*problems, *error.problems]) from error
    if problems:
        raise InputError(problems)
    answer = triage(expert, enquiry)
    return (dump or TriageSchema(expert.book.facts).dump)(answer)


def parsed(raw: bytes) -> Any:
    """The JSON of a line. Raises InputError for what is no strict JSON in UTF-8, or too long."""
    if len(raw) > LONGEST_LINE:
        raise InputError([Problem("", f"the line has {len(raw):,} bytes; the most is {LONGEST_LINE:,}")])
    try:
        data = json.loads(raw.decode("utf-8"), parse_constant=_no_constant)
        json.dumps(data, ensure_ascii=False).encode("utf-8")  # a lone surrogate could never be answered
    except UnicodeDecodeError as error:
        raise InputError([Problem("", f"byte {error.start} is not UTF-8; save the file as UTF-8")]) from error
    except (UnicodeError, ValueError, RecursionError) as error:
        shown = str(error).splitlines()[0][:200]
        example = '{"id": 1, "note": "oven is dead"}'
        raise InputError([Problem("", f"is not JSON: {shown}; write for example {example}")]) from error
    return data


def _no_constant(name: str) -> Any:
    raise ValueError(f"{name} is no JSON number")


def is_id(given: Any) -> bool:
    """Text, a whole number or null."""
    if isinstance(given, str):
        return len(given) <= LONGEST_ID
    return given is None or (isinstance(given, int) and not isinstance(given, bool))
