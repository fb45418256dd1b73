"""Runs an evaluation: hands the pieces to processes, counts them off, puts the results together."""

from __future__ import annotations

import multiprocessing
import os
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from contextlib import contextmanager
from pathlib import Path

from rules.evaluating.plan import Options, Piece, pieces
from rules.evaluating.report import Evaluation, compiled
from rules.evaluating.working import Done, open_here, work, work_here
from rules.triage import Expert

#: Called with how many pieces are done and how many there are.
Progress = Callable[[int, int], None]

_THREADS = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS")


def evaluate(
    expert: Expert,
    options: Options,
    *,
    folder: Path | None = None,
    processes: int = 1,
    progress: Progress | None = None,
) -> Evaluation:
    """Evaluate the ranker on simulated cases. The same options give the same numbers, whatever ``processes`` is.

    ``folder``: where ``expert``'s book was opened from, for the other processes.
    """
    told = progress or (lambda _done, _of: None)
    counts = {
        name: len(expert.signatures(expert.book.appliances[name]).hypotheses) - 1 for name in options.configurations
    }
    todo = pieces(options, expert.book, counts)
    told(0, len(todo))
    if processes <= 1:
        done = []
        for number, piece in enumerate(todo, start=1):
            done.append(work(expert, piece))
            told(number, len(todo))
    else:
        done = _shared_out(todo, folder, processes, told)
    return compiled(options, expert.book.version, done)


def _shared_out(todo: Sequence[Piece], folder: Path | None, processes: int, told: Progress) -> list[Done]:
    """The pieces' results in the pieces' order, from fresh processes with one thread of linear algebra each."""
    found: dict[int, Done] = {}
    fresh = multiprocessing.get_context("spawn")
    with _one_thread_each(), ProcessPoolExecutor(processes, fresh, open_here, (folder,)) as pool:
        waiting = {pool.submit(work_here, piece): number for number, piece in enumerate(todo)}
        try:
            for future in as_completed(waiting):
                found[waiting[future]] = future.result()
                told(len(found), len(todo))
        except BaseException:
            pool.shutdown(wait=False, cancel_futures=True)
            raise
    return [found[number] for number in range(len(todo))]


@contextmanager
def _one_thread_each() -> Iterator[None]:
    """Two processes whose libraries each take all cores hinder one another."""
    kept = {name: os.environ.get(name) for name in _THREADS}
    os.environ.update(dict.fromkeys(_THREADS, "1"))
    try:
        yield
    finally:
        for name, value in kept.items():
            if value is None:
                os.environ.pop(name, None)
            else:
                os.environ[name] = value
