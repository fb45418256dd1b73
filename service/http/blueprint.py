"""flask-smorest's blueprint with each route's terms beside it: what it takes, gives, and which scope a key needs."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, NoReturn, TypeVar, cast

import flask_smorest
from flask import Request, request
from marshmallow import RAISE, Schema, ValidationError
from webargs.flaskparser import FlaskParser

from rules.bookkeeping.yamlsource import nearest
from service.http.context import JSON, PROBLEM
from service.problems import KINDS, SEE_ERRORS, RefusedError
from service.strictjson import NotJsonError, parse, shown

View = TypeVar("View", bound=Callable[..., Any])
ALWAYS = ("malformed-request", "wrong-host", "not-acceptable", "internal-error")
WITH_BODY = ("malformed-json", "body-too-large", "unsupported-media-type", "unusable-input")
WITH_KEY = ("key-needed", "key-not-enough", "too-many-requests")


@dataclass(frozen=True)
class Terms:
    """``takes``: media type of the body, None for no body. ``scope``: None for a route open to everybody.

    ``also``: further media types it can make. ``more``: further problem types it may answer with.
    """

    gives: str = JSON
    takes: str | None = None
    scope: str | None = "triage"
    query: tuple[str, ...] = ()
    also: tuple[str, ...] = ()
    more: tuple[str, ...] = ()


class QueryParser(FlaskParser):
    """Query arguments by a marshmallow schema; unknown ones are refused with the nearest name."""

    def handle_error(
        self,
        error: ValidationError,
        req: Request,  # noqa: ARG002
        schema: Schema,
        *,
        error_status_code: int | None,  # noqa: ARG002
        error_headers: Mapping[str, str] | None,  # noqa: ARG002
    ) -> NoReturn:
        messages: Any = error.messages
        names = [field.data_key or name for name, field in schema.fields.items()]
        errors = []
        for name, told in messages.get("query", messages).items():
            text = told[0] if isinstance(told, list) else str(told)
            if text == "Unknown field.":
                text = f"no such parameter{nearest(name[:60], names)}; this route takes {', '.join(names)}"
            errors.append({"parameter": shown(str(name)), "detail": text})
        raise RefusedError("unusable-input", SEE_ERRORS, errors) from error


class Blueprint(flask_smorest.Blueprint):  # type: ignore[misc]  # flask-smorest has no types
    """Routes whose terms are enforced by :mod:`service.http.guards` and documented from the same place."""

    ARGUMENTS_PARSER = QueryParser(unknown=RAISE)

    def route(self, rule: str, *, terms: Terms = Terms(), **options: Any) -> Callable[[View], View]:
        slugs = ALWAYS + (WITH_BODY if terms.takes else ()) + (WITH_KEY if terms.scope else ())
        if "<" in rule:
            slugs += ("not-found",)
        slugs += terms.more
        if terms.query:
            slugs += ("unusable-input",)

        def decorator(view: View) -> View:
            documented: Any = self.doc(
                responses={str(KINDS[slug].status): problem_response(KINDS[slug].status) for slug in slugs},
                **({"security": [{"key": []}, {}], "x-scope": terms.scope} if terms.scope else {"security": []}),
            )(view)
            documented.terms = terms
            super(Blueprint, self).route(rule, **options)(documented)
            return view

        return decorator

    # flask-smorest's own decorators, with types.
    def arguments(self, schema: type[Schema], **options: Any) -> Callable[[View], View]:
        return cast(Callable[[View], View], super().arguments(schema, **options))

    def response(self, status_code: int, schema: Any = None, **options: Any) -> Callable[[View], View]:
        return cast(Callable[[View], View], super().response(status_code, schema, **options))

    @staticmethod
    def doc(**described: Any) -> Callable[[View], View]:
        return cast(Callable[[View], View], flask_smorest.Blueprint.doc(**described))


def problem_response(status: int) -> dict[str, Any]:
    """A response that is a problem; every type with this status is named."""
    kinds = [kind for kind in KINDS.values() if kind.status == status]
    return {
        "description": "; ".join(f"{kind.title} (`{kind.type}`)" for kind in kinds),
        "content": {PROBLEM: {"schema": "Problem"}},
    }


def body_doc(schema: Any, media_type: str, examples: dict[str, Any]) -> dict[str, Any]:
    """The request body of an operation, for ``doc(requestBody=...)``."""
    shown_as = {name: {"value": value} for name, value in examples.items()}
    return {"required": True, "content": {media_type: {"schema": schema, "examples": shown_as}}}


def read_json() -> Any:
    """The request's JSON. Raises RefusedError for a body that is none."""
    try:
        return parse(request.get_data(cache=False))
    except OSError as error:
        raise RefusedError("malformed-request", "The body could not be read to its end.") from error
    except NotJsonError as error:
        raise RefusedError("malformed-json", f'{error}. Write for example {{"note": "oven is dead"}}.') from error
