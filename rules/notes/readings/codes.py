"""Codes on the display: those of the shop's table by their group, any other only as a code.

``ZS-11``, ``zs 11`` and ``z s 1 1`` are the same. A letter and figures count as a code only beside a word that says
where they stand; without one they are a model, a leg or a temperature.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from rules.notes.codetable import CodeTable
from rules.notes.told import Told

SHOWN, GROUP = "display.code", "error_code"
_NAMED = re.compile(
    r"\b(?:(?:error|fault|failure|trouble|diagnostic)\s(?:codes?|messages?)|codes?(?=\s(?:on|in|is|are|keeps?|comes?|came|shows?|showing|showed|flash\w*|appears?|pops?|up|that)\b)|"
    r"(?:shows?|showing|flash(?:es|ing)|displays?|displaying|gives?|giving|throws?|throwing|gets?|getting|no|any|other)\s(?:an?\s|the\s|some\s|other\s)?(?:error\s|fault\s)?codes?)\b"
)
_DENIED = re.compile(
    r"(?:\b(?:no|not|without|any|never|zero|neither|denies)|n't|\b(?:dont|doesnt|didnt|isnt|arent|wasnt))\s(?:(?!(?:and|but|then|so|now)\b)\w+\s){0,2}\Z|\Ano\b"
)
_SIGNED = re.compile(
    r"\b(?:(?:code|error|err|fault|says|said|reads?|reading|shows?|showing|showed|displays?|displaying|display|screen|panel|flash(?:es|ing)|blink(?:s|ing))\b[\s:;,\"(]{1,3}"
    r"(?:an?\s|the\s|code\s|error\s|as\s|of\s){0,2}\"?)(?P<code>[a-z]{1,2}[\s-]?\d{1,3}(?:[\s-]?[a-z0-9])?)(?![\d.%°]|\sv(?:olts?)?\b)"
    r"|\b(?P<first>[a-z]{1,2}-?\d{1,3}(?:-?[a-z0-9])?)(?:\"|\s(?:error|fault|code))?\s(?:on|in|across|comes\sup\son|showing\son|flashing\son)\s(?:the\s|its\s|my\s)?(?:display|screen|clock|panel|readout)\b"
    r"|\b(?P<before>[a-z]{1,2}-?\d{1,3})\s(?:error|fault|code)s?\b"
)
_NO_CODE = re.compile(
    r"(?:l[12n]|[lr][fr]|[fr][lr]|at\s?\d+|to\s?\d+|by\s?\d+|in\s?\d+|on\s?\d+|is\s?\d+|of\s?\d+|a\s?\d+)\Z"
)


def codes(plain: str, start: int, end: int, table: CodeTable) -> Iterator[Told]:
    """The codes one sentence tells of, or that there is none."""
    known = list(table.find(plain, start, end))
    for group, at, until in known:
        yield Told(GROUP, group, None, "said", at, until)
        yield Told(SHOWN, "yes", None, "said", at, until)
    if known:
        return
    for found in _SIGNED.finditer(plain, start, end):
        if not _NO_CODE.match(found["code"] or found["first"] or found["before"]):
            yield Told(SHOWN, "yes", None, "said", found.start(), found.end())
            return
    named = _NAMED.search(plain, start, end)
    if named:
        denied = _DENIED.search(plain[start : named.start()]) or _DENIED.search(named.group())
        yield Told(SHOWN, "no" if denied else "yes", None, "said", named.start(), named.end())
