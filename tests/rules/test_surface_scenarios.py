"""Surface units through the front door: facts as callers and technicians give them, and what the answer must be."""

from __future__ import annotations

import pytest

from rules import Expert
from rules.answer import Triage
from rules.terms import Role
from tests.conftest import Asker

LF, RF = "@left_front", "@right_front"
SAFE = "hazard.any=no"
DEAD = "dead_check=proved"


def on(expert: Expert, ask: Asker, *facts: str, role: Role = "caller", appliance: str = "coil_range") -> Triage:
    return ask(None, *facts, role=role, appliance=expert.book.appliances[appliance])


def suspects(answer: Triage) -> list[str]:
    return [c.fault for c in answer.conclusions if c.standing != "ruled_out"]


def offered(answer: Triage) -> set[str]:
    return {test.test for test in answer.next_tests}


# --- a caller's facts ------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("appliance", "facts", "first"),
    [
        ("coil_range", "surface.heat@lf=none surface.heat@others=normal surface.swap@lf=follows", "element_open"),
        ("coil_range", "surface.heat@lf=none surface.wiggle@lf=yes", "receptacle_burnt"),
        ("coil_range", "surface.heat@lf=weak surface.heat@rf=normal surface.wiggle@lf=yes", "receptacle_resistive"),
        ("coil_range", "surface.heat@lf=weak surface.coil_fit@lf=wrong_size", "element_swapped"),
        ("coil_range", "surface.on_high@lf=until_cold surface.swap@lf=follows", "element_opens_warm"),
        ("coil_range", "surface.on_high@lf=until_cold surface.wiggle@lf=yes", "receptacle_opens_warm"),
        ("coil_range", "surface.on_high@lf=short surface.pan@lf=fits", "coil_limiter_early"),
        ("coil_range", "surface.on_high@lf=cycles surface.pan@lf=unfit", "pan_unfit"),
        ("radiant_range", "surface.on_high@lf=cycles surface.pan@lf=fits", "cycles_by_design"),
        ("radiant_range", "surface.on_high@lf=short surface.pan@lf=fits", "limiter_early"),
        ("radiant_range", "surface.heat@lf=none indicator.on@lf=dark indicator.on@rf=lit", "knob_slips"),
        ("radiant_range", "surface.heat@lf=none surface.knob@lf=slips", "knob_slips"),
        ("radiant_range", "surface.knob@lf=off_mark surface.medium_heat@lf=hot", "knob_wrong"),
        ("radiant_range", "surface.knob@lf=stuck", "switch_jammed"),
        ("radiant_range", "surface.heat@lf=weak surface.low_heat@lf=full surface.heat@rf=normal", "half_voltage"),
        ("radiant_range", "surface.too_hot@lf=yes", "limiter_welded"),
        ("radiant_range", "surface.rings@rf=inner_only surface.heat@lf=normal", "ring2_open"),
        ("radiant_range", "surface.rings_small@rf=more", "ring2_contact_welded"),
        ("radiant_cooktop", "surface.rings@lf=no_outer surface.heat@rf=normal", "ring3_open"),
        ("radiant_cooktop", "surface.rings@lf=no_inner surface.heat@rf=normal", "element_open"),
    ],
)
def test_first_suspect(expert: Expert, ask: Asker, appliance: str, facts: str, first: str) -> None:
    answer = on(expert, ask, *facts.split(), SAFE, appliance=appliance)
    assert suspects(answer)[0] == f"surface.{first}"


def test_what_follows_the_coil_leaves_block_and_switch_behind(expert: Expert, ask: Asker) -> None:
    cold = (f"surface.heat{LF}=none", "surface.heat@others=normal", SAFE)
    follows = suspects(on(expert, ask, *cold, f"surface.swap{LF}=follows"))
    stays = suspects(on(expert, ask, *cold, f"surface.swap{LF}=stays"))
    assert set(follows[:2]) == {"surface.element_open", "surface.coil_limiter_open"}
    assert set(stays[:4]) == {
        "surface.receptacle_burnt",
        "surface.cycling_contact_open",
        "surface.line_contact_open",
        "surface.terminal_burnt",
    }


