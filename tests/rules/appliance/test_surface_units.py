"""Surface units against hand calculation: volts and watts of the domain dossier's tables 2.2 and 2.3, and Ohm's law."""

from __future__ import annotations

from dataclasses import replace

import pytest

from rules.appliance import observe_machines
from rules.appliance.injecting import Machine, check_effect, has_rings, machines, stack
from rules.appliance.operating import Runs, total_watts
from rules.appliance.seen.surface import LOW_DUTY, MEDIUM_DUTY, average, lengths
from rules.appliance.sensing import room_sensor_ohms
from rules.appliance.wiring import Wiring, wire
from rules.bookkeeping.loading import load_book
from rules.bookkeeping.types import Effect
from rules.terms import BookError

BOOK = load_book()
RADIANT = wire(BOOK.appliances["radiant_range"])
COIL = wire(BOOK.appliances["coil_range"])
COOKTOP = wire(BOOK.appliances["radiant_cooktop"])
UNIT = "left_front"  # 2400 W, 24 ohm on both ranges
RINGS = [f"{UNIT}.element"]

Change = tuple[str, str] | tuple[str, str, float]


def effects(*changes: Change) -> list[Effect]:
    return [Effect("{where}." + change[0], change[1], change[2:]) for change in changes]


def runs(*changes: Change, wiring: Wiring = RADIANT, where: str = UNIT) -> Runs:
    made = machines(wiring, effects(*changes), where) if changes else [Machine()]
    return Runs(stack(wiring, made), room_sensor_ohms(wiring) if wiring.appliance.oven else 0.0)


def shown(*changes: Change, wiring: Wiring = RADIANT, where: str = UNIT) -> dict[str, str]:
    made = machines(wiring, effects(*changes), where) if changes else [Machine()]
    return {key: str(words[0]) for key, words in observe_machines(wiring, made, BOOK.facts).items()}


def at(seen: dict[str, str], fact: str, where: str = UNIT) -> str:
    return seen[f"{fact}@{where}"]


def high(run: Runs, first: str, second: str) -> float:
    return float(run.at[f"high {UNIT}"].between(f"{UNIT}.{first}", second if second == "CH" else f"{UNIT}.{second}")[0])


# --- volts at the unit, table 2.2 column "On" ------------------------------------------------------------------------
def test_element_open_has_the_line_across_its_plug() -> None:
    """SC-01: 240 V across the plug."""
    assert high(runs(("element", "open"), wiring=COIL), "E0", "R2") == pytest.approx(240, abs=1)
    assert at(shown(("element", "open"), wiring=COIL), "volts.element") == "norm"
    assert at(shown(("element", "open"), wiring=COIL), "amps.unit") == "none"


def test_cycling_contact_open() -> None:
    """SC-05: H1-H2 0 V, H1 to frame 120 V."""
    run = runs(("cycling_contact", "open"))
    assert high(run, "H1", "H2") == pytest.approx(0, abs=1)
    assert high(run, "H1", "CH") == pytest.approx(120, abs=0.5)


def test_line_contact_open_floats_h1_through_the_element() -> None:
    """SC-06: H2 to frame 120 V, and H1 too, fed back through the element."""
    run = runs(("line_contact", "open"))
    assert high(run, "H2", "CH") == pytest.approx(120, abs=0.5)
    assert high(run, "H1", "CH") == pytest.approx(120, abs=0.5)
    seen = shown(("line_contact", "open"))
    assert (at(seen, "volts.h1_frame"), at(seen, "volts.h2_frame"), at(seen, "volts.switch")) == (
        "live",
        "live",
        "dead",
    )


@pytest.mark.parametrize("contact", ["line_contact", "cycling_contact"])
def test_a_contact_welded_at_off_leaves_the_element_live(contact: str) -> None:
    """SC-08: H1 to frame 120 V at off; a weld of the other side shows there too, through the element."""
    assert runs((contact, "welded")).at["idle"].between(f"{UNIT}.H1", "CH")[0] == pytest.approx(120, abs=0.5)
    seen = shown((contact, "welded"))
    assert (at(seen, "volts.h1_off"), seen["surface.live_at_off"], at(seen, "surface.off_heat")) == (
        "live",
        "some",
        "none",
    )
    assert at(seen, "volts.h1_off", "right_rear") == "dead"


