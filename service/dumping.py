"""Dumping by a plan: what a marshmallow schema says, worked out once instead of for every value.

marshmallow asks each field again for its attribute, its accessor and its type on every dump, which costs more than the
rest of a request. The plan is drawn from the same schema, so there is still one definition of the wire form; a field
of a kind unknown here is left to the field itself.

What goes out at once need not become dictionaries first: orjson writes a dataclass as it stands, so that a value whose
fields are the schema's, in their order and of their kinds, is left to it (``wire``).
"""

from __future__ import annotations

import json
import types
from collections.abc import Callable
from dataclasses import fields as fields_of
from dataclasses import is_dataclass
from functools import cached_property
from operator import attrgetter
from typing import Any, Union, get_args, get_origin, get_type_hints

import orjson
from marshmallow import Schema, fields

Dump = Callable[[Any], Any]

#: Fields whose value the frozen answer already holds in JSON's own types, and those made plain by a type.
_AS_THEY_ARE = (fields.String, fields.Boolean, fields.Raw)
_MADE_PLAIN: dict[type, Dump] = {fields.Float: float, fields.Integer: int}
_KINDS: dict[type, type] = {
    fields.String: str,
    fields.Boolean: bool,
    fields.Float: float,
    fields.Integer: int,
}


def plan(schema: Schema) -> Dump:
    """A function that dumps objects as ``schema.dump`` does, hooks of the schema left out."""
    return _plan(schema, _field)


def wire(schema: Schema, kind: type) -> Dump:
    """As :func:`plan`, for objects of one class that go into :func:`json_line` at once.

    What the schema's own fields hold stays as it is where orjson writes it as the schema would; the object itself
    becomes a dictionary.
    """
    hints = get_type_hints(kind)

    def field(field: Any, name: str) -> Dump | None:
        return None if _written_so(field, hints.get(field.attribute or name)) else _field(field, name)

    return _plan(schema, field)


def _written_so(field: Any, hint: Any) -> bool:
    """Whether orjson writes a value of this type as the field would be dumped."""
    kinds = set(get_args(hint)) if get_origin(hint) in (Union, types.UnionType) else {hint}
    kinds.discard(types.NoneType)
    if len(kinds) != 1:
        return False
    kind = kinds.pop()
    if type(field) is fields.List:
        return get_origin(kind) is tuple and all(_written_so(field.inner, of) for of in get_args(kind) if of is not ...)
    if type(field) is fields.Nested:
        return not field.schema.many and is_dataclass(kind) and _laid_out_so(field.schema, kind)  # type: ignore[arg-type]
    return kind is _KINDS.get(type(field), field)


def _laid_out_so(schema: Schema, kind: type) -> bool:
    """Whether a class has the fields of a schema, in their order, and keeps nothing else in an instance."""
    names = [field.name for field in fields_of(kind)]
    keys = [field.data_key or name for name, field in schema.fields.items()]
    if names != keys or any(isinstance(held, cached_property) for held in vars(kind).values()):
        return False
    hints = get_type_hints(kind)
    return all(
        field.attribute in (None, name) and _written_so(field, hints[name]) for name, field in schema.fields.items()
    )


def _plan(schema: Schema, of: Callable[[Any, str], Dump | None]) -> Dump:
    steps = [(f.data_key or name, f.attribute or name, of(f, name)) for name, f in schema.fields.items()]
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
    except TypeError:  # a whole number of more than 64 bits, half of a surrogate pair, a number of another library
        return (_ENCODER.encode(data) + "\n").encode("utf-8", "surrogatepass")


def _as_dictionary(value: Any) -> dict[str, Any]:
    """A dataclass that :func:`wire` left as it is. Raises TypeError for anything else."""
    if not is_dataclass(value):
        raise TypeError(f"{type(value).__name__} is no JSON")
    return {field.name: getattr(value, field.name) for field in fields_of(value)}


_ENCODER = json.JSONEncoder(ensure_ascii=False, separators=(",", ":"), allow_nan=False, default=_as_dictionary)


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
