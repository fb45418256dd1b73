"""Problems as responses to the present request."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any
from urllib.parse import quote

from flask import Response, request
from werkzeug.exceptions import HTTPException, InternalServerError

from rules import InputError
from service.http.context import PROBLEM, marks, reply
from service.problems import BY_STATUS, Kind, RefusedError, body_of, unusable
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