@pytest.mark.parametrize("appliance", ["radiant_range", "coil_range"])
def test_cycling_on_high_sends_nobody(expert: Expert, ask: Asker, appliance: str) -> None:
    """SC-14 and RU-10: by design; a flat pan that fits is the advice."""
    answer = on(expert, ask, f"surface.on_high{LF}=cycles", SAFE, appliance=appliance)
    assert set(suspects(answer)[:2]) == {"surface.cycles_by_design", "surface.pan_unfit"}
    assert (answer.visit.needed, answer.visit.load_parts) == (False, ())
    assert "normal" in " ".join(answer.visit.tell_customer)
    assert "ask_pan" in offered(answer)


def test_weak_on_high_only_is_the_supply_not_the_burner(expert: Expert, ask: Asker) -> None:
    """An infinite switch of the parallel type makes up for low volts below its top mark (hand calculation, 208 V)."""
    answer = on(expert, ask, "surface.heat@all=weak", "surface.medium_heat@all=right", SAFE)
    assert suspects(answer)[0] == "supply.voltage_208"
    reasons = {reason.rule for c in answer.conclusions[:1] for reason in c.because}
    assert "weak-on-high-right-at-the-middle" in reasons


def test_after_a_repair_wrong_parts_and_wires_come_forward(expert: Expert, ask: Asker) -> None:
    weak = (f"surface.heat{LF}=weak", "surface.heat@others=normal", SAFE)

    def share(*more: str) -> float:
        answer = on(expert, ask, *weak, *more)
        made = {"surface.half_voltage", "surface.wrong_element", "surface.element_swapped"}
        return sum(c.probability for c in answer.conclusions if c.fault in made)

    assert share("recent_work=repair") > 2 * share()


# --- lights ----------------------------------------------------------------------------------------------------------
def test_one_dark_hot_light_is_its_own_not_the_neutral(ask: Asker) -> None:
    named = ask(None, "hot_light.hot@left_rear=dark")
    probability = {c.fault: c.probability for c in named.conclusions}
    assert suspects(named)[:2] == ["surface.limiter_hot_contact_open", "surface.hot_lamp_dead"]
    assert probability["supply.neutral_open"] < 0.4 * probability["surface.limiter_hot_contact_open"]
    beside = ask(None, "hot_light.hot@left_rear=dark", "hot_light.hot@left_front=lit")
    assert {c.fault: c.probability for c in beside.conclusions}.get("supply.neutral_open", 0.0) < 0.05


@pytest.mark.parametrize(
    "facts",
    [
        ("hot_light.hot@left_rear=dark", "display=dark"),
        ("hot_light.hot@all=dark", "display=dark", "surface.heat@all=normal"),
        ("hot_light.hot@all=dark", "indicator.on@all=dark", "surface.heat@left_front=normal"),
    ],
)
def test_lights_dark_with_the_display_are_the_neutral(ask: Asker, facts: tuple[str, ...]) -> None:
    assert suspects(ask(None, *facts))[0] == "supply.neutral_open"


def test_a_hot_light_within_the_hour_is_no_fault_yet(ask: Asker) -> None:
    """ask_hot_light_age: out within about 60 minutes, common practice."""

    def stuck(age: str) -> float:
        found = ask(None, "hot_light.cold@left_rear=lit", f"hot_light.age@left_rear={age}").conclusions
        return {c.fault: c.probability for c in found}["surface.limiter_hot_contact_stuck"]

    assert stuck("20 min") < 0.5
    assert stuck("3 h") > 0.85
    answer = ask(None, "hot_light.cold@left_rear=lit", "hot_light.age@left_rear=20 min")
    assert "Wait" in " ".join(answer.visit.tell_customer)


