"""What each file of the book may hold, as marshmallow schemas: fields, types and allowed words.

They check form only. Whether a name exists elsewhere in the book is checked in :mod:`rules.bookkeeping.checking`.
"""

from __future__ import annotations

from typing import Any, ClassVar

from marshmallow import RAISE, Schema, ValidationError, fields, validate, validates_schema

from rules.terms import DONT_KNOW, ROLES

SIGNALS = ("DANGER", "WARNING", "CAUTION", "NOTICE")
SKILLS = ("appliance_technician", "electrician", "utility", "customer")
URGENCIES = ("now", "soon", "routine", "none")
LIMITS = ("range_off", "oven_off", "unit_off", "none")
SPACE_LITRES, VALUE_DOLLARS = 2.0, 40.0  # of a part the book says nothing more about; invented
RESERVED_PLACES = ("all", "others", "unnamed", "same", "any", "every_tried", "bake", "broil", "meter")
TRAITS = {
    "cooktop": ("coil", "radiant", "none"),
    "oven": ("yes", "no"),
    "cutout": ("control", "elements", "none"),
    "cord": ("3-wire", "4-wire", "hard-wired"),
    "convection": ("yes", "no"),
    "self_clean": ("yes", "no"),
    "range_fuses": ("yes", "no"),
    "rings": ("none", "one", "two", "three"),  # the most rings that one of its surface units has
    "cooling_fan": ("yes", "no"),
    "second_oven": ("yes", "no"),
}


class Text(fields.String):
    """A word or sentence; YAML's bare ``yes``, ``no``, ``on``, ``off`` count as words."""

    def _deserialize(self, value: Any, *_: Any, **__: Any) -> str:
        if isinstance(value, bool) or not isinstance(value, (str, int, float)):
            raise ValidationError("write a word or a sentence here")
        if any((ord(sign) < 32 and sign not in "\n\t") or "\ud800" <= sign <= "\udfff" for sign in str(value)):
            raise ValidationError("holds a control character or half a character; write plain text")
        if not str(value).strip():
            raise ValidationError("must not be empty; write a word or a sentence")
        return str(value)


#: marshmallow's own words, and what to say instead.
PLAIN_WORDS = {
    "Unknown field.": "no such field here",
    "Missing data for required field.": "missing; add it",
    "Invalid input type.": "write a mapping of fields here, name: value",
    "Field may not be null.": "is empty; write a value or leave the field out",
    "Not a valid list.": "write a list, for example [one, two]",
    "Not a valid number.": "write a number",
    "Not a valid integer.": "write a whole number",
    "Not a valid boolean.": "write true or false",
    "Not a valid tuple.": "write two numbers, for example [15, 30]",
    "Not a valid mapping type.": "write a mapping, name: value",
    "Length must be 2.": "write exactly two, for example [15, 30]",
    "Special numeric values (nan or infinity) are not permitted.": "write a finite number",
}


def one_of(*words: str, **options: Any) -> Text:
    """A field that takes one of some words; the error lists them."""
    return Text(validate=validate.OneOf(words, error="write one of {choices}, not {input!r}"), **options)


def listed(**options: Any) -> fields.List[Any]:
    """A list of words, empty unless given."""
    return fields.List(Text(), load_default=list, **options)


class Record(Schema):
    """A record of the book: unknown fields are refused."""

    class Meta:
        unknown = RAISE

    key: ClassVar[str]


class BandsSchema(Record):
    ranges = fields.Dict(keys=Text(), values=fields.Tuple((fields.Float(allow_nan=True),) * 2), required=True)
    between = listed()
    relative = fields.Boolean(load_default=False)


