"""Turns of speech that only point at a thing: ``it's the left front that's cold``, ``all good, just not bake``."""

from __future__ import annotations

from collections.abc import Sequence

from rules.notes.entries import AXES
from rules.notes.tagging import Item

_POINTS_WITH = ("it", "this", "thats")
_TURNING = frozenset({"pronoun", "filler", "only"})
_MAY_TURN = frozenset({"comma", *_TURNING})
_LEADS = ("article", "filler", "only", "quantity", "preposition", "negation")
_NAMES = ("place", "thing", "quantity", "preposition", "article", "number")
_GOOD = ("fine", "works", "heats", "looks_fine")
_DENIALS = ("negation", "negation_verb", "absence", "stopping")
_PLACING = ("place", "article", "preposition", "quantity")
_THATS = ("that", "which", "who", "whos", "whats")
_JUST = ("just", "only", "merely", "simply")
_SAYS = ("state", "verb", "negation_verb", "stopping", "context")
_MEASURES = ("thing", "place", "quantity")
_ENDS_MEASURE = ("stop", "comma", "but", "and", "or", "then", "when", "if", "verb", "state", "negation_verb")
_BREAKS = ("stop", "comma", "but", "and", "or", "then")


def straightened(items: list[Item], plain: str) -> list[Item]:
    """The items of a note with such turns put plainly. ``plain`` is the text their offsets are of."""
    items = _without_measures(items, plain)
    kinds = {item.kind for item in items}
    if not kinds & _TURNING and not {"place", "comma"} <= kinds:
        return items
    kept: list[Item] = []
    at = 0
    while at < len(items):
        item = items[at]
        if item.kind not in _MAY_TURN:
            kept.append(item)
            at += 1
            continue
        if item.kind == "comma" and _one_place(items, at, kept):
            at += 1  # "the back one, on the right"
            continue
        if item.kind == "pronoun" and (end := _singled_out(items, at, plain, kept)):
            kept.append(item._replace(kind="except", name="except"))
            at = end
            continue
        if item.kind == "pronoun" and (end := _pointing(items, at, plain)):
            kept += [
                each for each in items[at + 2 : end] if not (each.kind == "article" and _word(each, plain) in _THATS)
            ]
            at = end
            continue
        if item.kind in _TURNING and _word(item, plain) in _JUST and _leaves_out(items, at, kept):
            kept.append(item._replace(kind="except", name="except"))
            at += 2 if items[at + 1].kind == "negation" else 1
            continue
        kept.append(item)
        at += 1
    return kept


def _without_measures(items: list[Item], plain: str) -> list[Item]:
    """The items without what something is only measured by: ``the left is slower than the right``."""
    if "than" not in plain:
        return items
    kept: list[Item] = []
    compared = False
    for item in items:
        compared = compared and item.kind not in _ENDS_MEASURE
        if not (compared and item.kind in _MEASURES):
            kept.append(item)
        compared = compared or (item.kind in ("state", "word") and plain[item.start : item.end].endswith("than"))
    return kept


def _word(item: Item, plain: str) -> str:
    return plain[item.start : item.end].replace("'", "")


def _pointing(items: Sequence[Item], at: int, plain: str) -> int | None:
    """Where ``it's the oven that`` ends, or None if it is no such turn."""
    if _word(items[at], plain) not in _POINTS_WITH or at + 2 >= len(items) or items[at + 1].kind != "verb":
        return None
    end = at + 2
    while end < len(items) and items[end].kind in _LEADS:
        end += 1
    named = end
    while end < len(items) and items[end].kind in _NAMES and _word(items[end], plain) not in _THATS:
        end += 1
    if end == named or not any(item.kind in ("place", "thing") for item in items[named:end]):
        return None
    if end < len(items) and _word(items[end], plain) in _THATS:
        return end + 1
    return end if end >= len(items) or items[end].kind in ("comma", "stop") else None


def _singled_out(items: Sequence[Item], at: int, plain: str, before: Sequence[Item]) -> int | None:
    """Where the name begins in ``all good, it's just the oven``; None if it is no such turn."""
    if _word(items[at], plain) not in _POINTS_WITH or at + 3 >= len(items) or items[at + 1].kind != "verb":
        return None
    if _word(items[at + 2], plain) in _JUST:
        return at + 3 if _leaves_out(items, at + 2, before) else None
    return at + 2 if _praises(before) and _leaves_out(items, at + 1, before) else None


def _praises(before: Sequence[Item]) -> bool:
    """Whether the clause before says that something works: ``burners are fine, it's the oven``."""
    last: list[Item] = []
    for item in reversed(before[:-1]):
        if item.kind in _BREAKS:
            break
        last.append(item)
    denied = any(item.kind in _DENIALS or item.denies for item in last)
    return not denied and any(item.kind == "state" and item.name in _GOOD for item in last)


def _one_place(items: Sequence[Item], at: int, before: Sequence[Item]) -> bool:
    """Whether a comma stands inside one place: a row or a side before it and the other after, and nothing else."""
    head: list[Item] = []
    for item in reversed(before):
        if not _places(item):
            break
        head.append(item)
    tail: list[Item] = []
    for item in items[at + 1 :]:
        if not _places(item):
            break
        tail.append(item)
    after = items[at + 1 + len(tail)] if at + 1 + len(tail) < len(items) else None
    named = [each.name for part in (head, tail) for each in part if each.kind == "place"]
    if len(named) != 2 or not all(name in AXES for name in named):
        return False
    crossed = len(set(AXES[named[0]]) & set(AXES[named[1]])) == 1
    opens = len(head) == len(before) or before[len(before) - len(head) - 1].kind in ("stop", "comma", "verb")
    led = any(item.kind == "preposition" or item.name == "on" for item in tail)
    ends = after is None or after.kind in ("stop", "comma", "verb", "negation_verb", "state")
    return crossed and opens and led and ends


def _places(item: Item) -> bool:
    return item.kind in _PLACING or item.name == "on"


def _leaves_out(items: Sequence[Item], at: int, before: Sequence[Item]) -> bool:
    """``..., just the clock``: a name after a statement, with nothing said of it."""
    if not before or before[-1].kind not in ("comma", "but") or items[at + 1 : at + 2] == []:
        return False
    if items[at + 1].kind == "absence":
        return False  # "all cool, just no clock"
    told = False
    for item in reversed(before[:-1]):
        if item.kind == "stop":
            break
        told = told or item.kind in ("state", "context")
    if not told:
        return False
    named = False
    for item in items[at + 1 :]:
        if item.kind in _BREAKS:
            break
        if item.kind in _SAYS or (item.kind == "word" and named):
            return False
        named = named or item.kind in ("thing", "place")
    return named
