"""Expected readings: back-feed, ghosts, dead readings with and without a lifted lead.

Numbers of the terminal block: domain dossier, table 2.7 (nodal analysis with ideal legs, worked out apart).
"""

from __future__ import annotations

import math

import pytest

from rules.appliance.injecting import Machine, machines, stack
from rules.appliance.measuring import LOADS, POINTS, Probe, expected, places
from rules.appliance.operating import Runs
from rules.appliance.sensing import room_sensor_ohms
from rules.appliance.wiring import wire
from rules.bookkeeping.loading import load_book
from rules.bookkeeping.types import Effect
from rules.electrical.elements import cold_band
from rules.terms import BookError, InputError

BOOK = load_book()
RANGE = wire(BOOK.appliances["radiant_range"])


def reads(probe: Probe, *effects: tuple[str, str], amounts: tuple[float, ...] = ()) -> float:
    made = machines(RANGE, [Effect(part, mode, amounts) for part, mode in effects], "left_front")
    return expected(RANGE, made, probe)[0].value


L2_LOST = ("leg_l2", "open")


def test_a_low_impedance_meter_does_not_remove_a_back_feed() -> None:
    """Case A': 119 V on 3 kilohm through an element."""
    assert reads(Probe("volts", "L2-N", "loaded", "low_impedance"), L2_LOST) == pytest.approx(119.5, abs=1)
    assert reads(Probe("volts", "L1-L2", "loaded", "low_impedance"), L2_LOST) < 1


def test_a_low_impedance_meter_clears_a_ghost() -> None:
    """Case C: 36 V on 10 megohm with 100 pF each way, under 0.2 V on 3 kilohm."""
    assert reads(Probe("volts", "L2-N", "idle"), L2_LOST) == pytest.approx(36, abs=1)
    assert reads(Probe("volts", "L2-N", "idle", "low_impedance"), L2_LOST) < 0.2


def test_an_open_bake_element_still_has_its_voltage() -> None:
    assert reads(Probe("volts", "bake_element", "bake"), ("bake_element", "open")) == pytest.approx(240, abs=2)
    assert reads(Probe("amps", "bake_element", "bake"), ("bake_element", "open")) < 0.001


def test_the_common_relay_s_far_side_is_fed_back() -> None:
    """OV-07: the far side of the open relay is fed from L1 through the elements, so the relay has 240 V across it."""
    assert reads(Probe("volts", "double_line_break", "bake"), ("double_line_break", "open")) == pytest.approx(
        240, abs=2
    )


def test_half_voltage_after_a_swapped_neutral() -> None:
    """SUP-12: neutral and a leg exchanged give 120 V across L1-L2 and line voltage to the frame on N."""
    swapped = ("cord", "l1_n_swapped")
    assert reads(Probe("volts", "L1-L2", "idle"), swapped) == pytest.approx(120, abs=1)
    assert reads(Probe("volts", "N-CH", "idle"), swapped) == pytest.approx(120, abs=1)


def test_a_dead_element_reads_its_watts() -> None:
    assert reads(Probe("ohms", "bake_element")) == pytest.approx(240**2 / 2585, rel=1e-6)
    assert reads(Probe("ohms", "bake_element"), ("bake_element", "open")) == math.inf


def test_without_a_lifted_lead_the_meter_reads_round_the_part() -> None:
    """One unit's open pilot contact: the others' share its two nodes, so in the circuit it reads closed."""
    probe = Probe("ohms", "left_front.pilot_contact", "high right_front", lifted=False)
    assert reads(Probe("ohms", "left_front.pilot_contact", "high right_front")) == math.inf
    assert reads(probe) < 1


def test_a_welded_contact_reads_closed_at_rest() -> None:
    assert reads(Probe("ohms", "bake_relay")) == math.inf
    assert reads(Probe("ohms", "bake_relay"), ("bake_relay", "welded")) < 0.1


@pytest.mark.parametrize(("effect", "ohms"), [("in_series", 1130.0), ("open", math.inf), ("shorted", 0.01)])
def test_sensor_at_room_temperature(effect: str, ohms: float) -> None:
    """1080 ohm at 70 F on the 3750 ppm curve (domain C2)."""
    amounts = (50.0,) if effect == "in_series" else ()
    assert reads(Probe("ohms", "sensor"), ("sensor", effect), amounts=amounts) == pytest.approx(ohms, rel=2e-4)


def test_every_place_can_be_probed_in_every_state() -> None:
    """No reading ends in a traceback or in a number that is none."""
    made = [Machine(), *machines(RANGE, [Effect("leg_l1", "open")], None)]
    for at in places(RANGE):
        for quantity in ("volts", "ohms"):
            loads = at in LOADS or at in POINTS or at.endswith("hot_lamp")
            if (at == "sensor" and quantity == "volts") or (quantity == "ohms" and loads):
                continue
            for entry in expected(RANGE, made, Probe(quantity, at)):  # type: ignore[arg-type]
                assert not math.isnan(entry.value)
                assert entry.low <= entry.high
                assert entry.holds(entry.value)


