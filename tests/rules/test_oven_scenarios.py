"""Calls and visits about an oven, asked through the front door: what ends in front, what is established, what is safe.

The cases are the trade's (domain dossier 2.4, 3.4); common practice, no source.
"""

from __future__ import annotations

import pytest

from rules import Expert
from rules.answer import Triage
from rules.terms import InputError
from tests.conftest import Asker

SURE = "dead_check=proved"


def first(answer: Triage) -> str:
    assert answer.conclusions, answer.understood
    return answer.conclusions[0].fault


def established(answer: Triage) -> set[str]:
    return {c.fault for c in answer.conclusions if c.standing == "established"}


def ruled_out(answer: Triage) -> set[str]:
    return {c.fault for c in answer.conclusions if c.standing == "ruled_out"}


# --- by telephone ------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("facts", "fault"),
    [
        (("oven.bake.heat=normal", "oven.convection.heat=none"), "oven.convection_element_open"),
        (("oven.bake.heat=normal", "oven.fan=still"), "oven.convection_fan_open"),
        (("oven.fan_noise=noisy", "oven.fan=turns"), "oven.convection_fan_worn"),
        (("oven.lamp=dark", "oven.lamp_door=lit", "display=lit"), "oven.lamp_switch_open"),
        (("oven.lamp=lit", "oven.lamp_door=dark"), "oven.door_switch_open"),
        (("oven.lamp=dark", "oven.lamp_door=dark", "display=lit"), "oven.lamp_dead"),
        (("oven.lamp_off=lit",), "oven.door_switch_stuck"),
        (("oven.seal=loose", "oven.door=even", "oven.front=hot"), "oven.door_seal_leaks"),
        (("oven.door=gapes", "oven.front=hot"), "oven.door_hinge_bent"),
        (("oven.floor=covered", "oven.browning=pale_below"), "oven.airflow_blocked"),
        (("oven.sensor_place=back", "oven.swing=wide"), "oven.sensor_pulled_back"),
        (("oven.sensor_place=touching", "oven.offset=-30 F"), "oven.sensor_touching"),
        (("oven.vent=blocked", "oven.bake.quits=quits"), "oven.vent_blocked"),
        (("oven.bake.quits=quits", "oven.broil.quits=keeps"), "oven.bake_relay_opens_hot"),
        (("oven.stays_red=lower", "oven.offset=60 F"), "oven.bake_relay_welded"),
        (("oven.stays_red=upper", "oven.offset=60 F"), "oven.broil_relay_welded"),
        (("surface.heat@all=normal", "oven.bake.heat=weak", "oven.broil.heat=weak"), "oven.link_l2_joint_burnt"),
    ],
)
def test_what_a_caller_tells_leads_there(ask: Asker, facts: tuple[str, ...], fault: str) -> None:
    assert first(ask(None, *facts, "hazard.any=no")) == fault


@pytest.mark.parametrize("cold", [("oven.preheat=slow", "oven.glow=upper_only"), ("oven.browning=pale_below",)])
def test_pale_below_is_still_the_bake_element(ask: Asker, cold: tuple[str, ...]) -> None:
    assert first(ask(None, *cold, "oven.broil.heat=normal", "hazard.any=no")) == "oven.bake_element_open"


def test_a_cooling_fan_that_stands_still_comes_before_its_cutout(ask: Asker) -> None:
    answer = ask(None, "oven.bake.quits=quits", "oven.broil.quits=quits", "oven.cooling_air=still", "hazard.any=no")
    assert first(answer).startswith("oven.cooling_fan_")
    assert "cooling_fan" in {part.part for part in answer.visit.load_parts}


@pytest.mark.parametrize("element", ["lower", "upper"])
def test_an_element_that_never_rests_stops_the_call(ask: Asker, element: str) -> None:
    answer = ask(None, f"oven.stays_red={element}")
    assert answer.stop is not None
    assert answer.stop.signal == "WARNING"
    assert not [test for test in answer.next_tests if test.who == "caller" and not test.from_memory]


