"""Keypad, latch and settings: what the control makes of them, and what is seen.

What each must show is the domain dossier's 2.5 (door lock), 2.6 (settings) and OV-23 (keypad): common practice, no
source. Volts and ohms are worked out by hand beside each.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from rules.appliance import observe_machines
from rules.appliance.injecting import check_effect, machines, stack
from rules.appliance.operating import Runs
from rules.appliance.panel import Panel, Panels
from rules.appliance.sensing import room_sensor_ohms
from rules.appliance.wiring import LOCK_MOTOR_OHMS, wire
from rules.bookkeeping.loading import load_book
from rules.bookkeeping.types import Effect

BOOK = load_book()
RANGE = wire(BOOK.appliances["radiant_range"])


def runs(*effects: Effect) -> Runs:
    return Runs(stack(RANGE, machines(RANGE, effects, None)), room_sensor_ohms(RANGE))


def shown(*effects: Effect) -> dict[str, str]:
    seen = observe_machines(RANGE, machines(RANGE, effects, None), BOOK.facts)
    return {key: str(words[0]) for key, words in seen.items()}


# --- keypad ------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("effect", "keys", "rest", "pressed", "bake"),
    [
        (Effect("keypad", "bridged", (100,)), "stuck", "short", "closes", "none"),
        (Effect("keypad", "bridged", (5000,)), "stuck", "leak", "closes", "none"),
        (Effect("keypad", "bridged", (200_000,)), "respond", "leak", "closes", "normal"),  # too weak to be a key
        (Effect("keypad", "line_open", (1,)), "some", "open", "open", "none"),  # the start key's line
        (Effect("keypad", "line_open", (2,)), "some", "open", "open", "normal"),
        (Effect("keypad", "open"), "dead", "open", "open", "none"),
        (Effect("keypad_ribbon", "open"), "dead", "open", "closes", "none"),  # sound at its own tail
        (Effect("control", "hung"), "dead", "open", "closes", "none"),
    ],
)
def test_keypad(effect: Effect, keys: str, rest: str, pressed: str, bake: str) -> None:
    seen = shown(effect)
    assert (seen["oven.keys"], seen["ohms.keypad"], seen["ohms.dead_key"]) == (keys, rest, pressed)
    assert (seen["oven.bake.heat"], seen["display"], seen["surface.heat@left_front"]) == (bake, "lit", "normal")


def test_a_loose_ribbon_hides_a_stuck_key() -> None:
    """With the ribbon off the control cannot see the key that is held down."""
    seen = shown(Effect("keypad", "bridged", (100,)), Effect("keypad_ribbon", "open"))
    assert (seen["oven.keys"], seen["display.code"], seen["ohms.keypad"]) == ("dead", "no", "short")


def test_boards_that_do_not_hear_each_other() -> None:
    seen = shown(Effect("board_link", "open"))
    assert (seen["oven.keys"], seen["display.code"], seen["oven.bake.heat"]) == ("respond", "yes", "none")


# --- settings ----------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("mode", "symbol", "keys", "clock"),
    [
        ("locked", "lock", "locked", "steady"),
        ("demo", "demo", "respond", "steady"),
        ("delayed", "timer", "respond", "steady"),
        ("sabbath", "sabbath", "locked", "steady"),
        ("clock_unset", "none", "respond", "flashing"),
    ],
)
def test_settings_stop_the_oven_and_nothing_else(mode: str, symbol: str, keys: str, clock: str) -> None:
    seen = shown(Effect("setting", mode))
    assert (seen["symbols"], seen["oven.keys"], seen["clock"]) == (symbol, keys, clock)
    assert (seen["oven.bake.heat"], seen["surface.heat@left_front"], seen["display.code"]) == ("none", "normal", "no")


@pytest.mark.parametrize(("offset", "word"), [(-35.0, "low"), (-5.0, "low"), (5.0, "high"), (35.0, "high")])
def test_a_correction_is_told_from_a_sensor_by_looking_it_up(offset: float, word: str) -> None:
    """Both shift the oven; only the correction stands in the settings, and only the sensor reads off its curve."""
    menu = shown(Effect("setting", "offset_f", (offset,)))
    assert (menu["control.offset"], menu["ohms.sensor"]) == (word, "right")
    sensor = shown(Effect("sensor", "in_series", (80.0,)))
    assert (sensor["control.offset"], sensor["ohms.sensor"]) == ("zero", "high")


# --- door lock ---------------------------------------------------------------------------------------------------
LATCH = {
    "still hot": [Effect("latch", "held_at", (1,))],
    "motor open": [Effect("lock_motor", "open")],
    "gear seized": [Effect("lock_gear", "seized")],
    "jammed": [Effect("latch", "jammed", (0,))],
    "jammed midway": [Effect("latch", "jammed", (0.6,))],
    "relay": [Effect("lock_relay", "open")],
    "locked switch open": [Effect("locked_switch", "open")],
    "locked switch stuck": [Effect("locked_switch", "welded")],
    "home switch open": [Effect("unlocked_switch", "open")],
    "home switch stuck": [Effect("unlocked_switch", "welded")],
    "door ajar": [Effect("latch", "misses")],
    "sensor open": [Effect("sensor", "open")],
}


@pytest.mark.parametrize(
    ("name", "locked", "starts", "bakes", "sound"),
    [
        ("still hot", "yes", "starts", "none", "short"),
        ("motor open", "no", "refuses", "normal", "silent"),
        ("gear seized", "no", "refuses", "normal", "hums"),
        ("jammed", "no", "refuses", "normal", "hums"),
        ("jammed midway", "yes", "refuses", "none", "hums"),
        ("relay", "no", "refuses", "normal", "silent"),
        ("locked switch open", "no", "refuses", "normal", "runs_on"),
        ("locked switch stuck", "no", "refuses", "none", "short"),
        ("home switch open", "no", "refuses", "none", "short"),
        ("home switch stuck", "no", "refuses", "normal", "runs_on"),
        ("door ajar", "no", "refuses", "normal", "runs_on"),
        ("sensor open", "no", "refuses", "none", ""),  # the control asks nothing of its lock
    ],
)
def test_door_lock(name: str, locked: str, starts: str, bakes: str, sound: str) -> None:
    seen = shown(*LATCH[name])
    assert (seen["door.locked"], seen["clean.starts"], seen["oven.bake.heat"], seen["lock.sound"]) == (
        locked,
        starts,
        bakes,
        sound,
    )


def test_self_clean_heats_only_behind_a_locked_door() -> None:
    """A control that never sees the door locked gives its bake element nothing: 0 W, against 2585 W at 240 V."""
    bake = ["bake_element.a", "bake_element.b"]
    assert runs(Effect("oven_lamp", "open")).at["clean"].watts(bake)[0] == pytest.approx(2585, rel=0.03)
    for effect in (Effect("locked_switch", "open"), Effect("latch", "misses"), Effect("lock_motor", "open")):
        assert runs(effect).at["clean"].watts(bake)[0] == 0


def test_volts_at_the_lock_motor() -> None:
    """120 V on one that is called, an open one too (no current, no drop); none behind an open relay."""
    for effect in (Effect("oven_lamp", "open"), Effect("lock_motor", "open"), Effect("lock_gear", "seized")):
        assert runs(effect).at["locking"].across("lock_motor")[0] == pytest.approx(120, abs=0.5)
    assert runs(Effect("lock_relay", "open")).at["locking"].across("lock_motor")[0] < 1
    assert (
        shown(Effect("lock_motor", "resistive", (3 * LOCK_MOTOR_OHMS,)))["lock.sound"] == "silent"
    )  # a quarter of 5 W


def test_the_control_s_own_supply_tells_a_dead_board_from_a_dead_feed() -> None:
    """OV-22: 120 V at the control's pins and a dark display is the board; nothing there is its feed."""
    board, feed = shown(Effect("control", "dead")), shown(Effect("control_supply", "open"))
    assert (board["display"], board["feed@CT-N/idle"]) == ("dark", "norm")
    assert (feed["display"], feed["feed@CT-N/idle"]) == ("dark", "dead")
    assert runs(Effect("control", "dead")).at["idle"].across("control")[0] == pytest.approx(120, abs=0.5)


