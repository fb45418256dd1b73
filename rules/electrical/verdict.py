"""What a reading is worth: the value, the band it should lie in, and a word for it that everyone uses.

Every verdict carries its formula in words, its source and the state of the figure behind it, so that a technician
can see how far to trust it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

from rules.terms import InputError, Problem

Word = Literal["as expected", "low", "high", "open", "short", "cannot tell"]
Status = Literal["found", "computed", "from memory", "common practice, no source", "illustrative"]
Band = tuple[float, float]

WORDS: tuple[Word, ...] = ("as expected", "low", "high", "open", "short", "cannot tell")


@dataclass(frozen=True)
class Basis:
    """Where a band comes from: the formula in words, its source, and the state of the weakest figure in it."""

    formula: str
    source: str
    status: Status


@dataclass(frozen=True)
class Verdict:
    """The judgement of one value.

    ``value`` is in ``unit``; ``inf`` is an open line; None if there is no value to give. ``band`` is what a sound
    machine shows, both ends included (``inf`` where there is no upper end); None where nothing is expected.
    """

    what: str
    value: float | None
    unit: str
    band: Band | None
    verdict: Word
    means: str
    formula: str
    source: str
    status: Status

    def as_json(self) -> dict[str, Any]:
        """Plain data for JSON: an open line is the word ``OL``, an end of the band that does not exist is null."""
        return {
            "what": self.what,
            "value": "OL" if self.value is not None and math.isinf(self.value) else self.value,
            "unit": self.unit,
            "band": None if self.band is None else [None if math.isinf(end) else end for end in self.band],
            "verdict": self.verdict,
            "means": self.means,
            "formula": self.formula,
            "source": self.source,
            "status": self.status,
        }


@dataclass(frozen=True)
class Meter:
    """A meter's error: a share of the reading, and a fixed part in the reading's unit (leads and last counts)."""

    share: float
    fixed: float

    def widen(self, band: Band) -> Band:
        """The band of what this meter may show when the true value is within ``band``; never below zero."""
        low, high = band
        return max(0.0, low * (1 - self.share) - self.fixed), high * (1 + self.share) + self.fixed


#: A hand meter on ohms: 0.9 %, and 0.2 ohm of leads, from a meter's data sheet (found).
OHM_METER = Meter(0.009, 0.2)


def judge(what: str, value: float, unit: str, band: Band, basis: Basis, means: Mapping[Word, str]) -> Verdict:
    """Low, as expected or high, with the sentence ``means`` holds for it. Raises InputError for nan."""
    if math.isnan(value):
        raise wrong(what, "a number is wanted; write what the meter shows")
    word: Word = "low" if value < band[0] else "high" if value > band[1] else "as expected"
    return made(what, value, unit, band, word, means[word], basis)


def made(what: str, value: float | None, unit: str, band: Band | None, word: Word, means: str, basis: Basis) -> Verdict:
    """A verdict whose word is already known."""
    return Verdict(what, value, unit, band, word, means, basis.formula, basis.source, basis.status)


def cannot_tell(what: str, value: float | None, unit: str, means: str, basis: Basis) -> Verdict:
    """A verdict that says what is missing."""
    return made(what, value, unit, None, "cannot tell", means, basis)


def checked(number: float, field: str) -> float:
    """The number, if it is a finite one. Raises InputError naming the field."""
    if not math.isfinite(number):
        raise wrong(field, "a number is wanted; write what the meter or the plate shows")
    return number


def positive(number: float, field: str, unit: str) -> float:
    """The number, if it is finite and above zero. Raises InputError naming the field."""
    if not math.isfinite(number) or number <= 0:
        raise wrong(field, f"must be above zero; write a number of {unit}")
    return number


def not_negative(number: float, field: str, unit: str) -> float:
    """The number, if it is finite and not below zero. Raises InputError naming the field."""
    if not math.isfinite(number) or number < 0:
        raise wrong(field, f"must be zero or more; write a number of {unit}")
    return number


def wrong(field: str, message: str) -> InputError:
    """An InputError about one field."""
    return InputError([Problem(field, message)])
