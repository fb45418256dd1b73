"""The answer's wire form, as marshmallow schemas: one definition for the command line's ``--json`` and for HTTP."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from marshmallow import Schema, fields, post_dump

from rules.answer import Triage
from rules.bookkeeping.types import FactTerm
from service.dumping import Dump, plan, wire

UNIT_NAMES = {"delta_degF": "F", "day": "day"}


class ScopeSchema(Schema):
    in_scope = fields.Boolean()
    reason = fields.String(allow_none=True)


class ApplianceUsedSchema(Schema):
    appliance = fields.String()
    title = fields.String()
    assumed = fields.Boolean()


class FactSchema(Schema):
    """A fact as understood. ``value`` is a word, a number in ``unit``, ``OL`` for an open line, or ``unknown``."""

    fact = fields.String()
    where = fields.String(allow_none=True)
    between = fields.String(allow_none=True)
    during = fields.String(allow_none=True, data_key="while")
    value = fields.Raw()
    unit = fields.String(allow_none=True)
    source = fields.String()
    certainty = fields.String()
    span = fields.List(fields.Integer(), allow_none=True)
    text = fields.String(allow_none=True)


class StopSchema(Schema):
    signal = fields.String()
    say = fields.String()
    because = fields.List(fields.String())
    refer_to = fields.String()


class ReasonSchema(Schema):
    rule = fields.String()
    text = fields.String()
    facts = fields.List(fields.Integer())


class FactBitsSchema(Schema):
    fact = fields.Integer()
    bits = fields.Float()


class FaultAtSchema(Schema):
    fault = fields.String()
    where = fields.String(allow_none=True)


class ConclusionSchema(Schema):
    fault = fields.String()
    where = fields.String(allow_none=True)
    title = fields.String()
    probability = fields.Float()
    standing = fields.String()
    because = fields.List(fields.Nested(ReasonSchema))
    parts = fields.List(fields.String())
    not_told_apart = fields.List(fields.String())
    also = fields.List(fields.Nested(FaultAtSchema))
    bits = fields.List(fields.Nested(FactBitsSchema))


class OutcomeSchema(Schema):
    value = fields.String()
    probability = fields.Float()
    leads_to = fields.List(fields.String())


class TestAdviceSchema(Schema):
    __test__ = False
    test = fields.String()
    where = fields.String(allow_none=True)
    reads = fields.String()
    ask = fields.String()
    why = fields.String()
    who = fields.String()
    energised = fields.Boolean()
    from_memory = fields.Boolean()
    minutes = fields.Float()
    tools = fields.List(fields.String())
    cautions = fields.List(fields.String())
    gain_bits = fields.Float()
    saves_minutes = fields.Float(allow_none=True)
    outcomes = fields.List(fields.Nested(OutcomeSchema))


class NextStepSchema(Schema):
    do = fields.String()
    who = fields.String(allow_none=True)
    test = fields.String(allow_none=True)
    where = fields.String(allow_none=True)
    because = fields.String()


class RepairStepSchema(Schema):
    faults = fields.List(fields.String())
    where = fields.String(allow_none=True)
    parts = fields.List(fields.String())
    probability = fields.Float()
    minutes = fields.Integer()
    cost = fields.Integer()
    skill = fields.String()


class LoadPartSchema(Schema):
    part = fields.String()
    probability_used = fields.Float()


class VisitSchema(Schema):
    needed = fields.Boolean(allow_none=True)
    urgency = fields.String()
    skill = fields.String()
    minutes = fields.List(fields.Integer())
    load_parts = fields.List(fields.Nested(LoadPartSchema))
    no_room_for = fields.List(fields.Nested(LoadPartSchema))
    first_visit_fix = fields.Float()
    tell_customer = fields.List(fields.String())


class ContradictionSchema(Schema):
    facts = fields.List(fields.Integer())
    say = fields.String()


class NearMissSchema(Schema):
    rule = fields.String()
    missing = fields.String()


class TriageSchema(Schema):
    """The whole answer; the keys and their order are the contract of the wire format."""

    decision_id = fields.String()
    book = fields.String()
    scope = fields.Nested(ScopeSchema)
    appliance = fields.Nested(ApplianceUsedSchema)
    understood = fields.List(fields.Nested(FactSchema))
    unread = fields.List(fields.String())
    contradictions = fields.List(fields.Nested(ContradictionSchema))
    stop = fields.Nested(StopSchema, allow_none=True)
    conclusions = fields.List(fields.Nested(ConclusionSchema))
    none_of_these = fields.Float()
    next_step = fields.Nested(NextStepSchema)
    next_tests = fields.List(fields.Nested(TestAdviceSchema))
    repair_order = fields.List(fields.Nested(RepairStepSchema))
    visit = fields.Nested(VisitSchema)
    cautions = fields.List(fields.String())
    nearly = fields.List(fields.Nested(NearMissSchema))

    def __init__(self, terms: Mapping[str, FactTerm] | None = None, **options: Any) -> None:
        super().__init__(**options)
        self.terms = terms or {}

    @post_dump
    def units(self, data: dict[str, Any], **_: Any) -> dict[str, Any]:
        """Give numbers their unit; JSON has no infinity, so an open line is written as a meter shows it."""
        for fact in data["understood"]:
            with_unit(fact, self.terms)
        return data


def with_unit(fact: dict[str, Any], terms: Mapping[str, FactTerm]) -> dict[str, Any]:
    """A dumped fact, given its unit in place."""
    term = terms[fact["fact"]]
    numeric = term.kind == "number"
    fact["unit"] = UNIT_NAMES.get(str(term.unit), term.unit) if numeric else None
    if numeric and isinstance(fact["value"], float) and math.isinf(fact["value"]):
        fact["value"] = "OL"
    return fact


class VanSchema(Schema):
    van = fields.String()
    title = fields.String()
    space = fields.Float()
    value = fields.Float()
    source = fields.String()


class StockPartSchema(Schema):
    part = fields.String()
    title = fields.String()
    units = fields.Integer()
    expected = fields.Float()


class DayCallSchema(Schema):
    name = fields.String(data_key="id")
    visit = fields.Nested(VisitSchema)
    ours = fields.Boolean()
    fix = fields.Float(data_key="first_visit_fix")


class DayPlanSchema(Schema):
    """What one van carries for a day's calls."""

    van = fields.Nested(VanSchema)
    stock = fields.List(fields.Nested(StockPartSchema))
    space = fields.Float()
    value = fields.Float()
    calls = fields.List(fields.Nested(DayCallSchema))
    expected_fixes = fields.Float()


