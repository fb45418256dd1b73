"""The branch circuit piece by piece: what each reading on the way from the panel to the block tells.

Numbers are worked out by hand beside each test, or stand in the domain dossier where it is named.
"""

from __future__ import annotations

import itertools
from dataclasses import replace

import pytest

from rules.appliance import observe_machines
from rules.appliance.injecting import Machine, check_effect, machines, stack
from rules.appliance.operating import Runs
from rules.appliance.sensing import room_sensor_ohms
from rules.appliance.wiring import LOW_IMPEDANCE_OHMS, METER_POINTS, Wiring, wire
from rules.bookkeeping.loading import load_book
from rules.bookkeeping.types import Effect, Unit

BOOK = load_book()
RANGE = wire(BOOK.appliances["radiant_range"])
OLDER = wire(BOOK.appliances["older_coil_range"])


def effect(part: str, mode: str, *amounts: float) -> Effect:
    return Effect(part, mode, amounts)


def runs(*effects: Effect, wiring: Wiring = RANGE) -> Runs:
    made = machines(wiring, effects, "left_front")
    return Runs(stack(wiring, made), room_sensor_ohms(wiring))


def shown(*effects: Effect, wiring: Wiring = RANGE) -> dict[str, str]:
    made = machines(wiring, effects, "left_front")
    return {key: str(words[0]) for key, words in observe_machines(wiring, made, BOOK.facts).items()}


@pytest.mark.parametrize(
    ("effects", "panel", "outlet", "cord"),
    [
        ([effect("breaker_l2", "open")], "leg_missing", "leg_missing", "right"),
        ([effect("leg_l2", "open")], "right", "leg_missing", "right"),
        ([effect("block_l2", "open")], "right", "right", "open"),
        ([effect("block_l2", "resistive", 3)], "right", "right", "high"),
        ([effect("neutral", "open")], "right", "neutral_missing", "right"),
        ([effect("block_n", "open")], "right", "right", "open"),
        ([effect("ground_wire", "open")], "right", "ground_missing", "right"),
        ([effect("cord", "l1_n_swapped")], "right", "right", "crossed"),
        ([effect("outlet", "l1_n_swapped")], "right", "crossed", "right"),
        ([effect("breaker", "open")], "dead", "dead", "right"),
        ([effect("supply", "208Y/120")], "two_oh_eight", "two_oh_eight", "right"),
        ([effect("supply", "low_voltage", 0.9)], "low", "low", "right"),
        ([effect("supply", "uneven", 0.2)], "uneven", "uneven", "right"),
        ([effect("supply", "one_leg_twice")], "same_leg", "same_leg", "right"),
    ],
)
def test_each_side_of_the_outlet_shows_its_own(effects: list[Effect], panel: str, outlet: str, cord: str) -> None:
    seen = shown(*effects)
    assert (seen["panel.supply"], seen["outlet.supply"], seen["cord.map"]) == (panel, outlet, cord)


@pytest.mark.parametrize("part", ["breaker_l2", "leg_l2", "block_l2"])
def test_at_the_block_the_sides_look_alike(part: str) -> None:
    """Table 2.7 A: 120/120/0 under load wherever the leg is lost, so the block alone cannot tell the side."""
    seen = shown(effect(part, "open"))
    assert [seen[f"volts@{points}/loaded"] for points in ("L1-N", "L2-N", "L1-L2")] == ["norm", "norm", "dead"]
    assert (seen["display"], seen["surface.heat@left_front"]) == ("lit", "none")


def test_half_an_ohm_at_the_block() -> None:
    """SUP-06: 0.5 ohm at 7 kW burns 378 W and leaves 226 V (domain); 27.5 A through it lose 13.7 V."""
    one = replace(BOOK.appliances["radiant_cooktop"], units=(Unit("left_front", (7000.0,)),))
    hot = runs(effect("block_l2", "resistive", 0.5), wiring=wire(one))
    assert hot.at["loaded"].watts(["block_l2"])[0] == pytest.approx(378, rel=0.02)
    assert hot.at["loaded"].between("L1", "L2")[0] == pytest.approx(226, abs=2)
    assert hot.at["loaded"].across("block_l2")[0] == pytest.approx(13.7, abs=0.2)
    assert shown(effect("block_l2", "resistive", 0.5), wiring=wire(one))["drop.block@L2"] == "high"


def test_a_loose_neutral_lug_drops_the_clock_s_current() -> None:
    """600 ohm beside the control's 2880 at 120 V take 20.7 V."""
    assert runs(effect("block_n", "resistive", 600)).at["idle"].across("block_n")[0] == pytest.approx(20.7, abs=0.2)
    assert shown(effect("block_n", "resistive", 600))["drop.block@N"] == "high"
    assert shown(effect("neutral", "resistive", 600))["drop.block@N"] == "right"


