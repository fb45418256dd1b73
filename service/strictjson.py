"""JSON read strictly: what two readers could understand differently is refused, with the place and what to write.

Decisions, after RFC 8259 and RFC 7493 (I-JSON): UTF-8 only, one byte-order mark at the start is skipped; no repeated
names in one object; no NaN and Infinity, no number beyond what a double holds; no half of a surrogate pair; nesting and
digits are bounded, so that no body can make the reader work hard.
"""

from __future__ import annotations

import codecs
import json
import math
import re
from typing import Any

DEEPEST = 20  # objects and lists inside one another; a request needs five
MOST_DIGITS = 40  # of a whole number; a double holds 17
LONGEST_SHOWN = 60

_SURROGATE = re.compile(rb"\\u[dD][89a-fA-F]")


class NotJsonError(ValueError):
    """The text is no JSON that is read here. The message says where, why and what to write."""


def parse(raw: bytes) -> Any:
    """The value in ``raw``. Raises NotJsonError."""
    if raw.startswith(codecs.BOM_UTF8):
        raw = raw[len(codecs.BOM_UTF8) :]
    try:
        text = raw.decode("utf-8")
    except UnicodeDecodeError as error:
        raise NotJsonError(f"byte {error.start} is not UTF-8; send the text in UTF-8") from error
    if raw.count(b"[") + raw.count(b"{") > DEEPEST:
        _check_depth(text)
    try:
        value = _DECODER.decode(text)
    except NotJsonError:
        raise
    except json.JSONDecodeError as error:
        raise NotJsonError(f"{error.msg}, line {error.lineno}, column {error.colno}") from error
    except (ValueError, RecursionError) as error:
        raise NotJsonError(str(error).splitlines()[0][:200]) from error
    if _SURROGATE.search(raw):
        _check_surrogates(text, value)
    return value


def shown(name: str) -> str:
    """A name from outside, short enough for a message."""
    return name if len(name) <= LONGEST_SHOWN else name[:LONGEST_SHOWN] + "..."


def _check_depth(text: str) -> None:
    """Count brackets outside strings; the parser itself would only find the end of its stack."""
    depth = 0
    for token in _TOKENS.finditer(text):
        sign = token[0][0]
        if sign in "[{":
            depth += 1
            if depth > DEEPEST:
                raise NotJsonError(f"nested more than {DEEPEST} deep at character {token.start()}; write it flatter")
        elif sign in "]}":
            depth -= 1


_TOKENS = re.compile(r'"(?:[^"\\]|\\.)*+"?|[\[\]{}]', re.DOTALL)


def _object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    made = dict(pairs)
    if len(made) != len(pairs):
        seen: set[str] = set()
        for name, _ in pairs:
            if name in seen:
                raise NotJsonError(f"the name {shown(name)!r} stands twice in one object; keep one")
            seen.add(name)
    return made


def _whole(digits: str) -> int:
    count = len(digits.lstrip("-"))
    if count > MOST_DIGITS:
        raise NotJsonError(f"a number of {count} digits is no reading; write it with {MOST_DIGITS} at most")
    return int(digits)


def _decimal(digits: str) -> float:
    number = float(digits)
    if not math.isfinite(number):
        raise NotJsonError(f"{shown(digits)} is beyond every number; write a finite one, or OL for an open line")
    return number


def _constant(name: str) -> float:
    raise NotJsonError(f"{name} is no JSON number; write a finite one, or OL for an open line")


def _check_surrogates(text: str, value: Any) -> None:
    try:
        json.dumps(value, ensure_ascii=False).encode("utf-8")
    except UnicodeEncodeError as error:
        found = re.search(r"\\u[dD][89a-fA-F]", text)
        at = found.start() if found else 0
        raise NotJsonError(
            f"half of a surrogate pair, first looked for at character {at}; write whole characters"
        ) from error


_DECODER = json.JSONDecoder(
    object_pairs_hook=_object, parse_int=_whole, parse_float=_decimal, parse_constant=_constant, strict=True
)
