"""What faults of the oven's elements, relays, links, fans and lamp look like on the circuit.

Numbers: the domain dossier (catalogue 2.4, signature rules 2.8) or a calculation by hand beside the test. Words such as
which fan stands still: common practice, no source.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from rules.appliance import observe_machines
from rules.appliance.injecting import Machine, check_effect, machines, stack
from rules.appliance.operating import Runs
from rules.appliance.sensing import room_sensor_ohms
from rules.appliance.wiring import Wiring, wire
from rules.bookkeeping.loading import load_book
from rules.bookkeeping.types import Effect
from rules.terms import fact_of

BOOK = load_book()
OVEN = wire(BOOK.appliances["wall_oven"])
RANGE = wire(BOOK.appliances["radiant_range"])
DOUBLE = wire(BOOK.appliances["double_wall_oven"])
CONTROL_CUTOUT = wire(replace(BOOK.appliances["wall_oven"], cutout="control"))


def runs(*effects: Effect, wiring: Wiring = OVEN) -> Runs:
    return Runs(stack(wiring, machines(wiring, effects, None)), room_sensor_ohms(wiring))


def shown(*effects: Effect, wiring: Wiring = OVEN) -> dict[str, str]:
    made = machines(wiring, effects, None)
    return {key: str(words[0]) for key, words in observe_machines(wiring, made, BOOK.facts).items()}


def odd(*effects: Effect, wiring: Wiring = OVEN) -> dict[str, str]:
    """What differs from a sound machine of the same kind."""
    sound = shown(wiring=wiring)
    return {key: word for key, word in shown(*effects, wiring=wiring).items() if word != sound[key]}


@pytest.mark.parametrize("wiring", [OVEN, RANGE, DOUBLE, CONTROL_CUTOUT], ids=lambda w: w.appliance.title)
def test_a_sound_oven_shows_the_usual(wiring: Wiring) -> None:
    for key, words in observe_machines(wiring, [Machine()], BOOK.facts).items():
        assert words[0] == BOOK.facts[fact_of(key)].usual, key


# --- relays ------------------------------------------------------------------------------------------------------
def test_a_relay_that_does_not_close_holds_back_the_line() -> None:
    """OV-05: 0 V from BK to L2 with the relay called; the contact has the 240 V."""
    dead = runs(Effect("bake_relay", "open"))
    assert dead.at["bake"].between("bake.K", "L2")[0] < 0.5
    assert dead.at["bake"].across("bake_relay")[0] == pytest.approx(240, abs=1)
    seen = odd(Effect("bake_relay", "open"))
    assert (seen["drive@BK-L2/called"], seen["drop@L1K-BK/called"]) == ("none", "much")
    assert "drive@BR-L2/called" not in seen


def test_an_open_double_line_break_is_fed_back_to_120_volts() -> None:
    """OV-07: L2B reads 120 V to the frame through the elements, so only the contact itself tells."""
    seen = odd(Effect("double_line_break", "open"))
    assert runs(Effect("double_line_break", "open")).at["bake"].between("L2B", "CH")[0] == pytest.approx(120, abs=0.5)
    assert "called_volts@L2B-CH/called" not in seen
    assert seen["drop@L2-L2B/called"] == "much"
    assert {seen[f"oven.{mode}.heat"] for mode in ("bake", "broil", "convection")} == {"none"}


def test_a_welded_double_line_break_shows_only_on_a_meter() -> None:
    """OV-08: 120 V from L2B to the frame with the oven off, and the contact closed at rest; nothing else."""
    assert odd(Effect("double_line_break", "welded")) == {
        "contact.double_line_break": "closed",
        "idle_volts@L2B-CH/idle": "live",
    }


@pytest.mark.parametrize(("name", "points"), [("bake", "BK"), ("broil", "BR"), ("convection", "CV")])
def test_a_welded_relay_behind_a_sound_line_break(name: str, points: str) -> None:
    """OV-06 and rule 2.8.5: no heat at rest, no volts across the contact between calls, too hot in use."""
    seen = odd(Effect(f"{name}_relay", "welded"))
    assert "oven.off_heat" not in seen
    assert seen[f"contact.{name}_relay"] == "closed"
    assert seen[f"rest_volts@L1K-{points}/satisfied"] == "none"
    assert seen["idle_volts@L2B-CH/idle"] == "live"
    assert seen["oven.offset"] == "far_high"


@pytest.mark.parametrize(("name", "red"), [("bake", "lower"), ("broil", "upper")])
def test_two_welded_relays_heat_unasked(name: str, red: str) -> None:
    seen = odd(Effect(f"{name}_relay", "welded"), Effect("double_line_break", "welded"))
    assert (seen["oven.off_heat"], seen["hazard.heat_when_off"], seen["oven.stays_red"]) == ("some", "yes", red)


# --- elements ----------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(("share", "amps"), [(0.5, 10.8), (0.75, 21.5)])
def test_a_grounded_element_burns_on_below_the_breaker_s_rating(share: float, amps: float) -> None:
    """Rule 2.8.3, OV-04: I = 120 / (x R), here from the second side, 1 - share of 22.28 ohm, oven off."""
    effects = Effect("bake_element", "grounded", (share,)), Effect("double_line_break", "welded")
    assert runs(*effects).at["idle"].amps("bake_element.b")[0] == pytest.approx(amps, rel=0.02)
    seen = odd(*effects)
    assert (seen["oven.off_heat"], seen["frame.bake"]) == ("some", "grounded")
    assert "ohms.bake" not in seen  # end to end the wire is whole
    assert "breaker" not in seen


def test_a_grounded_element_is_quiet_while_both_sides_are_broken() -> None:
    seen = odd(Effect("bake_element", "grounded", (0.5,)))
    assert "oven.off_heat" not in seen
    assert seen["frame.bake"] == "grounded"


@pytest.mark.parametrize(("share", "ohms", "amps"), [(0.4, "low", "high"), (0.7, "low", "high"), (1.5, "high", "low")])
def test_too_little_or_too_much_wire(share: float, ohms: str, amps: str) -> None:
    seen = odd(Effect("broil_element", "wrong_ohms", (share,)))
    assert (seen["ohms.broil"], seen["amps.broil"]) == (ohms, amps)
    drawn = runs(Effect("broil_element", "wrong_ohms", (share,))).at["broil"].amps("broil_element.a")[0]
    assert drawn == pytest.approx(240 / (16.94 * share), rel=0.02)


def test_one_element_open_in_preheat() -> None:
    """OV-01, OV-02: slow, one element red, food pale on that side, that mode gone; its volts are there, no current."""
    bake = odd(Effect("bake_element", "open"))
    assert (bake["oven.preheat"], bake["oven.glow"], bake["oven.browning"]) == ("slow", "upper_only", "pale_below")
    assert (bake["ohms.bake"], bake["amps.bake"]) == ("open", "none")
    assert "drive@BKE-L2B/called" not in bake
    broil = odd(Effect("broil_element", "open"))
    assert (broil["oven.preheat"], broil["oven.glow"], broil["oven.broil.heat"]) == ("slow", "lower_only", "none")
    assert "never" not in (bake["oven.preheat"], broil["oven.preheat"])


def test_an_oven_with_a_trickle_of_heat_never_gets_there() -> None:
    """Rule 2.8.2: 646 W, a quarter of 2585 W, are less than the 700 W the lumped oven loses at 350 F."""
    weak = Effect("bake_element", "wrong_ohms", (4.0,)), Effect("broil_element", "open")
    watts = runs(*weak).at["bake"].watts(["bake_element.a", "bake_element.b"])[0]
    assert watts == pytest.approx(646, rel=0.02)
    assert odd(*weak)["oven.preheat"] == "never"


@pytest.mark.parametrize("name", ["bake", "broil", "convection"])
def test_what_parts_only_when_hot_is_sound_when_cold(name: str) -> None:
    """SC-04 and OV-24 on the oven: good cold, 240 V and no current hot, or a contact or terminal with the 240 V."""
    short = {"bake": "BK", "broil": "BR", "convection": "CV"}[name]
    element = odd(Effect(f"{name}_element", "opens_warm"))
    assert element == {f"oven.{name}.quits": "quits"}  # its own terminals keep the line
    relay = odd(Effect(f"{name}_relay", "opens_warm"))
    assert relay[f"drop@L1K-{short}/quit"] == "much"
    terminal = odd(Effect(f"{name}_terminal", "opens_warm"))
    assert terminal[f"drop@{short}-{short}E/quit"] == "much"
    for seen in (relay, terminal):
        assert seen[f"oven.{name}.quits"] == "quits"
        assert seen[f"drive@{short}E-L2B/quit"] == "none"
        assert not any(key.endswith("/called") or key.startswith(("ohms", "contact")) for key in seen)


def test_an_open_terminal_leaves_the_element_without_its_line() -> None:
    seen = odd(Effect("bake_terminal", "open"))
    assert (seen["drop@BK-BKE/called"], seen["drive@BKE-L2B/called"], seen["amps.bake"]) == ("much", "none", "none")
    assert not {"ohms.bake", "drive@BK-L2/called", "drop@L1K-BK/called"} & set(seen)


# --- links and feeds ---------------------------------------------------------------------------------------------
def test_a_burnt_link_looks_like_an_open_leg_for_the_oven_alone() -> None:
    """Netlist 1.2, LINK: display, lamp and oven hang on L1's link, the oven's elements on L2's."""
    first, second = (odd(Effect(f"link_{leg}", "open"), wiring=RANGE) for leg in ("l1", "l2"))
    assert (first["display"], first["oven.lamp"], first["feed@L1K-N/idle"]) == ("dark", "dark", "dead")
    assert (second["oven.bake.heat"], second["drop@L2-L2K/called"]) == ("none", "much")
    assert not {"display", "oven.lamp", "feed@L1K-N/idle"} & set(second)
    for seen in (first, second):
        assert not any(key.startswith(("surface.", "volts@")) for key in seen)