class FactSchema(Record):
    key = "fact"
    fact = Text(
        required=True, validate=validate.Regexp(r"^[a-z0-9_.]+$", error="use small letters, digits, dots and _")
    )
    title = Text(required=True)
    kind = one_of("choice", "number", required=True)
    values = fields.Dict(keys=Text(), values=Text(), required=True, validate=validate.Length(min=1))
    usual = Text(load_default=None, allow_none=True)
    told_by = one_of(*ROLES, required=True)
    ask = Text(required=True)
    recall = Text(load_default=None)
    place = one_of("none", "surface", "meter", load_default="none")
    between = listed()
    states = listed()
    unit = Text(load_default=None)
    bands = fields.List(fields.Nested(BandsSchema), load_default=list)
    least = fields.Float(load_default=None)
    most = fields.Float(load_default=None, allow_nan=True)
    mistaken_for = fields.Dict(
        keys=Text(),
        values=fields.Dict(keys=Text(), values=fields.Float(validate=validate.Range(min=0, min_inclusive=False))),
        load_default=dict,
    )
    hazard = fields.Boolean(load_default=False)
    derived = fields.Boolean(load_default=False)
    model = one_of("circuit", "shows", "context", load_default="shows")
    yes = Text(load_default=None)
    no = Text(load_default=None)
    lead = Text(load_default=None)
    answers = fields.Dict(keys=Text(), values=fields.List(Text()), load_default=dict)

    @validates_schema
    def number_needs_bands(self, data: dict[str, Any], **_: Any) -> None:
        if data["kind"] == "number":
            for name in ("unit", "bands", "least", "most"):
                if data[name] in (None, []):
                    raise ValidationError(f"a number needs {name}; add it", name)
        if DONT_KNOW in data["values"]:
            raise ValidationError(f"{DONT_KNOW} means that nobody could tell; choose another word", "values")
        if data["usual"] is not None and data["usual"] not in data["values"]:
            raise ValidationError(f"write one of {', '.join(data['values'])}", "usual")
        if data["kind"] == "number" and not data["least"] < data["most"]:
            raise ValidationError("least must be below most", "least")


class UnitSchema(Record):
    where = Text(
        required=True,
        validate=[
            validate.Regexp(r"^[a-z][a-z0-9_]*$", error="use small letters, digits and _, for example left_front"),
            validate.NoneOf(RESERVED_PLACES, error="{input} has another meaning; name the unit by its place"),
        ],
    )
    watts = fields.List(
        fields.Float(validate=validate.Range(min=1, max=20000)), required=True, validate=validate.Length(1, 3)
    )


class ApplianceSchema(Record):
    key = "appliance"
    appliance = Text(required=True)
    title = Text(required=True)
    cooktop = one_of("coil", "radiant", "none", required=True)
    units = fields.List(fields.Nested(UnitSchema), required=True, validate=validate.Length(max=8))
    oven = fields.Boolean(required=True)
    bake_watts = fields.Float(required=True, validate=validate.Range(min=0, max=20000))
    broil_watts = fields.Float(required=True, validate=validate.Range(min=0, max=20000))
    cutout = one_of("control", "elements", "none", required=True)
    convection_watts = fields.Float(load_default=0.0, validate=validate.Range(min=0, max=20000))
    self_clean = fields.Boolean(load_default=False)
    cooling_fan = fields.Boolean(load_default=True)
    second_oven_watts = fields.Float(load_default=0.0, validate=validate.Range(min=0, max=20000))
    supply = one_of("120/240", "208Y/120", load_default="120/240")
    cord = one_of("3-wire", "4-wire", "hard-wired", load_default="4-wire")
    rated_volts = fields.Float(load_default=240.0, validate=validate.Range(min=100, max=300))
    sensor_curve = one_of("3750", "IEC 60751", load_default="3750")
    breaker_amps = fields.Float(load_default=50.0, validate=validate.Range(min=15, max=100))
    range_fuses = fields.Boolean(load_default=False)

    @validates_schema
    def hangs_together(self, data: dict[str, Any], **_: Any) -> None:
        if data["oven"] and not (data["bake_watts"] > 0 and data["broil_watts"] > 0):
            raise ValidationError("an oven needs watts above 0 for both elements", "bake_watts")
        if (data["cooktop"] == "none") != (not data["units"]):
            raise ValidationError("list the units of the cooktop, or write cooktop: none and units: []", "units")
        if not data["oven"] and (data["convection_watts"] or data["self_clean"] or data["cutout"] != "none"):
            raise ValidationError("without an oven write cutout: none, and neither convection nor self_clean", "oven")
        if not data["oven"] and data["second_oven_watts"]:
            raise ValidationError("without an oven there is no second one; leave it out", "second_oven_watts")
        if data["cooktop"] == "coil" and any(len(unit["watts"]) > 1 for unit in data["units"]):
            raise ValidationError("a plug-in coil has one ring; give its units one number of watts each", "units")
        if not data["oven"] and not data["units"]:
            raise ValidationError("an appliance has an oven, surface units or both", "units")
        if data["range_fuses"] and not data["units"]:
            raise ValidationError("the range's fuses feed its surface units; without units leave it out", "range_fuses")
        places = [unit["where"] for unit in data["units"]]
        if len(set(places)) != len(places):
            raise ValidationError("two units have the same place; give each its own", "units")