def test_volts_lost_in_the_wall_are_not_lost_at_the_block() -> None:
    seen = shown(effect("leg_l1", "resistive", 1))
    assert (seen["drop.wall@L1"], seen["drop.wall@L2"], seen["drop.block@L1"]) == ("high", "right", "right")


def test_a_low_impedance_range_drains_the_ghost_and_not_the_back_feed() -> None:
    """Table 2.7 A' and C: 36 V on 10 megohm is nothing on 3 kohm; through an element 119 V stay."""
    lost = runs(effect("leg_l2", "open"))
    assert lost.meter_volts("L2-N", "idle")[0] == pytest.approx(36, abs=1)
    assert lost.meter_volts("L2-N", "idle", LOW_IMPEDANCE_OHMS)[0] < 0.2
    assert lost.meter_volts("L2-N", "loaded", LOW_IMPEDANCE_OHMS)[0] == pytest.approx(119.5, abs=1)


@pytest.mark.parametrize("wiring", [RANGE, OLDER], ids=["4-wire", "3-wire"])
@pytest.mark.parametrize("state", ["idle", "loaded"])
def test_a_meter_by_thevenin_is_a_meter_that_is_fitted(wiring: Wiring, state: str) -> None:
    faults = [(), (effect("leg_l2", "open"),), (effect("neutral", "open"),), (effect("block_n", "resistive", 600),)]
    faults += [(effect("short_l1_n", "fitted"),), (effect("supply", "uneven", 0.3),)]
    made = [machine for effects in faults for machine in machines(wiring, effects, None)]
    both = Runs(stack(wiring, made), room_sensor_ohms(wiring))
    for points in METER_POINTS:
        fitted = both.at[f"meter {points} {state}"].across(f"meter {points}")
        assert both.meter_volts(points, state) == pytest.approx(fitted, abs=1e-3)


def test_a_neutral_lost_for_the_house_moves_neutral_and_ground_together() -> None:
    """30 % off centre: one leg 156 V, the other 84 V to neutral and to ground alike, 240 V between them."""
    uneven = runs(effect("supply", "uneven", 0.3))
    read = {points: uneven.meter_volts(points, "idle")[0] for points in METER_POINTS}
    assert read["L1-N"] == pytest.approx(156, abs=0.5)
    assert read["L2-G"] == pytest.approx(84, abs=0.5)
    assert read["L1-L2"] == pytest.approx(240, abs=0.5)
    assert read["N-G"] == pytest.approx(0, abs=0.1)


def test_a_neutral_lost_on_the_circuit_leaves_the_legs_right_against_ground() -> None:
    seen = shown(effect("block_n", "open"), effect("l2_load", "fitted", 360))
    assert (seen["volts@L1-G/idle"], seen["volts@L2-G/idle"]) == ("norm", "norm")
    assert (seen["volts@L1-N/idle"], seen["volts@N-G/idle"]) == ("high", "high")


def test_a_strap_lost_under_a_3_wire_cord_leaves_the_frame_to_float() -> None:
    seen = shown(effect("bond_strap", "open"), wiring=OLDER)
    assert (seen["strap"], seen["ohms.bond"], seen["volts@CH-G/idle"]) == ("missing", "open", "norm")
    leaky = effect("bake_element", "grounded", 0.1), effect("double_line_break", "welded")
    live = runs(effect("bond_strap", "open"), *leaky, wiring=OLDER)
    assert live.meter_volts("CH-G", "idle")[0] == pytest.approx(120, abs=1)  # any leak makes it live


def test_a_leg_on_the_frame_is_told_by_the_frame() -> None:
    seen = shown(effect("cord", "l1_g_swapped"))
    assert (seen["volts@CH-G/idle"], seen["cord.map"]) == ("high", "crossed")


def test_ground_faults_of_wall_and_cord() -> None:
    wall, cord = shown(effect("ground_wire", "open")), shown(effect("plug_g", "open"))
    assert (wall["ohms.bond"], wall["outlet.supply"]) == ("sound", "ground_missing")
    assert (cord["ohms.bond"], cord["outlet.supply"]) == ("open", "right")


def test_all_at_once_is_60_amperes() -> None:
    """8400 W of units and 5985 W of oven at 240 V are 59.9 A: 120 % of 50 A hold, 150 % of 40 A trip in the hour."""
    assert runs().at["everything"].amps("breaker_l1")[0] == pytest.approx(14385 / 240, rel=0.02)
    assert shown()["breaker.all_on"] == "holds"
    smaller = wire(replace(BOOK.appliances["radiant_range"], breaker_amps=40.0))
    seen = {key: words[0] for key, words in observe_machines(smaller, [Machine()], BOOK.facts).items()}
    assert (seen["breaker.all_on"], seen["breaker"], seen["amps.at_trip"]) == ("trips", "on", "above")


