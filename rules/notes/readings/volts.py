"""Volts between meter points: ``L1-N 121, L2-N 121, L1-L2 0 with an element on``.

A pair of points and a figure may come in either order; whichever order gives more readings with less text between is
taken. ``while`` is *loaded* if a load is mentioned with the readings, *idle* if its absence is, or if neither is.
"""

from __future__ import annotations

import re
from bisect import bisect_left
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from rules.notes.readings.figures import NOT_AFTER, NOT_BEFORE, number
from rules.notes.told import Told

MOST_VOLTS = 1000.0
SUPPLY_VOLTS = 190.0  # a bare "240 at the block" can only be leg to leg above this
LONGEST_GAP = 40  # characters between a pair of points and its figure

_TO = r"\s{0,2}(?:-|/|to|and|&|_|)\s{0,2}(?:the\s)?"
_N = r"(?:neutral|neut|nuetral|n)\b"
_LEG = r"(?:legs?|lines?|hots?|phases?)"
_L1, _L2 = (rf"\b(?:l|leg\s?|line\s?|hot\s?|phase\s?){number}(?!\d)" for number in (1, 2))
_POINTS: tuple[tuple[str, tuple[str, ...]], ...] = (
    (rf"{_L1}{_TO}{_L2}|{_L2}{_TO}{_L1}", ("L1-L2",)),
    (rf"\b(?:across|between|over)\s(?:the\s|both\s|two\s){{0,2}}{_LEG}\b(?!\s?\d)", ("L1-L2",)),
    (rf"\b{_LEG}{_TO}{_LEG}\b|\bl\s?-\s?l\b|\bl2l\b", ("L1-L2",)),
    (rf"{_L1}{_TO}{_N}|\bn(?:eutral)?{_TO}{_L1}", ("L1-N",)),
    (rf"{_L2}{_TO}{_N}|\bn(?:eutral)?{_TO}{_L2}", ("L2-N",)),
    (rf"\b(?:neutral|neut|n){_TO}(?:ground|gnd|grd|g|earth|chassis|frame|cabinet|ch)\b", ("N-G",)),
    (rf"\b(?:each|both|either)\s(?:of\sthe\s|the\s)?(?:hot\s)?{_LEG}(?:\sto\s{_N})?", ("L1-N", "L2-N")),
    (rf"\b{_LEG}\sto\s{_N}", ("L1-N", "L2-N")),
    (_L1, ("L1-N",)),
    (_L2, ("L2-N",)),
)
_POINTS_RE = re.compile("|".join(f"(?P<p{at}>{pattern})" for at, (pattern, _) in enumerate(_POINTS)))
_FIGURE = re.compile(
    rf"{NOT_BEFORE}(?P<figure>\d{{1,3}}(?:\.\d{{1,2}})?)(?P<unit>\s?v(?:olts?|ac)?\b\.?)?{NOT_AFTER}"
    r"|\b(?P<zero>zero|no\sreading|no\svolt(?:s|age)|nothing)\b(?P<unit0>\s(?:v|volts?)\b)?"
)
_AT_BLOCK = re.compile(
    rf"{NOT_BEFORE}(?P<figure>\d{{3}}(?:\.\d)?)\s?(?:v(?:olts?|ac)?\b)?\s(?:is\s|are\s)?"
    r"(?:at|on|in|to|from)\s(?:the\s)?(?:terminal\s|range\s|wall\s|stove\s|power\s)?(?:block|outlet|receptacle|terminals?|plug)\b"
)
_IDLE = re.compile(
    r"\bno[\s-]load|\bunloaded|\bidle\b|\boff[\s-]load|\bat\srest\b|\bopen\scircuit|\bwithout\s(?:a\s|any\s)?load|"
    r"\b(?:everything|all)\s(?:\w+\s){0,3}off\b|\bnothing\s(?:\w+\s){0,2}on\b|\ball\soff\b|"
    r"\b(?:elements?|burners?|oven|bake)\s(?:are\s|is\s|all\s)?off\b"
)
_LOADED = re.compile(
    r"\bunder\sload|\bloaded\b|\bload\b|\bburners?\b|\belements?\b|\bon\shigh\b|\bcalling\b|\benergi[sz]ed\b|"
    r"\b(?:bake|broil|oven|[lr][fr]|front|rear|it)\s(?:is\s|turned\s|switched\s)?(?:on|called|running)\b"
)
_MEASURES_A_PART = re.compile(
    r"\s(?:(?:element|is|was|reads?|reading|at|measures|measured|tests|shows)\s){0,3}"
    r"(?:\d[\d.,]*\s?k?\s?(?:ohms?|ω)|ol\b|open\b|infinite)"
)
_DROPS_TO = re.compile(
    rf"\b(?:drops?|dropped|dropping|falls?|fell|sags?|goes|went|down)\s(?:down\s)?to\s(?:about\s|only\s)?{NOT_BEFORE}"
    rf"(?P<figure>\d{{1,3}}(?:\.\d{{1,2}})?){NOT_AFTER}"
)


@dataclass(frozen=True, slots=True)
class _Mark:
    """Meter points (``between``) or a figure (``value``), by position."""

    start: int
    end: int
    between: tuple[str, ...] = ()
    value: float | None = None
    unit: bool = False


