"""Ids seen so far, in 16 to 32 bytes each: a million cost 32 MB at most, a tenth of what a set of strings would."""

from __future__ import annotations

from array import array
from hashlib import blake2b
from typing import Any

SMALLEST = 1 << 12
FULLEST = 0.5  # share of slots taken before the table is doubled


class SeenIds:
    """A set of ids kept as 64-bit hashes with open addressing.

    Two different ids among a million share a hash with a probability of 3e-8 (birthday bound); the later of the two
    would then be refused as a repeat.
    """

    def __init__(self) -> None:
        self._slots = array("Q", bytes(8 * SMALLEST))
        self._taken = 0

    def add(self, given: Any) -> bool:
        """Remember an id. False if it was seen before; ``1`` and ``"1"`` are different ids."""
        marked = f"{type(given).__name__}:{given}".encode("utf-8", "surrogatepass")
        mark = int.from_bytes(blake2b(marked, digest_size=8).digest(), "big") or 1
        if not _put(self._slots, mark):
            return False
        self._taken += 1
        if self._taken > FULLEST * len(self._slots):
            self._grow()
        return True

    def _grow(self) -> None:
        wider = array("Q", bytes(16 * len(self._slots)))
        for mark in self._slots:
            if mark:
                _put(wider, mark)
        self._slots = wider


def _put(slots: array[int], mark: int) -> bool:
    at, last = mark & (len(slots) - 1), len(slots) - 1
    while slots[at]:
        if slots[at] == mark:
            return False
        at = (at + 1) & last
    slots[at] = mark
    return True