def test_a_bad_joint_in_a_link_loses_volts_under_load() -> None:
    """By hand: 2 ohm before 22.28 and 16.94 ohm side by side (9.62 ohm) hold 240 x 2 / 11.62 = 41.3 V."""
    drop = runs(Effect("link_l2", "resistive", (2.0,))).at["bake"].across("link_l2")[0]
    assert drop == pytest.approx(41.3, abs=0.5)
    seen = odd(Effect("link_l2", "resistive", (2.0,)))
    assert seen["drop@L2-L2K/called"] == "some"
    assert seen["oven.preheat"] == "slow"
    assert "contact.link_l2" not in seen  # rule 2.8.8: a meter's own current passes


def test_a_dead_control_is_told_from_a_control_without_supply() -> None:
    """OV-22: 120 V at its own pins."""
    assert "feed@CT-N/idle" not in odd(Effect("control", "dead"))
    starved = odd(Effect("control_supply", "open"))
    assert (starved["feed@CT-N/idle"], starved["display"]) == ("dead", "dark")
    assert "feed@L1K-N/idle" not in starved


# --- cut-out and fans --------------------------------------------------------------------------------------------
def test_where_the_cutout_sits_decides_what_goes_dark() -> None:
    """OV-09: in the control's feed the display goes, in the elements' line only the heat."""
    early = Effect("cutout", "opens_warm")
    assert "oven.warm_display" not in odd(early)
    assert odd(early, wiring=CONTROL_CUTOUT)["oven.warm_display"] == "dark"
    for wiring in (OVEN, CONTROL_CUTOUT):
        quits = odd(early, wiring=wiring)
        assert (quits["oven.bake.quits"], quits["oven.broil.quits"]) == ("quits", "quits")


