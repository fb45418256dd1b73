"""What goes out at once is written as the schema would have it, byte for byte."""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import pytest
from marshmallow import Schema, fields

from rules import Enquiry, Expert, triage
from rules.answer import NextStep, Scope
from service.dumping import json_line, wire
from service.schemas import TriageSchema, triage_dump, triage_wire
from tests.benchmarks.cases import fact_sets, note_enquiries

CASES = 60


class ScopeSchema(Schema):
    in_scope = fields.Boolean()
    reason = fields.String(allow_none=True)


class Turned(Schema):
    reason = fields.String(allow_none=True)
    in_scope = fields.Boolean()


class Renamed(Schema):
    in_scope = fields.Boolean(data_key="ours")
    reason = fields.String(allow_none=True)


@dataclass(frozen=True)
class Remembering:
    in_scope: bool
    reason: str | None

    @cached_property
    def longer(self) -> str:
        return "more"


@dataclass(frozen=True)
class Whole:
    """Holds one of each."""

    same: Scope
    turned: Scope
    renamed: Scope
    remembering: Remembering
    several: tuple[Scope, ...]
    number: float
    words: tuple[str, ...] | None


class WholeSchema(Schema):
    same = fields.Nested(ScopeSchema)
    turned = fields.Nested(Turned)
    renamed = fields.Nested(Renamed)
    remembering = fields.Nested(ScopeSchema)
    several = fields.List(fields.Nested(ScopeSchema))
    number = fields.Float()
    words = fields.List(fields.String(), allow_none=True)


def whole() -> Whole:
    made = Whole(
        Scope(True, None), Scope(True, None), Scope(False, "no"), Remembering(True, "x"), (Scope(True, "y"),), 0.5, None
    )
    assert made.remembering.longer == "more"  # now it is kept in the instance
    return made


def test_only_what_is_laid_out_alike_is_left_as_it_is() -> None:
    made = wire(WholeSchema(), Whole)(whole())
    left = {name for name, value in made.items() if not isinstance(value, dict)}
    assert left == {"same", "several", "number", "words"}


def test_it_is_written_as_the_schema_dumps_it() -> None:
    assert json_line(wire(WholeSchema(), Whole)(whole())).decode() == (
        json.dumps(WholeSchema().dump(whole()), separators=(",", ":")) + "\n"
    )


def test_answers_are_written_as_the_schema_dumps_them(expert: Expert) -> None:
    dump, write, slow = triage_dump(expert.book.facts), triage_wire(expert.book.facts), TriageSchema(expert.book.facts)
    enquiries = [*fact_sets(expert, CASES, appliance=None), *note_enquiries(CASES), Enquiry("we have a gas stove")]
    for enquiry in enquiries:
        answer = triage(expert, enquiry)
        written = json_line(write(answer))
        assert written == json_line(dump(answer))
        assert json.loads(written) == json.loads(json.dumps(slow.dump(answer)))


@pytest.mark.parametrize("odd", ["half a \ud800 pair", 2**70])
def test_what_orjson_refuses_is_written_all_the_same(odd: Any) -> None:
    step = NextStep("ask", None, None, None, odd)
    told = json.loads(json_line({"step": step}).decode("utf-8", "surrogatepass"))
    assert told == {"step": {"do": "ask", "who": None, "test": None, "where": None, "because": odd}}


def test_what_is_no_json_is_refused() -> None:
    with pytest.raises(TypeError, match="object is no JSON"):
        json_line({"a": object()})
