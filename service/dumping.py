"""Dumping by a plan: what a marshmallow schema says, worked out once instead of for every value.

marshmallow asks each field again for its attribute, its accessor and its type on every dump, which costs more than the
rest of a request. The plan is drawn from the same schema, so there is still one definition of the wire form; a field
of a kind unknown here is left to the field itself.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import is_dataclass
from operator import attrgetter
from typing import Any

import orjson
from marshmallow import Schema, fields

Dump = Callable[[Any], Any]

#: Fields whose value the frozen answer already holds in JSON's own types, and those made plain by a type.
_AS_THEY_ARE = (fields.String, fields.Boolean, fields.Raw)
_MADE_PLAIN: dict[type, Dump] = {fields.Float: float, fields.Integer: int}
_ENCODER = json.JSONEncoder(ensure_ascii=False, separators=(",", ":"), allow_nan=False)


def plan(schema: Schema) -> Dump:
    """A function that dumps objects as ``schema.dump`` does, hooks of the schema left out."""
    steps = [(f.data_key or name, f.attribute or name, _field(f, name)) for name, f in schema.fields.items()]
    known: dict[type, Dump] = {}

    def dump(value: Any) -> Any:
        made = known.get(type(value))
        if made is None:
            made = _dump_of([(key, name, inner) for key, name, inner in steps if hasattr(value, name)])
            if is_dataclass(value):  # whose fields are the same in every instance
                known[type(value)] = made
        return made(value)

    return dump


def _dump_of(steps: list[tuple[str, str, Dump | None]]) -> Dump:
    """A function that dumps an object which has all these attributes."""
    if len(steps) < 2:  # of one attribute, attrgetter makes no tuple
        return lambda value: {key: _dumped(getattr(value, name), inner) for key, name, inner in steps}
    keys = [key for key, _, _ in steps]
    worked_on = [(key, inner) for key, _, inner in steps if inner is not None]
    attributes = attrgetter(*(name for _, name, _ in steps))

    def dump(value: Any) -> dict[str, Any]:
        made = dict(zip(keys, attributes(value), strict=True))
        for key, inner in worked_on:
            made[key] = _dumped(made[key], inner)
        return made

    return dump


def _dumped(value: Any, inner: Dump | None) -> Any:
    return value if inner is None or value is None else inner(value)


def json_line(data: Any) -> bytes:
    """One line of JSON, compact, in UTF-8 without escapes, closed by a line feed."""
    try:
        return orjson.dumps(data, option=orjson.OPT_APPEND_NEWLINE)
    except TypeError:  # a whole number of more than 64 bits, half of a surrogate pair
        return (_ENCODER.encode(data) + "\n").encode("utf-8", "surrogatepass")


def _field(field: Any, name: str) -> Dump | None:
    """How one field's value is dumped; None for as it is."""
    if type(field) in _AS_THEY_ARE:
        return None
    if type(field) in _MADE_PLAIN:
        return _MADE_PLAIN[type(field)]
    if type(field) is fields.Nested:
        nested = plan(field.schema)
        if field.schema.many:
            return lambda values: [nested(value) for value in values]
        return nested
    if type(field) is fields.List:
        inner = _field(field.inner, name)
        return list if inner is None else lambda values: [inner(value) for value in values]
    return lambda value: field.serialize(name, {name: value})
