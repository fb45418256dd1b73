"""The HTTP service: one Flask application around one open book."""

from __future__ import annotations

import json
from typing import Any

from flask import Flask, Response, request
from werkzeug.exceptions import HTTPException, UnsupportedMediaType

from rules import Expert, InputError, Problem, triage
from service.intake import enquiry_from_json
from service.schemas import TriageSchema

LARGEST_BODY = 256 * 1024  # bytes; the longest note and the most facts fit in well


def create_app(expert: Expert) -> Flask:
    """The application. ``expert`` is opened before the first request, never in one."""
    app = Flask("coldleg")
    app.config["MAX_CONTENT_LENGTH"] = LARGEST_BODY
    schema = TriageSchema(expert.book.facts)

    @app.post("/v1/triage")
    def answer() -> Response:
        made = triage(expert, enquiry_from_json(expert, _body()))
        return _json(schema.dump(made), 200, "application/json")

    @app.get("/livez")
    def alive() -> Response:
        return _json({"alive": True}, 200, "application/json")

    @app.get("/readyz")
    def ready() -> Response:
        return _json({"ready": True, "book": expert.book.version}, 200, "application/json")

    @app.errorhandler(InputError)
    def unusable(error: InputError) -> Response:
        return _problem(
            422, "The input cannot be used", "See errors: each names a field and what to write instead.", error.problems
        )

    @app.errorhandler(HTTPException)
    def refused(error: HTTPException) -> Response:
        response = _problem(error.code or 500, error.name, error.description or error.name, [])
        for name, value in error.get_headers():
            if name.lower() == "allow":
                response.headers[name] = value
        return response

    return app


def _body() -> Any:
    """The request's JSON. Raises UnsupportedMediaType, or InputError for what is not strict JSON in UTF-8."""
    if request.mimetype != "application/json":
        raise UnsupportedMediaType("Send Content-Type: application/json.")
    try:
        body = json.loads(request.get_data().decode("utf-8"), parse_constant=_no_constant)
        json.dumps(body, ensure_ascii=False).encode("utf-8")  # a lone surrogate could never be answered
    except (UnicodeError, ValueError, RecursionError) as error:
        shown = str(error).splitlines()[0][:200]
        raise InputError(
            [Problem("", f'is not JSON in UTF-8: {shown}; write for example {{"note": "oven is dead"}}')]
        ) from error
    return body


def _no_constant(name: str) -> Any:
    raise ValueError(f"{name} is no JSON number")


def _json(data: Any, status: int, media_type: str) -> Response:
    text = json.dumps(data, ensure_ascii=False, separators=(",", ":"))
    return Response(text + "\n", status=status, mimetype=media_type)


def _problem(status: int, title: str, detail: str, problems: list[Problem]) -> Response:
    """A problem after RFC 9457, with a JSON Pointer to each wrong field."""
    body: dict[str, Any] = {"type": "about:blank", "title": title, "status": status, "detail": detail}
    if problems:
        body["errors"] = [{"pointer": _pointer(p.field), "detail": p.message} for p in problems]
    return _json(body, status, "application/problem+json")


def _pointer(field: str) -> str:
    return "/" + field if field else ""