def volts(plain: str, sentences: Sequence[tuple[int, int]]) -> list[Told]:
    """All voltage readings of a note. ``sentences`` are the spans of its sentences."""
    told: list[Told] = []
    during: str | None = None
    block: list[Told] = []
    for start, end in sentences:
        found = list(_sentence(plain, start, end))
        if not found and not block:
            continue
        own = list(_modes(plain, start, end))
        if not found:
            if not (len(own) == 1 and end - start < 60):
                told += _settled(block, during)
                block, during = [], None
            else:
                during = own[0][1]
            continue
        trailing = bool(own) and own[0][0] > min(reading.start for reading in found)
        timed = [_timed(reading, own, trailing) for reading in found]
        block += [reading if own else _during(reading, during) for reading in timed]
        during = own[-1][1] if own else during
    return told + _settled(block, during)


def _settled(block: list[Told], after: str | None) -> list[Told]:
    """Readings that say nothing of a load take the next one's word for it, and are idle if none has any."""
    settled: list[Told] = []
    following = after
    for reading in reversed(block):
        following = reading.during or following
        settled.append(reading if reading.during else _during(reading, following or "idle"))
    return settled[::-1]


def _during(reading: Told, during: str | None) -> Told:
    return Told(reading.fact, reading.value, None, reading.certainty, reading.start, reading.end,
                between=reading.between, during=during)  # fmt: skip


def _modes(plain: str, start: int, end: int) -> Iterator[tuple[int, str]]:
    """Where a load, or its absence, is mentioned."""
    idle = [(found.start(), found.end()) for found in _IDLE.finditer(plain, start, end)]
    modes = [(at, "idle") for at, _ in idle]
    for found in _LOADED.finditer(plain, start, end):
        inside = any(at <= found.start() < until for at, until in idle)
        if not inside and not _MEASURES_A_PART.match(plain, found.end(), end):
            modes.append((found.start(), "loaded"))
    yield from sorted(modes)


def _timed(reading: Told, modes: list[tuple[int, str]], trailing: bool) -> Told:
    """The load that counts: said before the readings, it holds until the next; said after them, for those before it."""
    if not modes:
        return reading
    at = bisect_left(modes, (reading.start, ""))
    return _during(reading, modes[min(at, len(modes) - 1) if trailing else max(at - 1, 0)][1])


def _sentence(plain: str, start: int, end: int) -> Iterator[Told]:
    points = [_points(found) for found in _POINTS_RE.finditer(plain, start, end)]
    if not points:
        found = _AT_BLOCK.search(plain, start, end)
        if found and number(found["figure"]) >= SUPPLY_VOLTS:
            yield _reading("L1-L2", number(found["figure"]), found.start(), found.end())
        return
    figures = _apart(list(_figures(plain, start, end)), points)
    best = min((_pair(points, figures, after) for after in (True, False)), key=_cost)
    for point, figure in best:
        for between in point.between:
            yield _reading(between, figure.value or 0.0, min(point.start, figure.start), max(point.end, figure.end))
    used = {figure.start for _, figure in best}
    for found in _DROPS_TO.finditer(plain, start, end):
        at = bisect_left(points, found.start(), key=lambda point: point.start) - 1
        if at >= 0 and found.start("figure") not in used:  # "240 leg to leg, drops to 118 under load"
            for between in points[at].between:
                yield _reading(between, number(found["figure"]), found.start(), found.end())


def _reading(between: str, value: float, start: int, end: int) -> Told:
    return Told("volts", value, None, "measured", start, end, between=between)


def _points(found: re.Match[str]) -> _Mark:
    at = int((found.lastgroup or "p0")[1:])
    return _Mark(found.start(), found.end(), between=_POINTS[at][1])


def _figures(plain: str, start: int, end: int) -> Iterator[_Mark]:
    for found in _FIGURE.finditer(plain, start, end):
        if found["zero"]:
            yield _Mark(found.start(), found.end(), value=0.0, unit=bool(found["unit0"]))
        elif (value := number(found["figure"])) <= MOST_VOLTS:
            yield _Mark(found.start(), found.end(), value=value, unit=bool(found["unit"]))


def _apart(figures: list[_Mark], points: list[_Mark]) -> list[_Mark]:
    """The figures that are no part of a name such as L1."""
    starts = [point.start for point in points]
    kept = []
    for mark in figures:
        at = bisect_left(starts, mark.end) - 1
        if at < 0 or points[at].end <= mark.start:
            kept.append(mark)
    return kept


def _pair(points: list[_Mark], figures: list[_Mark], after: bool) -> list[tuple[_Mark, _Mark]]:
    """Give every pair of points a figure: the next one after it, or the last one before it; else the other side."""
    starts = [mark.start for mark in figures]
    taken: set[int] = set()
    paired = []
    for number_of, point in enumerate(points):
        low = points[number_of - 1].end if number_of else -1
        high = points[number_of + 1].start if number_of + 1 < len(points) else _behind_last(figures)
        behind, ahead = bisect_left(starts, point.start) - 1, bisect_left(starts, point.end)
        sides = (ahead, behind) if after else (behind, ahead)
        for at in sides:
            if at in taken or not 0 <= at < len(figures) or not low <= figures[at].start < high:
                continue
            if max(figures[at].start - point.end, point.start - figures[at].end) <= LONGEST_GAP:
                taken.add(at)
                paired.append((point, figures[at]))
                break
    return paired


def _behind_last(figures: list[_Mark]) -> int:
    """Behind the last figure."""
    return figures[-1].end if figures else 0


def _cost(paired: list[tuple[_Mark, _Mark]]) -> tuple[int, int]:
    gaps = sum(max(figure.start - point.end, point.start - figure.end) for point, figure in paired)
    return -len(paired), gaps
