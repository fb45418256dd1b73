"""Words and places of a page: shares, answers, readings, and where a drawing puts what."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import pytest

from rules import Expert
from rules.appliance.wiring import wire
from rules.belief.signatures import Signatures
from rules.bookkeeping.types import Unit
from rules.tracing import Circuit, Traced, circuits_of
from service.desk import showing
from service.desk.drawing import Drawing, draw, units_told
from service.desk.readings import outlook, probe_for, reading_of
from tests.conftest import Asker

CONFIGURATIONS = ["radiant_range", "coil_range", "wall_oven", "double_wall_oven", "radiant_cooktop"]


@pytest.fixture(scope="module")
def signatures(expert: Expert) -> Signatures:
    return expert.signatures(expert.book.appliances["radiant_range"])


def drawn(expert: Expert, appliance: str) -> Drawing:
    machine = expert.book.appliances[appliance]
    traced = [Traced(circuit, "unknown", ()) for circuit in circuits_of(expert.signatures(machine).wiring)]
    return draw(machine, traced, ())


def test_shares_are_never_rounded_to_certainty() -> None:
    told = [showing.percent(share) for share in (0.0, 0.004, 0.46, 0.996, 1.0)]
    assert told == ["0 %", "under 1 %", "46 %", "over 99 %", "100 %"]


def test_how_sure_counts_what_carries_nine_tenths(ask: Asker) -> None:
    vague = showing.sureness(ask("oven is cold, clock is on"))
    clear = showing.sureness(ask(None, "ohms.sensor=OL", "display=lit", "dead_check=proved", role="technician"))
    assert vague.beyond
    assert "more than" in vague.words
    assert (clear.carrying, clear.beyond) == (1, False)
    assert vague.leading < clear.leading
    assert showing.sureness(ask("hello")).words == "nothing known yet tells faults apart"


def test_a_ninth_answer_has_a_key_and_a_tenth_has_none(expert: Expert) -> None:
    choices, unit = showing.answers_to("error_code", expert.book.facts)
    assert unit is None
    assert [choice.key for choice in choices][:9] == list(range(1, min(len(choices), 9) + 1))
    assert all(choice.key is None for choice in choices[9:])
    assert showing.answers_to("ohms.bake", expert.book.facts) == ((), "ohm")


@pytest.mark.parametrize(
    "appliance", ["radiant_range", "coil_range", "wall_oven", "double_wall_oven", "radiant_cooktop"]
)
def test_a_drawing_has_every_circuit_inside_it(expert: Expert, appliance: str) -> None:
    drawing = drawn(expert, appliance)
    circuits = circuits_of(expert.signatures(expert.book.appliances[appliance]).wiring)
    assert [shape.part for shape in drawing.shapes] == [circuit.part for circuit in circuits]
    for shape in drawing.shapes:
        assert shape.x - shape.size > 0
        assert shape.x + shape.size < 400
        assert 0 < shape.y < shape.label_y + 1 <= drawing.height


def test_units_lie_where_their_names_say(expert: Expert) -> None:
    at = {shape.part: (shape.x, shape.y) for shape in drawn(expert, "radiant_range").shapes}
    assert at["left_front.element"][0] < at["right_front.element"][0]
    assert at["left_rear.element"][1] < at["left_front.element"][1]
    rings = {shape.part: shape.size for shape in drawn(expert, "radiant_cooktop").shapes if shape.kind == "ring"}
    assert rings["left_front.element"] < rings["left_front.ring2"] < rings["left_front.ring3"]


@pytest.mark.parametrize("count", [1, 5, 6, 8])
def test_units_never_lie_on_each_other(expert: Expert, count: int) -> None:
    names = ("left_front", "left", "left_rear", "center", "warming_zone", "right_front", "bridge", "right_rear")
    units = tuple(Unit(place, (1000.0, 2000.0)) for place in names[:count])
    machine = replace(expert.book.appliances["radiant_cooktop"], units=units)
    traced = [Traced(circuit, "unknown", ()) for circuit in circuits_of(wire(machine))]
    outer = [shape for shape in draw(machine, traced, ()).shapes if shape.part.endswith("ring2")]
    assert len(outer) == count
    for one, other in itertools.combinations(outer, 2):
        assert math.hypot(one.x - other.x, one.y - other.y) >= one.size + other.size
    assert all(shape.size <= shape.x <= 400 - shape.size for shape in outer)


def test_rings_of_a_unit_that_differ_are_told_apart(expert: Expert) -> None:
    machine = expert.book.appliances["radiant_range"]
    traced = [
        Traced(Circuit("right_front.element", "right_front"), "alive", (0,)),
        Traced(Circuit("right_front.ring2", "right_front"), "dead", (0,)),
    ]
    drawing = draw(machine, traced, ("the inner ring heats alone",))
    assert next(iter(units_told(drawing)))[2:] == ("right front", "inner alive, outer dead")
    assert drawing.shapes[1].why == ("the inner ring heats alone",)


def test_a_probe_for_what_the_circuit_can_be_asked(signatures: Signatures) -> None:
    wiring = signatures.wiring
    assert probe_for("volts@L1-L2/loaded", wiring) is not None
    bake = probe_for("ohms.bake", wiring)
    assert bake is not None
    assert bake.at == "bake_element"
    ring = probe_for("ohms.element@left_front", wiring)
    assert ring is not None
    assert ring.at == "left_front.element"
    assert probe_for("display", wiring) is None


def test_expected_readings_come_before_the_meter_and_judge_after_it(ask: Asker, signatures: Signatures) -> None:
    answer = ask("all burners and the oven are dead, clock is on", "dead_check=proved", role="technician")
    before = outlook(signatures, "volts@L1-L2/loaded", answer.conclusions, None)
    assert before is not None
    assert before.judged is None
    assert before.rows[0].title == "A sound appliance"
    assert all(row.fits is None for row in before.rows)
    read = reading_of(signatures, "volts@L1-L2/loaded", "1.2")
    after = outlook(signatures, "volts@L1-L2/loaded", answer.conclusions, read)
    assert after is not None
    assert after.judged is not None
    fits = {row.fault: row.fits for row in after.rows}
    assert fits[None] is False
    assert fits["supply.leg_l2_open"] is True


def test_what_is_no_number_is_expected_in_words(ask: Asker, signatures: Signatures) -> None:
    answer = ask("oven cold, clock on", "dead_check=proved", role="technician")
    read = reading_of(signatures, "contact.cutout", "open")
    found = outlook(signatures, "contact.cutout", answer.conclusions, read)
    assert found is not None
    assert found.rows[0].fits is False
    assert {row.fault: row.fits for row in found.rows}["oven.thermal_cutout_open"] is True