def test_both_contacts_welded_put_the_line_on_at_off() -> None:
    """SC-09: 240 V at off, full watts."""
    run = runs(("line_contact", "welded"), ("cycling_contact", "welded"))
    assert run.at["idle"].between(f"{UNIT}.H1", f"{UNIT}.R2")[0] == pytest.approx(240, abs=1)
    assert total_watts(run.at["idle"], RINGS)[0] == pytest.approx(2400, rel=0.01)


def test_pilot_contacts() -> None:
    """SC-10: Pk-N 120 V at off; SC-11: 0 V when on."""
    assert runs(("pilot_contact", "welded")).at["idle"].between("P", "N")[0] == pytest.approx(120, abs=0.5)
    assert runs(("pilot_contact", "open")).at[f"high {UNIT}"].between("P", "N")[0] == pytest.approx(0, abs=0.5)
    assert at(shown(("pilot_contact", "open")), "volts.pilot") == "dead"
    assert at(shown(("pilot_contact", "open")), "contact.pilot_on") == "open"


def test_half_the_line_gives_a_quarter_of_the_watts() -> None:
    """SC-16 and table 1.4: a 2400 W unit gives 600 W at 120 V, at every mark."""
    half = (("lead", "open"), ("to_neutral", "fitted"))
    run = runs(*half)
    assert high(run, "H1", "R2") == pytest.approx(120, abs=0.5)
    assert total_watts(run.at[f"high {UNIT}"], RINGS)[0] == pytest.approx(600, rel=0.01)
    seen = shown(*half)
    assert [at(seen, f) for f in ("surface.heat", "surface.low_heat", "volts.element", "drop.lead")] == [
        "weak",
        "full",
        "half",
        "open",
    ]


def test_limiter_open_carries_the_line_itself() -> None:
    """RU-03: 240 V across the limiter, none at the ring."""
    run = runs(("high_limit", "open"))
    assert run.at[f"high {UNIT}"].across(f"{UNIT}.high_limit")[0] == pytest.approx(240, abs=1)
    assert high(run, "H1", "R2") == pytest.approx(0, abs=1)


def test_hot_surface_contact_and_lamp() -> None:
    """RU-06: HSk-N 120 V when cold; RU-07: 0 V when hot, but 120 V at a dead lamp."""
    assert runs(("hot_contact", "welded")).at["idle"].between(f"{UNIT}.HS", "N")[0] == pytest.approx(120, abs=0.5)
    contact, lamp = shown(("hot_contact", "open")), shown(("hot_lamp", "open"))
    for seen, volts, read in ((contact, "dead", "open"), (lamp, "norm", "closed")):
        assert at(seen, "hot_light.hot") == "dark"
        assert (at(seen, "volts.hot_lamp"), at(seen, "contact.hot_light_hot")) == (volts, read)
        assert at(seen, "hot_light.threshold") == "never"
    assert at(shown(("hot_contact", "welded")), "hot_light.threshold") == "always"


# --- joints ----------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("part", "fact"),
    [("lead", "drop.lead"), ("line_contact", "drop.switch"), ("receptacle", "drop.receptacle")],
)
def test_a_bad_joint_takes_its_share_of_the_volts(part: str, fact: str) -> None:
    """10 ohm before 24: 240 x 10/34 = 70.6 V lost, 2400 x (24/34)^2 = 1196 W left (Ohm's law)."""
    run = runs((part, "resistive", 10.0), wiring=COIL)
    assert run.at[f"high {UNIT}"].across(f"{UNIT}.{part}")[0] == pytest.approx(70.6, rel=0.01)
    assert total_watts(run.at[f"high {UNIT}"], RINGS)[0] == pytest.approx(1196, rel=0.01)
    seen = shown((part, "resistive", 10.0), wiring=COIL)
    lossy = {name for name in ("drop.lead", "drop.switch", "drop.receptacle") if at(seen, name) == "lossy"}
    assert lossy == {fact}
    assert (at(seen, "surface.heat"), at(seen, "amps.unit")) == ("weak", "low")


