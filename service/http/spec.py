"""The OpenAPI 3.1 document, made from the routes and schemas. It does not depend on the open book."""

from __future__ import annotations

import functools
from importlib.metadata import version
from typing import Any, cast

import click
from flask import Flask
from flask_smorest import Api
from marshmallow import RAISE, Schema, fields

from service.http import words
from service.http.requests import ApplianceGivenSchema, told
from service.judging import LOG, Kind, kinds
from service.reading_cli import Quantity

ABOUT = """\
A local expert for faults of electric ranges. Facts or a call note in; safety stop, ranked faults with reasons, next
tests and the visit out. A stop comes first: while it stands, say what it says.

What stays as it is in `/v1`: no field, route, problem type or word of an enumeration is removed, renamed or given
another meaning; a field that is always there stays so; a request that is taken now will be taken. What may be added:
fields in answers, optional fields in requests, routes, problem types, words for faults, facts, tests and rules, which
belong to the book and are listed by its routes. So ignore what you do not know. Another form would be `/v2`, beside it.

The answers come from the book, whose version stands in every answer and in the ETag of its routes. Probabilities,
ranking and wording change with the book; the same request under the same book has the same answer and `decision_id`.

A case is a call as a conversation, kept: open one, send messages, read the reply aloud. A change names the version it
was made against in `If-Match`; a recording POST may carry an `Idempotency-Key` and can then be sent again without harm.
Cases belong to the API key that opened them.

Numbers are finite, an open line is the word OL. Text is UTF-8. Errors are problems after RFC 9457; their `type` is the
address of a page on this server. If API keys exist, send one as `Authorization: Bearer`.
"""


class ErrorSchema(Schema):
    """One thing that is wrong; where is told by exactly one of pointer, parameter and header."""

    pointer = fields.String(metadata=told("JSON Pointer (RFC 6901) to a field of the body; empty: the whole."))
    parameter = fields.String(metadata=told("Of the query or the path."))
    header = fields.String(metadata=told("Of the request."))
    detail = fields.String(required=True, metadata=told("What is wrong and what to write instead."))


class ProblemSchema(Schema):
    """RFC 9457."""

    type = fields.String(required=True, metadata=told("Address of the page about this type.", format="uri-reference"))
    title = fields.String(required=True, metadata=told("The same for every problem of the type."))
    status = fields.Integer(required=True, metadata=told("The HTTP status."))
    detail = fields.String(required=True, metadata=told("About this request."))
    instance = fields.String(metadata=told("The request: its path and id.", format="uri-reference"))
    errors = fields.List(fields.Nested(ErrorSchema), metadata=told("Every wrong field, at most 100."))


def register(api: Api) -> None:
    """Components that no route's own schema brings in."""
    api.spec.components.schema("Problem", schema=ProblemSchema)
    api.spec.components.schema("ApplianceGiven", schema=ApplianceGivenSchema(partial=True, unknown=RAISE))
    for kind in kinds().values():
        api.spec.components.schema(_name(kind), _judged_request(kind))
    references = {name: f"#/components/schemas/{_name(kind)}" for name, kind in kinds().items()}
    api.spec.components.schema(
        "JudgedRequest",
        {
            "oneOf": [{"$ref": reference} for reference in references.values()],
            "discriminator": {"propertyName": "kind", "mapping": references},
        },
    )
    api.spec.components.security_scheme("key", {"type": "http", "scheme": "bearer", "description": "coldleg keys add"})


def document(app: Flask) -> dict[str, Any]:
    """The application's document; made once."""
    return cast(dict[str, Any], app.extensions["coldleg-openapi"]())


def lazily(api: Api) -> Any:
    """Makes the document when it is first asked for."""
    return functools.cache(lambda: _cleaned(api.spec.to_dict()))


def options() -> dict[str, Any]:
    """flask-smorest's settings."""
    return {
        "API_TITLE": "Coldleg",
        "API_VERSION": version("coldleg"),
        "OPENAPI_VERSION": "3.1.0",
        "API_SPEC_OPTIONS": {
            "info": {"description": ABOUT},
            "servers": [{"url": "/", "description": "This server."}],
        },
    }


def _cleaned(spec: dict[str, Any]) -> dict[str, Any]:
    """Without flask-smorest's own error response, and with plain JSON types throughout."""
    for path, methods in spec["paths"].items():
        for parameter in methods.get("parameters", ()):
            parameter.update(words.IN_PATH.get(parameter["name"]) or _id_of(path))
        for operation in methods.values():
            if isinstance(operation, dict):
                operation.get("responses", {}).pop("default", None)
    for unused in ("responses", "parameters", "headers"):
        spec["components"].pop(unused, None)
    spec["components"]["schemas"].pop("PaginationMetadata", None)
    made = cast(dict[str, Any], _plain(spec))
    words.put_in(made["components"]["schemas"], _named_in_requests(made))
    return made


def _id_of(path: str) -> dict[str, str]:
    return {"description": "Its id.", "example": words.IDS[path.split("/")[-2]]}


def _named_in_requests(spec: dict[str, Any]) -> set[str]:
    """Schemas that a request's body is made of."""
    schemas = spec["components"]["schemas"]
    found: set[str] = set()
    operations = (op for methods in spec["paths"].values() for op in methods.values() if isinstance(op, dict))
    waiting: list[Any] = [operation.get("requestBody") for operation in operations]
    while waiting:
        value = waiting.pop()
        name = value["$ref"].rpartition("/")[2] if isinstance(value, dict) and "$ref" in value else None
        if name is not None and name not in found:
            found.add(name)
            waiting.append(schemas[name])
        waiting += value.values() if isinstance(value, dict) else value if isinstance(value, list) else ()
    return found


def _plain(value: Any) -> Any:
    if isinstance(value, dict):
        return {str(name): _plain(inner) for name, inner in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(inner) for inner in value]
    return value


# --- readings judged ---------------------------------------------------------------------------------------------
def _name(kind: Kind) -> str:
    return "Judged" + "".join(word.capitalize() for word in kind.name.split("-"))


def _judged_request(kind: Kind) -> dict[str, Any]:
    needed = [name for name, parameter in kind.fields.items() if parameter.required or name == LOG]
    values: dict[str, Any] = {
        "type": "object",
        "properties": {name: _parameter(name, parameter) for name, parameter in kind.fields.items()},
        "additionalProperties": False,
    }
    if needed:
        values["required"] = needed
    return {
        "type": "object",
        "description": kind.about,
        "properties": {"kind": {"const": kind.name}, "values": values},
        "required": ["kind", "values"],
        "additionalProperties": False,
    }


def _parameter(name: str, parameter: click.Parameter) -> dict[str, Any]:
    about = getattr(parameter, "help", None) or name.replace("_", " ")
    null = [] if parameter.required else ["null"]
    if name == LOG:
        return {"type": "string", "description": "The log as CSV text: time and temperature."}
    if isinstance(parameter.type, Quantity):
        bare = "the number alone will do" if parameter.type.bare_ok else "as text with its unit"
        kinds_taken = ["string", "number"] if parameter.type.bare_ok else ["string"]
        return {"type": kinds_taken + null, "description": f"{about} A reading in {parameter.type.unit}, {bare}."}
    if isinstance(parameter.type, click.Choice):
        return {"enum": [*map(str, parameter.type.choices), *([None] if null else [])], "description": about}
    plain = {"boolean": "boolean", "integer": "integer", "float": "number"}.get(parameter.type.name, "string")
    return {"type": [plain, *null], "description": about}
