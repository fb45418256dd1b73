"""What the answer must show, asked through the front door in several wordings each.

The scenarios are the trade's; common practice, no source. The wordings are invented.
"""

from __future__ import annotations

import re

import pytest

from rules import Expert
from rules.answer import Triage
from tests.conftest import Asker


def suspects(answer: Triage) -> list[str]:
    return [c.fault for c in answer.conclusions]


def first(answer: Triage) -> str:
    assert answer.conclusions, answer.understood
    return answer.conclusions[0].fault


@pytest.mark.parametrize(
    "note",
    [
        "Nothing on the stove heats, no burner and no oven, but the clock is lit.",
        "Display is on but none of the burners get hot and the oven stays cold",
        "Clock works fine. All four burners are cold and so is the oven.",
        "No heat anywhere, oven or cooktop. The display is still lit up.",
        "customer says none of the elements heat up, oven won't heat either, clock still shows the time",
    ],
)
def test_nothing_heats_but_the_display_is_lit(ask: Asker, note: str) -> None:
    answer = ask(note)
    assert first(answer) == "supply.leg_l2_open"
    assert answer.visit.skill == "electrician"


@pytest.mark.parametrize(
    "note",
    [
        "The display is dark until I switch a burner on, then the clock comes up.",
        "Clock is dead but when a burner is turned on the display lights up",
        "Display only comes on when a burner is on.",
        "No display at all, but it lights up as soon as I turn on any burner.",
    ],
)
def test_display_that_wakes_with_a_burner(ask: Asker, note: str) -> None:
    assert first(ask(note)) == "supply.leg_l1_open"


@pytest.mark.parametrize(
    "note",
    [
        "All burners heat fine but the display is dead.",
        "The cooktop works, the clock is blank",
        "burners get hot, no display",
        "Display went dark. Every burner still heats up normally.",
    ],
)
def test_dead_display_over_hot_burners_is_never_a_leg(ask: Asker, note: str) -> None:
    answer = ask(note)
    assert first(answer) in {"supply.neutral_open", "oven.control_dead", "oven.control_feed_open"}
    assert not [fault for fault in suspects(answer) if fault.startswith("supply.leg_")]


@pytest.mark.parametrize(
    "note",
    [
        "The hot surface light stays on even though the glass is cold.",
        "hot-surface indicator never goes off, cooktop has been cold since yesterday",
        "Glass top is stone cold but the hot light is still on",
    ],
)
def test_hot_light_over_a_cold_top_is_the_limiter(ask: Asker, note: str) -> None:
    answer = ask(note)
    assert first(answer) == "surface.limiter_hot_contact_stuck"
    assert "surface.hot_lamp_dead" not in suspects(answer)


@pytest.mark.parametrize(
    "note",
    [
        "The burner indicator light never goes off. All the burners work fine.",
        "Surface indicator light stays on with all knobs off, burners heat normally",
        "burner-on light won't go out even when everything is turned off; burners are fine",
    ],
)
def test_indicator_never_off_is_a_pilot_contact(ask: Asker, note: str) -> None:
    assert first(ask(note)) == "surface.pilot_contact_stuck"


@pytest.mark.parametrize(
    "note",
    [
        "One burner is at full heat no matter what setting.",
        "Left front burner is full blast on every setting",
        "the right rear burner runs on high even when I set it to low",
    ],
)
def test_full_heat_on_every_setting_is_a_welded_contact(ask: Asker, note: str) -> None:
    assert first(ask(note)) == "surface.cycling_contact_welded"


@pytest.mark.parametrize(
    "note",
    [
        "Oven is slow to preheat and food is pale on the bottom. Broil works fine.",
        "Takes forever to preheat, cookies raw underneath, broiler is fine",
        "The oven heats slowly and things are undercooked on the bottom but broil works",
    ],
)
def test_slow_and_pale_below_is_the_bake_element(ask: Asker, note: str) -> None:
    assert first(ask(note)) == "oven.bake_element_open"


@pytest.mark.parametrize(
    "note",
    [
        "The oven stays cold. Burners work fine and the display is fine.",
        "Oven won't heat at all, cooktop is fine, clock is on",
        "No heat in the oven; all burners heat and the display looks normal",
    ],
)
def test_cold_oven_alone_is_the_oven_s_side(ask: Asker, note: str) -> None:
    answer = ask(note)
    assert answer.conclusions
    assert {fault.split(".")[0] for fault in suspects(answer)} <= {"oven", "settings", "control", "lock"}


