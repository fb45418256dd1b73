"""The oven's control as it is seen and measured: keys, symbols, codes, clock, its own supply, keypad and boards."""

from __future__ import annotations

import numpy as np

from rules.appliance.injecting import SETTINGS
from rules.appliance.operating import SENSOR_LEAST, SENSOR_MOST, Runs, display_grade, seen_by_control
from rules.appliance.seen.common import Mask, Numbers, Observer, Words, words

_LOADS = ("lamp", "bake", "loaded")  # what may pull an ailing supply down


def _grade(runs: Runs, state: str) -> Numbers:
    return display_grade(runs.fleet, runs.at[state]).astype(np.float64)


def alive(runs: Runs) -> Mask:
    """Machines whose display can be read with everything switched off."""
    lit: Mask = _grade(runs, "idle") <= 1
    return lit


def _keys(runs: Runs, _: str) -> Words:
    panels = runs.fleet.panels
    shut = np.isin(runs.fleet.setting, ["locked", "sabbath"])
    conditions = [~alive(runs) | panels.all_keys_dead, panels.key_held, shut, panels.some_keys_dead]
    return words(conditions, ["dead", "stuck", "locked", "some"], "respond")


def _symbols(runs: Runs, _: str) -> Words:
    shown = [runs.fleet.setting == setting for setting in SETTINGS]
    return words([~alive(runs), *shown], ["", *SETTINGS.values()], "none")


def _code(runs: Runs, _: str) -> Words:
    """A control that checks itself shows a code for what it cannot believe: sensor, a key held down, latch, link."""
    sensor = seen_by_control(runs.fleet, np.full(len(runs.fleet), runs.room_sensor_ohms))
    odd = (sensor < SENSOR_LEAST) | (sensor > SENSOR_MOST) | runs.fleet.panels.key_held | runs.fleet.panels.link_open
    if runs.fleet.wiring.appliance.self_clean:
        odd |= _latch_odd(runs)
    return words([~alive(runs), odd], ["", "yes"], "no")


def _latch_odd(runs: Runs) -> Mask:
    """Both or neither position reported at rest, a latch that never arrives, or a held door that nothing can move."""
    panels = runs.fleet.panels
    odd: Mask = ~panels.place_known | (runs.willing & (~runs.can_clean | (panels.door_held & ~runs.lock_turns)))
    return odd


def _clock(runs: Runs, _: str) -> Words:
    """A display that goes dark for a moment comes back with its clock flashing."""
    idle = _grade(runs, "idle")
    worst = np.max([_grade(runs, state) for state in _LOADS], axis=0)
    again = (idle == 2) | ((idle <= 1) & (worst >= 2))
    unset = runs.fleet.setting == "clock_unset"
    return words([idle == 3, unset, again], ["", "flashing", "again"], "steady")


def _when_hot(runs: Runs, _: str) -> Words:
    quits = _grade(runs, "warm bake") >= 2
    return words([~alive(runs), quits], ["", "fails"], "same")


def _offset(runs: Runs, _: str) -> Numbers:
    """The correction that stands in the control's own settings, F."""
    return runs.fleet.offset_f


def _ribbon(runs: Runs, _: str) -> Words:
    return words([runs.fleet.panels.ribbon_off], ["loose"], "seated")


def _link(runs: Runs, _: str) -> Words:
    return words([runs.fleet.panels.link_open], ["open"], "sound")


def _key_at_rest(runs: Runs, _: str) -> Numbers:
    return runs.fleet.panels.key_at_rest_ohms


def _dead_key(runs: Runs, _: str) -> Numbers:
    return runs.fleet.panels.dead_key_ohms


BY_UNIT: dict[str, Observer] = {}

_NEEDS = ("control",)

WHOLE = {
    "oven.keys": Observer(_keys, needs=_NEEDS),
    "symbols": Observer(_symbols, needs=_NEEDS),
    "display.code": Observer(_code, needs=_NEEDS),
    "clock": Observer(_clock, needs=_NEEDS),
    "control.when_hot": Observer(_when_hot, needs=_NEEDS),
    "control.offset": Observer(measure=_offset, needs=_NEEDS),
    "ohms.keypad": Observer(measure=_key_at_rest, needs=_NEEDS),
    "ohms.dead_key": Observer(measure=_dead_key, needs=_NEEDS),
    "keypad.ribbon": Observer(_ribbon, needs=_NEEDS),
    "board.link": Observer(_link, needs=_NEEDS),
}
