"""Plain words for units, meter states and values, shared by every form of the answer."""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import lru_cache

from rules.bookkeeping.types import Condition, FactTerm
from rules.terms import UNNAMED, Fact

_KEY = re.compile(r"\{([A-Za-z0-9_.@/-]+)\}")
_STATES = {
    "idle": "with everything switched off",
    "loaded": "with an element switched on",
    "called": "while it is called for",
    "quit": "after it has gone cold in use, still called for",
    "satisfied": "in bake, between two calls for heat",
}
_UNITS = {"delta_degF": "F", "ohm": "ohm", "V": "V", "day": "days"}
_PLACES = {UNNAMED: "that", "all": "every", "others": "other"}


def place_words(where: str | None) -> str:
    """``left_front`` as ``left front``."""
    return _PLACES.get(where or "", (where or "").replace("_", " "))


@lru_cache(maxsize=4096)  # a book has some hundred questions
def ask_words(ask: str, where: str | None, between: str | None, during: str | None) -> str:
    """Fill a question's place, meter points and state."""
    filled = ask.replace("the {where}", "{where}") if where == UNNAMED else ask
    filled = filled.replace("{where}", place_words(where)).replace("{between}", between or "")
    filled = filled.replace("{during}", _STATES.get(during or "", "")).strip()
    return filled[:1].upper() + filled[1:]


def value_words(fact: Fact, terms: Mapping[str, FactTerm]) -> str:
    """A fact's value as read: a choice's word, or the number with its unit."""
    term = terms[fact.fact]
    if not fact.told:
        return "not known"
    if term.kind == "choice":
        return str(fact.value)
    number = float(fact.value)
    shown = "OL" if number == float("inf") else f"{number:g}"
    return shown if shown == "OL" else f"{shown} {_UNITS.get(term.unit or '', term.unit)}"


def filled(sentence: str, values: Mapping[str, str]) -> str:
    """Put readings into a rule's sentence: ``{volts@L2-N/loaded}`` becomes ``121 V``, or ``reading`` if unknown."""
    return _KEY.sub(lambda match: values.get(match[1], "reading"), sentence)


def condition_words(condition: Condition, terms: Mapping[str, FactTerm]) -> str:
    """A rule's condition as a clause."""
    title = terms[condition.fact].title
    if condition.between:
        title += f", {condition.between}"
    if condition.during:
        title += f", {_STATES.get(condition.during, condition.during)}"
    places = {
        "same": "of one unit",
        "any": "of some unit",
        "every_tried": "of every unit that was tried",
        "all": "of every unit",
    }
    if condition.where:
        title += " " + places.get(condition.where, f"of the {place_words(condition.where)} unit")
    said = _comparison(condition)
    by = f", by a {condition.by}" if condition.by else ""
    return f"{title} {'is not known to be' if condition.negated else 'is'} {said}{by}"


def _comparison(condition: Condition) -> str:
    if condition.values:
        return " or ".join(condition.values)
    if condition.not_values:
        return "anything but " + " or ".join(condition.not_values)
    low = "" if condition.at_least is None else f"at least {condition.at_least:g}"
    high = "" if condition.below is None else f"below {condition.below:g}"
    return " and ".join(part for part in (low, high) if part)
