"""Calls and visits about the supply, from fact to answer. The scenarios are the trade's; common practice, no source."""

from __future__ import annotations

import pytest

from rules.answer import Triage
from tests.conftest import Asker

NO_DANGER = "hazard.any=no"
PROVED = "dead_check=proved"


def first(answer: Triage) -> tuple[str, str]:
    assert answer.conclusions
    return answer.conclusions[0].fault, answer.conclusions[0].standing


def offered(answer: Triage) -> set[str]:
    return {test.test for test in answer.next_tests}


@pytest.mark.parametrize(
    "facts",
    [
        ("house.lights=out", "surface.heat@all=none", "display=lit"),
        ("house.lights=out", "surface.heat@all=none", "oven.bake.heat=none"),
        ("house.lights=out", "display=lit", "oven.bake.heat=none", "surface.heat@left_front=none"),
    ],
)
def test_half_the_house_dark_is_the_utility(ask: Asker, facts: tuple[str, ...]) -> None:
    answer = ask(None, NO_DANGER, *facts)
    assert first(answer)[0].startswith("supply.utility_leg_")
    assert (answer.visit.skill, answer.visit.urgency) == ("utility", "now")


@pytest.mark.parametrize(
    ("facts", "fault"),
    [
        (("outlet.supply=leg_missing", "panel.supply=right"), "supply.leg_l2_open"),
        (
            ("outlet.supply=leg_missing", "panel.supply=leg_missing", "house.lights=steady"),
            "supply.breaker_pole_l2_open",
        ),
        (("outlet.supply=right", "cord.map=open"), "supply.block_l2_open"),
    ],
)
def test_a_lost_leg_is_split_by_side(ask: Asker, facts: tuple[str, ...], fault: str) -> None:
    lost = ("display=lit", "surface.heat@all=none", "oven.bake.heat=none", PROVED)
    assert first(ask(None, *lost, *facts, role="technician")) == (fault, "established")


def test_a_lost_leg_offers_what_splits_its_sides(ask: Asker) -> None:
    known = (
        "display=lit",
        "surface.heat@all=none",
        "oven.bake.heat=none",
        "house.lights=steady",
        "oven.lamp=lit",
        PROVED,
    )
    tests = offered(ask(None, *known, role="technician"))
    assert tests & {"outlet_supply", "cord_map"}


@pytest.mark.parametrize(
    "facts",
    [
        ("volts@L1-L2/idle=208 V", "volts@L1-N/idle=120 V", "volts@L2-N/idle=121 V"),
        ("volts@L1-L2/idle=205 V", "volts@L1-N/idle=118 V", "volts@L2-N/idle=119 V"),
    ],
)
def test_208_is_told_from_low_voltage(ask: Asker, facts: tuple[str, ...]) -> None:
    assert first(ask(None, *facts, role="technician")) == ("supply.voltage_208", "established")
    low = ("volts@L1-L2/idle=208 V", "volts@L1-N/idle=104 V", "volts@L2-N/idle=104 V")
    assert first(ask(None, *low, role="technician")) == ("supply.voltage_low", "established")
    undecided = ask(None, facts[0], role="technician").conclusions[0]
    assert undecided.not_told_apart == ("supply.voltage_low",)


@pytest.mark.parametrize(
    ("facts", "fault", "skill"),
    [
        (("volts@L1-N/idle=156 V", "volts@L1-G/idle=156 V"), "supply.service_neutral_open", "electrician"),
        (
            ("volts@L1-N/loaded=213 V", "volts@L1-G/idle=120 V", "volts@L2-G/idle=120 V"),
            "supply.neutral_open",
            "electrician",
        ),
    ],
)
def test_a_lost_neutral_is_the_house_s_or_the_circuit_s(
    ask: Asker, facts: tuple[str, ...], fault: str, skill: str
) -> None:
    answer = ask(None, *facts, role="technician")
    assert first(answer) == (fault, "established")
    assert answer.stop is not None
    assert answer.visit.skill == skill  # as the stop says, until somebody is there


def test_after_a_shock_the_frame_s_bond_comes_first(ask: Asker) -> None:
    shocked = ask("I get a tingle when I touch the stove", PROVED, role="technician")
    assert offered(shocked) == {"frame_bond"}
    bonded = ask("I get a tingle when I touch the stove", PROVED, "ohms.bond=0.1 ohm", role="technician")
    assert "frame_bond" not in offered(bonded)
    assert offered(bonded)
    loose = ask("tingle from the range", PROVED, "ohms.bond=OL", role="technician")
    assert first(loose)[1] == "established"
    assert {c.fault for c in loose.conclusions if c.standing == "established"} >= {"supply.ground_open_cord"}


