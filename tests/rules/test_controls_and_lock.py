"""Control, settings, door lock, codes and context through the front door, in facts as a desk would enter them.

What must come out is the trade's (domain dossier 2.5, 2.6, 3.4): common practice, no source.
"""

from __future__ import annotations

import fnmatch
from dataclasses import replace

import pytest

from rules import Expert
from rules.answer import Triage
from rules.bookkeeping.types import Appliance
from rules.checking.leading import walk
from tests.conftest import Asker

MINE = ("control.*", "settings.*", "lock.*")


def first(answer: Triage) -> str:
    assert answer.conclusions, answer.understood
    return answer.conclusions[0].fault


def share(answer: Triage, *patterns: str) -> float:
    """Belief listed for the faults that match."""
    return sum(c.probability for c in answer.conclusions if any(fnmatch.fnmatch(c.fault, p) for p in patterns))


# --- door lock ---------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("facts", "fault"),
    [
        (("door.locked=yes", "door.heat=hot"), "lock.still_hot"),
        (("door.locked=yes", "self_clean_days=1 h"), "lock.still_hot"),
        (("door.locked=yes", "door.heat=cold", "recent_work=outage"), "lock.position_lost"),
        (("door.locked=yes", "door.heat=cold", "power_cycle=helped"), "lock.position_lost"),
        (("clean.starts=refuses", "oven.bake.heat=normal", "door.shuts=gap"), "lock.door_not_shut"),
        (("clean.starts=refuses", "oven.bake.heat=normal", "lock.sound=silent", "door.shuts=flush"), "lock.motor_open"),
        (
            ("clean.starts=refuses", "oven.bake.heat=normal", "lock.sound=runs_on", "door.shuts=flush"),
            "lock.locked_switch_open",
        ),
        (
            ("clean.starts=refuses", "oven.bake.heat=none", "display.code=yes", "oven.keys=respond", "door.locked=no"),
            "oven.sensor_open",
        ),
    ],
)
def test_what_the_door_lock_s_complaints_come_to(ask: Asker, facts: tuple[str, ...], fault: str) -> None:
    assert first(ask(None, *facts)) == fault


def test_a_hot_locked_door_needs_nobody(ask: Asker) -> None:
    answer = ask(None, "door.locked=yes", "door.heat=hot")
    assert answer.visit.needed is False
    assert any("Do not force" in line for line in answer.visit.tell_customer)
    assert not {"ask_power_cycle", "ask_bake", "ask_oven_average"} & {test.test for test in answer.next_tests}


def test_the_breaker_waits_until_a_locked_oven_is_known_to_be_cold(ask: Asker) -> None:
    offered = {test.test for test in ask(None, "door.locked=yes", "hazard.any=no").next_tests}
    assert "ask_door_heat" in offered
    assert "ask_power_cycle" not in offered
    cold = {test.test for test in ask(None, "door.locked=yes", "door.heat=cold", "hazard.any=no").next_tests}
    assert "ask_power_cycle" in cold


def test_a_technician_settles_the_lock(ask: Asker) -> None:
    complaint = ("clean.starts=refuses", "oven.bake.heat=normal")
    for readings, fault in (
        (("ohms.lock_motor=OL",), "lock.motor_open"),
        (("volts.lock_motor=0.4 V",), "lock.relay_open"),
        (("latch.travel=jammed",), "lock.linkage_jammed"),
        (("latch.travel=free", "lock.sound=hums"), "lock.motor_stalled"),
        (("contact.locked_switch=stays_open",), "lock.locked_switch_open"),
        (("contact.unlocked_switch=stays_closed",), "lock.home_switch_stuck"),
    ):
        top = ask(None, *complaint, *readings, role="technician").conclusions[0]
        assert (top.fault, top.standing) == (fault, "established"), readings
        told = ask(None, *complaint, *readings, role="caller").conclusions
        assert not [c for c in told if c.standing == "established"]


# --- control -----------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("facts", "fault"),
    [
        (("oven.keys=stuck", "panel.wet=dry"), "control.key_stuck"),
        (("oven.keys=stuck", "panel.wet=wet"), "control.keypad_wet"),
        (("oven.keys=some", "display=lit"), "control.keypad_line_open"),
        (("oven.keys=dead", "display=lit", "recent_work=outage"), "control.hung"),
        (("oven.keys=dead", "display=lit", "power_cycle=helped"), "control.hung"),
        (("display.segments=missing",), "control.display_segments"),
        (("control.when_hot=fails",), "control.hot_joint"),
        (("control.beeper=silent", "oven.keys=respond"), "control.beeper_dead"),
        (("clock=again", "display=lit", "oven.lamp=lit", "surface.heat@all=normal"), "control.board_resets"),
        (("display.code=yes", "oven.keys=respond", "error_code=ZN-61"), "control.board_link_open"),
    ],
)
def test_what_the_control_s_complaints_come_to(ask: Asker, facts: tuple[str, ...], fault: str) -> None:
    assert first(ask(None, *facts)) == fault