def test_volts_across_an_open_cutout() -> None:
    """Test t_tco at work: 240 V in the elements' line by back-feed, 120 V in the control's feed."""
    across = [runs(Effect("cutout", "open"), wiring=w).at["bake"].across("cutout")[0] for w in (OVEN, CONTROL_CUTOUT)]
    assert across == pytest.approx([240, 120], abs=1)


def test_a_fan_stands_still_for_three_reasons() -> None:
    """OV-19: winding open, seized with its 120 V, or no line."""
    names = ("oven.fan", "winding.convection_fan", "load_volts@CF-N/called")
    reasons = {
        Effect("convection_fan", "open"): ("still", "open", None),
        Effect("convection_fan", "seized"): ("still", None, None),
        Effect("convection_fan_relay", "open"): ("still", None, "dead"),
    }
    for effect, expected in reasons.items():
        assert tuple(odd(effect).get(name) for name in names) == expected
    assert "oven.convection.heat" not in odd(Effect("convection_fan", "seized"))
    assert check_effect(OVEN, Effect("bake_element", "seized"), None)


def test_an_oven_may_have_no_cooling_fan() -> None:
    bare = wire(replace(BOOK.appliances["wall_oven"], cooling_fan=False))
    assert "cooling_fan" not in bare.impedance
    assert "oven.cooling_air" not in shown(wiring=bare)


# --- lamp --------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("effect", "called", "door", "off"),
    [
        (Effect("oven_lamp", "open"), "dark", "dark", None),
        (Effect("lamp_socket", "open"), "dark", "dark", None),
        (Effect("lamp_switch", "open"), "dark", None, None),
        (Effect("door_switch", "open"), None, "dark", None),
        (Effect("lamp_switch", "welded"), None, None, "lit"),
        (Effect("door_switch", "welded"), None, None, "lit"),
    ],
)
def test_the_lamp_and_its_two_switches(effect: Effect, called: str | None, door: str | None, off: str | None) -> None:
    """OV-21."""
    seen = odd(effect)
    assert (seen.get("oven.lamp"), seen.get("oven.lamp_door"), seen.get("oven.lamp_off")) == (called, door, off)


# --- the other cavity --------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("effect", "other"),
    [
        (Effect("double_line_break", "open"), None),
        (Effect("sensor", "open"), None),
        (Effect("cutout", "open"), None),
        (Effect("link_l2", "open"), "none"),
        (Effect("leg_l2", "open"), "none"),
        (Effect("control", "dead"), "none"),
        (Effect("setting", "demo"), "none"),
    ],
)
def test_the_other_cavity_is_a_witness(effect: Effect, other: str | None) -> None:
    """It shares legs, links and control; line break, cut-out and sensor are each cavity's own."""
    seen = odd(effect, wiring=DOUBLE)
    assert seen["oven.bake.heat"] == "none"
    assert seen.get("other_oven.heat") == other
    assert "other_oven.heat" not in shown(effect)
