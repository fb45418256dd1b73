"""What faults look like comes out of the circuit, as the terminal-block table says.

Numbers: nodal analysis of ideal 120 V legs (domain dossier, table 2.7); the ranges there were worked out apart from
this code. Words (which burners heat, what is lit): common practice, no source.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from rules.appliance import observe_machines
from rules.appliance.injecting import Machine, check_effect, machines, stack
from rules.appliance.operating import Runs
from rules.appliance.sensing import held_temperature_f, room_sensor_ohms
from rules.appliance.wiring import wire
from rules.bookkeeping.loading import load_book
from rules.bookkeeping.types import Effect
from rules.terms import fact_of

BOOK = load_book()
RANGE = wire(BOOK.appliances["radiant_range"])
COIL = wire(BOOK.appliances["coil_range"])


def simulated(*effects: tuple[str, str], amounts: tuple[float, ...] = ()) -> Runs:
    made = machines(RANGE, [Effect(part, mode, amounts) for part, mode in effects], "left_front")
    return Runs(stack(RANGE, made), room_sensor_ohms(RANGE))


def shown(*effects: tuple[str, str], amounts: tuple[float, ...] = ()) -> dict[str, str]:
    made = machines(RANGE, [Effect(part, mode, amounts) for part, mode in effects], "left_front")
    return {key: str(words[0]) for key, words in observe_machines(RANGE, made, BOOK.facts).items()}


@pytest.mark.parametrize("name", list(BOOK.appliances))
def test_a_sound_appliance_shows_the_usual(name: str) -> None:
    seen = observe_machines(wire(BOOK.appliances[name]), [Machine()], BOOK.facts)
    for key, words in seen.items():
        assert words[0] == BOOK.facts[fact_of(key)].usual, key


def test_leg_l2_open_reads_120_120_0_by_back_feed() -> None:
    runs = simulated(("leg_l2", "open"))
    volts = {
        points: runs.at[f"meter {points} loaded"].across(f"meter {points}")[0] for points in ("L1-N", "L2-N", "L1-L2")
    }
    assert volts["L1-N"] == pytest.approx(120, abs=0.5)
    assert volts["L2-N"] == pytest.approx(120, abs=0.5)
    assert volts["L1-L2"] == pytest.approx(0, abs=0.1)


def test_leg_l2_open_with_nothing_on_is_a_ghost() -> None:
    """Table 2.7 C: ghost 36-59 V on 10 megohm with 100 pF to 1 nF of coupling."""
    ghost = simulated(("leg_l2", "open")).at["meter L2-N idle"].across("meter L2-N")[0]
    assert 30 <= ghost <= 60


def test_leg_l1_open_wakes_the_display_through_an_element() -> None:
    """Table 2.7 D and E: all dead at rest; 119 V at the control with a burner on (2880 ohm behind 24 ohm)."""
    runs = simulated(("leg_l1", "open"))
    assert runs.at["idle"].across("control")[0] < 1
    assert runs.at["high left_front"].across("control")[0] == pytest.approx(120 * 2880 / (2880 + 24), abs=0.6)


def test_neutral_open_stands_at_line_voltage() -> None:
    """Table 2.7 G: the neutral stud reads 120 V to ground through the control alone."""
    assert simulated(("neutral", "open")).at["meter N-G idle"].across("meter N-G")[0] == pytest.approx(120, abs=0.5)


def test_208_gives_three_quarters() -> None:
    runs = simulated(("supply", "208Y/120"))
    watts = runs.at["high left_front"].watts(["left_front.element.a", "left_front.element.b"])[0]
    assert watts / 2400 == pytest.approx(0.7511, abs=0.006)


@pytest.mark.parametrize(("fraction", "amps"), [(0.5, 10.8), (0.25, 21.5), (0.13, 41.0)])
def test_a_grounded_element_with_the_other_side_open(fraction: float, amps: float) -> None:
    """Rule 2.8.3: I = 120/(xR) for 22.28 ohm; here the bake relay is welded and the common relay rests open."""
    made = machines(RANGE, [Effect("bake_element", "grounded", (fraction,)), Effect("bake_relay", "welded")], None)
    runs = Runs(stack(RANGE, made), room_sensor_ohms(RANGE))
    assert runs.at["idle"].amps("bake_element.a")[0] == pytest.approx(amps, rel=0.02)


def test_words() -> None:
    assert shown(("leg_l2", "open"))["display"] == "lit"
    assert shown(("leg_l2", "open"))["surface.heat@right_rear"] == "none"
    wakes = shown(("leg_l1", "open"))
    assert (wakes["display"], wakes["display.with_burner_on"]) == ("dark", "lit")
    neutral = shown(("neutral", "open"))
    assert (neutral["display"], neutral["surface.heat@left_front"], neutral["oven.lamp"]) == ("dark", "normal", "dark")
    welded = shown(("{where}.cycling_contact", "welded"))
    assert (welded["surface.low_heat@left_front"], welded["surface.off_heat@left_front"]) == ("full", "none")
    assert shown(("{where}.hot_contact", "welded"))["hot_light.cold@left_front"] == "lit"
    assert shown(("{where}.pilot_contact", "welded"))["indicator.off"] == "lit"
    bake = shown(("bake_element", "open"))
    assert (bake["oven.browning"], bake["oven.preheat"], bake["oven.broil.heat"]) == ("pale_below", "slow", "normal")
    assert shown(("double_line_break", "welded"))["oven.off_heat"] == "none"  # latent: nothing to see at rest


def test_a_welded_bake_relay_is_silent_at_rest_and_runs_away_in_use() -> None:
    """Rule 2.8.5: the double-line-break relay masks it at idle."""
    seen = shown(("bake_relay", "welded"))
    assert (seen["oven.off_heat"], seen["oven.offset"]) == ("none", "far_high")
    both = machines(RANGE, [Effect("bake_relay", "welded"), Effect("double_line_break", "welded")], None)
    assert observe_machines(RANGE, both, BOOK.facts)["oven.off_heat"][0] == "some"


@pytest.mark.parametrize(("ohms", "word"), [(20.0, "right"), (40.0, "low"), (100.0, "far_low")])
def test_added_sensor_resistance_makes_the_oven_cold(ohms: float, word: str) -> None:
    """Domain C3: 20 ohm are -10 F at 350 F on the 3750 curve, 50 ohm -25 F."""
    assert shown(("sensor", "in_series"), amounts=(ohms,))["oven.offset"] == word


def test_each_place_has_its_own_fault() -> None:
    made = machines(COIL, [Effect("{where}.element", "open")], "right_rear")
    seen = observe_machines(COIL, made, BOOK.facts)
    assert seen["surface.heat@right_rear"][0] == "none"
    assert seen["surface.heat@left_front"][0] == "normal"


@pytest.mark.parametrize(
    ("effect", "says"),
    [
        (Effect("bake_elemnt", "open"), "did you mean 'bake_element'"),
        (Effect("bake_element", "welded"), "open, shorted, grounded"),
        (Effect("sensor", "in_series"), "needs amounts"),
        (Effect("leg_l1", "open", (3.0,)), "takes no amounts"),
    ],
)
def test_impossible_effects_are_named(effect: Effect, says: str) -> None:
    assert says in str(check_effect(RANGE, effect, None))


def test_a_probe_of_the_other_curve_makes_a_cold_cavity() -> None:
    """OV-17: a 3851 probe on a 3750 control, set 350 F, holds 341 F (domain C2)."""
    made = machines(RANGE, [Effect("sensor", "other_curve")], None)
    runs = Runs(stack(RANGE, made), room_sensor_ohms(RANGE))
    assert held_temperature_f(runs, "3750")[0] == pytest.approx(341.0, abs=0.2)


@pytest.mark.parametrize(("part", "word"), [("short_l1_l2", "trips_at_once"), ("short_l1_ch", "trips_at_once")])
def test_a_short_at_the_block_trips_at_once(part: str, word: str) -> None:
    assert shown((part, "fitted"))["breaker"] == word


def test_a_lost_neutral_under_a_strap_makes_the_frame_live() -> None:
    """Table 2.7 G': 3-wire with strap, neutral open, control on L1: 31 mA through a person of 1 kilohm."""
    old = wire(replace(BOOK.appliances["radiant_range"], cord="3-wire"))
    effects = [Effect("neutral", "open"), Effect("person", "fitted")]
    runs = Runs(stack(old, machines(old, effects, None)), room_sensor_ohms(old))
    assert runs.at["idle"].amps("person")[0] * 1000 == pytest.approx(31, abs=0.5)