@pytest.mark.parametrize(
    ("probe", "says"),
    [
        (Probe("volts", "bake_elemnt"), "did you mean 'bake_element'"),
        (Probe("volts", "L1-N", "roast"), "write one of idle"),
        (Probe("amps", "L1-N"), "name a part"),
        (Probe("volts", "sensor"), "ohms only"),
    ],
)
def test_impossible_probes(probe: Probe, says: str) -> None:
    with pytest.raises(InputError, match=says):
        expected(RANGE, [Machine()], probe)


@pytest.mark.parametrize("turned", [False, True])
def test_two_faults_do_not_depend_on_their_order(turned: bool) -> None:
    """A burnt-through element that touches its sheath is open and grounded, however it is written down."""
    effects = [Effect("bake_element", "open"), Effect("bake_element", "grounded", (0.5,))]
    made = machines(RANGE, effects[::-1] if turned else effects, None)
    assert expected(RANGE, made, Probe("ohms", "bake_element"))[0].value == math.inf
    sensor = [Effect("sensor", "open"), Effect("sensor", "in_series", (50.0,))]
    made = machines(RANGE, sensor[::-1] if turned else sensor, None)
    assert expected(RANGE, made, Probe("ohms", "sensor"))[0].value == math.inf


def test_resistances_in_line_add_up() -> None:
    effects = [Effect("sensor", "in_series", (50.0,)), Effect("sensor", "in_series", (30.0,))]
    assert expected(RANGE, machines(RANGE, effects, None), Probe("ohms", "sensor"))[0].value == pytest.approx(
        1160, abs=1
    )


def test_a_contact_is_not_open_and_welded() -> None:
    with pytest.raises(BookError, match="open and welded"):
        machines(RANGE, [Effect("bake_relay", "open"), Effect("bake_relay", "welded")], None)


@pytest.mark.parametrize(("share", "milliamps"), [(1.0, 12.0), (0.25, 6.0), (0.5, 0.0)])
def test_a_damp_element_leaks_by_where_it_leaks(share: float, milliamps: float) -> None:
    """Rule 2.8.4, 10 kilohm: ends 12 mA, quarter 6, middle 0 with both legs on."""
    effects = [
        Effect("bake_element", "grounded", (share,)),
        Effect("bake_element.to_frame", "fitted", (10000.0,)),
    ]
    runs = Runs(stack(RANGE, machines(RANGE, effects, None)), room_sensor_ohms(RANGE))
    assert runs.at["bake"].amps("bake_element.to_frame")[0] * 1000 == pytest.approx(milliamps, abs=0.15)


def test_both_hots_on_one_leg() -> None:
    assert reads(Probe("volts", "L1-L2", "idle"), ("supply", "one_leg_twice")) < 1
    assert reads(Probe("volts", "L2-N", "idle"), ("supply", "one_leg_twice")) == pytest.approx(120, abs=1)


def test_any_two_nodes_can_be_probed() -> None:
    """SC-08: one side of the element stays live with the knob off; OV-08: the far side of a welded common relay."""
    welded = ("{where}.line_contact", "welded")
    assert reads(Probe("volts", "left_front.H1-CH"), welded) == pytest.approx(120, abs=1)
    assert reads(Probe("volts", "L2B-CH"), ("double_line_break", "welded")) == pytest.approx(120, abs=1)


def test_a_ghost_has_a_wide_band() -> None:
    """Domain C14: 36 V at 100 pF, 59 V at 1 nF on a 10 megohm meter."""
    made = machines(RANGE, [Effect("leg_l2", "open")], None)
    ghost = expected(RANGE, made, Probe("volts", "L2-N", "idle"))[0]
    assert ghost.holds(36.0)
    assert ghost.holds(59.0)
    assert not ghost.holds(120.0)


@pytest.mark.parametrize("at", ["oven_lamp", "cooling_fan", "control", "L1-N"])
def test_loads_have_no_steady_ohms(at: str) -> None:
    with pytest.raises(InputError, match="no steady ohms"):
        expected(RANGE, [Machine()], Probe("ohms", at))


def test_the_element_s_band_is_the_verdict_s_own() -> None:
    band = expected(RANGE, [Machine()], Probe("ohms", "bake_element"))[0]
    assert (band.low, band.high) == pytest.approx(cold_band(2585.0), rel=1e-3)


def test_a_relay_that_parts_when_hot_reads_so_only_then() -> None:
    """OV-24: good cold, the line voltage across the contact once it has quit."""
    joint = ("bake_relay", "opens_warm")
    assert reads(Probe("volts", "bake_relay", "bake"), joint) < 0.5
    assert reads(Probe("volts", "bake_relay", "warm bake"), joint) == pytest.approx(240, abs=2)
