"""A network and one case of admittances, written for ngspice and solved there, as a reference from elsewhere."""

from __future__ import annotations

import cmath
import math
import re
import subprocess
from collections.abc import Mapping
from pathlib import Path

import numpy as np

from rules.appliance.wiring import HERTZ
from rules.electrical.circuit import Network

_ROW = re.compile(r"^v\((n\d+)\) = (\S+),(\S+)$", re.MULTILINE)


def netlist(network: Network, admittance: np.ndarray, pinned: Mapping[str, complex], floating: set[str]) -> str:
    """The case as a netlist: a resistor and a capacitor for each branch, an AC source for each pinned node.

    ngspice needs a path to ground from every node, so nodes that float are left out, as the solver leaves them.
    """
    number = {node: f"n{index}" for index, node in enumerate(network.nodes)}
    lines = ["case"]
    for index, (node, volts) in enumerate(pinned.items()):
        size, angle = cmath.polar(volts)
        lines.append(f"V{index} {number[node]} 0 AC {size:.12g} {math.degrees(angle):.12g}")
    for index, ((a, b), y) in enumerate(zip(network.branches.values(), admittance, strict=True)):
        if y == 0 or a in floating:
            continue
        if y.real:
            lines.append(f"R{index} {number[a]} {number[b]} {1 / y.real:.12g}")
        if y.imag:
            lines.append(f"C{index} {number[a]} {number[b]} {y.imag / (2 * math.pi * HERTZ):.12g}")
    lines += [".options gmin=1e-18 abstol=1e-16 reltol=1e-9", ".control", f"ac lin 1 {HERTZ} {HERTZ}", "set numdgt=12"]
    lines += [f"print v({number[node]})" for node in network.nodes if node not in floating]
    return "\n".join([*lines, "quit", ".endc", ".end", ""])


def solve(text: str, network: Network, folder: Path) -> dict[str, complex]:
    """Run ngspice on a netlist and read the node voltages back."""
    file = folder / "case.cir"
    file.write_text(text)
    done = subprocess.run(["ngspice", "-b", str(file)], capture_output=True, text=True, timeout=60, check=False)
    found = {match[1]: complex(float(match[2]), float(match[3])) for match in _ROW.finditer(done.stdout)}
    assert found, done.stdout + done.stderr
    return {node: found[f"n{index}"] for index, node in enumerate(network.nodes) if f"n{index}" in found}
