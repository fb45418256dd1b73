"""Ohms of a part: ``bake element reads 22 ohms``, ``sensor 1.08k``, ``17.2 Ω on the broil element``.

An open line (OL, open, infinite) is a state of the part, not a figure; the lexicon reads it.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from rules.notes.entries import Lexicon
from rules.notes.nouns import Noun
from rules.notes.readings.figures import NOT_BEFORE, number
from rules.notes.told import Told

LOOK_BACK = 60  # characters; "Ohmed the bake element, 22.4. Broil 17."
LONGEST_GAP = 45  # characters between the part and its figure
#: A figure without a unit is ohms only of the sensor, and only in the range of its curve from ice to self-clean.
BARE_SENSOR_OHMS = (800.0, 3000.0)
SENSOR = "ohms.sensor"

#: In every spelling, and the slips of the pen that are common.
_OHM = r"ohms?\b|omhs?\b|ohmz?\b|oms\b|ω"
_FIGURE = re.compile(
    rf"{NOT_BEFORE}(?:(?P<thousands>\d)k(?P<hundreds>\d{{1,3}})\b|"
    rf"(?P<figure>\d{{1,3}}(?:,\d{{3}})+(?:\.\d+)?|\d{{1,7}}(?:[.,]\d{{1,3}})?|zero)\s?"
    rf"(?:(?P<kilo>k)\s?(?:{_OHM}|\b)|(?P<mega>m|meg|mega)\s?(?:{_OHM})|(?P<ohm>{_OHM}|r\b)|(?P<bare>(?![\w:/%°]|[.,]\d))))"
)
#: A reading to the frame is one of insulation.
_TO_GROUND = re.compile(r"\s?(?:to|and)\s(?:the\s)?(?:ground|gnd|grd|chassis|frame|case|cabinet|earth)\b")
_DIGIT = re.compile(r"\d")
_SPOKEN_OF = re.compile(r"\bohm(?:s|ed|ing|z)?\b|\bresistance\b|ω")


def ohms(
    plain: str, start: int, end: int, nouns: Sequence[Noun], lexicon: Lexicon, known: Sequence[str]
) -> Iterator[Told]:
    """The ohm readings of one sentence. ``nouns`` are the things named in it, ``known`` the appliance's positions."""
    probed = [noun for noun in nouns if lexicon.things[noun.thing].ohms and not noun.carried]
    if not probed or not _DIGIT.search(plain, start, end):
        return
    spoken = bool(_SPOKEN_OF.search(plain, max(0, start - LOOK_BACK), end))
    last = start
    for found in _FIGURE.finditer(plain, start, end):
        noun = _nearest(probed, last, found.start(), found.end())
        bare = found["bare"] is not None
        if noun is None or _TO_GROUND.match(plain, found.end(), end) or (bare and _unlikely(noun, found.start())):
            continue
        fact = lexicon.things[noun.thing].ohms or ""
        value = _ohms_of(found)
        if bare and not (spoken or _bare_sensor(fact, value)):
            continue
        last = found.end()
        span = min(noun.start, found.start()), max(noun.end, found.end())
        for where in noun.where(known) if lexicon.things[noun.thing].placed else (None,):
            yield Told(fact, value, where, "measured", *span)


def _unlikely(noun: Noun, start: int) -> bool:
    """A figure without a unit before its part, or of several parts."""
    return noun.start > start or noun.plural


def _ohms_of(found: re.Match[str]) -> float:
    """``1.08k``, ``1k08`` and ``1,080 ohms`` are 1080."""
    if found["thousands"]:
        return float(f"{found['thousands']}.{found['hundreds']}") * 1e3
    return number(found["figure"]) * (1e3 if found["kilo"] else 1e6 if found["mega"] else 1.0)


def _bare_sensor(fact: str, value: float) -> bool:
    return fact == SENSOR and BARE_SENSOR_OHMS[0] <= value <= BARE_SENSOR_OHMS[1]


def _nearest(probed: Sequence[Noun], last: int, start: int, end: int) -> Noun | None:
    """The part named before the figure and after the figure before it; else the one named next."""
    before = [noun for noun in probed if last <= noun.start < start and start - noun.end <= LONGEST_GAP]
    if before:
        return before[-1]
    after = [noun for noun in probed if noun.start >= end and noun.start - end <= LONGEST_GAP]
    return after[0] if after else None