def test_a_weak_breaker_trips_below_its_rating_and_a_small_one_above() -> None:
    weak, small = shown(effect("breaker", "weak", 0.35)), shown(effect("breaker", "undersized", 20))
    assert (weak["breaker"], weak["amps.at_trip"], weak["breaker.rating"]) == ("trips_later", "below", "fits")
    assert (small["breaker"], small["amps.at_trip"], small["breaker.rating"]) == ("trips_later", "above", "too_small")


@pytest.mark.parametrize("points", ["L1-L2", "L1-CH", "L2-CH", "L1-N", "L2-N"])
def test_a_short_trips_at_once_and_leaves_the_range_dead(points: str) -> None:
    seen = shown(effect(f"short_{points.lower().replace('-', '_')}", "fitted"))
    assert (seen["breaker"], seen["breaker.after_reset"]) == ("trips_at_once", "trips_at_once")
    assert (seen["display"], seen["surface.heat@left_front"], seen["volts@L1-N/idle"]) == ("dark", "none", "dead")
    assert (seen["panel.supply"], seen["outlet.supply"]) == ("dead", "right")  # unplugged, the breaker holds
    shorted = [key for key, word in seen.items() if key.startswith("ohms.block") and word == "short"]
    assert shorted == [f"ohms.block@{points}"]


def test_reset_brings_back_only_a_breaker_that_was_off() -> None:
    assert shown(effect("breaker", "open"))["breaker.after_reset"] == "back"
    assert shown(effect("leg_l1", "open"))["breaker.after_reset"] == "no_change"


def test_unplugged_is_dead_with_its_breaker_on() -> None:
    seen = shown(*(effect(part, "open") for part in ("plug_l1", "plug_l2", "plug_n")))
    assert (seen["plug.in"], seen["breaker"], seen["display"], seen["outlet.supply"]) == ("out", "on", "dark", "right")
    assert shown(effect("cord", "l2_n_swapped"))["plug.in"] == "in"


def test_a_supply_that_sags_shows_only_while_the_other_load_runs() -> None:
    """12 % off 240 V are 211 V."""
    weak = runs(effect("supply", "sagging", 0.12))
    assert weak.at["loaded"].between("L1", "L2")[0] == pytest.approx(237, abs=2)
    assert weak.at["other load"].between("L1", "L2")[0] == pytest.approx(0.88 * 237, abs=2)
    assert shown(effect("supply", "sagging", 0.12))["surface.heat@left_front"] == "normal"


def test_whole_current_by_clamp() -> None:
    assert shown(effect("leg_l2", "open"))["amps.total"] == "none"
    assert shown(effect("supply", "208Y/120"))["amps.total"] == "low"  # 208/240 is 87 %


def test_fuses_of_an_older_range() -> None:
    """One fuse blown leaves all units cold; the pilot lamp is still fed, behind L1's fuse back through an element."""
    first = shown(effect("surface_fuse_l1", "open"), wiring=OLDER)
    second = shown(effect("surface_fuse_l2", "open"), wiring=OLDER)
    assert first["surface.heat@right_rear"] == second["surface.heat@right_rear"] == "none"
    assert first["oven.bake.heat"] == second["oven.bake.heat"] == "normal"
    assert (first["indicator.on@left_front"], second["indicator.on@left_front"]) == ("lit", "lit")
    assert (first["contact.surface_fuses"], second["contact.surface_fuses"]) == ("l1_blown", "l2_blown")
    assert "contact.surface_fuses" not in shown()


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        (effect("bake_element", "leaks_at", 1.5), "takes a share"),
        (effect("bake_element", "leaking"), "needs amounts"),
        (effect("breaker", "weak"), "needs amounts"),
        (effect("breaker", "open", 3), "takes no amounts"),
        (effect("supply", "uneven", 1.0), "above -1 and below 1"),
        (effect("supply", "sagging", -0.1), "above 0"),
        (effect("surface_fuse_l1", "open"), "no part"),
    ],
)
def test_impossible_effects_are_named(wrong: Effect, says: str) -> None:
    assert says in str(check_effect(RANGE, wrong, None))


def test_effects_on_one_element_add_up_in_any_order() -> None:
    effects = [effect("bake_element", "leaking", 9000), effect("bake_element", "leaks_at", 0.2)]
    effects += [effect("bake_element", "resistive", 5)]
    made = [machines(RANGE, order, None)[0] for order in itertools.permutations(effects)]
    assert all((m.ohms, m.conducting) == (made[0].ohms, made[0].conducting) for m in made)
    hard = [effect("bake_element", "grounded", 0.2), effect("bake_element", "leaking", 9000)]
    for order in (hard, hard[::-1]):
        assert "bake_element.to_frame" not in machines(RANGE, order, None)[0].ohms  # a hard ground wins over a leak