@pytest.mark.parametrize(
    ("trips", "faults"),
    [
        ("rests", {"supply.surface_element_leaks", "supply.bake_element_leaks", "supply.broil_element_leaks"}),
        ("off", {"supply.strap_left_on", "supply.cord_n_g_swapped"}),
    ],
)
def test_when_the_ground_fault_breaker_trips_tells_what_leaks(ask: Asker, trips: str, faults: set[str]) -> None:
    answer = ask(None, NO_DANGER, f"gfci.trips={trips}")
    assert first(answer)[0] in faults
    assert {c.fault for c in answer.conclusions} >= faults


def test_a_megohm_reading_names_the_leaking_element(ask: Asker) -> None:
    answer = ask(None, "gfci.trips=rests", PROVED, "insulation.bake=9 kohm", role="technician")
    assert first(answer) == ("supply.bake_element_leaks", "established")


def test_a_breaker_that_trips_without_a_leak_is_worn(ask: Asker) -> None:
    sound = ("leak.off=0.2 mA", "leak.heating=0.5 mA", "leak.resting=0.4 mA")
    answer = ask(None, "gfci.trips=heats", PROVED, *sound, role="technician")
    assert first(answer) == ("supply.gfci_worn", "established")
    assert answer.visit.skill == "electrician"


def test_a_breaker_without_a_test_button_is_not_asked_about_leaks(ask: Asker) -> None:
    dead = ("display=dark", "surface.heat@all=none", NO_DANGER)
    assert "ask_gfci_trips" not in offered(ask(None, *dead, "breaker.kind=standard"))


@pytest.mark.parametrize(
    ("reading", "fault"),
    [
        ("ohms.block@L1-L2=0.2 ohm", "supply.wiring_short_leg_to_leg"),
        ("ohms.block@L2-CH=0.4 ohm", "supply.wiring_short_l2_to_frame"),
    ],
)
def test_a_breaker_that_trips_at_once_is_measured_dead(ask: Asker, reading: str, fault: str) -> None:
    before = ask("breaker trips as soon as it is reset", PROVED, role="technician")
    assert before.stop is not None
    assert not [test for test in before.next_tests if test.energised]
    assert offered(before) & {"ohms_block_l1_l2", "ohms_block_l1_ch", "ohms_block_l2_ch"}
    assert first(ask("breaker trips as soon as it is reset", PROVED, reading, role="technician")) == (
        fault,
        "established",
    )


def test_one_reset_is_asked_for_and_never_a_second(ask: Asker) -> None:
    dead = ("display=dark", "surface.heat@all=none", NO_DANGER)
    assert "ask_breaker_cycle" in offered(ask(None, *dead))
    for told in ("breaker=trips_at_once", "breaker=trips_later", "breaker.after_reset=back", "breaker.kind=fuses"):
        assert "ask_breaker_cycle" not in offered(ask(None, *dead, told)), told
    again = ask(None, *dead, "breaker.after_reset=trips_later")
    assert again.stop is not None
    assert "not reset it again" in again.stop.say


@pytest.mark.parametrize(
    ("facts", "fault", "standing"),
    [
        (("breaker=trips_later", "amps.at_trip=below"), "supply.breaker_weak", "established"),
        (("breaker=trips_later", "breaker.rating=too_small"), "supply.breaker_undersized", "established"),
    ],
)
def test_a_breaker_that_trips_after_minutes(ask: Asker, facts: tuple[str, ...], fault: str, standing: str) -> None:
    answer = ask(None, PROVED, *facts, role="technician")
    assert first(answer) == (fault, standing)
    assert answer.visit.skill == "electrician"


def test_everything_on_at_once_is_explained(ask: Asker) -> None:
    answer = ask(None, NO_DANGER, "breaker.all_on=trips", "breaker=on")
    assert any("fewer burners" in line for line in answer.visit.tell_customer)


def test_a_new_cord_raises_exchanged_conductors(ask: Asker) -> None:
    def share(*facts: str) -> float:
        answer = ask(None, NO_DANGER, "surface.heat@all=weak", "oven.preheat=slow", *facts)
        return sum(c.probability for c in answer.conclusions if c.fault == "supply.cord_l1_n_swapped")

    assert share("recent_work=new_cord") > 2 * share()


def test_burners_dead_and_oven_hot_on_an_older_range_are_its_fuses(ask: Asker) -> None:
    older = ask.expert.book.appliances["older_coil_range"]
    answer = ask(None, NO_DANGER, "surface.heat@all=none", "oven.bake.heat=normal", appliance=older)
    assert first(answer)[0].startswith("supply.surface_fuse_")
    blown = ask(None, "surface.heat@all=none", "contact.surface_fuses=l1_blown", appliance=older, role="technician")
    assert first(blown) == ("supply.surface_fuse_l1_blown", "established")