class PartNames(fields.Field[dict[str, list[str]]]):
    """Parts of a repair: a list, or a list for each kind of cooktop."""

    def _deserialize(self, value: Any, *_: Any, **__: Any) -> dict[str, list[str]]:
        named = value if isinstance(value, dict) else {"": value}
        for kind, names in named.items():
            if kind not in ("", "coil", "radiant", "none"):
                raise ValidationError(f"no cooktop is {kind!r}; write coil, radiant or none")
            if not isinstance(names, list) or not all(isinstance(name, str) for name in names):
                raise ValidationError("write a list of parts, for example [bake_element], or [] for none")
        return named


class EffectSchema(Record):
    part = Text(required=True)
    mode = Text(required=True)
    amounts = fields.List(fields.Float(), load_default=list)


class FaultSchema(Record):
    key = "fault"
    fault = Text(
        required=True, validate=validate.Regexp(r"^[a-z0-9_]+\.[a-z0-9_]+$", error="write component.failure_mode")
    )
    title = Text(required=True)
    place = one_of("none", "surface", load_default="none")
    only_ = fields.Dict(
        keys=one_of(*TRAITS),
        values=listed(),
        load_default=dict,
        data_key="only",
    )
    weight = fields.Float(required=True, validate=validate.Range(min=0, min_inclusive=False, max=10))
    effects = fields.List(fields.Nested(EffectSchema), required=True)
    shows = fields.Dict(
        keys=Text(),
        values=fields.Dict(keys=Text(), values=fields.Float(validate=validate.Range(0, 1))),
        load_default=dict,
    )
    parts = PartNames(required=True)
    minutes = fields.Tuple((fields.Integer(validate=validate.Range(min=1)),) * 2, required=True)
    skill = one_of(*SKILLS, required=True)
    urgency = one_of(*URGENCIES, required=True)
    limit = one_of(*LIMITS, required=True)
    tell = Text(required=True)
    because = Text(required=True)
    source = Text(required=True)

    @validates_schema
    def does_something(self, data: dict[str, Any], **_: Any) -> None:
        if not data["effects"] and not data["shows"]:
            raise ValidationError("a fault needs an effect in the circuit or something it shows", "effects")
        for trait, allowed in data["only_"].items():
            wrong = [word for word in allowed if word not in TRAITS[trait]]
            if wrong:
                raise ValidationError(
                    f"{trait} is never {wrong[0]!r}; write some of {', '.join(TRAITS[trait])}", "only"
                )
        if data["place"] == "surface" and data["effects"] and not any("{where}" in e["part"] for e in data["effects"]):
            raise ValidationError(
                'a fault of a unit needs a part of that unit; write part: "{where}.element"', "effects"
            )
        if data["minutes"][0] > data["minutes"][1]:
            raise ValidationError("write the smaller number of minutes first", "minutes")


class SetupSchema(Record):
    key = "setup"
    setup = Text(required=True)
    title = Text(required=True)
    minutes = fields.Float(required=True, validate=validate.Range(min=0))


class TestSchema(Record):
    __test__ = False
    key = "test"
    test = Text(required=True)
    reads = Text(required=True)
    ask = Text(load_default=None)
    between = Text(load_default=None)
    during = Text(load_default=None, data_key="while")
    who = one_of(*ROLES, required=True)
    energised = fields.Boolean(required=True)
    minutes = fields.Float(required=True, validate=validate.Range(min=0, min_inclusive=False))
    setup = Text(load_default=None)
    tools = listed()
    cautions = listed()
    needs_permission = fields.Boolean(load_default=False)
    runs_appliance = fields.Boolean(load_default=False)
    dont_know = fields.Float(load_default=0.1, validate=validate.Range(0, 0.99))
    error = fields.Float(load_default=None, validate=validate.Range(0, 0.45, min_inclusive=False))
    source = Text(load_default="common practice, no source")


class ConditionSchema(Record):
    fact = Text(required=True)
    where = Text(load_default=None)
    between = Text(load_default=None)
    during = Text(load_default=None, data_key="while")
    is_ = Text(load_default=None, data_key="is")
    in_ = listed(data_key="in")
    is_not = fields.Raw(load_default=None)
    at_least = fields.Float(load_default=None)
    below = fields.Float(load_default=None)
    by = one_of(*ROLES, load_default=None)

    @validates_schema
    def one_comparison(self, data: dict[str, Any], **_: Any) -> None:
        used = sum((data["is_"] is not None, bool(data["in_"]), data["is_not"] is not None))
        numeric = data["at_least"] is not None or data["below"] is not None
        if data["at_least"] is not None and data["below"] is not None and data["at_least"] >= data["below"]:
            raise ValidationError("at_least must be smaller than below", "at_least")
        if used + numeric != 1:
            raise ValidationError("compare in one way: is, in, is_not, or at_least and below", "is")


