"""The wire form of the book's entries: vocabulary, appliances, faults, tests, rules."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from marshmallow import Schema, fields

from rules.bookkeeping.types import Appliance, Bands, Book, FactTerm, Fault, Rule, TestCard
from rules.checking import rule_sentence
from service.dumping import plan
from service.http.requests import told
from service.schemas import UNIT_NAMES


def _words(text: str) -> fields.Field[Any]:
    return fields.List(fields.String(), metadata=told(text))


def _text(text: str, **options: Any) -> fields.Field[Any]:
    return fields.String(metadata=told(text), **options)


def _range(text: str) -> fields.Field[Any]:
    return fields.List(fields.Float(allow_none=True), metadata=told(text, minItems=2, maxItems=2))


class BandSchema(Schema):
    name = _text("The word for this range.")
    between = _words("The meter points it applies to; empty: all.")
    range = _range("Lower end included, upper end not; null has no end.")
    relative = fields.Boolean(metadata=told("Ends are multiples of what the part should read, not V or ohm."))


class VocabularyEntrySchema(Schema):
    """A fact that may be said."""

    fact = _text("Its name.")
    title = _text("In words.")
    kind = _text("choice: value is one of the words; number: value is a number in unit.")
    values = fields.Dict(
        keys=fields.String(), values=fields.String(), metadata=told("Each word (a choice) or range (a number).")
    )
    usual = _text("What a sound appliance shows, if that is known.", allow_none=True)
    told_by = _text("Who can tell it: caller, desk or technician.")
    ask = _text("How to ask it.")
    place = _text("none; surface: `where` is needed; meter: `between` is needed.")
    between = _words("Pairs of meter points it can be read between.")
    states = _words("What `while` may be; empty: no `while`.")
    unit = _text("Of a number.", allow_none=True)
    bands = fields.List(fields.Nested(BandSchema), metadata=told("Ranges of a number, by name."))
    limits = _range("Least and most that is taken; null has no end.")
    hazard = fields.Boolean(metadata=told("Asked before anything else."))
    derived = fields.Boolean(metadata=told("Worked out, never told: it cannot be sent."))


class UnitEntrySchema(Schema):
    where = _text("Its place.")
    watts = fields.List(fields.Float(), metadata=told("Of its rings, W."))


class ApplianceEntrySchema(Schema):
    """A configuration of the book."""

    appliance = _text("Its name, as a triage request names it.")
    title = _text("In words.")
    cooktop = _text("coil, radiant or none.")
    units = fields.List(fields.Nested(UnitEntrySchema), metadata=told("Surface units."))
    oven = fields.Boolean(metadata=told("Whether it has one."))
    bake_watts = fields.Float(metadata=told("W."))
    broil_watts = fields.Float(metadata=told("W."))
    cutout = _text("What the oven's thermal cut-out breaks: control, elements or none.")
    convection_watts = fields.Float(metadata=told("W; 0: none."))
    self_clean = fields.Boolean(metadata=told("With a door-lock motor."))
    supply = _text("120/240 or 208Y/120.")
    cord = _text("3-wire, 4-wire or hard-wired.")
    rated_volts = fields.Float(metadata=told("V between the legs."))
    sensor_curve = _text("3750 or IEC 60751.")


class FaultEntrySchema(Schema):
    """A fault of the catalogue."""

    fault = _text("Its id.")
    title = _text("In words.")
    place = _text("none, or surface: it belongs to a unit.")
    only_ = fields.Dict(
        data_key="only",
        attribute="only",
        keys=fields.String(),
        values=fields.List(fields.String()),
        metadata=told("What an appliance must have for it: trait to words."),
    )
    weight = fields.Float(metadata=told("Relative frequency: 5 is daily work, 1 is rare."))
    parts = fields.Dict(
        keys=fields.String(),
        values=fields.List(fields.String()),
        metadata=told("Parts a repair may need, by kind of cooktop; the empty name stands for any."),
    )
    minutes = fields.List(fields.Integer(), metadata=told("Repair, from and to, min.", minItems=2, maxItems=2))
    skill = _text("Who mends it: appliance_technician, electrician, utility or customer.")
    urgency = _text("now, soon, routine or none.")
    limit = _text("What stays off until then: range_off, oven_off, unit_off or none.")
    tell = _text("What to tell the customer.")
    because = _text("What happens in the machine.")
    source = _text("Where the figures come from.")


class TestEntrySchema(Schema):
    """A question or a measurement."""

    __test__ = False
    test = _text("Its id.")
    reads = _text("The fact it reads.")
    ask = _text("How it is asked.")
    who = _text("Who may do it.")
    energised = fields.Boolean(metadata=told("The power is on for it."))
    minutes = fields.Float(metadata=told("min, without the preparation."))
    setup = _text("Preparation that several tests share.", allow_none=True)
    tools = _words("What is needed.")
    cautions = _words("Caution cards shown with it.")
    between = _text("Of a reading: the meter points.", allow_none=True)
    during = fields.String(data_key="while", allow_none=True, metadata=told("Of a reading: the state."))
    needs_permission = fields.Boolean(metadata=told("Not shown until a rule allows it."))
    source = _text("Where the figures come from.")


class RuleEntrySchema(Schema):
    """A trade rule."""

    rule = _text("Its id.")
    sentence = _text("The whole rule as one sentence.")
    because = _text("Its reason.")
    source = _text("Where it comes from.")
    not_when = _text("When it would be wrong.", allow_none=True)
    acts = _words("What it does: derive, stop, points_to, establishes, rules_out, shift, allow, forbid, ask, visit.")
    points_to = _words("Faults.")
    establishes = _words("Faults.")
    rules_out = _words("Faults.")
    allow = _words("Tests, * for any letters.")
    forbid = _words("Tests, * for any letters.")
    ask = _words("Questions that come next.")
    fires_on = fields.List(
        fields.Dict(keys=fields.String()), metadata=told("Examples: facts by key on which it must fire.")
    )
    silent_on = fields.List(
        fields.Dict(keys=fields.String()), metadata=told("Examples: facts by key on which it must not.")
    )
    file = _text("Where it is written.")
    line = fields.Integer(metadata=told("Where it is written."))


ACTS = ("derive", "stop", "points_to", "establishes", "rules_out", "shift", "allow", "forbid", "ask", "visit")
_APPLIANCE, _FAULT, _TEST = plan(ApplianceEntrySchema()), plan(FaultEntrySchema()), plan(TestEntrySchema())


def _end(number: float | None) -> float | None:
    return None if number is None or math.isinf(number) else number


def _band(bands: Bands, name: str, ends: tuple[float, float]) -> dict[str, Any]:
    return {
        "name": name,
        "between": list(bands.between),
        "range": [_end(ends[0]), _end(ends[1])],
        "relative": bands.relative,
    }


def vocabulary_entry(term: FactTerm) -> dict[str, Any]:
    names = ("fact", "title", "kind", "usual", "told_by", "ask", "place", "hazard", "derived")
    return {
        **{name: getattr(term, name) for name in names},
        "values": dict(term.values),
        "between": list(term.between),
        "states": list(term.states),
        "unit": UNIT_NAMES.get(str(term.unit), term.unit) if term.kind == "number" else None,
        "bands": [_band(bands, name, ends) for bands in term.bands for name, ends in bands.ranges.items()],
        "limits": [_end(term.least), _end(term.most)],
    }


def appliance_entry(appliance: Appliance) -> dict[str, Any]:
    entry: dict[str, Any] = _APPLIANCE(appliance)
    return entry


def fault_entry(fault: Fault) -> dict[str, Any]:
    entry: dict[str, Any] = _FAULT(fault)
    return {**entry, "only": _lists(fault.only), "parts": _lists(fault.parts)}


def test_entry(card: TestCard) -> dict[str, Any]:
    entry: dict[str, Any] = _TEST(card)
    return entry


def rule_entry(rule: Rule, book: Book) -> dict[str, Any]:
    names = ("rule", "because", "source", "not_when", "file", "line")
    listed = ("points_to", "establishes", "rules_out", "allow", "forbid", "ask")
    return {
        **{name: getattr(rule, name) for name in names},
        **{name: list(getattr(rule, name)) for name in listed},
        "sentence": rule_sentence(rule, book),
        "acts": [act for act in ACTS if getattr(rule, act)],
        "fires_on": [dict(example) for example in rule.fires_on],
        "silent_on": [dict(example) for example in rule.silent_on],
    }


def _lists(mapping: Mapping[str, tuple[str, ...]]) -> dict[str, list[str]]:
    return {name: list(words) for name, words in mapping.items()}
