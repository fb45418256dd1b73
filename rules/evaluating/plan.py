"""What an evaluation is asked for, and the pieces of work it is cut into. Every piece has a random start of its own,
so that the numbers do not depend on how many processes share them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from rules.bookkeeping.types import Book
from rules.evaluating.soundness import Probe
from rules.triage import DEFAULT_APPLIANCE

DEFAULT_SEED = 1
DEFAULT_CASES = 600
IN_ONE_WORLD = 25  # cases; then another world is drawn
SUBMODELS = 240
HYPOTHESES_A_PIECE = 8
SHARE_ELSEWHERE = 0.2  # of the calls, for each configuration beside the default one, so that all six take minutes
EVERY_ELSEWHERE = 10  # one hypothesis of so many is examined for soundness there

TRUE_ERRORS = (0.0, 0.05, 0.10, 0.15)
ASSUMED_ERRORS = (0.02, 0.05, 0.08, 0.15)
DONT_KNOWS = (0.0, 0.25, 0.5)
USUAL_PROBE = Probe()
OFF_BY = 3.0  # wrong priors and wrong minutes are multiplied or divided by this


@dataclass(frozen=True)
class Options:
    """``cases``: simulated calls for the default configuration, a fifth of them for each other one.

    ``orders``: share of them that the fixed orders also work on; ``submodels``: how many are held against the optimum,
    over all configurations. ``grid``: calls for each cell of the robustness grid, 0 for none. ``every``: each
    hypothesis of the default appliance is examined for soundness, else one of so many.
    """

    seed: int = DEFAULT_SEED
    cases: int = DEFAULT_CASES
    configurations: tuple[str, ...] = (DEFAULT_APPLIANCE,)
    orders: float = 0.1
    submodels: int = SUBMODELS
    grid: int = 40
    every: int = 1
    probe: Probe = USUAL_PROBE

    def quick(self) -> Options:
        """A tenth of the work, to see that everything runs; its numbers are not for quoting."""
        probe = Probe(depth=2, width=1, paths=1, wrong=1)
        return replace(self, cases=max(self.cases // 10, 8), submodels=12, grid=8, every=12, orders=0.25, probe=probe)


@dataclass(frozen=True)
class Cell:
    """One cell of the robustness grid; what is None stays as in the perturbed world."""

    name: str
    true_error: float | None = None
    assumed: float | None = None
    dont_know: float | None = None
    contradiction: bool = False
    priors_off: float | None = None
    minutes_off: float | None = None


@dataclass(frozen=True)
class Piece:
    """A piece of work. ``kind``: calls, pairs, outside, ratios, soundness or grid; ``start``: its random start."""

    kind: str
    configuration: str
    count: int
    start: tuple[int, ...]
    orders: int = 0
    members: tuple[int, ...] = ()
    cell: Cell | None = None
    probe: Probe = USUAL_PROBE


def cells() -> list[Cell]:
    """The robustness grid: the world as it is, each disturbance alone, and callers' true error against the assumed."""
    made = [Cell("as it is")]
    made += [Cell(f"don't know {share:.0%}", dont_know=share) for share in DONT_KNOWS]
    made += [
        Cell("one contradicting answer", contradiction=True),
        Cell(f"priors off by {OFF_BY:g}", priors_off=OFF_BY),
        Cell(f"minutes off by {OFF_BY:g}", minutes_off=OFF_BY),
    ]
    made += [
        Cell(f"error {true:.0%}, assumed {assumed:.0%}", true_error=true, assumed=assumed)
        for true in TRUE_ERRORS
        for assumed in ASSUMED_ERRORS
    ]
    return made


def pieces(options: Options, book: Book, hypotheses: dict[str, int]) -> list[Piece]:
    """All the work, longest kinds first. ``hypotheses``: how many faults at places each configuration's table has."""
    default = DEFAULT_APPLIANCE if DEFAULT_APPLIANCE in options.configurations else options.configurations[0]
    made = [piece for c in options.configurations for piece in _calls(options, book, c, first=c == default)]
    made += _ratios(options, book)
    for configuration in options.configurations:
        stride = options.every if configuration == default else max(options.every, EVERY_ELSEWHERE)
        made += _soundness(options, book, configuration, range(0, hypotheses[configuration], stride))
    for number, cell in enumerate(cells() if options.grid else ()):
        # every cell meets the same people, as far as what is disturbed leaves them the same
        start = (options.seed, 5, _number(book, default), 0)
        made.append(Piece("grid", default, options.grid, start, members=(number,), cell=cell))
    return made


def _number(book: Book, configuration: str) -> int:
    return list(book.appliances).index(configuration)


def _calls(options: Options, book: Book, configuration: str, *, first: bool) -> Iterator[Piece]:
    place = _number(book, configuration)
    cases = options.cases if first else max(round(options.cases * SHARE_ELSEWHERE), 1)
    kinds = {"calls": cases, "pairs": cases // 8, "outside": cases // 8}
    for kind_number, (kind, count) in enumerate(kinds.items()):
        for number, size in enumerate(_worlds(count)):
            orders = round(size * options.orders) if kind == "calls" else 0
            yield Piece(kind, configuration, size, (options.seed, kind_number, place, number), orders)


def _worlds(count: int) -> list[int]:
    return [min(IN_ONE_WORLD, count - start) for start in range(0, count, IN_ONE_WORLD)]


def _ratios(options: Options, book: Book) -> Iterator[Piece]:
    shares = np.array_split(np.arange(options.submodels), len(options.configurations))
    for configuration, share in zip(options.configurations, shares, strict=True):
        for number, start in enumerate(range(0, len(share), 10)):
            size = min(10, len(share) - start)
            yield Piece("ratios", configuration, size, (options.seed, 3, _number(book, configuration), number))


def _soundness(options: Options, book: Book, configuration: str, members: range) -> Iterator[Piece]:
    for number, start in enumerate(range(0, len(members), HYPOTHESES_A_PIECE)):
        chosen = tuple(members[start : start + HYPOTHESES_A_PIECE])
        begin = (options.seed, 4, _number(book, configuration), number)
        yield Piece("soundness", configuration, len(chosen), begin, members=chosen, probe=options.probe)
