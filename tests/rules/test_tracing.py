"""What facts prove of circuits, by hand from the wiring; and that nothing is proved by facts that leave it open."""

from __future__ import annotations

import pytest

from rules import Expert
from rules.enquiry import fact_from_text
from rules.terms import Fact, Source
from rules.tracing import Tracer, circuits_of


@pytest.fixture(scope="module")
def tracer(expert: Expert) -> Tracer:
    return Tracer(expert)


def traced(tracer: Tracer, *facts: str, on: str = "radiant_range", by: Source = "caller") -> dict[str, str]:
    told = [fact_from_text(fact, tracer.expert.book.facts, by) for fact in facts]
    return standings(tracer, told, on)


def standings(tracer: Tracer, told: list[Fact], on: str = "radiant_range") -> dict[str, str]:
    found = tracer.trace(tracer.expert.book.appliances[on], told)
    return {entry.circuit.part: entry.standing for entry in found if entry.standing != "unknown"}


def test_nothing_known_proves_nothing(tracer: Tracer) -> None:
    assert traced(tracer) == {}


def test_a_lit_display_proves_its_leg_and_the_neutral_and_not_the_other_leg(tracer: Tracer) -> None:
    assert traced(tracer, "display=lit") == {"leg_l1": "alive", "neutral": "alive", "control": "alive"}


def test_a_dark_display_leaves_the_feeders_open(tracer: Tracer) -> None:
    found = traced(tracer, "display=dark")
    assert found["control"] == "dead"
    assert not {"leg_l1", "leg_l2", "neutral"} & found.keys()


def test_a_unit_that_heats_proves_both_legs_and_itself_alone(tracer: Tracer) -> None:
    assert traced(tracer, "surface.heat@left_front=normal") == {
        "leg_l1": "alive",
        "leg_l2": "alive",
        "left_front.element": "alive",
    }


def test_a_weak_unit_proves_nothing(tracer: Tracer) -> None:
    assert traced(tracer, "surface.heat@left_front=weak") == {}


def test_everything_cold_under_a_lit_display_does_not_prove_the_leg_dead(tracer: Tracer) -> None:
    found = traced(tracer, "display=lit", "surface.heat@all=none", "oven.bake.heat=none")
    assert "leg_l2" not in found  # five elements could be open, unlikely as it is
    assert found["left_front.element"] == found["bake_element"] == "dead"


def test_a_reading_proves_the_leg_dead_once_the_neutral_is_proved(tracer: Tracer) -> None:
    reading = "volts.loz@L2-N=0 V"
    assert "leg_l2" not in traced(tracer, reading, by="technician")
    assert traced(tracer, reading, "display=lit", by="technician")["leg_l2"] == "dead"


def test_no_volts_between_the_legs_do_not_tell_which_is_lost(tracer: Tracer) -> None:
    found = traced(tracer, "volts@L1-L2/loaded=0 V", by="technician")
    assert not {"leg_l1", "leg_l2"} & found.keys()
    assert found["bake_element"] == "dead"


def test_an_inner_ring_that_heats_alone(tracer: Tracer) -> None:
    found = traced(tracer, "surface.rings@right_front=inner_only")
    assert found["right_front.element"] == "alive"
    assert found["right_front.ring2"] == "dead"
    assert "left_front.element" not in found


def test_an_odd_sign_with_one_known_cause_proves_nothing_else(tracer: Tracer) -> None:
    assert traced(tracer, "hot_light.cold@left_front=lit") == {}


def test_ohms_tell_a_broken_element_and_not_that_a_whole_one_is_fed(tracer: Tracer) -> None:
    assert traced(tracer, "ohms.bake=OL", by="technician") == {"bake_element": "dead"}
    assert traced(tracer, "ohms.bake=22.3 ohm", by="technician") == {}


def test_doubt_not_known_and_contradiction_prove_nothing(tracer: Tracer) -> None:
    doubtful = [Fact("display", "lit", certainty="hedged")]
    assert standings(tracer, doubtful) == {}
    assert traced(tracer, "display=unknown") == {}
    assert traced(tracer, "display=lit", "display=dark") == {}


def test_an_unnamed_unit_is_no_unit(tracer: Tracer) -> None:
    found = traced(tracer, "surface.heat@unnamed=none")
    assert not [part for part in found if part.endswith("element")]


def test_facts_are_named_by_the_numbers_they_were_given_with(tracer: Tracer) -> None:
    terms = tracer.expert.book.facts
    told = [fact_from_text(fact, terms, "caller") for fact in ("surface.heat@left_front=none", "display=lit")]
    found = {entry.circuit.part: entry for entry in tracer.trace(tracer.expert.book.appliances["coil_range"], told)}
    assert found["control"].facts == (1,)
    assert found["left_front.element"].facts == (0,)


def test_every_appliance_of_the_book(tracer: Tracer) -> None:
    for appliance in tracer.expert.book.appliances.values():
        found = tracer.trace(appliance, [])
        assert [entry.circuit for entry in found] == list(circuits_of(tracer.expert.signatures(appliance).wiring))
        assert {entry.standing for entry in found} == {"unknown"}


def test_a_double_oven_and_a_cooktop(tracer: Tracer) -> None:
    assert traced(tracer, "oven.bake.heat=none", "display=lit", on="double_wall_oven")["bake_element"] == "dead"
    found = traced(tracer, "surface.heat@left_front=none", "surface.heat@left_rear=normal", on="radiant_cooktop")
    assert found["leg_l2"] == found["left_rear.element"] == "alive"
    assert {part for part, state in found.items() if state == "dead"} == {
        "left_front.element",
        "left_front.ring2",
        "left_front.ring3",
    }


@pytest.mark.parametrize("fault", ["supply.leg_l2_open", "surface.element_open", "oven.bake_element_open"])
def test_no_proof_is_wrong_about_the_machine_it_was_seen_on(tracer: Tracer, fault: str) -> None:
    """All that a faulty machine shows, told at once: what is proved alive works in it, what is proved dead does not."""
    signatures = tracer.expert.signatures(tracer.expert.book.appliances["radiant_range"])
    row = next(n for n, h in enumerate(signatures.hypotheses) if h.name == fault)
    shown = {key: list(signatures.book.facts[key.split("@")[0]].values)[int(table[row].argmax())]
             for key, table in signatures.tables.items()
             if signatures.book.facts[key.split("@")[0].split("/")[0]].kind == "choice"}  # fmt: skip
    found = traced(tracer, *(f"{key}={word}" for key, word in shown.items()))
    broken = {"supply.leg_l2_open": "leg_l2", "surface.element_open": "left_front.element"}.get(fault, "bake_element")
    assert found[broken] != "alive" if broken in found else True
    assert found["control"] == "alive"
    assert found["leg_l1"] == "alive"
    assert found.get("right_rear.element") == ("dead" if fault == "supply.leg_l2_open" else "alive")
