"""The appliance: its network, faults put into it, the states it is used in, and what is then seen of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from rules.appliance.injecting import Machine, stack
from rules.appliance.observing import modelled_facts, observe
from rules.appliance.operating import Runs
from rules.appliance.remembering import remembered
from rules.appliance.seen.common import Words
from rules.appliance.sensing import room_sensor_ohms
from rules.appliance.wiring import Wiring
from rules.bookkeeping.types import FactTerm

__all__ = ["Words", "modelled_facts", "observe_machines", "remembered"]


AT_ONCE = 192  # machines solved side by side; a thousand at once would take some hundred megabytes


def observe_machines(wiring: Wiring, made: Sequence[Machine], terms: Mapping[str, FactTerm]) -> dict[str, Words]:
    """Take machines through every state and say what each shows, by fact key."""
    room = room_sensor_ohms(wiring) if wiring.appliance.oven else 0.0
    parts = []
    for start in range(0, max(len(made), 1), AT_ONCE):
        runs = Runs(stack(wiring, made[start : start + AT_ONCE]), room)
        parts.append(observe(runs, terms))
        runs.at.clear()  # these megabytes are not left to the collector
    return {key: np.concatenate([part[key] for part in parts]) for key in parts[0]}
