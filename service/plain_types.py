"""JSON types held to the letter. marshmallow takes ``"yes"`` for true and ``"12"`` for 12; a contract cannot."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from marshmallow import Schema, fields

from rules import Problem
from service.pointers import join

_KINDS: tuple[tuple[type, tuple[type, ...], str], ...] = (
    (fields.Boolean, (bool,), "write true or false"),
    (fields.Integer, (int,), "write a whole number"),
    (fields.Float, (int, float), "write a number"),
    (fields.String, (str,), "write text"),
)


def wrong_types(schema: Schema, data: Any, above: tuple[str | int, ...] = ()) -> Iterator[Problem]:
    """A problem for each value of another JSON type than its field's. Fields that are unknown are passed over."""
    if not isinstance(data, Mapping):
        return
    for name, field in schema.fields.items():
        key = field.data_key or name
        if data.get(key) is not None:
            yield from _wrong(field, data[key], (*above, key))


def _wrong(field: Any, value: Any, path: tuple[str | int, ...]) -> Iterator[Problem]:
    if isinstance(field, fields.Nested):
        yield from wrong_types(field.schema, value, path)
    elif isinstance(field, fields.List):
        for number, entry in enumerate(value if isinstance(value, list) else ()):
            yield from _wrong(field.inner, entry, (*path, number))
    for kind, allowed, message in _KINDS:
        if isinstance(field, kind) and (
            not isinstance(value, allowed) or (isinstance(value, bool) and bool not in allowed)
        ):
            yield Problem(join(*path), message)
            return