def test_a_dark_display_is_split_by_the_control_s_own_volts(ask: Asker) -> None:
    complaint = ("display=dark", "surface.heat@all=normal")
    board = ask(None, *complaint, "feed@CT-N/idle=121 V", role="technician").conclusions[0]
    assert (board.fault, board.standing) == ("oven.control_dead", "established")
    feed = ask(None, *complaint, "feed@CT-N/idle=0 V", role="technician")
    assert first(feed) == "oven.control_feed_open"
    assert "oven.control_dead" not in {c.fault for c in feed.conclusions if c.standing != "ruled_out"}


# --- settings and normal working ---------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("fact", "fault"),
    [
        ("symbols=sabbath", "settings.sabbath_mode"),
        ("symbols=lock", "settings.control_lock"),
        ("symbols=demo", "settings.demo_mode"),
        ("symbols=timer", "settings.delayed_start"),
        ("clock=flashing", "settings.clock_not_set"),
        ("display.unit=celsius", "settings.celsius"),
        ("oven.floor=covered", "oven.airflow_blocked"),
        ("surface.pan@left_front=unfit", "surface.pan_unfit"),
        ("oven.stopped_after=set_time", "settings.timed_cook_over"),
        ("oven.stopped_after=long_use", "settings.twelve_hour_off"),
        ("fan.after_off=a_while", "settings.fan_after_off"),
        ("oven.clicks=yes", "settings.relays_click"),
        ("oven.haze=first_use", "settings.first_use_smell"),
        ("oven.haze=clean", "settings.self_clean_haze"),
        ("preheat.signal=early", "settings.early_preheat_signal"),
        ("thermometer.use=single", "settings.thermometer_misread"),
    ],
)
def test_what_works_as_it_should_needs_no_visit(ask: Asker, fact: str, fault: str) -> None:
    answer = ask(None, fact)
    assert first(answer) == fault
    assert answer.visit.needed is False
    assert answer.visit.load_parts == ()
    assert answer.visit.tell_customer


def test_a_faint_haze_never_explains_smoke_away(ask: Asker) -> None:
    answer = ask(None, "oven.haze=clean", "hazard.smoke=yes")
    assert answer.stop is not None
    assert "self-clean-haze-by-design" not in {r.rule for c in answer.conclusions for r in c.because}


def test_an_offset_is_told_from_a_sensor_and_from_a_thermometer(ask: Asker) -> None:
    cold = "oven.offset=-28 F"
    assert first(ask(None, cold, "control.offset=-25 F")) == "settings.user_offset_low"
    assert first(ask(None, cold, "thermometer.use=single", "control.offset=0 F")) == "settings.thermometer_misread"
    assert first(ask(None, cold, "thermometer.use=mean", "control.offset=0 F")) == "oven.sensor_reads_high"
    found = ask(None, cold, "control.offset=-25 F", role="technician").conclusions[0]
    assert (found.fault, found.standing) == ("settings.user_offset_low", "established")


# --- codes -------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("code", "patterns"),
    [
        ("ZS-11", ("oven.sensor*",)),
        ("zl 31", ("lock.*",)),
        ("ZK-41", ("control.key*", "control.ribbon_loose")),
        ("ZR-52", ("oven.*relay*", "oven.double_line_break_open", "oven.heats_unasked")),
        ("zn61", ("control.board_link_open", "control.hung")),
        ("ZM-91", ("control.hung", "control.board_resets")),
    ],
)
def test_a_code_puts_its_group_in_front_and_settles_nothing(ask: Asker, code: str, patterns: tuple[str, ...]) -> None:
    for role in ("desk", "technician"):
        answer = ask(None, f"error_code={code}", role=role)  # type: ignore[arg-type]
        assert fnmatch.filter([first(answer)], patterns[0]) or first(answer) in patterns
        assert not [c for c in answer.conclusions if c.standing in ("established", "ruled_out")]
        assert "ask_code" not in {test.test for test in answer.next_tests}


def test_a_measurement_outweighs_a_code(ask: Asker) -> None:
    cold = ("oven.bake.heat=none", "display=lit", "error_code=ZS-11")
    assert first(ask(None, *cold)) == "oven.sensor_open"
    measured = ask(None, *cold, "ohms.sensor=1080 ohm", role="technician")
    assert not first(measured).startswith("oven.sensor")


