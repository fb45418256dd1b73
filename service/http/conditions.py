"""Which version a change was made against (If-Match), and requests that are answered once (Idempotency-Key)."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Callable
from typing import Any

from flask import request

from service.cases.store import Once, VersionError
from service.problems import SEE_ERRORS, RefusedError

_KEY = re.compile(r"[\x21-\x7e]{1,255}")
IF_MATCH_DOC = {
    "name": "If-Match",
    "in": "header",
    "required": True,
    "schema": {"type": "string"},
    "example": '"2"',
    "description": "The ETag of the case as you last saw it; `*` for whatever it is now.",
}
ONCE_DOC = {
    "name": "Idempotency-Key",
    "in": "header",
    "required": False,
    "schema": {"type": "string", "maxLength": 255},
    "example": "8e03978e-40d5-43dd-bc93-6894a57f9324",
    "description": "Made at random for each new request and sent again with its repetition: within 24 hours the same "
    "request is then counted once and answered as before. With another body or address it is refused.",
}
ETAG_DOC = {"ETag": {"schema": {"type": "string"}, "description": "The case's version; for If-Match."}}


def etag(version: int) -> str:
    """Strong: each change of a case has a version of its own."""
    return f'"{version}"'


def version_asked(current: Callable[[], int]) -> int | None:
    """The version that If-Match names, None for any. Raises RefusedError if there is none, VersionError.

    ``current`` tells the case's version; asked only where several ETags are given, or none that can be one.
    """
    if "If-Match" not in request.headers:
        told = "A change names the version it was made against, so that two people cannot overwrite each other."
        errors = [{"header": "If-Match", "detail": "send the ETag of the case as you last saw it"}]
        raise RefusedError("version-needed", told, errors)
    given = request.if_match
    if given.star_tag:
        return None
    numbers = {int(tag) for tag in given.as_set() if re.fullmatch(r"[1-9]\d{0,8}", tag or "")}
    if len(numbers) == 1:
        return numbers.pop()
    now = current()
    if now not in numbers:
        raise VersionError(now)
    return now


def once_asked(body: Any) -> Once | None:
    """The request's mark, None if its sender gave it none. Raises RefusedError."""
    given = request.headers.get("Idempotency-Key")
    if given is None:
        return None
    key = given.strip().removeprefix('"').removesuffix('"')
    if not _KEY.fullmatch(key):
        told = "write 1 to 255 visible ASCII characters, for example a random UUID"
        raise RefusedError("unusable-input", SEE_ERRORS, [{"header": "Idempotency-Key", "detail": told}])
    asked = json.dumps([request.method, request.path, body], sort_keys=True, separators=(",", ":"))
    return Once(key, hashlib.sha256(asked.encode("ascii")).hexdigest())