@pytest.mark.parametrize(
    "note",
    [
        "Both oven elements glow but the oven is 40 F low.",
        "Both elements in the oven turn red, yet it runs 40 degrees too cold",
        "Bake and broil elements both glow; set to 350 it only gets to 310",
    ],
)
def test_both_elements_glow_but_cold_is_the_sensor(ask: Asker, note: str) -> None:
    assert first(ask(note)) == "oven.sensor_reads_high"


@pytest.mark.parametrize(
    "note",
    [
        "L1-N 121, L2-N 121, L1-L2 0 with an element on",
        "With a burner on: L1 to neutral 121 V, L2 to neutral 121 V, L1 to L2 0 V",
        "element on, L1-L2 0V, L1-N 121V, L2-N 121V",
    ],
)
def test_a_technician_s_readings_establish_a_lost_leg(ask: Asker, note: str) -> None:
    answer = ask(note, role="technician")
    top = answer.conclusions[0]
    assert top.fault == "supply.leg_l2_open"
    assert top.standing == "established"
    assert "back-feed" in " ".join(reason.text for reason in top.because)
    # L1 would read the same, and a leg lost in the panel or at the range too; the answer says so until the display
    # settles which leg it is and the outlet on which side.
    assert {"supply.leg_l1_open", "supply.block_l2_open", "supply.breaker_pole_l2_open"} <= set(top.not_told_apart)
    settled = ask(note, "display=lit", role="technician").conclusions[0]
    assert (settled.fault, settled.standing) == ("supply.leg_l2_open", "established")
    assert settled.not_told_apart
    assert not [fault for fault in settled.not_told_apart if "l1" in fault]
    outside = ("display=lit", "outlet.supply=leg_missing", "panel.supply=right", "house.lights=steady")
    found = ask(note, *outside, role="technician").conclusions[0]
    assert (found.fault, found.standing, found.not_told_apart) == ("supply.leg_l2_open", "established", ())
    at_the_range = ask(note, "display=lit", "outlet.supply=right", "cord.map=open", role="technician").conclusions[0]
    assert (at_the_range.fault, at_the_range.standing) == ("supply.block_l2_open", "established")


def test_the_same_readings_from_a_caller_establish_nothing(ask: Asker) -> None:
    answer = ask(None, "volts@L1-N/loaded=121 V", "volts@L2-N/loaded=121 V", "volts@L1-L2/loaded=0 V", role="caller")
    assert answer.conclusions
    assert {c.standing for c in answer.conclusions} <= {"likely", "possible"}


@pytest.mark.parametrize(
    "note",
    [
        "There were sparks from the oven element.",
        "Smoke is coming out of the back of the range",
        "I get a tingle when I touch the stove",
        "The burner stays hot with the knob off",
        "the oven is heating and it's turned off",
        "flames inside the oven behind the panel",
        "the plug is melted and brown",
        "smells like burning plastic when the oven is on",
        "the glass top is cracked",
    ],
)
@pytest.mark.parametrize("role", ["caller", "desk"])
def test_a_hazard_stops_everything(ask: Asker, note: str, role: str) -> None:
    answer = ask(note, role=role)  # type: ignore[arg-type]
    assert answer.stop is not None
    assert answer.stop.say
    assert answer.next_step.do == "stop"
    assert all(test.from_memory for test in answer.next_tests)
    assert not answer.next_tests or (role == "desk" and answer.stop.signal == "WARNING")
    assert answer.visit.needed is True
    assert answer.visit.urgency == "now"


@pytest.mark.parametrize(
    "note",
    [
        "No smoke, no sparks, just a cold oven.",
        "no shock or tingle or anything, the oven is cold",
        "oven won't heat, no burning smell",
    ],
)
def test_a_denied_hazard_stops_nothing(ask: Asker, note: str) -> None:
    assert ask(note).stop is None