def test_no_trial_heat_with_a_burnt_element(ask: Asker) -> None:
    """A caller is not asked to run an oven whose element has a hole in it."""
    heating = {"ask_bake", "ask_glow", "ask_stays_red", "ask_oven_average", "ask_swing"}
    sound = ask(None, "oven.browning=pale_below", "hazard.any=no", "oven.bake_look=whole")
    burnt = ask(None, "oven.browning=pale_below", "hazard.any=no", "oven.bake_look=damaged")
    assert heating & {test.test for test in sound.next_tests}
    assert not heating & {test.test for test in burnt.next_tests}
    assert any("burnt" in line for line in burnt.visit.tell_customer)


def test_heat_when_off_with_a_burnt_element_is_the_element(ask: Asker) -> None:
    answer = ask(None, "oven.off_heat=some", "oven.bake_look=damaged", "hazard.sparks=yes")
    assert answer.stop is not None
    assert first(answer) == "oven.bake_element_burning"


def test_after_a_repair_the_wrong_part_gains(ask: Asker) -> None:
    def share(*more: str) -> float:
        answer = ask(None, "oven.preheat=slow", "oven.browning=even", "oven.glow=both", "hazard.any=no", *more)
        return sum(c.probability for c in answer.conclusions if c.fault.endswith("_element_wrong"))

    assert share("recent_work=repair") > 2 * share()


def test_foil_is_taken_out_before_anybody_drives(ask: Asker) -> None:
    answer = ask(None, "oven.floor=covered", "oven.browning=pale_below", "hazard.any=no")
    assert answer.visit.needed is False
    assert any("foil" in line for line in answer.visit.tell_customer)


# --- a double oven -----------------------------------------------------------------------------------------------
def test_the_other_cavity_proves_what_both_share(ask: Asker, expert: Expert) -> None:
    double = expert.book.appliances["double_wall_oven"]
    cold = ("display=lit", "oven.which=upper", "oven.bake.heat=none", "oven.broil.heat=none", "hazard.any=no")
    alone = ask(None, *cold, "other_oven.heat=normal", appliance=double)
    both = ask(None, *cold, "other_oven.heat=none", appliance=double)
    own = {"oven.sensor_open", "oven.thermal_cutout_open", "oven.double_line_break_open", "oven.sensor_shorted"}
    assert first(alone) in own
    assert not any(c.fault.startswith("supply.") for c in alone.conclusions)
    assert first(both) not in own
    assert {"supply.leg_l2_open", "settings.control_lock"} <= {c.fault for c in both.conclusions}


def test_a_single_oven_has_no_other_cavity(ask: Asker, expert: Expert) -> None:
    with pytest.raises(InputError, match=r"other_oven\.heat"):
        ask(None, "other_oven.heat=normal", appliance=expert.book.appliances["wall_oven"])


