"""Faults put into a wired range: each effect changes a part, and nothing here knows what that will look like.

A *machine* is the range with one set of effects in it. Machines are stacked into arrays (one row each) so that the
solver takes them all at once.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from rules.appliance import panel
from rules.appliance.panel import Panel, Panels
from rules.appliance.wiring import LEG_VOLTS, ONE_LEG_TWICE, SWAPS, Wiring, leg_phasors
from rules.bookkeeping.types import Effect
from rules.bookkeeping.yamlsource import nearest
from rules.terms import BookError

#: Settings a user can leave the control in, and the symbol the display then shows.
SETTINGS = {"locked": "lock", "demo": "demo", "delayed": "timer", "sabbath": "sabbath", "clock_unset": "none"}

SHORT_OHMS = 0.01

#: Effects that are put in before or after the others, so that the order in which they are written does not matter.
_LAST = {"leaking": -1, "wrong_ohms": 1, "resistive": 2, "fitted": 2, "open": 3}

#: Modes that say how much: ohms, a share of the element or a multiple of its ohms, degrees F, a share of the voltage,
#: of the rating or amperes. ``drift`` is a share of the sensor's ohms, ``displaced_f`` how much hotter the oven's
#: middle is than where the sensor sits.
SHARES = ("grounded", "leaks_at", "sagging", "weak")
SENSOR_AMOUNTS = ("in_series", "in_shunt", "leads_shunt", "drift", "displaced_f")
NEED_AMOUNTS = (
    *SHARES,
    *SENSOR_AMOUNTS,
    *panel.NEED_AMOUNTS,
    *("resistive", "leaking", "offset_f", "low_voltage", "uneven", "undersized", "wrong_ohms"),
)
SIGNED = ("offset_f", "displaced_f", "uneven")  # modes whose amount may be below 0
FANS = ("cooling_fan", "convection_fan")

_FURTHER_RING = re.compile(r"\{where\}\.ring[23](_contact)?")


@dataclass
class Machine:
    """One range with its effects. ``ohms``: branch to its changed resistance, ``inf`` for open."""

    ohms: dict[str, complex] = field(default_factory=dict)
    welded: set[str] = field(default_factory=set)
    conducting: set[str] = field(default_factory=set)
    opens_warm: set[str] = field(default_factory=set)
    slips: set[str] = field(default_factory=set)
    seized: set[str] = field(default_factory=set)
    sensor_series: float = 0.0
    sensor_shunt: float = float("inf")
    leads_shunt: float = float("inf")
    sensor_scale: float = 1.0
    sensor_opens_warm: bool = False
    displaced_f: float = 0.0
    other_curve: bool = False
    setting: str = ""
    control_dead: bool = False
    offset_f: float = 0.0
    supply: str = ""
    supply_share: float = 1.0
    uneven: float = 0.0  # share of 120 V that leg 1 stands high and leg 2 low
    sag: float = 0.0  # share of the voltage lost while another big load in the house runs
    breaker_share: float = 1.0  # of its rating, at which the breaker behaves as at its rating
    breaker_amps: float = 0.0  # rating of the breaker that is fitted; 0: the appliance's own
    miswired: str = ""  # cord or outlet, where conductors are exchanged
    panel: Panel = field(default_factory=Panel)


@dataclass(frozen=True)
class Fleet:
    """Machines as arrays; one row a machine, columns as the network's branches.

    ``admittance`` (siemens) is that of every branch with its contact closed. ``welded`` marks contacts that no
    switch can open, ``opens_warm`` branches that open once they have been on a while, ``seized`` motors that do not
    turn. ``pinned`` are the voltages of the pinned nodes. ``slips``: unit to the machines whose knob turns without
    its shaft; units without any are left out. ``sensor_shunt`` lies across the sensor itself, ``sensor_series`` in its
    plug, ``leads_shunt`` across its leads at the control.
    """

    wiring: Wiring
    admittance: NDArray[np.complex128]
    welded: NDArray[np.bool_]
    opens_warm: NDArray[np.bool_]
    slips: Mapping[str, NDArray[np.bool_]]
    pinned: NDArray[np.complex128]
    seized: NDArray[np.bool_]
    sensor_series: NDArray[np.float64]
    sensor_shunt: NDArray[np.float64]
    leads_shunt: NDArray[np.float64]
    sensor_scale: NDArray[np.float64]
    sensor_opens_warm: NDArray[np.bool_]
    displaced_f: NDArray[np.float64]
    other_curve: NDArray[np.bool_]
    setting: NDArray[np.str_]
    control_dead: NDArray[np.bool_]
    offset_f: NDArray[np.float64]
    sag: NDArray[np.float64]
    breaker_amps: NDArray[np.float64]
    breaker_share: NDArray[np.float64]
    miswired: NDArray[np.str_]
    panels: Panels

    def __len__(self) -> int:
        return len(self.admittance)


_LAST_PARTS: tuple[Wiring | None, Mapping[str, tuple[str, ...]]] = (None, {})


def parts_of(wiring: Wiring) -> Mapping[str, tuple[str, ...]]:
    """Every part that can fail, and the modes it can fail in; kept for the wiring asked about last."""
    global _LAST_PARTS  # noqa: PLW0603  # one tuple, put in place whole: safe between threads
    known, parts = _LAST_PARTS
    if known is not wiring:
        parts = _parts_of(wiring)
        _LAST_PARTS = wiring, parts
    return parts


def _parts_of(wiring: Wiring) -> dict[str, tuple[str, ...]]:
    modes: dict[str, tuple[str, ...]] = {}
    for branch in wiring.impedance:
        if branch.startswith(("meter ", "stray_", "cross_")) or branch.endswith((".a", ".b")):
            continue
        if branch in wiring.normally_open:
            modes[branch] = ("fitted",)
        elif branch in wiring.contacts:
            modes[branch] = ("open", "welded", "resistive", "opens_warm")
        else:
            modes[branch] = ("open", "resistive", "shorted", "opens_warm", *(("seized",) if branch in FANS else ()))
    for element in wiring.elements:
        modes[element] = ("open", "shorted", "grounded", "leaking", "leaks_at", "resistive", "opens_warm", "wrong_ohms")
    for unit in wiring.appliance.positions:
        modes[f"{unit}.switch_heater"] += ("wrong_ohms",)
        modes[f"{unit}.knob"] = ("slips",)
        modes[f"{unit}.unit"] = ("wrong_ohms",)  # all of its rings
    modes["breaker"] = ("open", "weak", "undersized")
    modes["supply"] = ("208Y/120", "low_voltage", "uneven", "sagging", ONE_LEG_TWICE)
    if wiring.appliance.cord != "hard-wired":
        swaps = tuple(name for name, ends in SWAPS.items() if f"plug_{ends[1]}" in wiring.impedance)
        modes |= {"cord": swaps, "outlet": swaps}
    if wiring.appliance.oven:
        modes["control"] = ("dead", "hung")
        modes["sensor"] = ("open", "shorted", "opens_warm", "other_curve", *SENSOR_AMOUNTS)
        modes["setting"] = (*SETTINGS, "offset_f")
    return modes | panel.parts_of(wiring.appliance)


def check_effect(wiring: Wiring, effect: Effect, where: str | None) -> str | None:
    """What is wrong with an effect on this appliance, or None."""
    known = parts_of(wiring)
    part = effect.part.replace("{where}", where or "")
    if part not in known:
        hint = f"{nearest(part, known)}; or say under only: where the fault exists"
        return f"no part {part!r} on {wiring.appliance.appliance}{hint}"
    if effect.mode not in known[part]:
        return f"{part} cannot be {effect.mode!r}; write one of {', '.join(known[part])}"
    return _check_amounts(effect)


def _check_amounts(effect: Effect) -> str | None:
    wrong = None
    if effect.mode in NEED_AMOUNTS and not effect.amounts:
        wrong = f"{effect.mode} needs amounts"
    elif effect.amounts and effect.mode not in (*NEED_AMOUNTS, "fitted"):
        wrong = f"{effect.mode} takes no amounts"
    elif not all(math.isfinite(amount) for amount in effect.amounts):
        wrong = f"{effect.mode} needs finite amounts"
    elif any(not amount > 0 for amount in effect.amounts) and effect.mode not in (*SIGNED, *panel.FROM_ZERO):
        wrong = f"{effect.mode} needs amounts above 0"
    elif effect.mode in SHARES and any(amount > 1 for amount in effect.amounts):
        wrong = f"{effect.mode} takes a share, above 0 and at most 1"
    elif effect.mode == "uneven" and any(abs(amount) >= 1 for amount in effect.amounts):
        wrong = "uneven takes a share of 120 V, above -1 and below 1"
    elif effect.mode in panel.FROM_ZERO and any(not 0 <= amount <= 1 for amount in effect.amounts):
        wrong = f"{effect.mode} takes a share of the latch's travel, 0 (home) to 1 (locked)"
    return wrong


def machines(wiring: Wiring, effects: Sequence[Effect], where: str | None) -> list[Machine]:
    """One machine for each variant of the effects (the amounts of the effect that has several).

    Several effects on one part add up, whatever their order: what is open stays open, resistances in line are added.
    A fault of a ring that this unit does not have gives no machine.
    Raises BookError for an effect this appliance cannot have, and for a contact that is to be both open and welded.
    """
    if where in wiring.appliance.positions and not has_rings(wiring, effects, str(where)):
        return []
    for part in {effect.part for effect in effects}:
        if {"open", "welded"} <= {effect.mode for effect in effects if effect.part == part}:
            raise BookError([f"{part} cannot be open and welded at once; leave one out"])
    variants = max((len(effect.amounts) for effect in effects), default=1) or 1
    made = []
    for number in range(variants):
        machine = Machine()
        for effect in sorted(effects, key=lambda effect: _LAST.get(effect.mode, 0)):
            fault = check_effect(wiring, effect, where)
            if fault:
                raise BookError([fault])
            amount = effect.amounts[number % len(effect.amounts)] if effect.amounts else 0.0
            _apply(machine, wiring, effect.part.replace("{where}", where or ""), effect.mode, amount)
        made.append(machine)
    return made


def has_rings(wiring: Wiring, effects: Sequence[Effect], where: str) -> bool:
    """Whether the unit has every second or third ring that the effects speak of."""
    rings = [effect.part for effect in effects if _FURTHER_RING.fullmatch(effect.part)]
    known = wiring.impedance.keys() | wiring.elements.keys()
    return all(part.replace("{where}", where) in known for part in rings)


def _apply(machine: Machine, wiring: Wiring, part: str, mode: str, amount: float) -> None:
    if part == "sensor":
        _sensor(machine, mode, amount)
    elif part == "setting":
        _setting(machine, mode, amount)
    elif part in panel.PARTS:
        panel.apply(machine.panel, part, mode, amount)
    elif part == "control":
        _control(machine, mode)
    elif part == "supply":
        _supply(machine, mode, amount)
    elif part in ("cord", "outlet"):
        machine.miswired = part
        first, second = SWAPS[mode]
        machine.ohms |= {f"plug_{first}": complex("inf"), f"plug_{second}": complex("inf")}
        machine.conducting |= {f"cross_{first}_{second}", f"cross_{second}_{first}"}
    elif part == "breaker":
        _breaker(machine, mode, amount)
    elif part in wiring.elements:
        _element(machine, wiring, part, mode, amount)
    elif part.endswith(".unit"):
        for ring in (element for element in wiring.elements if element.startswith(part.removesuffix("unit"))):
            _element(machine, wiring, ring, mode, amount)
    else:
        _branch(machine, wiring, part, mode, amount)


def _control(machine: Machine, mode: str) -> None:
    if mode == "dead":
        machine.control_dead = True
    else:
        machine.panel.hung = True


def _setting(machine: Machine, mode: str, amount: float) -> None:
    if mode == "offset_f":
        machine.offset_f += amount
    else:
        machine.setting = mode


def _breaker(machine: Machine, mode: str, amount: float) -> None:
    if mode == "open":
        machine.ohms |= {"breaker_l1": complex("inf"), "breaker_l2": complex("inf")}
    elif mode == "weak":
        machine.breaker_share = amount
    else:
        machine.breaker_amps = amount


def _supply(machine: Machine, mode: str, amount: float) -> None:
    if mode == "low_voltage":
        machine.supply_share = amount
    elif mode == "uneven":
        machine.uneven = amount
    elif mode == "sagging":
        machine.sag = amount
    else:
        machine.supply = mode


def _sensor(machine: Machine, mode: str, amount: float) -> None:
    if mode == "other_curve":
        machine.other_curve = True
    elif mode == "opens_warm":
        machine.sensor_opens_warm = True
    elif mode == "drift":
        machine.sensor_scale *= amount
    elif mode == "displaced_f":
        machine.displaced_f += amount
    elif mode == "in_shunt":
        machine.sensor_shunt = 1 / (1 / machine.sensor_shunt + 1 / amount)
    elif mode == "leads_shunt":
        machine.leads_shunt = 1 / (1 / machine.leads_shunt + 1 / amount)
    elif mode == "shorted":
        machine.sensor_shunt = SHORT_OHMS
    else:
        machine.sensor_series += math.inf if mode == "open" else amount


def _element(machine: Machine, wiring: Wiring, part: str, mode: str, amount: float) -> None:
    near, far = wiring.elements[part]
    if mode == "opens_warm":
        machine.opens_warm.add(near)
    elif mode == "open":
        machine.ohms[near] = complex("inf")
    elif mode == "shorted":
        machine.ohms |= {near: complex(SHORT_OHMS), far: complex(SHORT_OHMS)}
    elif mode == "resistive":
        machine.ohms[near] = machine.ohms.get(near, wiring.impedance[near]) + amount
    elif mode == "leaking":
        machine.ohms[f"{part}.to_frame"] = complex(amount)
        machine.conducting.add(f"{part}.to_frame")
    elif mode == "wrong_ohms":
        machine.ohms |= {half: machine.ohms.get(half, wiring.impedance[half]) * amount for half in (near, far)}
    else:
        whole = wiring.impedance[near] + wiring.impedance[far]
        machine.ohms |= {near: max(amount, 0.001) * whole, far: max(1 - amount, 0.001) * whole}
        if mode == "grounded":
            machine.ohms.pop(f"{part}.to_frame", None)  # a hard ground, also where insulation leaks as well
            machine.conducting.add(f"{part}.to_frame")


def _branch(machine: Machine, wiring: Wiring, part: str, mode: str, amount: float) -> None:
    if mode == "fitted":
        machine.conducting.add(part)
        if amount:
            machine.ohms[part] = complex(amount)
        return
    if mode in ("opens_warm", "seized", "slips"):
        whole = {"opens_warm": machine.opens_warm, "seized": machine.seized, "slips": machine.slips}[mode]
        whole.add(part.removesuffix(".knob"))
        return
    change: dict[str, Callable[[], complex]] = {
        "open": lambda: complex("inf"),
        "shorted": lambda: complex(SHORT_OHMS),
        "resistive": lambda: machine.ohms.get(part, wiring.impedance[part]) + amount,
        "wrong_ohms": lambda: machine.ohms.get(part, wiring.impedance[part]) * amount,
        "welded": lambda: wiring.impedance[part],
    }
    machine.ohms[part] = change[mode]()
    if mode == "welded":
        machine.welded.add(part)


def stack(wiring: Wiring, made: Sequence[Machine]) -> Fleet:
    """Lay machines out as arrays."""
    column = wiring.network.branch_number()
    sound = np.array([0 if b in wiring.normally_open else 1 / z for b, z in wiring.impedance.items()], dtype=complex)
    admittance = np.tile(sound, (len(made), 1))
    welded = np.zeros(admittance.shape, dtype=bool)
    opens_warm = np.zeros(admittance.shape, dtype=bool)
    seized = np.zeros(admittance.shape, dtype=bool)
    pinned = np.zeros((len(made), 3), dtype=complex)
    for row, machine in enumerate(made):
        for branch in machine.conducting:
            admittance[row, column[branch]] = 1 / wiring.impedance[branch]
        for branch, ohms in machine.ohms.items():
            admittance[row, column[branch]] = 0 if np.isinf(ohms) else 1 / ohms
        welded[row, [column[branch] for branch in machine.welded]] = True
        opens_warm[row, [column[branch] for branch in machine.opens_warm]] = True
        seized[row, [column[branch] for branch in machine.seized]] = True
        pinned[row, 1:] = np.array(leg_phasors(machine.supply or wiring.appliance.supply)) * machine.supply_share
        pinned[row, 1:] += LEG_VOLTS * machine.uneven  # the neutral point moves, so both legs shift the same way
    return Fleet(
        wiring=wiring,
        admittance=admittance,
        welded=welded,
        opens_warm=opens_warm,
        slips=_slips(made),
        pinned=pinned,
        seized=seized,
        sensor_series=np.array([m.sensor_series for m in made]),
        sensor_shunt=np.array([m.sensor_shunt for m in made]),
        leads_shunt=np.array([m.leads_shunt for m in made]),
        sensor_scale=np.array([m.sensor_scale for m in made]),
        sensor_opens_warm=np.array([m.sensor_opens_warm for m in made]),
        displaced_f=np.array([m.displaced_f for m in made]),
        other_curve=np.array([m.other_curve for m in made]),
        setting=np.array([m.setting for m in made], dtype=np.str_),
        control_dead=np.array([m.control_dead for m in made]),
        offset_f=np.array([m.offset_f for m in made]),
        sag=np.array([m.sag for m in made]),
        breaker_amps=np.array([m.breaker_amps or wiring.appliance.breaker_amps for m in made]),
        breaker_share=np.array([m.breaker_share for m in made]),
        miswired=np.array([m.miswired for m in made], dtype=np.str_),
        panels=Panels([m.panel for m in made]),
    )


def _slips(made: Sequence[Machine]) -> dict[str, NDArray[np.bool_]]:
    """Unit to the machines whose knob slips there."""
    units = sorted({unit for machine in made for unit in machine.slips})
    return {unit: np.array([unit in machine.slips for machine in made]) for unit in units}