class PremiseSchema(ConditionSchema):
    """A condition, or ``not:`` a condition."""

    fact = Text(load_default=None)
    not_ = fields.Nested(ConditionSchema, data_key="not", load_default=None)

    @validates_schema
    def one_comparison(self, data: dict[str, Any], **_: Any) -> None:
        if data["not_"] is not None:
            if data["fact"] is not None:
                raise ValidationError("write not: alone; a second condition is a list entry of its own", "not")
            return
        if data["fact"] is None:
            raise ValidationError("name a fact, or write not: with a condition", "fact")
        super().one_comparison(data)


class WhenSchema(Record):
    all_ = fields.List(fields.Nested(PremiseSchema), load_default=list, data_key="all")
    any_ = fields.List(fields.Nested(PremiseSchema), load_default=list, data_key="any")

    @validates_schema
    def not_empty(self, data: dict[str, Any], **_: Any) -> None:
        if not data["all_"] and not data["any_"]:
            raise ValidationError("give at least one condition", "all")


class StopSchema(Record):
    signal = one_of(*SIGNALS, required=True)
    say = Text(required=True)
    refer_to = one_of(*SKILLS, required=True)


class ShiftSchema(Record):
    faults = fields.List(Text(), required=True, validate=validate.Length(min=1))
    factor = fields.Float(required=True, validate=validate.Range(min=0.01, max=100))


class VisitSchema(Record):
    skill = one_of(*SKILLS, load_default=None)
    urgency = one_of(*URGENCIES, load_default=None)
    tell = Text(load_default=None)


class DerivationSchema(Record):
    fact = Text(required=True)
    value = Text(required=True)
    where = Text(load_default=None)


class RuleSchema(Record):
    key = "rule"
    rule = Text(
        required=True, validate=validate.Regexp(r"^[a-z0-9][a-z0-9-]*$", error="use small letters, digits and -")
    )
    when = fields.Nested(WhenSchema, required=True)
    derive = fields.List(fields.Nested(DerivationSchema), load_default=list)
    stop = fields.Nested(StopSchema, load_default=None)
    points_to = listed()
    establishes = listed()
    rules_out = listed()
    shift = fields.List(fields.Nested(ShiftSchema), load_default=list)
    allow = listed()
    forbid = listed()
    ask = listed()
    visit = fields.Nested(VisitSchema, load_default=None)
    because = Text(required=True)
    source = Text(required=True)
    not_when = Text(load_default=None)
    fires_on = fields.List(fields.Dict(keys=Text()), required=True, validate=validate.Length(min=1))
    silent_on = fields.List(fields.Dict(keys=Text()), required=True, validate=validate.Length(min=1))

    @validates_schema
    def does_something(self, data: dict[str, Any], **_: Any) -> None:
        acts = ("derive", "stop", "points_to", "establishes", "rules_out", "shift", "allow", "forbid", "ask", "visit")
        if not any(data[act] for act in acts):
            raise ValidationError(f"a rule must do something: {', '.join(acts)}", "points_to")


class PartSchema(Record):
    key = "part"
    part = Text(required=True)
    title = Text(required=True)
    space = fields.Float(load_default=SPACE_LITRES, validate=validate.Range(min=0, min_inclusive=False))
    value = fields.Float(load_default=VALUE_DOLLARS, validate=validate.Range(min=0))
    source = Text(load_default="invented")


class VanSchema(Record):
    key = "van"
    van = Text(required=True)
    title = Text(required=True)
    space = fields.Float(required=True, validate=validate.Range(min=0, min_inclusive=False))
    value = fields.Float(required=True, validate=validate.Range(min=0))
    source = Text(required=True)


class PairSchema(Record):
    """Two faults that come together more often than chance would have it."""

    key = "pair"
    pair = Text(required=True)
    faults = fields.List(Text(), required=True, validate=validate.Length(equal=2))
    factor = fields.Float(required=True, validate=validate.Range(min=1, max=1000))
    because = Text(required=True)
    source = Text(required=True)


class CodeText(Text):
    """A code as the display shows it; YAML would turn a bare 010 into another number."""

    def _deserialize(self, value: Any, *args: Any, **options: Any) -> str:
        if not isinstance(value, str):
            raise ValidationError('put the code in quotes, for example "ZS-11"')
        return super()._deserialize(value, *args, **options)


class CodeSchema(Record):
    key = "code"
    code = CodeText(required=True, validate=validate.Length(max=20, error="is longer than any code on a display"))
    group = Text(required=True)
    says = Text(required=True)


class CautionSchema(Record):
    key = "caution"
    caution = Text(required=True)
    signal = one_of(*SIGNALS, required=True)
    say = Text(required=True)
    source = Text(required=True)
