"""Who counts as the same: faults of one part at one place, and places that nothing tells apart."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rules.belief.signatures import Signatures, Table
from rules.bookkeeping.types import Appliance, Fault

Truth = tuple[str, str | None]  # a fault and its place


@dataclass(frozen=True)
class Entry:
    """One line of a ranking: the groups it stands for, and their probability together."""

    groups: tuple[int, ...]
    probability: float


@dataclass(frozen=True)
class Grouping:
    """Hypotheses in groups. ``member``: shape (H,), the group of each; ``kind``: groups that differ in place alone
    have the same; the last group is *none of these*."""

    member: NDArray[np.intp]
    kind: tuple[Hashable, ...]
    of_truth: dict[Truth, int]

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

    def rank_of(self, truth: Truth, shares: Table) -> int:
        """0 for a truth that stands first; the number of lines if it is nowhere."""
        group = self.of_truth[truth]
        entries = self.ranked(shares)
        return next((place for place, entry in enumerate(entries) if group in entry.groups), len(entries))


def by_fault(signatures: Signatures) -> Grouping:
    """Each fault at its place by itself."""
    return _grouped(signatures, lambda fault: fault.fault)


def by_part(signatures: Signatures) -> Grouping:
    """Faults that the same person mends with the same parts at the same place are one; without parts, each is."""
    appliance = signatures.appliance
    return _grouped(signatures, lambda fault: repair_of(fault, appliance))


def repair_of(fault: Fault, appliance: Appliance) -> Hashable:
    """What a repair consists of: parts and who does it."""
    parts = fault.parts_for(appliance)
    return (tuple(sorted(parts)), fault.skill) if parts else fault.fault


def _grouped(signatures: Signatures, kind_of: Callable[[Fault], Hashable]) -> Grouping:
    keys: dict[tuple[Hashable, str | None], int] = {}
    member = []
    for hypothesis in signatures.hypotheses:
        kind = kind_of(hypothesis.fault) if hypothesis.fault else None
        member.append(-1 if hypothesis.fault is None else keys.setdefault((kind, hypothesis.where), len(keys)))
    numbers = np.array([len(keys) if number < 0 else number for number in member], dtype=np.intp)
    truths = {(h.name, h.where): int(n) for h, n in zip(signatures.hypotheses, numbers, strict=True) if h.fault}
    return Grouping(numbers, (*(kind for kind, _ in keys), None), truths)


def families(names: Iterable[str]) -> list[str]:
    """First words of faults' names, in order: supply, surface, oven, ..."""
    return list(dict.fromkeys(family(name) for name in names))


def family(name: str) -> str:
    """The first word of a fault's name."""
    return name.partition(".")[0]