# --- context -----------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("complaint", "context", "patterns", "up"),
    [
        (("oven.keys=dead", "display=lit"), "recent_work=outage", ("control.hung",), True),
        (("oven.keys=dead", "display=lit"), "replaced_part=control_board", ("control.ribbon_loose",), True),
        (("oven.offset=-50 F",), "replaced_part=oven_sensor", ("oven.sensor*", "settings.user_offset*"), True),
        (("clean.starts=refuses", "oven.bake.heat=normal"), "cleaning=door", ("lock.door_not_shut",), True),
        (
            ("surface.heat@left_front=none", "surface.heat@others=normal"),
            "replaced_part=surface_element",
            ("surface.element_open",),
            False,
        ),
        (("display=dark", "surface.heat@all=normal"), "storm=yes", ("oven.control_dead",), True),
        (("display=dark", "surface.heat@all=none"), "idle=yes", ("supply.breaker_off",), True),
        (("clock=again", "display=lit"), "other_load=sags", ("control.board_resets",), False),
        (
            ("display.code=yes", "oven.bake.heat=none"),
            "pests=yes",
            ("oven.sensor_open", "control.board_link_open"),
            True,
        ),
        (("oven.haze=clean",), "spill=oven", ("settings.self_clean_haze",), True),
        (("symbols=none", "oven.offset=-28 F"), "age=new", ("settings.*",), True),
        (("clean.starts=refuses", "oven.bake.heat=normal"), "self_clean_days=1 day", ("lock.door_not_shut",), False),
    ],
)
def test_context_shifts_the_odds(
    ask: Asker, complaint: tuple[str, ...], context: str, patterns: tuple[str, ...], up: bool
) -> None:
    without, told = share(ask(None, *complaint), *patterns), share(ask(None, *complaint, context), *patterns)
    assert (told > without) is up, (without, told)


def test_context_alone_is_no_complaint(ask: Asker) -> None:
    answer = ask(None, "storm=yes", "age=old", "pests=no", "replaced_part=control_board", "error_code=none")
    assert answer.conclusions == ()


def test_who_finds_the_door_locked_says_so(ask: Asker) -> None:
    """A cold oven is not the lock's until somebody speaks of the door."""
    silent, told = ask(None, "oven.bake.heat=none"), ask(None, "oven.bake.heat=none", "door.locked=yes")
    assert share(silent, "lock.*") < 0.05
    assert share(told, "lock.*") > 0.9


# --- what is not asked -------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    "facts",
    [
        ("panel.wet=wet",),
        ("breaker=tripped",),
        ("breaker=trips_later",),
        ("display=flickering",),
        ("house.lights=out",),
        ("door.heat=hot",),
    ],
)
def test_when_no_caller_is_asked_to_switch_the_breaker(ask: Asker, facts: tuple[str, ...]) -> None:
    hung = ("oven.keys=dead", "recent_work=outage", "hazard.any=no")
    assert "ask_power_cycle" in {test.test for test in ask(None, *hung, "display=lit").next_tests}
    shown = ("display=lit",) if not any(fact.startswith("display") for fact in facts) else ()
    assert "ask_power_cycle" not in {test.test for test in ask(None, *hung, *shown, *facts).next_tests}


def test_a_smell_of_gas_stops_all(ask: Asker) -> None:
    for role in ("caller", "desk", "technician"):
        answer = ask(None, "hazard.gas_smell=yes", "oven.bake.heat=none", "dead_check=proved", role=role)  # type: ignore[arg-type]
        assert answer.stop is not None
        assert (answer.stop.signal, answer.stop.refer_to) == ("DANGER", "utility")
        assert answer.next_tests == ()


# --- led to it ---------------------------------------------------------------------------------------------------
def ovens(expert: Expert) -> list[Appliance]:
    """An oven with all that an oven may have, and one with little, on the other supply."""
    base = expert.book.appliances["radiant_range"]
    return [
        replace(base, convection_watts=1500.0, cutout="control", cord="3-wire"),
        replace(expert.book.appliances["coil_range"], self_clean=False, supply="208Y/120"),
    ]


def test_a_truthful_technician_is_led_on_other_ovens_too(expert: Expert) -> None:
    walked = set()
    for appliance in ovens(expert):
        for row, hypothesis in enumerate(expert.signatures(appliance).hypotheses):
            if hypothesis.fault and any(fnmatch.fnmatch(hypothesis.name, pattern) for pattern in MINE):
                way = walk(expert, appliance, row)
                assert way.led, (way.name, way.first, way.answers)
                assert not way.ruled_out, way.name
                walked.add(hypothesis.name)
    assert {"settings.convection_reduction", "lock.still_hot", "control.hung"} <= walked
    assert walked == {name for name in expert.book.faults if any(fnmatch.fnmatch(name, p) for p in MINE)}