def test_in_a_stop_a_technician_is_shown_nothing_live(ask: Asker) -> None:
    answer = ask("sparks from the bake element", "dead_check=proved", role="technician")
    assert answer.stop is not None
    assert answer.next_tests
    assert not [test for test in answer.next_tests if test.energised or test.who != "technician"]
    measured = ask("sparks from the bake element", "dead_check=proved", "ohms.bake=22 ohm", role="technician")
    assert any(test.from_memory for test in measured.next_tests)
    assert not [t for t in measured.next_tests if t.energised or (t.who != "technician" and not t.from_memory)]


#: How a question to memory begins, and each of its sentences: never with what somebody is to do.
ASKING = re.compile(
    r"(Before|When|If|Did|Was|Were|Has|Have|Had|Is|With|In|On|At|As|Once|So|Long|Or|Even) [^.:!]*(: did [^.:!]*)?\?"
)


def test_questions_to_memory_ask_nobody_to_do_anything(expert: Expert) -> None:
    cards = [card for card in expert.book.tests.values() if card.recall]
    assert len(cards) > 60
    sentences = [s for card in cards for s in re.split(r"(?<=[?.!]) ", str(card.recall))]
    assert not [s for s in sentences if not re.fullmatch(ASKING, s) and not s.startswith("A short whirr, ")]
    assert not [card.test for card in cards if re.search(r"\byou\b|\bnow\b(?! and then)", str(card.recall))]
    assert not [card.test for card in cards if card.energised or card.tools or card.who == "technician"]


@pytest.mark.parametrize("hazard", ["hazard.shock=yes", "hazard.flame=yes"])
def test_in_danger_nobody_is_kept_talking(ask: Asker, hazard: str) -> None:
    answer = ask(None, hazard, "oven.bake.heat=none", role="desk")
    assert answer.stop is not None and answer.stop.signal == "DANGER"
    assert answer.next_tests == ()


def test_what_is_remembered_tells_suspects_apart_while_a_stop_stands(ask: Asker) -> None:
    told = ("hazard.burning_smell=yes", "oven.bake.heat=none")
    before = ask(None, *told, role="desk")
    asked = before.next_tests[0]
    assert asked.from_memory and not asked.cautions and asked.minutes <= 0.5
    after = ask(None, *told, "display=dark", "surface.heat@all=none", role="desk")
    assert after.stop is not None
    assert {c.fault for c in after.conclusions[:2]} != {c.fault for c in before.conclusions[:2]}


def test_live_tests_wait_for_the_dead_check(ask: Asker) -> None:
    before = ask("nothing heats but the clock is lit", role="technician")
    assert not [test for test in before.next_tests if test.energised]
    asked = ("oven.keys=respond", "symbols=none", "display.code=no", "clock=steady", "surface.heat@all=normal")
    after = ask("oven cold, display lit", "dead_check=proved", *asked, role="technician")
    assert any(test.who == "technician" for test in after.next_tests)
    assert "verify_dead" not in {test.test for test in after.next_tests}
    waiting = ask("oven cold, display lit", role="technician")
    assert waiting.next_tests[0].test == "verify_dead"


def test_a_caller_is_never_shown_a_technician_s_test(ask: Asker) -> None:
    for note in ("oven cold, display lit", "left front burner is dead", "display is dark"):
        for role in ("caller", "desk"):
            tests = ask(note, role=role).next_tests  # type: ignore[arg-type]
            assert tests
            assert {test.who for test in tests} == {"caller"}


def test_danger_is_asked_first(ask: Asker) -> None:
    assert ask("the oven is cold").next_tests[0].test == "ask_hazard"
    assert ask("the oven is cold, no smoke or sparks").next_tests[0].test == "ask_hazard"
    assert ask("the oven is cold", "hazard.any=no").next_tests[0].test != "ask_hazard"


@pytest.mark.parametrize("note", ["my gas stove won't light", "the induction hob shows nothing"])
def test_other_fuels_are_declined_in_words(ask: Asker, note: str) -> None:
    answer = ask(note)
    assert not answer.scope.in_scope
    assert answer.scope.reason
    assert (answer.conclusions, answer.next_tests) == ((), ())


def test_the_reason_for_a_lost_leg_speaks_of_the_reading_itself(ask: Asker) -> None:
    top = ask("L1-N 121, L2-N 121, L1-L2 0 with an element on", role="technician").conclusions[0]
    text = " ".join(reason.text for reason in top.because)
    assert "121 V on L2 is a back-feed" in text
    assert "{" not in text
