"""The door lock of a self-cleaning oven: what the door does, what is heard of its motor, and a meter on its parts."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from rules.appliance.operating import MOTOR_TURNS_FROM, Runs
from rules.appliance.panel import Panels
from rules.appliance.seen.common import Mask, Numbers, Observer, Words, words, yes
from rules.appliance.seen.controls import alive
from rules.appliance.seen.meter import resistance
from rules.appliance.wiring import LEG_VOLTS


def _locked(runs: Runs, _: str) -> Words:
    return yes(runs.fleet.panels.door_held)


def _clean_starts(runs: Runs, _: str) -> Words:
    return words([~alive(runs), runs.can_clean], ["", "starts"], "refuses")


def _sound(runs: Runs, _: str) -> Words:
    """What is heard when the control sends the latch to lock; nothing is asked of it by one that takes no order."""
    full = LEG_VOLTS**2 / runs.fleet.wiring.impedance["lock_motor"].real
    powered = runs.at["locking"].watts(["lock_motor"]) >= MOTOR_TURNS_FROM * full
    arrives = runs.fleet.panels.seen_locked(runs.lock_turns)
    conditions = [~runs.willing, runs.lock_turns & arrives, runs.lock_turns, powered]
    return words(conditions, ["", "short", "runs_on", "hums"], "silent")


def _motor_volts(runs: Runs, _: str) -> Numbers:
    """Across the lock motor while the control sends it to lock, V."""
    return runs.at["locking"].across("lock_motor")


def _motor_ohms(runs: Runs, _: str) -> Numbers:
    return resistance(runs, ["lock_motor"], "idle")


def _switch(reads: Callable[[Panels, Numbers], Mask], made_at: float) -> Callable[[Runs, str], Words]:
    """A position switch to an ohmmeter, the latch moved by hand to where it should close and back."""

    def observer(runs: Runs, _: str) -> Words:
        there, away = (np.full(len(runs.fleet), at) for at in (made_at, 1 - made_at))
        panels = runs.fleet.panels
        return words([~reads(panels, there), reads(panels, away)], ["stays_open", "stays_closed"], "follows")

    return observer


def _travel(runs: Runs, _: str) -> Words:
    return words([runs.fleet.panels.latch_free], ["free"], "jammed")


BY_UNIT: dict[str, Observer] = {}

_NEEDS = ("lock_motor",)

WHOLE = {
    "door.locked": Observer(_locked, needs=_NEEDS),
    "clean.starts": Observer(_clean_starts, needs=_NEEDS),
    "lock.sound": Observer(_sound, needs=_NEEDS),
    "volts.lock_motor": Observer(measure=_motor_volts, needs=_NEEDS),
    "ohms.lock_motor": Observer(measure=_motor_ohms, needs=_NEEDS),
    "contact.locked_switch": Observer(_switch(Panels.locked_reads, 1.0), needs=_NEEDS),
    "contact.unlocked_switch": Observer(_switch(Panels.unlocked_reads, 0.0), needs=_NEEDS),
    "latch.travel": Observer(_travel, needs=_NEEDS),
}
