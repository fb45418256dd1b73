"""A bound that no way of testing can pass, worked out apart from the program."""

from __future__ import annotations

import heapq
import itertools
from collections.abc import Sequence


def huffman_length(prior: Sequence[float], branching: int = 2) -> float:
    """Mean number of tests of an ideal set of tests with so many answers each: no policy needs fewer."""
    waiting = [float(p) for p in prior]
    while branching > 2 and (len(waiting) - 1) % (branching - 1):
        waiting.append(0.0)
    heapq.heapify(waiting)
    total = 0.0
    while len(waiting) > 1:
        joined = sum(heapq.heappop(waiting) for _ in itertools.repeat(None, min(branching, len(waiting))))
        total += joined
        heapq.heappush(waiting, joined)
    return total