@pytest.mark.parametrize(
    ("part", "fact"), [("lead", "drop.lead"), ("cycling_contact", "drop.switch"), ("receptacle", "drop.receptacle")]
)
def test_line_voltage_stands_across_what_is_open(part: str, fact: str) -> None:
    assert at(shown((part, "open"), wiring=COIL), fact) == "open"


def test_sound_joints_lose_less_than_a_tenth_of_a_volt() -> None:
    """10 A through 3 milliohm are 0.03 V; the trade's limit is 0.1 V at 10 A (test t_vdrop_joint)."""
    run = runs(wiring=COIL)
    for part in ("lead", "line_contact", "cycling_contact", "receptacle", "receptacle_far"):
        assert run.at[f"high {UNIT}"].across(f"{UNIT}.{part}")[0] == pytest.approx(0.03, rel=0.05)


# --- the switch's duty -----------------------------------------------------------------------------------------------
def test_duty_at_its_rated_voltage() -> None:
    """6 % at low and 40 % at the middle mark (domain 4.5); mean watts are duty times full watts."""
    run = runs()
    assert run.duty(UNIT, LOW_DUTY)[0] == pytest.approx(0.06, rel=0.01)
    assert average(run, UNIT, MEDIUM_DUTY)[0] == pytest.approx(0.40, rel=0.01)


def test_low_volts_cancel_out_below_the_top_mark() -> None:
    """208 V: 75 % on high, yet 0.40 x (240/208)^2 x (208/240)^2 = 0.40 at the middle mark."""
    flat = wire(replace(BOOK.appliances["radiant_range"], supply="208Y/120"))
    assert average(runs(wiring=flat), UNIT, MEDIUM_DUTY)[0] == pytest.approx(0.40, rel=0.01)
    seen = shown(wiring=flat)
    assert (at(seen, "surface.heat"), at(seen, "surface.medium_heat"), at(seen, "duty.low")) == (
        "weak",
        "right",
        "short",
    )


@pytest.mark.parametrize(("ratio", "share", "word"), [(0.4, 0.16, "cool"), (2.5, 1.0, "hot"), (1.6, 0.64, "hot")])
def test_a_switch_of_another_rating(ratio: float, share: float, word: str) -> None:
    """Its heater takes 1/ratio of the watts, so it is closed for ratio times as long, at most always."""
    run = runs(("switch_heater", "wrong_ohms", ratio))
    assert average(run, UNIT, MEDIUM_DUTY)[0] == pytest.approx(share, rel=0.01)
    seen = shown(("switch_heater", "wrong_ohms", ratio))
    assert (at(seen, "surface.heat"), at(seen, "surface.medium_heat")) == ("normal", word)


def test_what_tells_a_weld_from_a_dead_heater() -> None:
    """Both give full heat on low; at off only the weld is closed, and only the dead heater reads open."""
    weld, heater = shown(("cycling_contact", "welded")), shown(("switch_heater", "open"))
    both = shown(("cycling_contact", "welded"), ("line_contact", "welded"))
    names = ("contact.cycling_off", "contact.line_off", "ohms.switch_heater")
    assert [at(weld, name) for name in names] == ["closed", "open", "right"]
    assert [at(heater, name) for name in names] == ["open", "open", "open"]
    assert [at(both, name) for name in names] == ["closed", "closed", "right"]
    for seen in (weld, heater, both):
        assert (at(seen, "surface.low_heat"), at(seen, "surface.medium_heat"), at(seen, "duty.low")) == (
            "full",
            "hot",
            "always",
        )


# --- wrong parts -----------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("ratio", "watts", "heat", "ohms", "amps"),
    [
        (1.6, 1500, "weak", "high", "low"),
        (0.625, 3840, "normal", "low", "high"),
        (0.751, 3196, "normal", "low", "high"),
    ],
)
def test_an_element_of_other_watts(ratio: float, watts: float, heat: str, ohms: str, amps: str) -> None:
    """24 ohm x 1.6 = 38.4 ohm, 1500 W; a 2400 W element made for 208 V has 18.03 ohm, 3196 W at 240 V (V squared/R)."""
    run = runs(("element", "wrong_ohms", ratio), wiring=COIL)
    assert total_watts(run.at[f"high {UNIT}"], RINGS)[0] == pytest.approx(watts, rel=0.015)  # the feed takes 1 %
    seen = shown(("element", "wrong_ohms", ratio), wiring=COIL)
    assert (at(seen, "surface.heat"), at(seen, "ohms.element"), at(seen, "amps.unit")) == (heat, ohms, amps)


