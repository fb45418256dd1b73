"""Ambiguity groups (the word of IEEE 1232): faults at places that no test of the book tells apart."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rules.bookkeeping.types import Book
from rules.checking.configurations import Looks
from rules.checking.coverage import keys_read


@dataclass(frozen=True)
class AmbiguityGroup:
    """Faults with their places that look alike to every test, on the appliances named.

    ``shared`` are the parts that a repair of any of them may need: with one, the van is loaded right all the same.
    """

    members: tuple[str, ...]  # fault, or fault@place
    appliances: tuple[str, ...]
    shared: tuple[str, ...]


def ambiguity_groups(book: Book, configurations: Sequence[Looks]) -> list[AmbiguityGroup]:
    """All groups on the book's own appliances, the same group on several of them once."""
    found: dict[tuple[str, ...], tuple[list[str], tuple[str, ...]]] = {}
    for looks in (looks for looks in configurations if looks.shipped):
        for members, shared in _on(book, looks):
            found.setdefault(members, ([], shared))[0].append(looks.appliance.appliance)
    return [AmbiguityGroup(members, tuple(names), shared) for members, (names, shared) in sorted(found.items())]


def _on(book: Book, looks: Looks) -> list[tuple[tuple[str, ...], tuple[str, ...]]]:
    """Groups of one appliance with their shared parts. Alike: the same variants, each with the same tables."""
    keys = dict.fromkeys(key for card in book.tests.values() for key in keys_read(card, book, looks))
    if not keys:
        return []
    seen = np.round(np.concatenate([looks.tables[key] for key in keys], axis=1), 9)
    alike: dict[tuple[bytes, ...], list[int]] = {}
    signatures = looks.signatures
    for number, first in enumerate(signatures.first[:-1]):
        rows = np.flatnonzero(signatures.group == number)
        alike.setdefault(tuple(sorted(seen[row].tobytes() for row in rows)), []).append(int(first))
    groups = []
    for firsts in alike.values():
        if len(firsts) > 1:
            hypotheses = [signatures.hypotheses[first] for first in firsts]
            members = tuple(h.name + (f"@{h.where}" if h.where else "") for h in hypotheses)
            parts = [h.fault.parts_for(looks.appliance) for h in hypotheses if h.fault]
            shared = tuple(part for part in parts[0] if all(part in others for others in parts))
            groups.append((members, shared))
    return groups
