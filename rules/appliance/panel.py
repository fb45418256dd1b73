"""The low-voltage side of an oven's control: keypad, ribbon, the link between boards, and the door latch's position.

None of it carries line voltage, so it is no part of the network; what the control makes of it decides which relays
close. The latch's motor and relay are the network's.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from rules.bookkeeping.types import Appliance

Mask = NDArray[np.bool_]
Numbers = NDArray[np.float64]

KEY_OHMS = 200.0  # a membrane key, pressed; under a kilohm, from memory
READ_AS_PRESSED_OHMS = 10_000.0  # what a control still takes for a pressed key; from memory
HOME, LOCKED = 0.1, 0.9  # share of the latch's travel up to which it is home, and from which it is locked
DOOR_HELD = 0.5  # share of the travel from which the latch holds the door
START_LINE = 1.0  # the line of the keypad's matrix on which the start key lies

_KEYS: dict[str, tuple[str, ...]] = {
    "keypad": ("bridged", "line_open", "open"),
    "keypad_ribbon": ("open",),
    "board_link": ("open",),
}
_LATCH: dict[str, tuple[str, ...]] = {
    "latch": ("held_at", "jammed", "misses"),
    "lock_gear": ("seized",),
    "locked_switch": ("open", "welded"),
    "unlocked_switch": ("open", "welded"),
}
PARTS = frozenset({*_KEYS, *_LATCH})

#: Modes that say how much: ohms across a key, the number of a line, a share of the latch's travel.
NEED_AMOUNTS = ("bridged", "line_open", "held_at", "jammed")
FROM_ZERO = ("held_at", "jammed")  # shares of travel, where home is 0


@dataclass
class Panel:
    """One machine's keys and latch; sound unless told otherwise.

    ``bridge``: ohms across a key that nobody presses. ``dead_line``: number of the keypad's broken line, 0 for none,
    -1 for all of them. ``latch_at``: share of the latch's travel at which it stands.
    """

    bridge: float = math.inf
    dead_line: float = 0.0
    ribbon_off: bool = False
    link_open: bool = False
    hung: bool = False  # the control runs, but takes no key until its power has been off
    latch_at: float = 0.0
    latch_jammed: bool = False
    latch_misses: bool = False
    gear_seized: bool = False
    locked_open: bool = False
    locked_welded: bool = False
    unlocked_open: bool = False
    unlocked_welded: bool = False


def parts_of(appliance: Appliance) -> dict[str, tuple[str, ...]]:
    """What of this can fail on an appliance, and how."""
    if not appliance.oven:
        return {}
    return _KEYS | (_LATCH if appliance.self_clean else {})


def apply(panel: Panel, part: str, mode: str, amount: float) -> None:
    """Put one of :data:`PARTS` into a mode."""
    if part == "keypad":
        _keypad(panel, mode, amount)
    elif part == "latch":
        _latch(panel, mode, amount)
    elif part == "lock_gear":
        panel.gear_seized = True
    elif part == "keypad_ribbon":
        panel.ribbon_off = True
    elif part == "board_link":
        panel.link_open = True
    else:
        setattr(panel, f"{part.removesuffix('_switch')}_{mode}", True)


def _keypad(panel: Panel, mode: str, amount: float) -> None:
    if mode == "bridged":
        panel.bridge = min(panel.bridge, amount)
    else:
        panel.dead_line = -1.0 if mode == "open" else amount


def _latch(panel: Panel, mode: str, amount: float) -> None:
    if mode == "misses":
        panel.latch_misses = True
    else:
        panel.latch_at = amount
        panel.latch_jammed = panel.latch_jammed or mode == "jammed"


class Panels:
    """The panels of many machines, as arrays; one entry a machine."""

    def __init__(self, panels: Sequence[Panel]) -> None:
        self._columns = {
            field.name: np.array([getattr(panel, field.name) for panel in panels]) for field in fields(Panel)
        }

    # --- keys --------------------------------------------------------------------------------------------------------
    @property
    def key_at_rest_ohms(self) -> Numbers:
        """Least resistance between two lines of the keypad with no key pressed, ohm."""
        return self._number("bridge")

    @property
    def dead_key_ohms(self) -> Numbers:
        """The worst key, pressed, at the keypad's own tail, ohm."""
        return np.where(self._number("dead_line") != 0, np.inf, KEY_OHMS)

    @property
    def ribbon_off(self) -> Mask:
        return self._mask("ribbon_off")

    @property
    def link_open(self) -> Mask:
        return self._mask("link_open")

    @property
    def key_held(self) -> Mask:
        """Where the control sees a key pressed that nobody presses, and waits for it."""
        return (self._number("bridge") < READ_AS_PRESSED_OHMS) & ~self.ribbon_off

    @property
    def all_keys_dead(self) -> Mask:
        return self.ribbon_off | self._mask("hung") | (self._number("dead_line") < 0)

    @property
    def some_keys_dead(self) -> Mask:
        return ~self.all_keys_dead & (self._number("dead_line") > 0)

    @property
    def can_start(self) -> Mask:
        """Where a press of the start key reaches the control and its command the relays."""
        start_dead = self._number("dead_line") == START_LINE
        reaches: Mask = ~(self.key_held | self.all_keys_dead | start_dead | self.link_open)
        return reaches

    # --- latch -------------------------------------------------------------------------------------------------------
    @property
    def latch_at(self) -> Numbers:
        """Share of its travel at which the latch stands."""
        return self._number("latch_at")

    @property
    def door_held(self) -> Mask:
        held: Mask = self.latch_at >= DOOR_HELD
        return held

    @property
    def latch_free(self) -> Mask:
        """Where the latch and its rod move by hand."""
        return ~self._mask("latch_jammed")

    @property
    def motor_free(self) -> Mask:
        """Where a powered lock motor turns."""
        return self.latch_free & ~self._mask("gear_seized")

    @property
    def home_seen(self) -> Mask:
        """Where the control reads the latch as home, and not at locked as well, with nothing moving."""
        at = self.latch_at
        home: Mask = self.unlocked_reads(at) & ~self.locked_reads(at)
        return home

    @property
    def place_known(self) -> Mask:
        """Where one of the two switches, and not both, reports the latch with nothing moving."""
        at = self.latch_at
        known: Mask = self.unlocked_reads(at) != self.locked_reads(at)
        return known

    def seen_locked(self, turns: Mask) -> Mask:
        """Where the control reads the latch as locked, and not at home as well, once its motor has had its turn."""
        catches = turns & ~self._mask("latch_misses")
        at = np.where(catches, 1.0, self.latch_at)
        seen: Mask = self.locked_reads(at) & ~self.unlocked_reads(at)
        return seen

    def locked_reads(self, at: Numbers) -> Mask:
        """The locked-position switch with the latch at a share of its travel: closed or not."""
        made: Mask = (at >= LOCKED) & ~self._mask("locked_open")
        return made | self._mask("locked_welded")

    def unlocked_reads(self, at: Numbers) -> Mask:
        """The home-position switch, likewise."""
        made: Mask = (at <= HOME) & ~self._mask("unlocked_open")
        return made | self._mask("unlocked_welded")

    def _number(self, name: str) -> Numbers:
        return self._columns[name].astype(np.float64)

    def _mask(self, name: str) -> Mask:
        marked: Mask = self._columns[name].astype(bool)
        return marked
