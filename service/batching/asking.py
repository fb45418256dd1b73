"""Rows of a batch answered by a running service, in order, a piece at a time over a few connections.

A row that is wrong before it is sent (its id was used before, it is no row of CSV) is answered here; all others go out
as they are. A piece that gets no answer gives no line at all, so that an interrupted run can be gone on with.
"""

from __future__ import annotations

import os
import threading
from collections.abc import Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor

from rules.terms import Problem
from service.batching.incoming import Form, Row
from service.batching.outgoing import line_of
from service.batching.running import AHEAD, Done, NoAnswerError, in_order
from service.batching.summing import glance
from service.client import Client, ServiceError
from service.problems import unusable
from service.remote import KEY_VARIABLE
from service.rows import is_id

BLANK = Problem("", "holds nothing that can be read; write one JSON object a line")


class Asker:
    """Has rows answered by the service at ``address``; each thread that asks has a connection of its own."""

    def __init__(self, address: str, form: Form) -> None:
        """Raises ServiceError for an address that is none."""
        self.address, self.form = address, form
        self._own = threading.local()
        self._clients: list[Client] = []
        self.client().ready()

    def client(self) -> Client:
        """This thread's client, with the key from the environment."""
        if not hasattr(self._own, "client"):
            self._own.client = Client(self.address, key=os.environ.get(KEY_VARIABLE) or None)
            self._clients.append(self._own.client)
        made: Client = self._own.client
        return made

    def run(self, rows: Iterable[Row], jobs: int) -> Iterator[Done]:
        """Answers in the order of the rows, over so many connections. Raises NoAnswerError."""
        pool = ThreadPoolExecutor(jobs)
        try:
            yield from in_order(pool, self._piece, iter(rows), jobs * AHEAD if jobs > 1 else 1)
        except ServiceError as error:
            raise NoAnswerError(str(error)) from error
        finally:
            pool.shutdown(wait=True, cancel_futures=True)
            for client in self._clients:
                client.session.close()

    def _piece(self, rows: list[Row]) -> list[Done]:
        sent = [row for row in rows if row.problem is None and row.raw.strip()]
        answers = list(self.client().batch(row.raw for row in sent))[:-1] if sent else []
        if len(answers) != len(sent):
            raise ServiceError(f"{len(sent)} rows were sent and {len(answers)} came back; is the service Coldleg?")
        given = iter(answers)
        return [self._done(row, next(given) if row.problem is None and row.raw.strip() else None) for row in rows]

    def _done(self, row: Row, answer: dict[str, object] | None) -> Done:
        if answer is None:
            problem = row.problem or BLANK
            answer = {"line": row.line, "id": row.id if is_id(row.id) else None, "error": unusable([problem])}
        made = {**answer, "line": row.line}
        return Done(line_of(made, self.form), glance(made))