@pytest.mark.parametrize(
    ("facts", "first"),
    [
        ((f"indicator.on{LF}=dark", f"indicator.on{RF}=lit", "surface.heat@all=normal"), "pilot_contact_open"),
        (("indicator.on@all=dark", "surface.heat@all=normal", "display=lit"), "indicator_lamp_dead"),
    ],
)
def test_the_burner_on_light(ask: Asker, facts: tuple[str, ...], first: str) -> None:
    assert suspects(ask(None, *facts))[0] == f"surface.{first}"


# --- safety ----------------------------------------------------------------------------------------------------------
def test_a_coil_that_glows_in_part_stops_everything(expert: Expert, ask: Asker) -> None:
    answer = on(expert, ask, f"surface.coil_glow{LF}=part")
    assert answer.stop is not None
    assert "breaker" in answer.stop.say
    assert answer.next_tests == ()
    assert suspects(answer)[0] == "surface.element_grounded"


TRIALS = {"ask_burner_heat", "ask_burner_low", "ask_burner_medium", "ask_time_to_off", "ask_coil_glow", "ask_swap_coil"}


@pytest.mark.parametrize(
    "sign", [f"surface.coil_look{LF}=marked", f"surface.knob{LF}=slips", f"surface.knob{LF}=stuck"]
)
def test_no_trials_where_they_could_hurt(expert: Expert, ask: Asker, sign: str) -> None:
    answer = on(expert, ask, f"surface.heat{LF}=weak", sign, SAFE)
    assert not offered(answer) & TRIALS
    without = on(expert, ask, f"surface.heat{LF}=weak", SAFE)
    assert offered(without) & TRIALS


def test_the_swap_is_offered_cold_and_with_the_breaker_off_only(expert: Expert, ask: Asker) -> None:
    cold = (f"surface.heat{LF}=none", "surface.heat@others=normal", SAFE)
    swap = next(test for test in on(expert, ask, *cold).next_tests if test.test == "ask_swap_coil")
    assert "breaker off" in swap.ask.lower()
    assert any("cold" in caution and "WARNING" in caution for caution in swap.cautions)
    for sign in (f"surface.wiggle{LF}=yes", "hazard.burning_smell=yes"):
        assert "ask_swap_coil" not in offered(on(expert, ask, *cold[:2], sign))
    assert "ask_swap_coil" not in offered(on(expert, ask, *cold, appliance="radiant_range"))


def test_a_caller_is_never_offered_a_technician_s_reading(expert: Expert, ask: Asker) -> None:
    for facts in ((f"surface.heat{LF}=none",), (f"surface.low_heat{LF}=full",), (f"surface.on_high{LF}=until_cold",)):
        assert not [test for test in offered(on(expert, ask, *facts, SAFE)) if test.startswith("unit")]
        before = on(expert, ask, *facts, SAFE, role="technician")
        assert not [test for test in offered(before) if test.startswith("unit")]