def test_a_wrong_radiant_element_is_wrong_in_every_ring() -> None:
    """1000 and 2000 W at 1.6 times the ohms: 625 and 1250 W."""
    run = runs(("unit", "wrong_ohms", 1.6), where="right_front")
    given = [total_watts(run.at["high right_front"], [f"right_front.{r}"])[0] for r in ("element", "ring2")]
    assert given == pytest.approx([625, 1250], rel=0.015)
    seen = shown(("unit", "wrong_ohms", 1.6), where="right_front")
    assert (at(seen, "ohms.element", "right_front"), at(seen, "ohms.ring2", "right_front")) == ("high", "high")


def test_other_ohms_and_a_bad_joint_add_up_in_any_order() -> None:
    changes = effects(("element", "wrong_ohms", 1.5), ("element", "resistive", 4.0))
    found = [machines(COIL, order, UNIT)[0].ohms for order in (changes, changes[::-1])]
    assert found[0] == found[1]
    assert sum(found[0].values()).real == pytest.approx(24 * 1.5 + 4)


# --- what happens with time ------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("part", "wiring", "word", "left"),
    [
        ("high_limit", RADIANT, "short", "dead"),
        ("coil_limiter", COIL, "short", "norm"),  # inside the coil: the plug still has the line
        ("element", RADIANT, "until_cold", "norm"),
        ("lead", RADIANT, "until_cold", "dead"),
        ("receptacle", COIL, "until_cold", "dead"),
    ],
)
def test_what_opens_when_warm(part: str, wiring: Wiring, word: str, left: str) -> None:
    """SC-04: good cold; 240 V present and no current once an element has quit."""
    seen = shown((part, "opens_warm"), wiring=wiring)
    assert (at(seen, "surface.heat"), at(seen, "surface.on_high")) == ("normal", word)
    assert (at(seen, "volts.element"), at(seen, "volts.element_quit")) == ("norm", left)
    assert at(seen, "ohms.element") == "right"
    assert at(seen, "element.hot") == ("open" if part in ("element", "coil_limiter") else "whole")


def test_the_limiter_under_a_probe() -> None:
    """RU-04 and RU-05."""
    words = {mode: at(shown(("high_limit", mode)), "limiter.hot") for mode in ("opens_warm", "welded")}
    assert words == {"opens_warm": "early", "welded": "never"}
    assert at(shown(), "limiter.hot") == "opens"


# --- the coil --------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(("part", "near", "far"), [(0.25, 4.0, 0.444), (0.5, 1.0, 1.0), (0.75, 0.444, 4.0)])
def test_a_grounded_coil_glows_in_part(part: float, near: float, far: float) -> None:
    """120 V on each length: heat along it is (0.5/x)^2 of what it should be (V squared over R).

    Less what the line and the ground wire take: breaker, 50 ft of wire, cord, block and switch, and back, are 0.05 ohm
    beside the 24 ohm of the coil.
    """
    near, far = (share * (24 * x / (24 * x + 0.05)) ** 2 for share, x in ((near, part), (far, 1 - part)))
    found = lengths(runs(("element", "grounded", part), wiring=COIL), f"high {UNIT}", f"{UNIT}.element")
    assert [length[0] for length in found] == pytest.approx([near, far], rel=0.02)
    seen = shown(("element", "grounded", part), wiring=COIL)
    assert at(seen, "surface.coil_glow") == ("all" if part == 0.5 else "part")
    assert at(seen, "ohms.element_frame") == "grounded"


def test_a_grounded_coil_with_its_other_side_open() -> None:
    """Rule 2.8.3: I = 120/(xR); 24 ohm grounded at its middle draws 10 A from L1."""
    run = runs(("element", "grounded", 0.5), ("cycling_contact", "open"), wiring=COIL)
    assert run.at[f"high {UNIT}"].amps(f"{UNIT}.element.a")[0] == pytest.approx(10, rel=0.01)


