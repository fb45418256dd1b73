"""A small linear circuit solver at one frequency: complex nodal analysis over many cases at once.

A network is a fixed drawing: nodes, sources that pin some nodes to a voltage, and branches between nodes. A *case*
gives each branch an admittance (0 = open), so one drawing serves every switch position and every fault. Cases are
solved together by LAPACK's batched dense solver, which NumPy calls.

Method: nodal analysis with the pinned nodes eliminated, ``Yff Vf = -Yfp Vp`` (any text on circuit theory). Nodes
without a conducting path to a pinned node have no voltage; they come back as ``nan`` rather than as a number that a
meter could never show.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

MOST_PATTERNS = 20_000  # conducting patterns remembered for a network; each takes some hundred bytes

Complex = NDArray[np.complex128]


class NetworkError(ValueError):
    """A network that cannot be drawn or solved; the message names the branch or node and what to change."""


@dataclass(frozen=True)
class _Cells:
    """Where each branch goes in the nodal matrix: every filled cell is a signed sum of some admittances.

    ``branch`` and ``sign`` list the terms cell by cell, ``start`` where a cell's terms begin, ``cell`` its flat index.
    """

    branch: NDArray[np.intp]
    sign: NDArray[np.float64]
    start: NDArray[np.intp]
    cell: NDArray[np.intp]

    @classmethod
    def of(cls, ends: Sequence[tuple[int, int]], size: int) -> _Cells:
        terms = sorted(
            (row * size + column, branch, 1.0 if row == column else -1.0)
            for branch, (a, b) in enumerate(ends)
            for row, column in ((a, a), (b, b), (a, b), (b, a))
        )
        cells = np.array([cell for cell, _, _ in terms], dtype=np.intp)
        start = np.flatnonzero(np.diff(cells, prepend=-1))
        branches = np.array([branch for _, branch, _ in terms], dtype=np.intp)
        return cls(branches, np.array([sign for _, _, sign in terms]), start, cells[start])


@dataclass(frozen=True)
class Network:
    """Nodes, pinned voltages and branches. ``branches`` maps a name to its two nodes.

    ``pinned`` maps a node to its complex voltage (V, RMS phasor). Build it with :meth:`draw`.
    """

    nodes: tuple[str, ...]
    pinned: Mapping[str, complex]
    branches: Mapping[str, tuple[str, str]]
    _cells: _Cells
    _joins: tuple[int, ...]
    _known: dict[bytes, NDArray[np.bool_]] = field(default_factory=dict, compare=False, repr=False)

    @classmethod
    def draw(cls, pinned: Mapping[str, complex], branches: Mapping[str, tuple[str, str]]) -> Network:
        """Collect the nodes from the branches. Raises NetworkError for a branch with both ends on one node."""
        nodes = list(pinned)
        for name, ends in branches.items():
            if ends[0] == ends[1]:
                raise NetworkError(f"branch {name} has both ends on node {ends[0]}; give it two different nodes")
            nodes.extend(end for end in ends if end not in nodes)
        if not pinned:
            raise NetworkError("no node is pinned to a voltage; pin at least the reference to 0 V")
        index = {node: number for number, node in enumerate(nodes)}
        ends_of = [(index[a], index[b]) for a, b in branches.values()]
        joins = tuple(1 << a | 1 << b for a, b in ends_of)
        return cls(tuple(nodes), dict(pinned), dict(branches), _Cells.of(ends_of, len(nodes)), joins)

    def branch_number(self) -> dict[str, int]:
        """Branch name to its column in the admittance array."""
        return {name: number for number, name in enumerate(self.branches)}

    def solve(self, admittance: Complex, pinned: Complex | None = None) -> Solution:
        """Node voltages for every case.

        ``admittance``: shape (cases, branches), siemens, complex; 0 means open. ``pinned``: shape (cases, pinned
        nodes), V, where the sources differ from case to case. Raises NetworkError for a wrong shape or for values
        that are not finite (write a short as a small resistance, not as 0 ohm).
        """
        y = np.atleast_2d(np.asarray(admittance, dtype=np.complex128))
        if y.shape[1] != len(self.branches):
            raise NetworkError(f"{y.shape[1]} admittances for {len(self.branches)} branches; give one for each branch")
        if not np.isfinite(y).all():
            bad = list(self.branches)[int(np.argwhere(~np.isfinite(y))[0, 1])]
            raise NetworkError(f"branch {bad} has no finite admittance; write a short as a small resistance")
        own = np.array(list(self.pinned.values()), dtype=np.complex128)
        pins = np.broadcast_to(own if pinned is None else pinned, (len(y), len(self.pinned)))
        first, each = _distinct(y, pins)
        return Solution(self, y, self._volts(y[first], pins[first])[each])

    def _volts(self, y: Complex, pins: Complex) -> Complex:
        """Voltages of all nodes, shape (cases, nodes)."""
        matrix = self._matrix(y)
        alive = self._reached(y)
        count = len(self.pinned)
        # Nodes that float in every case leave the system; one that floats in some keeps its place as "V = 0".
        live = np.flatnonzero(alive[:, count:].any(axis=0)) + count
        floats = ~alive[:, live]
        system = matrix[:, live[:, None], live]
        right = -(matrix[:, live, :count] @ pins[:, :, None])
        if floats.any():
            system[floats[:, :, None] | floats[:, None, :]] = 0
            case, node = np.nonzero(floats)
            system[case, node, node] = 1
            right[floats] = 0
        try:
            live_volts = np.linalg.solve(system, right)[:, :, 0]
        except np.linalg.LinAlgError as error:
            raise NetworkError("the network has no single solution; two branches resonate or cancel") from error
        volts = np.full((len(y), len(self.nodes)), np.nan, dtype=np.complex128)
        volts[:, :count] = pins
        volts[:, live] = np.where(floats, np.nan, live_volts)
        return volts

    def _matrix(self, y: Complex) -> Complex:
        size, cells = len(self.nodes), self._cells
        matrix = np.zeros((len(y), size * size), dtype=np.complex128)
        matrix[:, cells.cell] = np.add.reduceat(y[:, cells.branch] * cells.sign, cells.start, axis=1)
        return matrix.reshape(len(y), size, size)

    def _reached(self, y: Complex) -> NDArray[np.bool_]:
        """Which nodes have a conducting path to a pinned node, case by case.

        Cases that conduct in the same branches share the answer; it is remembered, since few patterns keep coming.
        """
        patterns = np.packbits(y != 0, axis=1)
        reached = []
        for pattern in patterns:
            key = pattern.tobytes()
            if key not in self._known:
                if len(self._known) >= MOST_PATTERNS:
                    self._known.clear()
                self._known[key] = self._spread(np.unpackbits(pattern, count=len(self.branches)))
            reached.append(self._known[key])
        return np.array(reached)

    def _spread(self, conducts: NDArray[np.uint8]) -> NDArray[np.bool_]:
        """Spread from the pinned nodes along conducting branches, with sets of nodes as bits of one number."""
        joins = [join for join, conducting in zip(self._joins, conducts.tolist(), strict=True) if conducting]
        reached, before = (1 << len(self.pinned)) - 1, 0
        while reached != before:
            before = reached
            for join in joins:
                if reached & join:
                    reached |= join
        return np.array([reached >> node & 1 for node in range(len(self.nodes))], dtype=bool)


def _distinct(y: Complex, pins: Complex) -> tuple[list[int], list[int]]:
    """The first case of each kind, and for every case the number of its kind: cases that are alike are solved once."""
    kinds: dict[bytes, int] = {}
    first: list[int] = []
    each: list[int] = []
    for number, (admittances, volts) in enumerate(zip(y, pins, strict=True)):
        kind = kinds.setdefault(admittances.tobytes() + volts.tobytes(), len(first))
        if kind == len(first):
            first.append(number)
        each.append(kind)
    return first, each


@dataclass(frozen=True)
class Solution:
    """Voltages of all cases. ``volts`` has shape (cases, nodes), complex V RMS, ``nan`` where a node floats."""

    network: Network
    admittance: Complex
    volts: Complex

    def node(self, name: str) -> Complex:
        """Voltage of one node against the reference, all cases."""
        try:
            return self.volts[:, self.network.nodes.index(name)]
        except ValueError:
            known = ", ".join(self.network.nodes)
            raise NetworkError(f"no node {name}; the nodes are {known}") from None

    def between(self, a: str, b: str) -> NDArray[np.float64]:
        """Magnitude of the voltage between two nodes, V RMS; 0 where either floats (no current can flow)."""
        return np.abs(np.nan_to_num(self.node(a) - self.node(b)))

    def across(self, branch: str) -> NDArray[np.float64]:
        """Magnitude of the voltage across a branch, V RMS."""
        return self.between(*self.network.branches[branch])

    def amps(self, branch: str) -> NDArray[np.float64]:
        """Magnitude of the current through a branch, A RMS."""
        column = list(self.network.branches).index(branch)
        return self.across(branch) * np.abs(self.admittance[:, column])

    def watts(self, branches: Sequence[str]) -> NDArray[np.float64]:
        """Real power taken by some branches together, W."""
        names = list(self.network.branches)
        total = np.zeros(len(self.volts))
        for branch in branches:
            total += self.across(branch) ** 2 * self.admittance[:, names.index(branch)].real
        return total
