"""Batches: one line in, one line out, whatever the line holds; at the end one line that tells how it went.

A line out is ``{"line": n, "id": ..., "answer": {...}}`` or ``{"line": n, "id": ..., "error": {problem}}``; ``line``
counts from 1 and empty lines count too, ``id`` is the caller's own or null. The closing line is ``{"end": true,
"lines": ..., "ok": ..., "failed": ..., "book": ...}``; output without it was cut off.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from rules import Enquiry, Expert, InputError, Problem, triage
from rules.answer import Triage
from service.dumping import Dump
from service.intake import enquiry_from_json
from service.pointers import located
from service.problems import KINDS, body_of, unusable
from service.schemas import triage_dump
from service.strictjson import NotJsonError, parse
from service.watching import logs

LONGEST_LINE = 256 * 1024  # bytes
LONGEST_ID = 200  # characters
Decide = Callable[[Enquiry], Triage]


@dataclass
class Tally:
    """Counts rows for the closing line."""

    ok: int = 0
    failed: int = 0

    def count(self, row: dict[str, Any]) -> None:
        if "error" in row:
            self.failed += 1
        else:
            self.ok += 1

    def closing(self, book: str) -> dict[str, Any]:
        """The line that shows that nothing was cut off."""
        return {"end": True, "lines": self.ok + self.failed, "ok": self.ok, "failed": self.failed, "book": book}


def answer_row(
    expert: Expert, line_number: int, raw: bytes, *, decide: Decide | None = None, dump: Dump | None = None
) -> dict[str, Any]:
    """The row for one input line. Never raises: a line that cannot be answered gives an error row.

    ``decide`` stands in for :func:`rules.triage`, ``dump`` for the schema's, where many rows share them.
    """
    row: dict[str, Any] = {"line": line_number, "id": None}
    try:
        row["answer"] = _answer(expert, raw, row, decide, dump)
    except NotJsonError as error:
        row["error"] = body_of(KINDS["malformed-json"], f"{error}.")
    except InputError as error:
        row["error"] = unusable(error.problems)
    except Exception as error:  # one bad line must not end the batch
        logs.LOGGER.error("a line of a batch failed", exc_info=error)
        row["error"] = body_of(KINDS["internal-error"], "The failure is here, not in the line; see the log.")
    return row


def _answer(expert: Expert, raw: bytes, row: dict[str, Any], decide: Decide | None, dump: Dump | None) -> Any:
    if len(raw) > LONGEST_LINE:
        raise InputError([Problem("", f"has {len(raw):,} bytes; the most is {LONGEST_LINE:,}")])
    data = parse(raw)
    problems = []
    if isinstance(data, dict) and "id" in data:
        given = data.pop("id")
        if is_id(given):
            row["id"] = given
        else:
            problems.append(Problem("id", f"write text of at most {LONGEST_ID} characters, or a number"))
    try:
        enquiry = enquiry_from_json(expert, data)
    except InputError as error:
        raise InputError([*problems, *error.problems]) from error
    if problems:
        raise InputError(problems)
    try:
        answer = decide(enquiry) if decide else triage(expert, enquiry)
    except InputError as error:
        raise InputError(located(error.problems, enquiry.facts)) from error
    return (dump or triage_dump(expert.book.facts))(answer)


def is_id(given: Any) -> bool:
    """Text, a number or null."""
    if isinstance(given, str):
        return len(given) <= LONGEST_ID
    if isinstance(given, bool):
        return False
    return given is None or isinstance(given, int) or (isinstance(given, float) and math.isfinite(given))
