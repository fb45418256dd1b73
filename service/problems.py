"""Problems after RFC 9457: one type for each way a request can fail, with a page that tells what to do.

``type`` is the page's address on this server; ``title`` never changes for a type; ``detail`` is about this request;
``instance`` names the request by its id; ``errors`` has a JSON Pointer (a body's field), a ``parameter`` (of the query
or path) or a ``header``, with what to write instead.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from rules import Problem
from service.pointers import pointer

MOST_ERRORS = 100  # told at once


@dataclass(frozen=True)
class Kind:
    """A problem type: the last part of its address, the status it comes with, its title."""

    slug: str
    status: int
    title: str

    @property
    def type(self) -> str:
        return f"/problems/{self.slug}"


KINDS = {
    kind.slug: kind
    for kind in (
        Kind("malformed-request", 400, "The request is not well-formed HTTP"),
        Kind("malformed-json", 400, "The body is not JSON that is read here"),
        Kind("key-needed", 401, "An API key is needed"),
        Kind("key-not-enough", 403, "The API key does not allow this"),
        Kind("not-found", 404, "There is nothing at this address"),
        Kind("method-not-allowed", 405, "This address does not take this method"),
        Kind("not-acceptable", 406, "None of the accepted media types is made here"),
        Kind("case-closed", 409, "The case is closed"),
        Kind("version-changed", 412, "The case has changed meanwhile"),
        Kind("body-too-large", 413, "The body is too large"),
        Kind("unsupported-media-type", 415, "The body has a media type that is not read here"),
        Kind("wrong-host", 421, "The Host header names another server"),
        Kind("unusable-input", 422, "The input cannot be used"),
        Kind("request-differs", 422, "The Idempotency-Key stands for another request"),
        Kind("version-needed", 428, "The version that is changed must be named"),
        Kind("too-many-requests", 429, "The key's rate is used up"),
        Kind("internal-error", 500, "The service failed"),
        Kind("not-ready", 503, "The service is not ready"),
    )
}
BY_STATUS = {kind.status: kind for kind in reversed(KINDS.values())}
SEE_ERRORS = "See errors: each names a field and what to write instead."


class RefusedError(Exception):
    """Ends a request with a problem. ``errors`` are as they stand in the body of the response."""

    def __init__(
        self,
        slug: str,
        detail: str,
        errors: Sequence[Mapping[str, str]] = (),
        headers: Mapping[str, str] | None = None,
    ) -> None:
        super().__init__(detail)
        self.kind, self.detail, self.errors, self.headers = KINDS[slug], detail, errors, headers or {}


def body_of(kind: Kind, detail: str, errors: Sequence[Mapping[str, str]] = ()) -> dict[str, Any]:
    """The members of a problem, without the request's ``instance``."""
    body: dict[str, Any] = {"type": kind.type, "title": kind.title, "status": kind.status, "detail": detail}
    if errors:
        body["errors"] = list(errors[:MOST_ERRORS])
    if len(errors) > MOST_ERRORS:
        body["detail"] += f" The first {MOST_ERRORS} of {len(errors)} are told."
    return body


def unusable(problems: Sequence[Problem]) -> dict[str, Any]:
    """The problem of an input whose fields are wrong."""
    errors = [{"pointer": pointer(problem), "detail": problem.message} for problem in problems]
    return body_of(KINDS["unusable-input"], SEE_ERRORS, errors)
