"""Figures as people write them, and the words that show a figure to be something else than a reading."""

from __future__ import annotations

import re
from collections.abc import Sequence

WORD_NUMBERS = {
    "zero": 0, "a": 1, "an": 1, "one": 1, "two": 2, "couple": 2, "couple of": 2, "a couple": 2, "a couple of": 2,
    "three": 3, "few": 3, "a few": 3, "four": 4, "five": 5, "six": 6, "seven": 7, "eight": 8, "nine": 9, "ten": 10,
    "several": 5, "twelve": 12, "half a": 0.5, "half an": 0.5, "fifteen": 15, "twenty": 20, "thirty": 30, "forty": 40,
    "forty five": 45, "fifty": 50, "sixty": 60, "ninety": 90, "a hundred": 100,
}  # fmt: skip
TENS = r"(?:ten|fifteen|(?:twenty|thirty|forty|fifty|sixty|seventy|eighty|ninety)(?:[\s-]five)?|a\shundred|hundred)"
COUNT = r"(?:\d{1,4}(?:\.\d{1,3})?|" + "|".join(sorted(WORD_NUMBERS, key=len, reverse=True)) + ")"

#: What may stand directly before or after a figure that is no temperature and no voltage.
NOT_BEFORE = r"(?<![\w.,:/$#])"
NOT_AFTER = (
    r"(?!(?!(?:[fc]|deg(?:ree)?s?)\b)\w|\s?(?:amps?|a\b|years?|yrs?|yo\b|dollars?|bucks|usd|%|percent|min\b|minutes?|mins\b|hours?|hrs?|seconds?|"
    r"days?|weeks?|months?|watts?|kw|w\b(?!/)|am\b|pm\b|o'?clock|inch(?:es)?|lbs?|pounds?|times|st\b|nd\b|rd\b|th\b|"
    r"ohms?|ω|kilo)|[.,:/]\d|-\d{3,4}\b)"
)


_TENS = {"ten": 10.0, "fifteen": 15.0, "twenty": 20.0, "thirty": 30.0, "forty": 40.0, "fifty": 50.0, "sixty": 60.0,
         "seventy": 70.0, "eighty": 80.0, "ninety": 90.0, "hundred": 100.0}  # fmt: skip


def has_any(text: str, words: Sequence[str]) -> bool:
    """Whether one of ``words`` stands anywhere in ``text``. Cheap: it spares most notes the searches."""
    for word in words:  # noqa: SIM110  a generator costs twice as much
        if word in text:
            return True
    return False


def number(text: str) -> float:
    """A figure or number word as a number: ``1,080`` is 1080, ``a couple of`` is 2."""
    words = re.sub(r"[\s-]+", " ", text.strip())
    tens, _, five = words.partition(" ")
    if tens in _TENS and five in ("", "five"):
        return _TENS[tens] + (5.0 if five else 0.0)
    if words in WORD_NUMBERS:
        return float(WORD_NUMBERS[words])
    if re.fullmatch(r"\d{1,3}(?:,\d{3})+(?:\.\d+)?", words):
        words = words.replace(",", "")
    return float(words.replace(",", "."))