def triage_dump(terms: Mapping[str, FactTerm]) -> Dump:
    """A function that dumps answers as ``TriageSchema(terms).dump`` does, several times faster."""
    schema = TriageSchema(terms)
    dump = plan(schema)
    return lambda answer: schema.units(dump(answer))


def triage_wire(terms: Mapping[str, FactTerm]) -> Dump:
    """As :func:`triage_dump`, for what goes into :func:`service.dumping.json_line` and is not looked at before."""
    schema = TriageSchema(terms)
    dump = wire(schema, Triage)
    return lambda answer: schema.units(dump(answer))


class BatchRowSchema(Schema):
    """A line of a batch's answer: a row with an answer or an error, or the closing line, which alone has ``end``."""

    line = fields.Integer(metadata={"description": "Number of the line it answers, from 1."})
    id = fields.Raw(allow_none=True, metadata={"description": "The caller's own."})
    answer = fields.Nested(TriageSchema)
    error = fields.Raw(
        metadata={
            "description": "A problem, as a single call would get.",
            "allOf": [{"$ref": "#/components/schemas/Problem"}],
        }
    )
    end = fields.Boolean(metadata={"description": "Closing line: true."})
    lines = fields.Integer(metadata={"description": "Closing line: rows answered."})
    ok = fields.Integer(metadata={"description": "Closing line: rows with an answer."})
    failed = fields.Integer(metadata={"description": "Closing line: rows with an error."})
    book = fields.String(metadata={"description": "Closing line: version of the book."})