def test_a_miswired_cord_puts_line_voltage_on_120_volt_parts() -> None:
    """SUP-12: the control sees 240 V or its neutral is a leg; nothing survives to show a display."""
    runs = simulated(("cord", "l2_n_swapped"))
    assert runs.at["idle"].across("control")[0] == pytest.approx(240, abs=2)
    assert shown(("cord", "l2_n_swapped"))["display"] == "dark"


def test_two_faults_at_once() -> None:
    seen = shown(("bake_element", "open"), ("broil_element", "open"))
    assert (seen["oven.bake.heat"], seen["oven.glow"], seen["surface.heat@left_front"]) == ("none", "neither", "normal")


def test_a_welded_limiter_no_longer_protects() -> None:
    """RU-05: the limiter never opens, so the ring heats where a sound one is cut off."""
    ring = ["left_front.element.a", "left_front.element.b"]
    assert simulated(("leg_l1", "shorted")).at["limited left_front"].watts(ring)[0] < 1
    assert simulated(("{where}.high_limit", "welded")).at["limited left_front"].watts(ring)[0] > 2000


def test_a_welded_cut_out_no_longer_protects() -> None:
    bake = ["bake_element.a", "bake_element.b"]
    assert simulated(("leg_l1", "shorted")).at["cut out"].watts(bake)[0] < 1
    assert simulated(("cutout", "welded")).at["cut out"].watts(bake)[0] > 2000


def test_a_coil_limiter_that_stays_open_leaves_the_coil_cold() -> None:
    made = machines(COIL, [Effect("{where}.coil_limiter", "open")], "left_front")
    assert observe_machines(COIL, made, BOOK.facts)["surface.heat@left_front"][0] == "none"


def test_the_door_switch_lights_the_lamp_too() -> None:
    runs = simulated(("door_switch", "welded"))
    assert runs.at["idle"].watts(["oven_lamp"])[0] == pytest.approx(40, rel=0.05)
