"""The circuit solver against two that know nothing of it: ngspice and lcapy.

Random configurations with random single and double faults in random states; every node voltage agrees to 1e-6
relative. ngspice solves the complex network at 60 Hz. lcapy solves it in exact arithmetic as direct current, which is
the same for 120/240 V without the stray capacitances: the legs are then +120 V and -120 V.
"""

from __future__ import annotations

import random
import shutil
from collections.abc import Iterator
from pathlib import Path

import lcapy
import numpy as np
import pytest

from rules.appliance.injecting import machines, parts_of, stack
from rules.appliance.operating import Runs
from rules.appliance.wiring import Wiring, wire
from rules.bookkeeping.types import Appliance, Effect, Unit
from rules.electrical.circuit import Solution
from tests.reference import spice

NGSPICE_CASES, LCAPY_CASES = 220, 24
AMOUNTS = {"resistive": (0.5, 5.0, 40.0), "grounded": (0.05, 0.3, 0.5, 0.9), "low_voltage": (0.85, 0.95)}
AMOUNTS |= {"leaking": (1500.0, 2e4, 5e5), "leaks_at": (0.05, 0.5, 0.9), "uneven": (-0.35, 0.2), "sagging": (0.1,)}
AMOUNTS |= {"weak": (0.3,), "undersized": (20.0,), "wrong_ohms": (0.4, 0.625, 1.6)}
PANEL = {"bridged": (200.0, 5000.0), "line_open": (1.0, 2.0), "held_at": (0.0, 1.0), "jammed": (0.0, 0.6, 1.0)}
SENSOR = {"in_series": (50.0,), "in_shunt": (30000.0,), "offset_f": (25.0,)}
SENSOR |= {"leads_shunt": (30000.0,), "drift": (0.95, 1.05), "displaced_f": (-30.0, 30.0)}


def random_appliance(dice: random.Random, supply: tuple[str, ...] = ("120/240", "208Y/120")) -> Appliance:
    """A configuration nobody thought of in particular."""
    cooktop = dice.choice(["coil", "radiant", "none"])
    oven = cooktop == "none" or dice.random() < 0.8
    places = ["left_front", "right_front", "left_rear", "right_rear", "center"]
    units = []
    for place in places[: 0 if cooktop == "none" else dice.randint(1, 5)]:
        rings = 1 if cooktop == "coil" else dice.choice([1, 1, 2, 3])
        units.append(Unit(place, tuple(float(dice.randint(500, 2600)) for _ in range(rings))))
    return Appliance(
        appliance="random",
        title="random",
        cooktop=cooktop,  # type: ignore[arg-type]
        units=tuple(units),
        oven=oven,
        bake_watts=float(dice.randint(1800, 3000)),
        broil_watts=float(dice.randint(2200, 4000)),
        cutout=dice.choice(["control", "elements", "none"]) if oven else "none",  # type: ignore[arg-type]
        convection_watts=float(dice.choice([0, 1500, 2400])) if oven else 0.0,
        self_clean=oven and dice.random() < 0.5,
        cooling_fan=dice.random() < 0.8,
        second_oven_watts=float(dice.choice([0, 0, 2585])) if oven else 0.0,
        supply=dice.choice(supply),  # type: ignore[arg-type]
        cord=dice.choice(["3-wire", "4-wire", "hard-wired"]),  # type: ignore[arg-type]
        range_fuses=bool(units) and dice.random() < 0.3,
    )


def random_effects(dice: random.Random, wiring: Wiring) -> list[Effect]:
    """None, one or two faults, anywhere, of any kind."""
    known = parts_of(wiring)
    effects = []
    for part in dice.sample(sorted(known), dice.choice([0, 1, 1, 2])):
        mode = dice.choice(known[part])
        amounts = AMOUNTS.get(mode) or SENSOR.get(mode) or PANEL.get(mode) or ()
        effects.append(Effect(part, mode, (dice.choice(amounts),) if amounts else ()))
    return effects


def random_solutions(number: int, count: int, supply: tuple[str, ...]) -> Iterator[Solution]:
    """Random cases, the same ones every time."""
    dice = random.Random(number)
    for _ in range(count):
        wiring = wire(random_appliance(dice, supply))
        made = machines(wiring, random_effects(dice, wiring), None)[:1]
        runs = Runs(stack(wiring, made), 1080.0)
        yield runs.at[dice.choice(runs.states)]


def worst_difference(solution: Solution, reference: dict[str, complex]) -> float:
    """Largest difference of a node voltage, against the larger of its size and a millivolt."""
    nodes = solution.network.nodes
    pairs = [(solution.volts[0, nodes.index(node)], volts) for node, volts in reference.items()]
    assert all(np.isfinite(own) for own, _ in pairs)
    return max(abs(own - volts) / max(abs(volts), 1e-3) for own, volts in pairs)


@pytest.mark.ngspice
@pytest.mark.skipif(shutil.which("ngspice") is None, reason="ngspice is not installed (Debian package ngspice)")
def test_against_ngspice(tmp_path: Path) -> None:
    compared = 0
    for solution in random_solutions(1, NGSPICE_CASES, ("120/240", "208Y/120")):
        network = solution.network
        floating = {node for node, volts in zip(network.nodes, solution.volts[0], strict=True) if np.isnan(volts)}
        pinned = dict(zip(network.pinned, solution.volts[0], strict=False))
        text = spice.netlist(network, solution.admittance[0], pinned, floating)
        reference = spice.solve(text, network, tmp_path)
        assert set(reference) == set(network.nodes) - floating
        assert worst_difference(solution, reference) < 1e-6, text
        compared += 1
    assert compared >= 200


def test_against_lcapy() -> None:
    compared = 0
    for solution in random_solutions(2, LCAPY_CASES, ("120/240",)):
        network = solution.network
        real = np.where(solution.admittance.real > 0, solution.admittance.real, 0)
        pinned = solution.volts[:, : len(network.pinned)].real
        direct = network.solve(real, pinned)
        number = {node: index for index, node in enumerate(network.nodes)}
        alive = {node for node, volts in zip(network.nodes, direct.volts[0], strict=True) if not np.isnan(volts)}
        lines = [f"V{i} {number[n]} 0 {float(pinned[0, i])!r}" for i, n in enumerate(network.pinned) if i]
        lines += [
            f"R{i} {number[a]} {number[b]} {float(1 / y)!r}"
            for i, ((a, b), y) in enumerate(zip(network.branches.values(), real[0], strict=True))
            if y and a in alive
        ]
        circuit = lcapy.Circuit("\n".join(lines))
        named = {node for line in lines for node in line.split()[1:3]}
        reference = {n: complex(circuit[number[n]].V.dc.expr) for n in alive if str(number[n]) in named and n != "NS"}
        assert reference
        assert worst_difference(direct, reference) < 1e-6
        compared += 1
    assert compared >= 20
