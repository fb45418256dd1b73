"""The shop's table of codes that a display shows: reading a code's text tolerantly, and checking the table.

A code belongs to a group; the groups are the values of the fact ``error_code``.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from rules.bookkeeping.yamlsource import nearest

FACT = "error_code"
NO_CODE = "none"
_BETWEEN = re.compile(r"[\s\-\u2010-\u2015\u2212_.]+")


def plain(text: str) -> str:
    """A code's text as it is compared: without case, spaces, hyphens, dots; ``ZS - 11`` and ``zs11`` are the same."""
    return _BETWEEN.sub("", text).casefold()


def group_of(text: str, codes: Mapping[str, str]) -> str | None:
    """The group of a code, however it is written, or None for one that is not in the table."""
    wanted = plain(text)
    return next((group for code, group in codes.items() if plain(code) == wanted), None)


def problems_of(
    code: Mapping[str, Any], earlier: Mapping[str, str], fact: Mapping[str, Any] | None
) -> list[tuple[str, str]]:
    """What is wrong with one record of the table, as (field, what to write instead).

    ``earlier``: plain text of the codes above it, to where they stand. ``fact``: the record of ``error_code``.
    """
    if fact is None:
        return [("group", f"codes need the fact {FACT}; add it to facts/")]
    found = []
    text, groups = plain(code["code"]), [group for group in fact["values"] if group != NO_CODE]
    if not text.isalnum():
        found.append(("code", f"{code['code']!r} is no code; write the letters and figures on the display"))
    elif text in earlier:
        message = f"{code['code']} is already in {earlier[text]}, capitals, spaces and hyphens apart; keep one"
        found.append(("code", message))
    elif text in map(plain, fact["values"]):
        found.append(("code", f"{code['code']} is the name of a group; write the text on the display"))
    if code["group"] not in groups:
        hint = nearest(code["group"], groups)
        found.append(("group", f"no group {code['group']!r}{hint}; write one of {', '.join(groups)}"))
    return found
