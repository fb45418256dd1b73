"""How long the circuit takes: one solve of the whole network, and the whole signature table of a large range.

Run: ``OPENBLAS_NUM_THREADS=1 python -m tests.benchmarks.bench_circuit``. It prints the best and the median of many
rounds; the best is the machine's own speed, the median shows what else was going on.
"""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable
from dataclasses import replace

from rules.appliance.injecting import Machine, stack
from rules.appliance.operating import Runs, conducting
from rules.appliance.wiring import wire
from rules.belief.signatures import build
from rules.bookkeeping.loading import load_book

SOLVES, ROUNDS, TABLES = 200, 15, 7


def timed(work: Callable[[], object], rounds: int, each: int) -> tuple[float, float]:
    """Best and median seconds of one call."""
    seconds = []
    for _ in range(rounds):
        start = time.perf_counter()
        for _ in range(each):
            work()
        seconds.append((time.perf_counter() - start) / each)
    return min(seconds), statistics.median(seconds)


def main() -> None:
    """Print one line for each measurement."""
    book = load_book()
    large = replace(book.appliances["radiant_range"], convection_watts=1500.0, self_clean=True)
    wiring = wire(large)
    fleet = stack(wiring, [Machine()])
    runs = Runs(fleet, 1080.0)
    print(f"network: {len(wiring.network.nodes)} nodes, {len(wiring.network.branches)} branches")
    for state in ("idle", "bake", "all high"):
        admittance = conducting(fleet, runs.closing(state))
        best, median = timed(lambda y=admittance: wiring.network.solve(y, fleet.pinned), ROUNDS, SOLVES)  # type: ignore[misc]
        print(f"one solve, {state:9} best {best * 1e6:6.0f} us   median {median * 1e6:6.0f} us   (goal 150 us)")
    size = len(build(book, large).hypotheses)
    best, median = timed(lambda: build(book, large), TABLES, 1)
    print(f"signature table, {size} hypotheses: best {best:.3f} s   median {median:.3f} s   (goal 1.5 s)")


if __name__ == "__main__":
    main()
