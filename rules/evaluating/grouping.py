"""Who counts as the same: faults that one repair mends, and places that nothing tells apart."""

from __future__ import annotations

from collections.abc import Collection, Hashable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rules.belief.signatures import Hypothesis, Signatures
from rules.belief.stack import Table

Truth = tuple[str, str | None]  # a fault and its place


@dataclass(frozen=True)
class Entry:
    """One line of a ranking: the groups it stands for, and their probability together."""

    groups: tuple[int, ...]
    probability: float


@dataclass(frozen=True)
class Grouping:
    """Hypotheses in groups; the last group is *none of these*.

    ``member``: shape (H,), the group of each. ``kind``: groups that differ in place alone have the same. ``faults``:
    for each group the faults of each of its hypotheses; two of them in one hypothesis are a pair.
    """

    member: NDArray[np.intp]
    kind: tuple[Hashable, ...]
    faults: tuple[frozenset[frozenset[Truth]], ...]

    def shares(self, probability: Table) -> Table:
        """Belief by group, shape (G,)."""
        return np.bincount(self.member, weights=probability, minlength=len(self.kind)).astype(np.float64)

    def ranked(self, shares: Table) -> list[Entry]:
        """The known groups, likeliest first. Places of one kind with equal belief are one line, as in an answer."""
        lines: dict[tuple[Hashable, float], list[int]] = {}
        for group, share in enumerate(shares[:-1]):
            lines.setdefault((self.kind[group], round(float(share), 9)), []).append(group)
        entries = [Entry(tuple(groups), share * len(groups)) for (_, share), groups in lines.items()]
        return sorted(entries, key=lambda entry: (-round(entry.probability, 9), entry.groups))

    def holding(self, truths: Collection[Truth]) -> frozenset[int]:
        """Groups that hold one of these faults and nothing beside them; *none of these* if there are none."""
        if not truths:
            return frozenset({len(self.kind) - 1})
        wanted = frozenset(truths)
        return frozenset(
            number for number, group in enumerate(self.faults) if any(faults and faults <= wanted for faults in group)
        )


def by_fault(signatures: Signatures) -> Grouping:
    """Each fault at its place by itself."""
    return _grouped(signatures, signatures.group, [signatures.hypotheses[n].name for n in signatures.first])


def by_part(signatures: Signatures) -> Grouping:
    """Faults that the same person mends with the same parts at the same place are one."""
    kinds: list[Hashable] = [
        (repair.parts, repair.skill) if repair.parts else signatures.hypotheses[repair.members[0]].name
        for repair in signatures.repairs
    ]
    return _grouped(signatures, signatures.repair, kinds)


def _grouped(signatures: Signatures, member: NDArray[np.intp], kinds: list[Hashable]) -> Grouping:
    faults: list[set[frozenset[Truth]]] = [set() for _ in kinds]
    for number, hypothesis in zip(member, signatures.hypotheses, strict=True):
        faults[number].add(faults_of(hypothesis))
    return Grouping(member, tuple(kinds), tuple(frozenset(group) for group in faults))


def faults_of(hypothesis: Hypothesis) -> frozenset[Truth]:
    """The fault of a hypothesis, both of a pair, none of *none of these*."""
    if hypothesis.both:
        return frozenset((one.name, one.where) for one in hypothesis.both)
    return frozenset({(hypothesis.name, hypothesis.where)}) if hypothesis.fault else frozenset()


def family(name: str) -> str:
    """The first word of a fault's name: supply, surface, oven, ..."""
    return name.partition(".")[0]
