"""JSON back into the frozen classes of :mod:`rules.answer`, so that a program reads an answer with names and types.

Unknown names are passed over, as the contract asks; what an older server does not send is None or empty.
"""

from __future__ import annotations

import dataclasses
import functools
import math
import types
from collections.abc import Hashable, Mapping
from typing import Any, TypeVar, Union, cast, get_args, get_origin, get_type_hints

from rules.bookkeeping.types import FactTerm

T = TypeVar("T")
WIRE_NAMES = {"during": "while"}


class NotAnAnswerError(ValueError):
    """The JSON has not the form of the contract."""


def typed(kind: type[T], data: Any) -> T:
    """An object of the dataclass ``kind``. Raises NotAnAnswerError."""
    if not isinstance(data, Mapping):
        raise NotAnAnswerError(f"no object where a {kind.__name__} should be")
    values = {}
    for name, hint, default in _fields(cast(Hashable, kind)):
        wire = WIRE_NAMES.get(name, name)
        values[name] = _value(hint, data[wire]) if wire in data else default
    return kind(**values)


def terms(items: Any) -> dict[str, FactTerm]:
    """The vocabulary as ``GET /v1/vocabulary`` gives it, enough of it to put facts into words."""
    found = {}
    for item in items:
        least, most = item.get("limits") or (None, None)
        found[item["fact"]] = FactTerm(
            **{name: item[name] for name in ("fact", "title", "kind", "values", "usual", "told_by", "ask", "place")},
            between=tuple(item["between"]),
            states=tuple(item["states"]),
            unit=item["unit"],
            least=least,
            most=most,
        )
    return found


@functools.cache
def _fields(kind: Any) -> tuple[tuple[str, Any, Any], ...]:
    hints = get_type_hints(kind)
    found = []
    for field in dataclasses.fields(kind):
        default = field.default if field.default is not dataclasses.MISSING else _empty(hints[field.name])
        found.append((field.name, hints[field.name], default))
    return tuple(found)


def _empty(hint: Any) -> Any:
    return () if get_origin(hint) is tuple else None


def _value(hint: Any, data: Any) -> Any:
    if data is None:
        return None
    if get_origin(hint) in (Union, types.UnionType):
        inner = next((arg for arg in get_args(hint) if dataclasses.is_dataclass(arg) or get_origin(arg) is tuple), None)
        return _value(inner, data) if inner is not None else _plain(data)
    if get_origin(hint) is tuple:
        if not isinstance(data, list):
            raise NotAnAnswerError("no list where one should be")
        return tuple(_value(get_args(hint)[0], entry) for entry in data)
    if dataclasses.is_dataclass(hint) and isinstance(hint, type):
        return typed(hint, data)
    return _plain(data)


def _plain(data: Any) -> Any:
    """An open line is infinite, as everywhere inside."""
    return math.inf if data == "OL" else data
