"""Symmetric sparse systems of one drawing, solved for many cases at once by elimination in a fixed order.

Which cells of a nodal matrix are filled depends on the drawing alone, so the order of elimination, and every cell that
fills on the way, is worked out once. Nodes that are no neighbours of one another are eliminated together, those with
the fewest neighbours first (minimum degree; George and Liu 1989, SIAM Review 31:1-19, from memory), so that a dozen
steps over all cases take the place of a dense solution for each.

No pivot is chosen by size. That is safe for networks of resistances with capacitances, or with inductances: in a
symmetric matrix whose real and imaginary parts are both positive definite no cell grows threefold (Higham 1998,
Mathematics of Computation 67:1591-1599, from memory).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Complex = NDArray[np.complex128]
Numbers = NDArray[np.intp]


@dataclass(frozen=True)
class Sums:
    """Terms that are added up by where they go: ``place`` lists each place once, ``start`` where its terms begin."""

    order: Numbers
    start: Numbers
    place: Numbers

    @classmethod
    def of(cls, places: Sequence[int]) -> Sums:
        """``places``: where each term goes."""
        where = np.array(places, dtype=np.intp)
        order = where.argsort(kind="stable")
        ordered = where[order]
        start = np.flatnonzero(np.diff(ordered, prepend=-1))
        return cls(order, start, ordered[start])

    def added(self, terms: Complex) -> Complex:
        """The sum for each place, shape (places, ...). ``terms``: shape (terms, ...)."""
        summed: Complex = np.add.reduceat(terms[self.order], self.start, axis=0)
        return summed


@dataclass(frozen=True)
class _Step:
    """Nodes that go together. ``links``: the cells that join each ``node`` to a ``neighbour`` that stays.

    ``first`` and ``second`` are pairs of links of one node, by their numbers; what they bring goes ``into`` a cell.
    """

    links: Numbers
    node: Numbers
    neighbour: Numbers
    first: Numbers
    second: Numbers
    into: Sums
    to_neighbour: Sums
    to_node: Sums


@dataclass(frozen=True)
class Elimination:
    """The order in which ``size`` nodes are eliminated. ``cell``: number of the cell of two joined nodes, smaller
    first; the first ``size`` cells are the diagonal.
    """

    size: int
    cell: dict[tuple[int, int], int]
    steps: tuple[_Step, ...]

    @classmethod
    def of(cls, size: int, joined: Iterable[tuple[int, int]]) -> Elimination:
        """Plan it for the drawing in which these nodes are joined."""
        cell = {(node, node): node for node in range(size)}
        near: dict[int, set[int]] = {node: set() for node in range(size)}
        for a, b in joined:
            near[a].add(b)
            near[b].add(a)
            cell.setdefault(_pair(a, b), len(cell))
        steps = []
        while near:
            together = _together(near)
            steps.append(_step(together, near, cell))
            for node in together:
                for other in near.pop(node):
                    near[other].discard(node)
        return cls(size, cell, tuple(step for step in steps if len(step.links)))

    def solve(self, cells: Complex, right: Complex) -> Complex:
        """What ``right`` becomes, shape (size, cases) or (size, sides, cases). Both arrays are overwritten.

        ``cells``: shape (cells, cases), those that fill on the way 0. A system without a single solution gives numbers
        that are not finite.
        """
        if right.ndim == 3:
            return self._solve(cells[:, None, :], right)
        return self._solve(cells, right)

    def _solve(self, cells: Complex, right: Complex) -> Complex:
        shares = []
        with np.errstate(all="ignore"):
            for step in self.steps:
                links = cells[step.links]
                share = links / cells[step.node]
                shares.append(share)
                cells[step.into.place] -= step.into.added(links[step.first] * share[step.second])
                right[step.to_neighbour.place] -= step.to_neighbour.added(share * right[step.node])
            right /= cells[: self.size]
            for step, share in zip(reversed(self.steps), reversed(shares), strict=True):
                right[step.to_node.place] -= step.to_node.added(share * right[step.neighbour])
        return right


def _pair(a: int, b: int) -> tuple[int, int]:
    return (a, b) if a < b else (b, a)


def _together(near: dict[int, set[int]]) -> list[int]:
    """Nodes of about the fewest neighbours, none of them another's neighbour."""
    least = min(map(len, near.values()))
    chosen: list[int] = []
    beside: set[int] = set()
    for node in sorted(near, key=lambda node: (len(near[node]), node)):
        if len(near[node]) > least + 1:
            break
        if node not in beside:
            chosen.append(node)
            beside |= near[node]
    return chosen


def _step(together: Sequence[int], near: dict[int, set[int]], cell: dict[tuple[int, int], int]) -> _Step:
    """Eliminate some nodes: their neighbours become neighbours of one another, in cells that are new where need be."""
    links: list[tuple[int, int, int]] = []
    pairs: list[tuple[int, int, int]] = []
    for node in together:
        own = range(len(links), len(links) + len(near[node]))
        links += [(cell[_pair(node, other)], node, other) for other in sorted(near[node])]
        for first in own:
            for second in range(first, own.stop):
                a, b = links[first][2], links[second][2]
                pairs.append((first, second, cell.setdefault(_pair(a, b), len(cell))))
                if a != b:
                    near[a].add(b)
                    near[b].add(a)
    cells, nodes, others = _columns(links)
    first_of, second_of, into = _columns(pairs)
    return _Step(
        links=np.array(cells, dtype=np.intp),
        node=np.array(nodes, dtype=np.intp),
        neighbour=np.array(others, dtype=np.intp),
        first=np.array(first_of, dtype=np.intp),
        second=np.array(second_of, dtype=np.intp),
        into=Sums.of(into),
        to_neighbour=Sums.of(others),
        to_node=Sums.of(nodes),
    )


def _columns(rows: Sequence[tuple[int, int, int]]) -> tuple[list[int], list[int], list[int]]:
    return [row[0] for row in rows], [row[1] for row in rows], [row[2] for row in rows]
