"""How long belief takes at full size: one answer taken in, and the best next tests chosen.

Run: ``OPENBLAS_NUM_THREADS=1 python -m tests.benchmarks.bench_belief``. The model is invented, of the size
the book grows to. It prints the best and the median of many rounds.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from rules import open_book
from rules.belief.choosing import Gate, choose
from rules.belief.pairs import believe_all
from rules.belief.posterior import likelihood
from rules.belief.questions import questions
from rules.casefile import Statement
from tests.benchmarks.bench_circuit import timed
from tests.rules.belief.models import invented

HYPOTHESES, TESTS, ROUNDS, EACH = 500, 200, 15, 50


def measured() -> Iterator[tuple[str, float, float, str]]:
    """Each measurement: what, best and median in microseconds, and the goal."""
    expert = open_book()
    signatures = invented(expert, np.random.default_rng(7), HYPOTHESES, TESTS)
    asked = questions(signatures, "caller")
    print(f"{len(signatures.hypotheses)} hypotheses, {len(asked.asked)} tests, {asked.heard.shape[1]} outcomes")
    gate = Gate("caller", frozenset(), frozenset(), False, frozenset({"hazard.any"}))
    prior, ones = signatures.prior, np.ones(len(signatures.prior))
    said = [Statement(n, ((f"f{n}", f"w{n % 2}"),), "caller", "said") for n in range(6)]
    after = believe_all(signatures, prior, ones, said[:3]).probability

    def update() -> None:
        p = prior * likelihood(signatures, said[0])
        p /= p.sum()

    def line(name: str, work: object, goal: str) -> tuple[str, float, float, str]:
        best, median = timed(work, ROUNDS, EACH)  # type: ignore[arg-type]
        return name, best * 1e6, median * 1e6, goal

    yield line("update, one answer", update, "100 us")
    yield line("score every test, nothing known", lambda: asked.gains(prior, signatures.repair), "1 ms")
    yield line("choose, nothing known", lambda: choose(signatures, prior, gate, ()), "1 ms")
    yield line("choose, after three answers", lambda: choose(signatures, after, gate, ()), "1 ms")


def main() -> None:
    """Print one line for each measurement."""
    for name, best, median, goal in measured():
        print(f"{name:44} best {best:7.0f} us   median {median:7.0f} us   (goal {goal})")


if __name__ == "__main__":
    main()
