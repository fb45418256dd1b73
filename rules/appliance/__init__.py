"""The appliance: its network, faults put into it, the states it is used in, and what is then seen of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from rules.appliance.injecting import Machine, stack
from rules.appliance.observing import modelled_facts, observe
from rules.appliance.operating import Runs
from rules.appliance.remembering import remembered
from rules.appliance.seen.common import Words
from rules.appliance.sensing import room_sensor_ohms
from rules.appliance.wiring import Wiring
from rules.bookkeeping.types import FactTerm

__all__ = ["Words", "modelled_facts", "observe_machines", "remembered"]


def observe_machines(wiring: Wiring, made: Sequence[Machine], terms: Mapping[str, FactTerm]) -> dict[str, Words]:
    """Take machines through every state and say what each shows, by fact key."""
    room = room_sensor_ohms(wiring) if wiring.appliance.oven else 0.0
    return observe(Runs(stack(wiring, made), room), terms)
