"""A small linear circuit solver at one frequency: complex nodal analysis over many cases at once.

A network is a fixed drawing: nodes, sources that pin some nodes to a voltage, and branches between nodes. A *case*
gives each branch an admittance (0 = open), so one drawing serves every switch position and every fault. Cases are
solved together, by elimination in an order that the drawing fixes.

Method: nodal analysis with the pinned nodes eliminated, ``Yff Vf = -Yfp Vp`` (any text on circuit theory). Nodes
without a conducting path to a pinned node have no voltage; they come back as ``nan`` rather than as a number that a
meter could never show.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from rules.electrical.elimination import Elimination, Sums

MOST_PATTERNS = 20_000  # conducting patterns remembered for a network; each takes some hundred bytes

Complex = NDArray[np.complex128]


class NetworkError(ValueError):
    """A network that cannot be drawn or solved; the message names the branch or node and what to change."""


@dataclass(frozen=True)
class _Plan:
    """How admittances become the nodal system of the free nodes, those that no source pins.

    ``branch`` and ``sign`` list the terms of the cells, ``into`` where they go. ``fed``: branches between a pinned and
    a free node, with that ``pin``; ``to`` where their current goes.
    """

    elimination: Elimination
    branch: NDArray[np.intp]
    sign: NDArray[np.float64]
    into: Sums
    fed: NDArray[np.intp]
    pin: NDArray[np.intp]
    to: Sums

    @classmethod
    def of(cls, ends: Sequence[tuple[int, int]], size: int, pinned: int) -> _Plan:
        free = [(branch, a - pinned, b - pinned) for branch, (a, b) in enumerate(ends)]
        elimination = Elimination.of(size - pinned, [(a, b) for _, a, b in free if a >= 0 and b >= 0])
        terms, feeds = [], []
        for branch, a, b in free:
            terms += [(branch, 1.0, end) for end in (a, b) if end >= 0]
            if a >= 0 and b >= 0:
                terms.append((branch, -1.0, elimination.cell[min(a, b), max(a, b)]))
            elif a >= 0 or b >= 0:
                feeds.append((branch, min(a, b) + pinned, max(a, b)))
        return cls(
            elimination,
            np.array([branch for branch, _, _ in terms], dtype=np.intp),
            np.array([sign for _, sign, _ in terms])[:, None],
            Sums.of([cell for _, _, cell in terms]),
            np.array([branch for branch, _, _ in feeds], dtype=np.intp),
            np.array([pin for _, pin, _ in feeds], dtype=np.intp),
            Sums.of([node for _, _, node in feeds]),
        )

    def cells(self, powered: Complex, floats: NDArray[np.bool_]) -> Complex:
        """The cells of the system, shape (cells, cases). ``powered``: shape (branches, cases), without what is dead;
        ``floats``: shape (free nodes, cases). A node that floats keeps its place as "V = 0".
        """
        filled = np.zeros((len(self.elimination.cell), powered.shape[1]), dtype=np.complex128)
        filled[self.into.place] = self.into.added(powered[self.branch] * self.sign)
        filled[: len(floats)][floats] = 1
        return filled

    def driven(self, powered: Complex, pins: Complex) -> Complex:
        """Current that the sources drive into each free node, shape (free nodes, cases). ``pins``: (pins, cases)."""
        amps = np.zeros((self.elimination.size, powered.shape[1]), dtype=np.complex128)
        amps[self.to.place] = self.to.added(powered[self.fed] * pins[self.pin])
        return amps


@dataclass(frozen=True)
class Network:
    """Nodes, pinned voltages and branches. ``branches`` maps a name to its two nodes.

    ``pinned`` maps a node to its complex voltage (V, RMS phasor). Build it with :meth:`draw`.
    """

    nodes: tuple[str, ...]
    pinned: Mapping[str, complex]
    branches: Mapping[str, tuple[str, str]]
    _ends: tuple[tuple[int, int], ...]
    _joins: tuple[int, ...]
    _first: NDArray[np.intp]
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
        first = np.array([a for a, _ in ends_of], dtype=np.intp)
        return cls(tuple(nodes), dict(pinned), dict(branches), tuple(ends_of), joins, first)

    @cached_property
    def _plan(self) -> _Plan:
        return _Plan.of(self._ends, len(self.nodes), len(self.pinned))

    def branch_number(self) -> dict[str, int]:
        """Branch name to its column in the admittance array."""
        return {name: number for number, name in enumerate(self.branches)}

    def solve(self, admittance: Complex, pinned: Complex | None = None) -> Solution:
        """Node voltages for every case.

        ``admittance``: shape (cases, branches), siemens, complex; 0 means open. ``pinned``: shape (cases, pinned
        nodes), V, where the sources differ from case to case. Raises NetworkError for a wrong shape or for values
        that are not finite (write a short as a small resistance, not as 0 ohm).
        """
        y = self._checked(admittance)
        own = np.array(list(self.pinned.values()), dtype=np.complex128)
        pins = np.broadcast_to(own if pinned is None else pinned, (len(y), len(self.pinned)))
        alive = self._reached(y)
        powered = np.where(alive[:, self._first], y, 0)
        chosen, again = _distinct(powered, pins)
        return Solution(self, y, self._volts(powered[chosen], pins[chosen], alive[chosen])[again])

    def _volts(self, powered: Complex, pins: Complex, alive: NDArray[np.bool_]) -> Complex:
        """Node voltages of cases that all differ, ``nan`` where a node floats."""
        count, plan = len(self.pinned), self._plan
        floats, conducts = ~alive.T[count:], np.ascontiguousarray(powered.T)
        free = _finite(plan.elimination.solve(plan.cells(conducts, floats), plan.driven(conducts, pins.T)))
        free[floats] = np.nan
        return np.concatenate([pins, free.T], axis=1)

    def port_ohms(self, admittance: Complex, ports: Sequence[tuple[str, str]]) -> Complex:
        """Impedance seen between pairs of nodes with every source at rest, ohm, shape (cases, ports).

        What a meter of ``m`` ohm shows there is the voltage without it over ``1 + impedance / m`` (Thevenin). A node
        without a path to a source has no impedance to speak of; its voltage without the meter is ``nan``. Raises
        NetworkError as :meth:`solve` does.
        """
        y = self._checked(admittance)
        alive, count, plan = self._reached(y), len(self.pinned), self._plan
        floats, conducts = ~alive.T[count:], np.where(alive[:, self._first], y, 0).T
        # one ampere in at the first node, out at the other
        into = np.zeros((plan.elimination.size, len(ports), 1))
        for port, ends in enumerate(ports):
            for node, amps in zip(map(self.nodes.index, ends), (1.0, -1.0), strict=True):
                if node >= count:
                    into[node - count, port] = amps
        right = np.tile(into.astype(np.complex128), len(y))
        seen: Complex = (into * _finite(plan.elimination.solve(plan.cells(conducts, floats), right))).sum(axis=0).T
        return seen

    def _checked(self, admittance: Complex) -> Complex:
        y = np.atleast_2d(np.asarray(admittance, dtype=np.complex128))
        if y.shape[1] != len(self.branches):
            raise NetworkError(f"{y.shape[1]} admittances for {len(self.branches)} branches; give one for each branch")
        if not np.isfinite(y).all():
            bad = list(self.branches)[int(np.argwhere(~np.isfinite(y))[0, 1])]
            raise NetworkError(f"branch {bad} has no finite admittance; write a short as a small resistance")
        return y

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
        return np.array(reached, dtype=bool).reshape(len(y), len(self.nodes))

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


def _finite(solved: Complex) -> Complex:
    if not np.isfinite(solved).all():
        raise NetworkError("the network has no single solution; two branches resonate or cancel")
    return solved


def _distinct(powered: Complex, pins: Complex) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Rows that stand for all cases, and for each case its row among them.

    Cases that differ only in what no current can reach have the same voltages; most of the faults of a part that is
    switched off do.
    """
    rows = np.ascontiguousarray(np.concatenate([powered, pins], axis=1))
    if not len(rows):
        none = np.zeros(0, dtype=np.intp)
        return none, none
    numbers: dict[bytes, int] = {}
    again = np.array([numbers.setdefault(row.tobytes(), len(numbers)) for row in rows], dtype=np.intp)
    return np.unique(again, return_index=True)[1].astype(np.intp), again


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
        volts = np.abs(self.node(a) - self.node(b))
        return np.where(np.isnan(volts), 0.0, volts)

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
