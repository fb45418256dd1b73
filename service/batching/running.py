"""Rows through one process or several, in order, with a bounded number on the way."""

from __future__ import annotations

import json
import multiprocessing
import os
import signal
import threading
import time
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Executor, Future, ProcessPoolExecutor
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from typing import Any

from rules import Answers, Expert, open_book
from rules.answer import Triage
from rules.terms import Problem
from service.batching.incoming import Form, Row
from service.batching.outgoing import line_of
from service.batching.seen import SeenIds
from service.batching.summing import Glance, glance_at
from service.problems import unusable
from service.rows import answer_row, is_id
from service.schemas import triage_dump, triage_wire
from service.sparing import settle

CHUNK = 16  # rows handed to a process at once
AHEAD = 4  # chunks a process may be ahead of the output
WATCH_SECONDS = 1.0
MISSING = Problem("id", "missing; give every row an id of its own, so that its answer can be told from the others")


class NoAnswerError(Exception):
    """Whoever was to answer the rows gives no answer; the rows before have theirs."""


@dataclass(frozen=True, slots=True)
class Done:
    """A row's line of output and what the summary needs of it."""

    text: bytes
    seen: Glance


def checked(rows: Iterable[Row], seen: SeenIds) -> Iterator[Row]:
    """The rows, with a problem on those whose id is missing or was used before."""
    for row in rows:
        if row.problem is not None:
            yield row
            continue
        given, known = _id_of(row)
        if not known:
            yield row  # its JSON is wrong, which the answer will say
        elif given is None:
            yield Row(row.line, problem=MISSING)
        elif is_id(given) and not seen.add(given):
            message = f"{given!r} was used by an earlier row; give every row an id of its own"
            yield Row(row.line, problem=Problem("id", message), id=given)
        else:
            yield Row(row.line, row.raw, id=given)


def _id_of(row: Row) -> tuple[Any, bool]:
    """A row's id, and whether its JSON could be read at all."""
    try:
        data = json.loads(row.raw)
    except (ValueError, RecursionError):
        return None, False
    return (data.get("id"), True) if isinstance(data, dict) else (None, False)


class Answerer:
    """Answers rows with one open book."""

    def __init__(self, expert: Expert, form: Form) -> None:
        self.expert, self.form = expert, form
        self.dump = (triage_wire if form == "ndjson" else triage_dump)(expert.book.facts)
        self.answers = Answers(expert)

    def answer(self, row: Row) -> Done:
        """The line of output of one row."""
        if row.problem is not None:
            made = {"line": row.line, "id": row.id if is_id(row.id) else None, "error": unusable([row.problem])}
            return Done(line_of(made, self.form), Glance(failed=True))
        seen = Glance(failed=True)

        def dump(answer: Triage) -> Any:
            nonlocal seen
            made = self.dump(answer)
            seen = glance_at(answer)
            return made

        made = answer_row(self.expert, row.line, row.raw, decide=self.answers.triage, dump=dump)
        return Done(line_of(made, self.form), seen)


_OWN: list[Answerer] = []  # this process's


def run(rows: Iterable[Row], expert: Expert, form: Form, jobs: int, book: Path | None) -> Iterator[Done]:
    """Answer rows, in their order. Raises BrokenProcessPool if a process dies."""
    settle()
    if jobs == 1:
        yield from map(Answerer(expert, form).answer, rows)
        return
    forked = "fork" in multiprocessing.get_all_start_methods()
    _OWN[:] = [Answerer(expert, form)] if forked else []
    context = multiprocessing.get_context("fork" if forked else "spawn")
    pool = ProcessPoolExecutor(jobs, context, _opened, (book, form, os.getpid()))
    try:
        yield from in_order(pool, _chunk, iter(rows), jobs * AHEAD)
    finally:
        pool.shutdown(wait=True, cancel_futures=True)
        _OWN.clear()


def in_order(
    pool: Executor, work: Callable[[list[Row]], list[Done]], rows: Iterator[Row], ahead: int
) -> Iterator[Done]:
    """Rows through ``work`` in pieces, so many pieces ahead of the output at most."""
    waiting: deque[Future[list[Done]]] = deque()
    while True:
        while len(waiting) < ahead and (chunk := list(islice(rows, CHUNK))):
            waiting.append(pool.submit(work, chunk))
        if not waiting:
            return
        yield from waiting.popleft().result()


def _opened(book: Path | None, form: Form, parent: int) -> None:
    """Start of a process: Ctrl-C is the parent's matter, and without a parent there is nothing to do."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_ends_with, args=(parent,), daemon=True).start()
    if not _OWN:
        _OWN.append(Answerer(open_book(book), form))


def _ends_with(parent: int) -> None:
    while os.getppid() == parent:
        time.sleep(WATCH_SECONDS)
    os._exit(1)


def _chunk(rows: list[Row]) -> list[Done]:
    return [_OWN[0].answer(row) for row in rows]
