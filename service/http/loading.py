"""Loading a body by its schema, with marshmallow's messages as problems: a pointer, and what to write instead."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from marshmallow import Schema, ValidationError, fields

from rules import InputError, Problem
from rules.bookkeeping.yamlsource import nearest
from service.plain_types import wrong_types
from service.pointers import join
from service.strictjson import shown

_SAID = {
    "Invalid input type.": "write a JSON object",
    "Missing data for required field.": "missing; add it",
    "Field may not be null.": "is null; write a value or leave it out",
    "Not a valid string.": "write text",
    "Not a valid list.": "write a list",
    "Not a valid boolean.": "write true or false",
}


def load(schema: Schema, data: Any) -> dict[str, Any]:
    """The body's fields. Raises InputError with a problem for each wrong one."""
    wrong = list(wrong_types(schema, data))
    try:
        loaded: dict[str, Any] = schema.load(data)
    except ValidationError as error:
        told = {problem.field for problem in wrong}
        more = [problem for problem in _problems(error.messages, (), schema) if problem.field not in told]
        raise InputError([*wrong, *more]) from error
    if wrong:
        raise InputError(wrong)
    return loaded


def _problems(messages: Any, path: tuple[str | int, ...], schema: Schema | None) -> Iterator[Problem]:
    if isinstance(messages, dict):
        for name, inner in messages.items():
            deeper = path if name == "_schema" else (*path, name)
            yield from _problems(inner, deeper, _below(schema, name) if isinstance(inner, dict) else schema)
        return
    for message in messages if isinstance(messages, list) else [messages]:
        text = str(message)
        if text == "Unknown field." and schema is not None:
            names = [field.data_key or name for name, field in schema.fields.items()]
            name = str(path[-1])
            text = f"no such field {shown(name)!r}{nearest(name[:60], names)}; write {', '.join(names)}"
        yield Problem(join(*path), _SAID.get(text, text))


def _below(schema: Schema | None, name: str | int) -> Schema | None:
    """The schema that a field's messages speak of; a list's numbers stay with its entries' schema."""
    if schema is None or isinstance(name, int):
        return schema
    for known, field in schema.fields.items():
        if (field.data_key or known) == name:
            inner = field.inner if isinstance(field, fields.List) else field
            return inner.schema if isinstance(inner, fields.Nested) else None
    return None