def test_a_joint_that_opens_hot_takes_the_display_with_it() -> None:
    seen = shown(Effect("control_supply", "opens_warm"))
    assert (seen["display"], seen["control.when_hot"]) == ("lit", "fails")


def test_a_clock_that_loses_the_time_with_the_lamp() -> None:
    """SUP-04, 200 ohm in the neutral: 120 x 2880/3080 = 112 V at rest, and 74 V with the 360 ohm lamp on."""
    loose = Effect("neutral", "resistive", (200,))
    assert runs(loose).at["idle"].across("control")[0] == pytest.approx(120 * 2880 / 3080, abs=0.5)
    assert runs(loose).at["lamp"].across("control")[0] == pytest.approx(120 * 320 / 520, abs=0.5)
    assert (shown(loose)["display"], shown(loose)["clock"]) == ("lit", "again")


# --- parts and amounts -------------------------------------------------------------------------------------------
def test_an_oven_without_self_clean_has_no_latch() -> None:
    plain = wire(replace(BOOK.appliances["radiant_range"], self_clean=False))
    assert "no part 'latch'" in str(check_effect(plain, Effect("latch", "misses"), None))
    seen = observe_machines(plain, machines(plain, [Effect("keypad", "open")], None), BOOK.facts)
    assert "door.locked" not in seen
    assert seen["oven.keys"][0] == "dead"


@pytest.mark.parametrize(
    ("effect", "says"),
    [
        (Effect("latch", "held_at"), "needs amounts"),
        (Effect("latch", "held_at", (1.5,)), "share of the latch's travel"),
        (Effect("latch", "jammed", (-0.1,)), "share of the latch's travel"),
        (Effect("keypad", "bridged", (0.0,)), "above 0"),
        (Effect("keypad_ribbon", "open", (1.0,)), "takes no amounts"),
        (Effect("locked_switch", "bent"), "open, welded"),
    ],
)
def test_impossible_effects_are_named(effect: Effect, says: str) -> None:
    assert says in str(check_effect(RANGE, effect, None))


def test_two_faults_on_the_keypad_add_up() -> None:
    """The lower of two bridges is what the control sees."""
    both = machines(RANGE, [Effect("keypad", "bridged", (5000,)), Effect("keypad", "bridged", (200,))], None)
    assert Panels([both[0].panel]).key_at_rest_ohms[0] == 200
    assert Panels([Panel()]).home_seen[0]