@pytest.mark.parametrize(
    ("part", "mode", "word"),
    [
        ("element", "open", "follows"),
        ("coil_limiter", "open", "follows"),
        ("element", "opens_warm", "follows"),
        ("receptacle", "open", "stays"),
        ("cycling_contact", "open", "stays"),
        ("knob", "slips", "stays"),
        ("pilot_contact", "open", "works"),
    ],
)
def test_the_swap(part: str, mode: str, word: str) -> None:
    assert at(shown((part, mode), wiring=COIL), "surface.swap") == word


def test_a_coil_limiter_cannot_be_told_from_its_wire_at_the_plug() -> None:
    assert at(shown(("coil_limiter", "open"), wiring=COIL), "ohms.element") == "open"


# --- rings -----------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("wiring", "where", "part", "word", "watts"),
    [
        (RADIANT, "right_front", "ring2", "inner_only", 1000),
        (RADIANT, "right_front", "element", "no_inner", 2000),
        (COOKTOP, "left_front", "ring3", "no_outer", 1500),
        (COOKTOP, "left_front", "ring2_contact", "no_middle", 2250),
        (COOKTOP, "left_front", "element", "no_inner", 2250),
    ],
)
def test_rings_that_heat(wiring: Wiring, where: str, part: str, word: str, watts: float) -> None:
    """RU-02, with the watts of the rings that are left (table 1.4: 1000 W inner, 2000 W outer)."""
    run = runs((part, "open"), wiring=wiring, where=where)
    owned = [element for element in wiring.elements if element.startswith(f"{where}.")]
    assert total_watts(run.at[f"high {where}"], owned)[0] == pytest.approx(watts, rel=0.01)
    assert at(shown((part, "open"), wiring=wiring, where=where), "surface.rings", where) == word


def test_the_inner_ring_alone() -> None:
    assert at(shown(), "surface.rings_small", "right_front") == "inner_only"
    welded = shown(("ring2_contact", "welded"), where="right_front")
    assert at(welded, "surface.rings_small", "right_front") == "more"
    assert at(welded, "contact.ring2_inner", "right_front") == "closed"
    assert at(welded, "surface.heat", "right_front") == "normal"
    assert at(welded, "surface.off_heat", "right_front") == "none"


def test_a_ring_that_a_unit_lacks_has_no_fault_there() -> None:
    outer = effects(("ring2", "open"))
    assert machines(RADIANT, outer, "left_front") == []
    assert len(machines(RADIANT, outer, "right_front")) == 1
    assert not has_rings(RADIANT, effects(("ring3_contact", "welded")), "right_front")
    assert "surface.rings@left_front" not in shown()
    assert "no part" in str(check_effect(RADIANT, outer[0], "left_front"))
    with pytest.raises(BookError, match="no part"):
        machines(RADIANT, effects(("rign2", "open")), "right_front")


# --- the knob --------------------------------------------------------------------------------------------------------
def test_a_slipping_knob_turns_nothing_but_its_shaft_does() -> None:
    """Cold with its light dark; a technician who turns the shaft finds every contact sound."""
    seen = shown(("knob", "slips"))
    assert (at(seen, "surface.heat"), at(seen, "indicator.on"), at(seen, "volts.h1_frame")) == ("none", "dark", "dead")
    assert (at(seen, "contact.line"), at(seen, "contact.pilot_on")) == ("closed", "closed")
    assert at(seen, "contact.cycling") == ""  # without a warm run there is nothing to read
    assert (at(seen, "surface.heat", "right_rear"), at(seen, "indicator.on", "right_rear")) == ("normal", "lit")
    assert runs(("knob", "slips")).at["all high"].amps(f"{UNIT}.lead")[0] == pytest.approx(0, abs=1e-3)


@pytest.mark.parametrize("where", RADIANT.appliance.positions)
def test_a_fault_of_one_unit_leaves_the_others_alone(where: str) -> None:
    sound = shown()
    for change in (("lead", "open"), ("knob", "slips"), ("high_limit", "opens_warm"), ("switch_heater", "open")):
        seen = shown(change, where=where)
        differing = {key.partition("@")[2] for key, word in seen.items() if word != sound[key]}
        assert differing - {""} == {where}  # a clamp round the whole range sees it too
