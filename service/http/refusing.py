"""Problems as responses to the present request."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any
from urllib.parse import quote

from flask import Response, request
from werkzeug.exceptions import HTTPException, InternalServerError

from rules import InputError
from service.cases.calls import ClosedError, OtherBookError
from service.cases.database import DatabaseError
from service.cases.store import KeyReusedError, NoCaseError, VersionError
from service.http.context import PROBLEM, marks, reply
from service.problems import BY_STATUS, KINDS, Kind, RefusedError, body_of, unusable
from service.watching import logs


def respond(body: dict[str, Any], headers: Mapping[str, str] | None = None) -> Response:
    """A problem as the response to the present request."""
    body["instance"] = f"{quote(request.path, safe='/')[:200]}#{marks().request_id}"
    response = reply(body, PROBLEM, body["status"])
    response.headers.update(headers or {})
    return response


def on_refusal(error: RefusedError) -> Response:
    return respond(body_of(error.kind, error.detail, error.errors), error.headers)


def on_input_error(error: InputError) -> Response:
    return respond(unusable(error.problems))


def on_no_case(_error: NoCaseError) -> Response:
    told = "You have no case with this id; GET /v1/cases lists yours."
    return respond(body_of(KINDS["not-found"], told, [{"parameter": "case", "detail": "read it from that list"}]))


def on_other_version(error: VersionError) -> Response:
    told = f"The case is at version {error.version}; somebody changed it since you saw it."
    errors = [{"header": "If-Match", "detail": "read the case again, look whether this is still right, send its ETag"}]
    return respond(body_of(KINDS["version-changed"], told, errors))


def on_closed(error: ClosedError) -> Response:
    if isinstance(error, OtherBookError):
        told = "It was told in words that the present book no longer has; coldleg cases show prints it. Open another."
        return respond(body_of(KINDS["case-closed"], told))
    told = "DELETE its outcome to open it again, or open another case with the same reference; erased ones stay closed."
    return respond(body_of(KINDS["case-closed"], told))


def on_other_request(_error: KeyReusedError) -> Response:
    told = "This Idempotency-Key came with another body or address before."
    errors = [{"header": "Idempotency-Key", "detail": "make a new one for each new request"}]
    return respond(body_of(KINDS["request-differs"], told, errors))


def on_no_database(error: DatabaseError) -> Response:
    logs.LOGGER.error("the database cannot be used", extra={"told": {"error": str(error)}})
    told = "The cases cannot be reached now; the log says why. Nothing was changed."
    return respond(body_of(KINDS["not-ready"], told), {"Retry-After": "5"})


def on_http_exception(error: HTTPException) -> Response:
    """Flask's and werkzeug's own refusals; their headers (Allow, ...) are kept, their HTML is not."""
    status = error.code or 500
    if isinstance(error, InternalServerError) and error.original_exception is not None:
        route = request.url_rule.rule if request.url_rule is not None else "none"
        logs.failed(marks(), route, error.original_exception)
    kind = BY_STATUS.get(status) or Kind("malformed-request", status, error.name)
    kept = {name: value for name, value in error.get_headers() if name.lower() in ("allow", "retry-after")}
    return respond(body_of(kind, _detail(kind, error, kept)), kept)


def _detail(kind: Kind, error: HTTPException, headers: Mapping[str, str]) -> str:
    if kind.status == 404:
        return "No route has this path; GET /openapi.json lists them, /docs shows them."
    if kind.status == 405:
        return f"Use {headers.get('Allow', 'another method')}."
    if kind.status == 413:
        return "Send less at once; many calls go to /v1/triage/batch, one a line."
    if kind.status >= 500:
        return "The request was right or wrong, but the failure is here; look up instance in the log."
    return error.description or kind.title
