"""What a caller of Coldleg sends, checked against the vocabulary: facts by name, place, state, value and unit.

Two spellings are taken: a mapping, as in JSON (``{"fact": "surface.heat", "where": "left_front", "value": "none"}``),
and ``KEY=VALUE``, as on the command line (``surface.heat@left_front=none``, ``volts@L1-L2/loaded=1.2 V``).
Everything wrong is collected and told at once, each with its field and what to write instead.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from typing import Any, cast

from rules.bookkeeping.codes import group_of
from rules.bookkeeping.types import Appliance, FactTerm, TestCard
from rules.bookkeeping.yamlsource import nearest
from rules.electrical.units import parse_quantity
from rules.terms import (
    ALL,
    DONT_KNOW,
    OTHERS,
    SOURCES,
    UNNAMED,
    Certainty,
    Fact,
    InputError,
    Problem,
    Source,
    Value,
    split_key,
)

LONGEST_NOTE = 20_000  # characters; a call note has a few hundred
MOST_FACTS = 500
MOST_CODES = 24  # codes of the shop's table that an error lists
LONGEST_QUOTE = 60  # characters of a wrong value that an error repeats
_FIELDS = ("fact", "where", "between", "while", "value", "unit", "source", "certainty")
_CERTAINTIES = ("said", "hedged", "measured")
_PLACES = frozenset(("left_front", "right_front", "left_rear", "right_rear", ALL, OTHERS, UNNAMED))  # as most are given
_SHORT_PLACES = {"lf": "left_front", "rf": "right_front", "lr": "left_rear", "rr": "right_rear"}
_OPEN_WORDS = {"ol", "o.l.", "open", "open line", "inf", "infinite"}
_DONT_KNOW_WORDS = {DONT_KNOW, "don't know", "don\u2019t know", "dont know", "do not know", "not known"}
_EXAMPLES = {"V": "121 V", "ohm": "22.3 ohm", "delta_degF": "-40 F", "day": "2 days", "min": "20 min"}


def field_of(name: str, above: str = "") -> str:
    """A caller's field name as a step of a path: ``~`` and ``/`` escaped after RFC 6901.

    A name too long to be repeated is not: the path then ends at what holds it.
    """
    if len(name) > LONGEST_QUOTE:
        return above
    return f"{above}/{name.replace('~', '~0').replace('/', '~1')}".removeprefix("/")


def check_note(note: str) -> str:
    """The note, if it can be read at all. Raises InputError for an empty one or one that is no call note."""
    if not isinstance(note, str):
        raise InputError([Problem("note", "write the note as text")])
    if not note.strip():
        raise InputError([Problem("note", "is empty; write what the caller said, or leave it out and give facts")])
    if any("\ud800" <= sign <= "\udfff" for sign in note):
        raise InputError(
            [Problem("note", "holds half a character (a lone surrogate); send text that is valid Unicode")]
        )
    if len(note) > LONGEST_NOTE:
        longest = f"{LONGEST_NOTE:,}"
        message = f"has {len(note):,} characters; the most is {longest}. Send the part that is about the range"
        raise InputError([Problem("note", message)])
    return note


def fact_from_text(text: str, terms: Mapping[str, FactTerm], source: Source) -> Fact:
    """Read ``KEY=VALUE``. Raises InputError."""
    return fact_from_mapping(mapping_from_text(text, terms), terms, source, field=text.partition("=")[0].strip())


def mapping_from_text(text: str, terms: Mapping[str, FactTerm]) -> dict[str, Any]:
    """``KEY=VALUE`` as a mapping, its values not yet checked. Raises InputError."""
    key, equals, value = text.partition("=")
    if not equals or not key.strip() or not value.strip():
        message = "write NAME=VALUE, for example display=lit, surface.heat@left_front=none, volts@L1-L2/loaded=1.2 V"
        raise InputError([Problem(text, message)])
    fact, place, during = split_key(key.strip())
    given: dict[str, Any] = {"fact": fact, "value": value.strip()}
    if during is not None:
        given["while"] = during
    if place is not None:
        term = terms.get(fact)
        given["between" if term is not None and term.place == "meter" else "where"] = place
    return given


def facts_from_list(given: Any, terms: Mapping[str, FactTerm], source: Source) -> list[Fact]:
    """Read a JSON list of facts; all wrong entries are told at once, as ``facts/3/value``. Raises InputError."""
    if not isinstance(given, Sequence) or isinstance(given, (str, bytes)):
        raise InputError([Problem("facts", 'write a list of facts, for example [{"fact": "display", "value": "lit"}]')])
    if len(given) > MOST_FACTS:
        raise InputError([Problem("facts", f"has {len(given):,} entries; the most is {MOST_FACTS}")])
    facts, problems = [], []
    for number, entry in enumerate(given):
        try:
            facts.append(fact_from_mapping(entry, terms, source, field=f"facts/{number}"))
        except InputError as error:
            problems.extend(error.problems)
    if problems:
        raise InputError(problems)
    return facts


def fact_from_mapping(
    given: Any, terms: Mapping[str, FactTerm], source: Source, *, field: str, bare_numbers: bool = False
) -> Fact:
    """Read one fact from a mapping. ``bare_numbers`` takes numbers without a unit in the vocabulary's own.

    Raises InputError with one problem for each wrong field.
    """
    if not isinstance(given, Mapping):
        raise InputError([Problem(field, 'write a fact as an object, for example {"fact": "display", "value": "lit"}')])
    problems = [
        Problem(
            field_of(str(name), field),
            f"no such field{nearest(str(name)[:40], _FIELDS)}; a fact has {', '.join(_FIELDS)}",
        )
        for name in given
        if name not in _FIELDS
    ]
    name = given.get("fact")
    term = terms.get(name) if isinstance(name, str) else None
    if term is None:
        shown = (
            f"no fact named {_short(name)}{nearest(str(name)[:60], terms)}"
            if name is not None
            else "missing; name the fact"
        )
        raise InputError([*problems, Problem(_at(field, "fact"), shown)])
    if term.derived:
        message = f"{term.fact} is worked out from what was seen; give what was seen instead"
        raise InputError([*problems, Problem(_at(field, "fact"), message)])
    reader = _Reader(term, given, field, problems)
    where, between, during = reader.where(), reader.between(), reader.during()
    value = reader.value(bare_numbers)
    who = cast(Source, reader.word("source", SOURCES[:-1], source))
    measured = term.told_by == "technician" and who == "technician"
    certainty = cast(Certainty, reader.word("certainty", _CERTAINTIES, "measured" if measured else "said"))
    if problems:
        raise InputError(problems)
    return Fact(term.fact, value, where, between, during, who, certainty)


def _short(value: Any) -> str:
    """A wrong value as an error may quote it."""
    shown = repr(value)
    return shown if len(shown) <= LONGEST_QUOTE else shown[:LONGEST_QUOTE] + "..."


def _at(field: str, name: str) -> str:
    """``facts/3`` and ``value`` make ``facts/3/value``; a command-line key names itself."""
    return f"{field}/{name}" if field.startswith("facts/") else field


class _Reader:
    """Reads the fields of one fact and notes what is wrong with each."""

    def __init__(self, term: FactTerm, given: Mapping[str, Any], field: str, problems: list[Problem]) -> None:
        self.term, self.given, self.field, self.problems = term, given, field, problems

    def wrong(self, name: str, message: str) -> None:
        self.problems.append(Problem(_at(self.field, name), message))

    def word(self, name: str, known: Sequence[str], default: str | None) -> str | None:
        """A field that takes one of some words."""
        value = self.given.get(name)
        if value is None:
            return default
        if not isinstance(value, str) or value not in known:
            self.wrong(
                name, f"{_short(value)} is not known{nearest(str(value), known)}; write one of {', '.join(known)}"
            )
            return default
        return str(value)

    def where(self) -> str | None:
        raw = self.given.get("where")
        if self.term.place != "surface":
            if raw is not None:
                self.wrong("where", f"{self.term.fact} has no place; leave where out")
            return None
        if raw is None:
            message = "missing; write a unit such as left_front, or all, others or unnamed"
            self.wrong("where", f"{message} ({self.term.fact}@left_front on the command line)")
            return None
        if isinstance(raw, str) and raw in _PLACES:
            return raw
        place = re.sub(r"[\s-]+", "_", str(raw).strip().lower())
        place = _SHORT_PLACES.get(place, place)
        if not re.fullmatch(r"[a-z0-9_]{1,40}", place):
            self.wrong(
                "where", f"{_short(raw)} is no place; write a unit such as left_front, or all, others or unnamed"
            )
        return place

    def between(self) -> str | None:
        if self.term.place != "meter":
            self.word("between", (), None)
            return None
        raw = str(self.given.get("between") or "").upper().replace(" ", "")
        turned = "-".join(reversed(raw.split("-")))
        for points in (raw, turned):
            if points in self.term.between:
                return points
        self.wrong(
            "between",
            f"{_short(raw or 'nothing')} is no pair of meter points; write one of {', '.join(self.term.between)}",
        )
        return None

    def during(self) -> str | None:
        states = self.term.states
        if not states:
            if self.given.get("while") is not None:
                self.wrong("while", f"{self.term.fact} takes no state; leave while out")
            return None
        if self.given.get("while") is None:
            self.wrong("while", f"missing; write one of {', '.join(states)} (loaded: an element is switched on)")
            return None
        return self.word("while", states, None)

    def value(self, bare: bool) -> Value:
        """The value, or ``unknown`` where it is said that nobody could tell."""
        given = self.given.get("value")
        if isinstance(given, str) and " ".join(given.lower().split()) in _DONT_KNOW_WORDS:
            return DONT_KNOW
        if self.term.codes:
            return self.code()
        return self.number(bare) if self.term.kind == "number" else self.choice()

    def choice(self) -> str:
        value = self.given.get("value")
        if isinstance(value, bool):
            value = "yes" if value else "no"
        if not isinstance(value, str) or value not in self.term.values:
            known = ", ".join(self.term.values)
            shown = "missing" if value is None else f"{_short(value)} is not a value of {self.term.fact}"
            self.wrong("value", f"{shown}{nearest(str(value), self.term.values)}; write one of {known}, or {DONT_KNOW}")
            return ""
        if self.given.get("unit") is not None:
            self.wrong("unit", f"{self.term.fact} is a word, not a number; leave unit out")
        return str(value)

    def code(self) -> str:
        """A group, or a code's text of the shop's table, which stands for its group."""
        value = self.given.get("value")
        if isinstance(value, int) and not isinstance(value, bool):
            value = str(value)
        if self.given.get("unit") is not None:
            self.wrong("unit", f"{self.term.fact} is a word, not a number; leave unit out")
        group = group_of(value, self.term.codes) if isinstance(value, str) else None
        if group is None and (not isinstance(value, str) or value not in self.term.values):
            self.wrong("value", self._no_code(value))
            return ""
        return group or str(value)

    def _no_code(self, value: Any) -> str:
        shown = "missing" if value is None else f"{_short(value)} is neither a code of the shop's table nor a group"
        known = ", ".join(list(self.term.codes)[:MOST_CODES])
        more = ", ..." if len(self.term.codes) > MOST_CODES else ""
        hint = nearest(str(value)[:LONGEST_QUOTE].upper(), self.term.codes)
        return (
            f"{shown}{hint}; write one of the codes {known}{more}, or the code's group: {', '.join(self.term.values)}. "
            "A code whose group nobody knows is told as display.code=yes"
        )

    def number(self, bare: bool) -> float:
        value, unit = self.given.get("value"), self.given.get("unit")
        wanted = str(self.term.unit)
        example = _EXAMPLES.get(wanted, wanted)
        if value is None or isinstance(value, bool) or not isinstance(value, (str, int, float)):
            self.wrong("value", f"write a number with its unit, for example {example}")
            return 0.0
        if isinstance(value, float) and math.isnan(value):
            self.wrong("value", f"is not a number; write for example {example}")
            return 0.0
        if unit is not None and not isinstance(unit, str):
            self.wrong("unit", f"write the unit as a word, for example {example}")
            return 0.0
        opened = str(value).strip().lower() in _OPEN_WORDS
        text = "OL" if opened and wanted == "ohm" else f"{value} {unit or ''}".strip()
        try:
            number = parse_quantity(text, wanted, _at(self.field, "value"), bare_ok=bare)
        except InputError as error:
            self.problems.extend(error.problems)
            return 0.0
        least, most = self.term.least, self.term.most
        if (least is not None and number < least) or (most is not None and number > most):
            shown = str(value)[:LONGEST_QUOTE]
            message = f"{shown} is outside what can be read; write a number from {least:g} to {most:g} {wanted}"
            self.wrong("value", message)
        return number


def check_tools(tools: Sequence[str] | None, tests: Mapping[str, TestCard]) -> frozenset[str] | None:
    """The tools at hand by the names the test cards have for them; None stands for all. Raises InputError."""
    if tools is None:
        return None
    known = {tool.lower(): tool for card in tests.values() for tool in card.tools}
    problems = []
    for number, tool in enumerate(tools):
        if tool.strip().lower() not in known:
            listed = ", ".join(dict.fromkeys(known.values()))
            message = f"no test needs {_short(tool)}{nearest(tool[:60], known.values())}; write some of {listed}"
            problems.append(Problem(f"tools/{number}", message))
    if problems:
        raise InputError(problems)
    return frozenset(known[tool.strip().lower()] for tool in tools)


def check_places(facts: Sequence[Fact], appliance: Appliance) -> list[Problem]:
    """Facts about units that this appliance does not have."""
    allowed = (*appliance.positions, ALL, OTHERS, UNNAMED)
    problems = []
    for fact in facts:
        if fact.where is not None and not appliance.positions:
            problems.append(Problem(fact.key, f"{appliance.title} has no surface units"))
        elif fact.where is not None and fact.where not in allowed:
            known = f"{nearest(fact.where, allowed)}; write one of {', '.join(allowed)}"
            message = f"no unit {fact.where!r} on this appliance{known}"
            problems.append(Problem(fact.key, message))
    return problems