# --- on site -----------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("facts", "fault"),
    [
        (("ohms.convection=OL",), {"oven.convection_element_open"}),
        (("drive@BK-L2/called=0 V", "drop@L1K-BK/called=240 V"), {"oven.bake_relay_open"}),
        (("drive@BKE-L2B/called=240 V", "amps.bake=0 A"), {"oven.bake_element_open"}),
        (("drop@BK-BKE/called=240 V",), {"oven.bake_terminal_open"}),
        (("drop@L2-L2B/called=240 V",), {"oven.double_line_break_open"}),
        (("drop@TC1-TC2/called=240 V",), {"oven.thermal_cutout_open"}),
        (("drop@L2-L2K/called=30 V",), {"oven.link_l2_joint_burnt"}),
        (("contact.broil_relay=closed", "oven.off_heat=none"), {"oven.broil_relay_welded"}),
        (("oven.bake.quits=quits", "drive@BKE-L2B/quit=240 V"), {"oven.bake_element_opens_hot"}),
        (("oven.bake.quits=quits", "drop@L1K-BK/quit=240 V"), {"oven.bake_relay_opens_hot"}),
        (("oven.bake.quits=quits", "sensor.after_quitting=open"), {"oven.sensor_opens_hot"}),
        (("sensor.cold=20 F", "sensor.pins=0 F"), {"oven.sensor_reads_high"}),
        (("sensor.pins=20 F",), {"oven.sensor_drifted"}),
        (("sensor.cold=1 F", "sensor.hot=9 F"), {"oven.sensor_other_curve"}),
        (("sensor.leak=leaks", "sensor.pins=-20 F"), {"oven.sensor_reads_low"}),
        (("sensor.leak=leaks", "sensor.pins=0 F"), {"oven.sensor_leads_leak"}),
        (
            ("oven.fan=still", "winding.convection_fan=whole", "load_volts@CF-N/called=120 V"),
            {"oven.convection_fan_seized"},
        ),
        (("winding.lamp=open",), {"oven.lamp_dead"}),
    ],
)
def test_a_reading_establishes(ask: Asker, facts: tuple[str, ...], fault: set[str]) -> None:
    assert established(ask(None, SURE, *facts, role="technician")) == fault


def test_the_control_is_told_from_its_feed(ask: Asker) -> None:
    dead = ("display=dark", "surface.heat@all=normal", SURE)
    supplied = ask(None, *dead, "feed@CT-N/idle=120 V", role="technician")
    starved = ask(None, *dead, "feed@CT-N/idle=0 V", "feed@L1K-N/idle=120 V", role="technician")
    assert established(supplied) == {"oven.control_dead"}
    assert established(starved) == {"oven.control_feed_open"}


def test_a_technician_is_offered_the_volts_at_the_control(ask: Asker) -> None:
    facts = ("display=dark", "surface.heat@all=normal", "oven.lamp_door=lit", "hazard.any=no", SURE)
    assert "feed_control" in {test.test for test in ask(None, *facts, role="technician").next_tests}
    assert "feed_control" not in {test.test for test in ask(None, *facts).next_tests}


def test_120_volts_on_the_common_side_condemn_nothing(ask: Asker) -> None:
    """A back-feed through the elements: it points, and establishes nothing."""
    cold = ("oven.bake.heat=none", "oven.broil.heat=none", SURE)
    answer = ask(None, *cold, "called_volts@L2B-CH/called=120 V", role="technician")
    assert not established(answer)
    assert "oven.double_line_break_open" in {c.fault for c in answer.conclusions}


def test_a_sensor_right_at_two_temperatures_is_let_off(ask: Asker) -> None:
    answer = ask(
        None,
        "oven.offset=-30 F",
        "offset.mode=every_mode",
        "oven.glow=both",
        SURE,
        "sensor.cold=1 F",
        "sensor.hot=-2 F",
        role="technician",
    )
    assert {"oven.sensor_reads_high", "oven.sensor_drifted"} <= ruled_out(answer)
    assert first(answer) in {"settings.user_offset_low", "oven.sensor_touching"}


def test_a_sound_room_reading_does_not_clear_the_sensor(ask: Asker) -> None:
    """Rule 2.8.6: right at room temperature, it can be wrong hot."""
    answer = ask(None, "oven.log_mean=-9 F", SURE, "sensor.cold=1 F", role="technician")
    assert "oven.sensor_other_curve" not in ruled_out(answer)
    assert first(answer) == "oven.sensor_other_curve"


def test_amperes_are_judged_by_the_element_s_own_watts(ask: Asker, expert: Expert) -> None:
    """10.8 A are right for 2585 W and too many for the convection element's 1500 W (6.25 A)."""
    right = ask(None, SURE, "amps.bake=10.8 A", role="technician")
    high = ask(None, SURE, "amps.convection=10.8 A", role="technician")
    assert "oven.bake_element_partly_shorted" not in {c.fault for c in right.conclusions if c.probability > 0.1}
    assert first(high) in {"oven.convection_element_partly_shorted", "oven.convection_element_grounded"}
