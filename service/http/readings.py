"""Readings: what a meter should show before it is put on, and what a reading that was taken is worth."""

from __future__ import annotations

import math
from typing import Any

from flask import Response
from marshmallow import Schema, fields

from rules import InputError, Problem, expected_readings
from rules.appliance.measuring import UNITS, Probe
from rules.bookkeeping.yamlsource import nearest
from rules.electrical.units import parse_quantity
from rules.expecting import ExpectedReading
from service.http import examples
from service.http.blueprint import Blueprint, Terms, body_doc, read_json
from service.http.context import JSON, house, reply
from service.http.loading import load
from service.http.requests import ExpectedRequestSchema, told
from service.intake import appliance_from
from service.judging import judged
from service.pointers import join

blp = Blueprint("readings", __name__, description="Readings expected and judged.")
TERMS = Terms(takes=JSON)
PARTS = ("kind", "values")
OPEN_OR_NUMBER = {"oneOf": [{"type": "number"}, {"const": "OL"}]}
ARGUMENT_FIELDS = {
    "at": "at",
    "while": "while",
    "meter": "meter",
    "faults": "suspects",
}


class ExpectedRowSchema(Schema):
    """What the meter shows under one fault; the first row is a sound appliance."""

    fault = fields.String(metadata=told("Id of the fault, or sound."))
    where = fields.String(allow_none=True, metadata=told("Its unit."))
    title = fields.String(metadata=told("In words."))
    value = fields.Raw(metadata=told("Nominal; OL is an open line.", **OPEN_OR_NUMBER))
    low = fields.Raw(metadata=told("Least it may show.", **OPEN_OR_NUMBER))
    high = fields.Raw(metadata=told("Most it may show.", **OPEN_OR_NUMBER))
    unit = fields.String(metadata=told("V, A or ohm."))
    fits = fields.Boolean(allow_none=True, metadata=told("Whether the reading given lies in it; null if none was."))


class ExpectedSchema(Schema):
    book = fields.String(metadata=told("Version of the book: a content hash."))
    appliance = fields.String(metadata=told("The configuration it was worked out for."))
    rows = fields.List(fields.Nested(ExpectedRowSchema))


class VerdictSchema(Schema):
    """What one value is worth."""

    what = fields.String(metadata=told("The value in words."))
    value = fields.Raw(
        metadata=told("In unit; OL is an open line.", oneOf=[{"type": ["number", "null"]}, {"const": "OL"}])
    )
    unit = fields.String(metadata=told("Of value and band."))
    band = fields.List(
        fields.Float(allow_none=True),
        allow_none=True,
        metadata=told("What a sound machine shows, both ends included; null has no end."),
    )
    verdict = fields.String(metadata=told("as expected, low, high, open, short or cannot tell."))
    means = fields.String(metadata=told("What follows from it."))
    formula = fields.String(metadata=told("In words."))
    source = fields.String(metadata=told("Where it is published."))
    status = fields.String(metadata=told("State of the weakest figure: found, computed, from memory, ..."))


class JudgedSchema(Schema):
    book = fields.String(metadata=told("Version of the book: a content hash."))
    verdicts = fields.List(fields.Nested(VerdictSchema))


@blp.route("/v1/readings/expected", methods=["POST"], terms=TERMS)
@blp.doc(
    operationId="expected_readings",
    summary="What a meter should show under each suspect",
    requestBody=body_doc(ExpectedRequestSchema, JSON, examples.EXPECTED),
)
@blp.response(200, ExpectedSchema)
def expected() -> Response:
    """Worked out from the circuit, before the meter is put on. For a qualified technician."""
    expert = house().expert
    given = load(ExpectedRequestSchema(), read_json())
    machine = appliance_from(expert, given["appliance"]) or expert.book.appliances["radiant_range"]
    probe = Probe(given["quantity"], given["at"], given["during"], given["meter"], given["lifted"], _warm(given))
    suspects = given["suspects"] and [(entry["fault"], entry["where"]) for entry in given["suspects"]]
    try:
        rows = expected_readings(expert.signatures(machine), probe, suspects, _reading(given))
    except InputError as error:
        raise InputError([Problem(ARGUMENT_FIELDS.get(p.field, p.field), p.message) for p in error.problems]) from error
    return reply({"book": expert.book.version, "appliance": machine.appliance, "rows": [_row(row) for row in rows]})


def _warm(given: dict[str, Any]) -> float:
    return parse_quantity(given["at_temperature"], "degC", "at_temperature")


def _reading(given: dict[str, Any]) -> float | None:
    value = given["reading"]
    if value is None:
        return None
    if isinstance(value, bool) or not isinstance(value, (str, int, float)):
        raise InputError([Problem("reading", "write what the meter showed, for example '118 V' or OL")])
    return parse_quantity(str(value), UNITS[given["quantity"]], "reading")


def _row(row: ExpectedReading) -> dict[str, Any]:
    ends = {name: "OL" if math.isinf(getattr(row, name)) else getattr(row, name) for name in ("value", "low", "high")}
    return {**row.__dict__, **ends}


@blp.route("/v1/readings/judged", methods=["POST"], terms=TERMS)
@blp.doc(
    operationId="judged_readings",
    summary="What a reading is worth",
    requestBody=body_doc({"$ref": "#/components/schemas/JudgedRequest"}, JSON, examples.JUDGED),
)
@blp.response(200, JudgedSchema)
def judge() -> Response:
    """Value, band, verdict, what it means, formula and source; as `coldleg reading KIND` prints. For a technician."""
    data = read_json()
    if not isinstance(data, dict):
        raise InputError([Problem("", 'write a JSON object, for example {"kind": "element", "values": {}}')])
    extra = [
        Problem(join(name), f"no such field{nearest(name[:60], PARTS)}; write kind and values")
        for name in data
        if name not in PARTS
    ]
    if extra:
        raise InputError(extra)
    verdicts = judged(data.get("kind"), data.get("values"))
    return reply({"book": house().expert.book.version, "verdicts": [verdict.as_json() for verdict in verdicts]})
