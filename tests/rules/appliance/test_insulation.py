"""Leaks to the frame, state by state (domain 2.8, rule 4: 10 kohm on the bake element of 22.28 ohm)."""

from __future__ import annotations

from dataclasses import replace

import pytest

from rules.appliance import observe_machines
from rules.appliance.injecting import machines, stack
from rules.appliance.operating import Runs
from rules.appliance.seen.insulation import leak_ma
from rules.appliance.sensing import room_sensor_ohms
from rules.appliance.wiring import Wiring, wire
from rules.bookkeeping.loading import load_book
from rules.bookkeeping.types import Effect

BOOK = load_book()
RANGE = wire(BOOK.appliances["radiant_range"])
OLDER = wire(BOOK.appliances["older_coil_range"])


def leaking(element: str, ohms: float, at: float) -> list[Effect]:
    return [Effect(element, "leaking", (ohms,)), Effect(element, "leaks_at", (at,))]


def runs(effects: list[Effect], wiring: Wiring = RANGE) -> Runs:
    return Runs(stack(wiring, machines(wiring, effects, "left_front")), room_sensor_ohms(wiring))


def shown(effects: list[Effect], wiring: Wiring = RANGE) -> dict[str, str]:
    made = machines(wiring, effects, "left_front")
    return {key: str(words[0]) for key, words in observe_machines(wiring, made, BOOK.facts).items()}


@pytest.mark.parametrize(("at", "heating"), [(0.001, 12.0), (0.25, 6.0), (0.5, 0.0), (0.75, 6.0), (0.999, 12.0)])
def test_where_the_leak_sits_decides_what_flows_while_it_heats(at: float, heating: float) -> None:
    """Rule 4: at the ends 12 mA, at a quarter 6, in the middle 0; with one side open 12 mA everywhere."""
    leaks = runs(leaking("bake_element", 10_000, at))
    assert leak_ma(leaks, "bake")[0] == pytest.approx(heating, abs=0.15)
    assert leak_ma(leaks, "bake rest")[0] == pytest.approx(12.0, abs=0.15)
    assert leak_ma(leaks, "idle")[0] == pytest.approx(0, abs=0.01)


def test_a_surface_leak_flows_as_the_infinite_switch_rests() -> None:
    leaks = runs(leaking("{where}.element", 10_000, 0.5))
    assert leak_ma(leaks, "high left_front")[0] == pytest.approx(0, abs=0.15)
    assert leak_ma(leaks, "low rest left_front")[0] == pytest.approx(12.0, abs=0.15)
    assert leak_ma(leaks, "high right_rear")[0] == pytest.approx(0, abs=0.01)


@pytest.mark.parametrize(
    ("element", "ohms", "at", "trips"),
    [
        ("bake_element", 10_000, 0.5, "rests"),
        ("bake_element", 6_000, 0.1, "heats"),
        ("bake_element", 25_000, 0.05, "holds"),  # 4.8 mA at most: it may trip, and is not said to
        ("{where}.element", 10_000, 0.5, "rests"),
    ],
)
def test_when_a_ground_fault_breaker_trips(element: str, ohms: float, at: float, trips: str) -> None:
    """Class A: 6 mA and more, never below 4."""
    assert shown(leaking(element, ohms, at))["gfci.trips"] == trips


@pytest.mark.parametrize(
    ("effects", "on"),
    [
        ([], "none"),
        (leaking("{where}.element", 10_000, 0.5), "burner"),
        (leaking("bake_element", 6_000, 0.1), "oven"),
        (leaking("bake_element", 25_000, 0.05), "none"),
        ([*leaking("bake_element", 6_000, 0.1), *leaking("{where}.element", 6_000, 0.1)], "either"),
        ([Effect("bond_strap", "fitted", ())], "either"),
    ],
)
def test_what_has_to_be_on_for_the_breaker_to_trip(effects: list[Effect], on: str) -> None:
    """One element's leak trips with that element; 18 mA of the clock's own current trip whatever is on."""
    assert shown(effects)["trips.with"] == on


def test_an_overload_trips_with_what_draws_it() -> None:
    """A 40 A breaker that holds a third carries 13.5 A and lets go at 18 A: bake and broil together draw more."""
    weak = [Effect("breaker", "weak", (0.33,))]
    assert shown(weak)["trips.with"] == "oven"


def test_between_four_and_six_milliamperes_it_may_trip() -> None:
    """120 V over 25 kohm are 4.8 mA."""
    assert shown(leaking("broil_element", 25_000, 0.05))["leak.resting"] == "may_trip"


def test_a_strap_left_on_shares_the_clock_s_current() -> None:
    """41.7 mA of the control: 0.029 ohm of neutral beside 0.037 ohm of strap, ground wire and blade give 18.3 mA."""
    strap = [Effect("bond_strap", "fitted", ())]
    assert leak_ma(runs(strap), "idle")[0] == pytest.approx(1000 * 120 / 2880 * 0.029 / 0.066, rel=0.01)
    assert shown(strap)["gfci.trips"] == "off"


def test_exchanged_neutral_and_ground_look_like_a_leak_of_everything() -> None:
    swapped = [Effect("cord", "n_g_swapped", ())]
    assert leak_ma(runs(swapped), "idle")[0] == pytest.approx(1000 * 120 / 2880, rel=0.01)
    assert shown(swapped)["display"] == "lit"


def test_without_a_ground_nothing_returns_by_it() -> None:
    """On a 3-wire cord the leak goes back over the strap inside the clamp; with the ground open it goes nowhere."""
    leak = leaking("bake_element", 6_000, 0.1)
    assert shown(leak, OLDER)["gfci.trips"] == "holds"
    assert shown(leak, OLDER)["insulation.bake"] == "leaking"
    opened = [*leak, Effect("ground_wire", "open", ())]
    assert leak_ma(runs(opened), "bake rest")[0] == 0
    assert runs(opened).meter_volts("CH-G", "idle")[0] == pytest.approx(0, abs=0.5)


def test_insulation_words() -> None:
    assert shown([])["insulation.bake"] == "sound"
    assert shown(leaking("bake_element", 20_000, 0.5))["insulation.bake"] == "leaking"
    assert shown([Effect("bake_element", "grounded", (0.5,))])["insulation.bake"] == "grounded"
    seen = shown(leaking("{where}.element", 20_000, 0.5))
    assert (seen["insulation.element@left_front"], seen["insulation.element@right_rear"]) == ("leaking", "sound")


def test_heat_is_not_touched_by_a_leak() -> None:
    seen = shown(leaking("bake_element", 6_000, 0.1))
    assert (seen["oven.bake.heat"], seen["breaker"], seen["ohms.bake"]) == ("normal", "on", "right")


def test_hard_wired_ranges_leak_by_their_ground_too() -> None:
    fixed = wire(replace(BOOK.appliances["wall_oven"], cord="hard-wired"))
    assert leak_ma(runs(leaking("bake_element", 10_000, 0.5), fixed), "bake rest")[0] == pytest.approx(12, abs=0.15)
