"""The bodies of requests as schemas: what the OpenAPI document shows of them.

A triage request is checked by :mod:`service.intake` against the open book, which tells all wrong fields at once and
knows the vocabulary; these schemas give its form. The reading requests are loaded by theirs.
"""

from __future__ import annotations

from typing import Any

from marshmallow import RAISE, Schema, fields, validate

from rules import EXPLAINS
from rules.appliance.measuring import METERS, QUANTITIES
from rules.bookkeeping.schemas import ApplianceSchema
from rules.enquiry import LONGEST_NOTE, MOST_FACTS
from rules.terms import ROLES


def told(text: str, **more: Any) -> dict[str, Any]:
    """A field's description."""
    return {"description": text, **more}


class Strict(Schema):
    """Unknown fields are refused."""

    class Meta:
        unknown = RAISE


class ApplianceGivenSchema(ApplianceSchema):
    """An appliance of the caller's own: a configuration of the book with some fields changed."""

    based_on = fields.String(
        load_default="radiant_range",
        metadata=told("The book's appliance it starts from; GET /v1/appliances lists them.", example="coil_range"),
    )


VALUE = {"oneOf": [{"type": "string"}, {"type": "number"}, {"type": "boolean"}]}
APPLIANCE: dict[str, Any] = {
    "description": "What the machine is made of: a name from GET /v1/appliances, or an object. Left out: the common "
    "radiant range is assumed, and the answer says so.",
    "oneOf": [{"type": "string"}, {"$ref": "#/components/schemas/ApplianceGiven"}, {"type": "null"}],
}


class FactGivenSchema(Strict):
    """One observed value, in the words of GET /v1/vocabulary."""

    fact = fields.String(required=True, metadata=told("Name in the vocabulary."))
    value = fields.Raw(
        required=True,
        metadata=told(
            "One of the fact's words (yes and no also as booleans), or a number. OL is an open line.", **VALUE
        ),
    )
    unit = fields.String(allow_none=True, metadata=told("Of a number, unless it stands in the value: '1.2 V'."))
    where = fields.String(
        allow_none=True, metadata=told("A unit such as left_front; all, others, or unnamed for one not named.")
    )
    between = fields.String(allow_none=True, metadata=told("Of a reading: the pair of meter points, L1-L2."))
    during = fields.String(
        data_key="while", allow_none=True, metadata=told("Of a reading: idle, or loaded (an element is switched on).")
    )
    source = fields.String(
        allow_none=True,
        validate=validate.OneOf(("caller", "desk", "technician", "note")),
        metadata=told("Who saw it; left out, the one who asks (for the desk, the caller)."),
    )
    certainty = fields.String(
        allow_none=True,
        validate=validate.OneOf(("said", "hedged", "measured")),
        metadata=told("Left out, a technician's measurement is measured, all else is said."),
    )


class TriageRequestSchema(Strict):
    """A call: a note, facts, or both."""

    note = fields.String(
        allow_none=True,
        validate=validate.Length(min=1, max=LONGEST_NOTE),
        metadata=told("What the caller said, as free text in English."),
    )
    facts = fields.List(
        fields.Nested(FactGivenSchema),
        allow_none=True,
        validate=validate.Length(max=MOST_FACTS),
        metadata=told("What is known for sure."),
    )
    appliance = fields.Raw(allow_none=True, metadata=APPLIANCE)
    role = fields.String(
        allow_none=True,
        validate=validate.OneOf(ROLES),
        metadata=told("Who asks; desk unless given. Hands-in and live tests are shown to a technician only."),
    )
    explain = fields.String(
        allow_none=True,
        validate=validate.OneOf(EXPLAINS),
        metadata=told(
            "off: no reasons; brief (unless given): rule sentences with the facts used; full: also rules one premise "
            "short, and bits for each fact."
        ),
    )


class BatchLineSchema(TriageRequestSchema):
    """One line of a batch: a triage request, and the caller's own id for it."""

    id = fields.Raw(
        allow_none=True,
        metadata=told(
            "Given back on the answer's line.",
            oneOf=[{"type": "string", "maxLength": 200}, {"type": "number"}, {"type": "null"}],
        ),
    )


class SuspectSchema(Strict):
    """A fault, as conclusions name it."""

    fault = fields.String(required=True, metadata=told("Id of the fault.", example="supply.leg_l2_open"))
    where = fields.String(allow_none=True, load_default=None, metadata=told("Its unit; left out, the first."))


class ExpectedRequestSchema(Strict):
    """A reading about to be taken."""

    appliance = fields.Raw(allow_none=True, load_default=None, metadata=APPLIANCE)
    quantity = fields.String(validate=validate.OneOf(QUANTITIES, error="write one of {choices}"), load_default="volts")
    at = fields.String(
        required=True,
        validate=validate.Length(min=1, max=100),
        metadata=told("A pair of points (L1-N), two nodes (left_front.H1-CH), or a part (bake_element, sensor)."),
    )
    during = fields.String(
        data_key="while",
        load_default="idle",
        metadata=told("State of the appliance: idle, loaded, bake, high left_front, ... A wrong one is told them all."),
    )
    meter = fields.String(
        validate=validate.OneOf(tuple(METERS), error="write one of {choices}"), load_default="digital"
    )
    lifted = fields.Boolean(
        load_default=True,
        truthy={True},
        falsy={False},
        metadata=told("Ohms: one lead of the part is off."),
    )
    at_temperature = fields.String(
        load_default="70 F", metadata=told("Of the sensor, for its ohms, with its unit.", example="70 F")
    )
    suspects = fields.List(
        fields.Nested(SuspectSchema),
        allow_none=True,
        load_default=None,
        validate=validate.Length(min=1, max=200),
        metadata=told("Left out: every fault of this appliance that shows in the circuit."),
    )
    reading = fields.Raw(
        allow_none=True,
        load_default=None,
        metadata=told(
            "What the meter did show, with its unit; each row then tells whether it fits.",
            oneOf=[{"type": "string"}, {"type": "number"}, {"type": "null"}],
            example="118 V",
        ),
    )
