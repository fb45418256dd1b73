"""Volts between meter points: ``L1-N 121, L2-N 121, L1-L2 0 with an element on``.

A pair of points and a figure may come in either order; whichever order gives more readings with less text between is
taken. ``while`` is *loaded* if a load is mentioned with the readings, *idle* if its absence is, or if neither is.
"""

from __future__ import annotations

import re
from bisect import bisect_left
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from rules.notes.readings.figures import has_any, number
from rules.notes.readings.points import (
    AT_BLOCK,
    DROPS_TO,
    FIGURE,
    IDLE,
    LEGS,
    LOADED,
    MEASURES_A_PART,
    NO_SUPPLY,
    NOT_ON,
    POINTS,
    POINTS_RE,
    SAID_ON,
    TRIPLE,
    spelled,
)
from rules.notes.told import Told

MOST_VOLTS = 1000.0
SUPPLY_VOLTS = 190.0  # a bare "240 at the block" can only be leg to leg above this
#: Cheap; they spare most notes the long search: a figure in words, and words or signs of a meter beside it.
_FIGURED = re.compile(
    r"\b(?:z(?:ero|ip)|ni?l|nada|no(?:thing|ne|\sreading|\svolt)|goose|(?:less|under|below)\s|(?:one|two|a)[\s-](?:few|couple|\w+t(?:y|een)\b|hundred|ten|eleven|twelve|oh\b))"
)
_METERED = ("l1", "l2", "leg", "line", "phase", "neut", "netu", "nuet", "volt", "lug", "outer", "terminal", "across",
            "ground", "gnd", "grd", "black", "blk", "white", "wht", "hundred", "chassis")  # fmt: skip
_METER_SIGNS = re.compile(
    r"\b(?=[hlnort12])(?:l\s?-?[12nl]\b|hots?\b|red\b|n\s?-|to\sn\b|one\s|2[0-4]\d\b|1[0-3]\d\s?v?\s?[/,])"
    r"|\d(?:k?v|\s?k?v\b)"
)
_DIGIT = re.compile(r"\d")
NAMED_AGAIN = 12  # characters between two names of the same points
LOOK_BACK = 16  # characters before a load that may say it is not on
LONGEST_GAP = 40  # characters between a pair of points and its figure


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
    figured = _DIGIT.search(plain) or _FIGURED.search(plain)
    metered = figured and (has_any(plain, _METERED) or _METER_SIGNS.search(plain))
    if not metered:
        return []
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
    return _under_a_load(plain, sentences, told + _settled(block, during))


def _under_a_load(plain: str, sentences: Sequence[tuple[int, int]], told: list[Told]) -> list[Told]:
    """Readings of which nothing was said are loaded if a load is said to be on anywhere in the note."""
    unsaid = [reading for reading in told if reading.during is None]
    if not unsaid:
        return told
    loaded = any(mode == "loaded" for start, end in sentences for _, mode in _modes(plain, start, end, SAID_ON))
    return [reading if reading.during else _during(reading, "loaded" if loaded else "idle") for reading in told]


def _settled(block: list[Told], after: str | None) -> list[Told]:
    """Readings that say nothing of a load take the next one's word for it, if any has one."""
    settled: list[Told] = []
    following = after
    for reading in reversed(block):
        following = reading.during or following
        settled.append(reading if reading.during else _during(reading, following))
    return settled[::-1]


def _during(reading: Told, during: str | None) -> Told:
    return Told(reading.fact, reading.value, None, reading.certainty, reading.start, reading.end,
                between=reading.between, during=during)  # fmt: skip


def _modes(plain: str, start: int, end: int, loads: re.Pattern[str] = LOADED) -> Iterator[tuple[int, str]]:
    """Where a load, or its absence, is mentioned."""
    idle = [(found.start(), found.end()) for found in IDLE.finditer(plain, start, end)]
    modes = [(at, "idle") for at, _ in idle]
    for found in loads.finditer(plain, start, end):
        inside = any(at <= found.start() < until for at, until in idle)
        inside = inside or bool(NOT_ON.search(plain, max(start, found.start() - LOOK_BACK), found.start()))
        if not inside and not MEASURES_A_PART.match(plain, found.end(), end):
            modes.append((found.start(), "loaded"))
    yield from sorted(modes)


def _timed(reading: Told, modes: list[tuple[int, str]], trailing: bool) -> Told:
    """The load that counts: said before the readings, it holds until the next; said after them, for those before it."""
    if not modes:
        return reading
    at = bisect_left(modes, (reading.start, ""))
    return _during(reading, modes[min(at, len(modes) - 1) if trailing else max(at - 1, 0)][1])


def _sentence(plain: str, start: int, end: int) -> Iterator[Told]:
    if not _DIGIT.search(plain, start, end) and not FIGURE.search(plain, start, end):
        return
    triple = TRIPLE.search(plain, start, end)
    if triple:
        for between, name in (*zip(LEGS, ("first", "second"), strict=True), ("L1-L2", "across")):
            yield _reading(between, number(triple[name]), *triple.span())
        return
    points = _once_each([_points(found) for found in POINTS_RE.finditer(plain, start, end)])
    if not points:
        found = AT_BLOCK.search(plain, start, end)
        if found and number(found["figure"]) >= SUPPLY_VOLTS:
            yield _reading("L1-L2", number(found["figure"]), found.start(), found.end())
        return
    figures = _apart(list(_figures(plain, start, end)), points)
    best = min((_pair(points, figures, after) for after in (True, False)), key=_cost)
    for point, figure in best:
        for between in point.between:
            yield _reading(between, figure.value or 0.0, min(point.start, figure.start), max(point.end, figure.end))
    used = {figure.start for _, figure in best}
    missing = NO_SUPPLY.search(plain, start, end)
    if missing and not any("L1-L2" in point.between for point, _ in best):
        yield _reading("L1-L2", 0.0, *missing.span())
    for found in DROPS_TO.finditer(plain, start, end):
        at = bisect_left(points, found.start(), key=lambda point: point.start) - 1
        if at >= 0 and found.start("figure") not in used:  # "240 leg to leg, drops to 118 under load"
            for between in points[at].between:
                yield _reading(between, number(found["figure"]), found.start(), found.end())


def _reading(between: str, value: float, start: int, end: int) -> Told:
    return Told("volts", value, None, "measured", start, end, between=between)


def _points(found: re.Match[str]) -> _Mark:
    at = int((found.lastgroup or "p0")[1:])
    return _Mark(found.start(), found.end(), between=POINTS[at][1])


def _once_each(points: list[_Mark]) -> list[_Mark]:
    """``both legs 121 to neutral`` names the two legs once."""
    kept: list[_Mark] = []
    for point in points:
        if kept and point.between == kept[-1].between == LEGS and point.start - kept[-1].end < NAMED_AGAIN:
            continue
        kept.append(point)
    return kept


def _figures(plain: str, start: int, end: int) -> Iterator[_Mark]:
    for found in FIGURE.finditer(plain, start, end):
        if found["zero"]:
            yield _Mark(found.start(), found.end(), value=0.0, unit=bool(found["unit0"]))
        elif found["spelled"]:
            yield _Mark(found.start(), found.end(), value=spelled(found["spelled"]), unit=bool(found["unit1"]))
        elif (value := number(found["figure"]) * (1000 if found["kilo"] else 1)) <= MOST_VOLTS:
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
