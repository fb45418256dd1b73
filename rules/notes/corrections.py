"""Self-correction: ``left front, no wait, right front``. What is taken back is left out, what replaces it stays.

What follows a correction tells what it replaces: a place the place before it, a thing the thing, a statement the
statement. A bare ``no``, ``sorry`` or ``er`` corrects only between two of a kind.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from rules.notes.tagging import Item

CORRECTION = "correction"
_ENDS = ("stop", "comma", "but", "then", "when", "if", "and", "or")
_MAY_CORRECT = frozenset({CORRECTION, "no", "absence", "filler"})
_BARE = ("no", "sorry", "er", "err", "uh", "um", "rather")
_PAUSES = ("comma", "filler", "opinion", "hedge")
_LEADS = ("article", "filler", "preposition", "verb", "pronoun", "word")
_WAY = r"(?:low|cold|cool|hot|high|under|over|below|above|short|off)(?:er)?"
_FIGURE = (
    rf"(?<![\d.,])\d[\d.,]{{0,7}}\s?(?:(?:°|(?:deg(?:ree)?s?|f|c|v|volts?|ohms?)\b)\s?){{0,2}}(?:too\s)?(?:{_WAY}\b)?"
)
_PAUSED = re.compile(r"\b(no|oh|wait|sorry)[,.;](?=\s(?:wait|no|sorry|i\smean|actually|hold)\b)()")
_AFTER_A_PAUSE = (" wait", " sorry", " no", " i mean", " actually", " hold")
_TWO_FIGURES = re.compile(r"\d\D+\d")
_REFIGURED = re.compile(
    rf"(?P<taken>{_FIGURE})\s?[,;.-]{{0,3}}\s?\b(?:no|er{{1,4}}|uh|um|sorry|i\smean(?:t)?|make\sthat|correction|or\srather|rather|"
    rf"actually|scratch\sthat|strike\sthat|wait|oops)\b(?:\s(?:no|wait|sorry|actually))?[,;.-]{{0,3}}\s?(?:it\sis\s|it's\s|more\slike\s|about\s)?(?=\d)"
)


def without_taken_figures(plain: str) -> str:
    """Normalised text with figures that are taken back blanked: ``30 low, er, 40 low``."""
    if any(word in plain for word in _AFTER_A_PAUSE):
        plain = _PAUSED.sub(r"\1 \2", plain)
    if not _TWO_FIGURES.search(plain):
        return plain
    return _REFIGURED.sub(lambda found: " " * len(found.group()), plain)


def corrected(items: list[Item], plain: str) -> list[Item]:
    """The items of a note without what it takes back."""
    if not [item for item in items if item.kind in _MAY_CORRECT]:
        return items
    places = [at for at, item in enumerate(items) if item.kind == CORRECTION or items[at - 1].kind == "comma"]
    for at in reversed(places):
        if at < len(items) and (items[at].kind == CORRECTION or _bare_correction(items, at, plain)):
            items = _replaced(items, at)
    return items


def _bare_correction(items: Sequence[Item], at: int, plain: str) -> bool:
    """``the left, no, the right front``: between commas, and of the same kind on both sides."""
    item = items[at]
    if plain[item.start : item.end] not in _BARE:
        return False
    if not 0 < at < len(items) - 1 or items[at - 1].kind != "comma":
        return False
    after = [each for each in items[at + 1 : at + 4] if each.kind not in ("article", "comma")]
    before = next((each for each in reversed(items[max(0, at - 5) : at - 1]) if each.kind not in _PAUSES), None)
    paused = items[at + 1].kind == "comma" or item.kind == "filler"
    return (
        bool(after)
        and before is not None
        and paused
        and before.kind == after[0].kind
        and before.kind in ("place", "thing", "quantity")
    )


def _replaced(items: list[Item], at: int) -> list[Item]:
    """Leave out the correction at ``at`` and what it takes back."""
    start = at + 1
    while start < len(items) and items[start].kind in ("comma", CORRECTION):
        start += 1
    end = start
    while end < len(items) and items[end].kind not in _ENDS:
        end += 1
    new = items[start:end]
    begin = _sentence_start(items, at)
    before = items[begin:at]
    while before and before[-1].kind in ("comma", "mark", "stop"):
        before.pop()
    if any(item.kind == "state" for item in new):
        kept = _without_statement(before, new)
        return [*items[:begin], *kept, *items[start:]]
    for kind in ("place", "thing", "quantity"):
        if any(item.kind == kind for item in new) and any(item.kind == kind for item in before):
            return _swapped(items, begin, before, start, end, kind)
    return [*items[:at], *items[start:]]


def _sentence_start(items: Sequence[Item], at: int) -> int:
    """Where the sentence that is corrected begins: this one, or the one before if the correction opens a sentence."""
    begin = at
    while begin > 0 and items[begin - 1].kind in ("stop", "comma", "mark", "filler"):
        begin -= 1
    while begin > 0 and items[begin - 1].kind != "stop":
        begin -= 1
    return begin


def _without_statement(before: list[Item], new: Sequence[Item]) -> list[Item]:
    """What is left of a statement that is said anew: what it speaks of, if the new one does not name it."""
    last = max((number for number, item in enumerate(before) if item.kind in ("comma", "but")), default=-1)
    head, told = before[: last + 1], before[last + 1 :]
    if any(item.kind in ("thing", "place") for item in new):
        return head
    return [*head, *(item for item in told if item.kind in ("thing", "place", "quantity", "verb", "article"))]


def _swapped(items: list[Item], begin: int, before: list[Item], start: int, end: int, kind: str) -> list[Item]:
    """Put the new place or thing where the old one stood."""
    last = max(number for number, item in enumerate(before) if item.kind == kind)
    first = last
    while first > 0 and before[first - 1].kind == kind:
        first -= 1
    new = [item for item in items[start:end] if item.kind not in _LEADS]
    tail = before[last + 1 :]
    if any(item.kind in ("state", "negation_verb", "negation") for item in tail):
        return [*items[:begin], *before[:first], *new, *tail, *items[end:]]
    rest = items[end + 1 :] if end < len(items) and items[end].kind == "comma" else items[end:]
    return [*items[:begin], *before[:first], *items[start:end], *rest]