# --- a technician's readings -----------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("appliance", "facts", "established"),
    [
        (
            "radiant_range",
            "surface.low_heat@lf=full contact.cycling_off@lf=open ohms.switch_heater@lf=OL",
            "switch_heater_open",
        ),
        (
            "radiant_range",
            "surface.low_heat@lf=full contact.cycling_off@lf=closed contact.line_off@lf=open",
            "cycling_contact_welded",
        ),
        (
            "radiant_range",
            "surface.low_heat@lf=full contact.cycling_off@lf=closed contact.line_off@lf=closed",
            "contacts_welded",
        ),
        (
            "coil_range",
            "volts.h1_off@lf=live contact.line_off@lf=closed contact.cycling_off@lf=open",
            "line_contact_welded",
        ),
        ("radiant_range", "hot_light.hot@lf=dark volts.hot_lamp@lf=121V", "hot_lamp_dead"),
        ("radiant_range", "hot_light.hot@lf=dark contact.hot_light_hot@lf=open", "limiter_hot_contact_open"),
        ("radiant_range", "surface.on_high@lf=short limiter.hot@lf=early", "limiter_early"),
        ("radiant_range", "limiter.hot@lf=never", "limiter_welded"),
        ("radiant_range", "surface.rings@rf=inner_only ohms.ring2@rf=OL", "ring2_open"),
        ("radiant_range", "surface.rings@rf=inner_only contact.ring2@rf=open", "ring2_contact_open"),
        ("coil_range", "surface.heat@lf=weak drop.receptacle@lf=34V", "receptacle_resistive"),
        ("coil_range", "surface.heat@lf=weak drop.lead@lf=34V", "terminal_resistive"),
        ("coil_range", "surface.heat@lf=weak drop.switch@lf=34V", "switch_contact_burnt"),
        ("coil_range", "surface.heat@lf=weak ohms.element@lf=38.4ohm surface.coil_fit@lf=fits", "wrong_element"),
        ("coil_range", "surface.heat@lf=weak surface.heat@rf=normal volts.element@lf=119V", "half_voltage"),
        ("coil_range", "surface.on_high@lf=until_cold volts.element_quit@lf=238V", "element_opens_warm"),
        ("coil_range", "hazard.sparks=no ohms.element_frame@lf=12ohm", "element_grounded"),
        ("coil_range", "surface.heat@lf=none visual.terminals@lf=wire_off", "wire_off"),
        ("coil_range", "surface.medium_heat@lf=hot nameplate.switch@lf=differs", "switch_mismatch"),
    ],
)
def test_readings_establish(expert: Expert, ask: Asker, appliance: str, facts: str, established: str) -> None:
    answer = on(expert, ask, DEAD, *facts.split(), role="technician", appliance=appliance)
    top = answer.conclusions[0]
    assert (top.fault, top.standing) == (f"surface.{established}", "established")
    told = on(expert, ask, *facts.split(), role="caller", appliance=appliance)
    assert "established" not in {c.standing for c in told.conclusions}


def test_line_to_frame_at_both_tabs_is_a_back_feed(expert: Expert, ask: Asker) -> None:
    """SC-05 and SC-06 read alike to the frame; the volts across the contacts tell which."""
    facts = (
        DEAD,
        f"surface.heat{LF}=none",
        "surface.heat@others=normal",
        f"volts.switch{LF}=0.5 V",
        f"volts.h1_frame{LF}=live",
        f"volts.h2_frame{LF}=live",
    )
    answer = on(expert, ask, *facts, role="technician")
    assert set(suspects(answer)[:2]) == {"surface.cycling_contact_open", "surface.line_contact_open"}
    assert "back-feed-through-a-cold-unit" in {reason.rule for c in answer.conclusions[:2] for reason in c.because}
    assert {"line_contact", "cycling_contact"} & offered(answer)


def test_an_element_live_at_off_is_found_by_the_last_check(expert: Expert, ask: Asker) -> None:
    """SC-08 shows nothing to a caller; t_final looks for it."""
    answer = on(expert, ask, DEAD, "surface.live_at_off=some", role="technician")
    assert {"surface.line_contact_welded", "surface.cycling_contact_welded"} <= set(suspects(answer)[:3])
    found = on(expert, ask, DEAD, "surface.live_at_off=some", f"contact.line_off{LF}=closed", role="technician")
    assert (found.conclusions[0].fault, found.conclusions[0].where) == ("surface.line_contact_welded", "left_front")


def test_ohms_of_a_coil_that_is_open_name_wire_and_limiter(expert: Expert, ask: Asker) -> None:
    answer = on(expert, ask, DEAD, f"surface.heat{LF}=none", f"ohms.element{LF}=OL", role="technician")
    top = answer.conclusions[0]
    assert (top.fault, top.not_told_apart) == ("surface.element_open", ("surface.coil_limiter_open",))
    assert [part.part for part in answer.visit.load_parts] == ["coil_element"]
    glass = on(
        expert,
        ask,
        DEAD,
        f"surface.heat{LF}=none",
        f"ohms.element{LF}=OL",
        role="technician",
        appliance="radiant_range",
    )
    assert glass.conclusions[0].not_told_apart == ()
