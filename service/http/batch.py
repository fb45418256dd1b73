"""``POST /v1/triage/batch``: lines in, lines out, one at a time.

The next line is read when the answer to the last has been handed to the connection: a slow reader slows the reading,
and memory holds one line whatever the length of the batch.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from typing import Any, BinaryIO

from flask import Response, request

from service.deciding import decide
from service.dumping import json_line
from service.http import examples
from service.http.blueprint import Blueprint, Terms, body_doc
from service.http.context import NDJSON, House, house, marks
from service.http.requests import BatchLineSchema
from service.keeping_up import keeps_up
from service.rows import LONGEST_LINE, Tally, answer_row
from service.schemas import BatchRowSchema
from service.watching import logs, metrics

blp = Blueprint("batch", __name__, description="Many calls answered.")
TERMS = Terms(takes=NDJSON, gives=NDJSON)


@blp.route("/v1/triage/batch", methods=["POST"], terms=TERMS)
@blp.doc(
    operationId="triage_batch",
    summary="Triage many calls, one a line",
    requestBody=body_doc(BatchLineSchema, NDJSON, examples.BATCH),
)
@blp.response(200, BatchRowSchema, content_type=NDJSON, description="One row a line, then the closing line.")
def triage_batch() -> Response:
    """NDJSON in and out: a triage request and the caller's `id` on each line, an answer or a problem on each line back.

    Read while you send. The last line has `end`; without it the answer was cut off.
    """
    lines = _lines(_Announced(request.environ["wsgi.input"], request.content_length))
    return Response(_rows(house(), lines, marks().request_id), content_type=NDJSON)


class _Announced:
    """A body that must be as long as it was announced to be; the server would take a lost connection for its end."""

    def __init__(self, stream: BinaryIO, length: int | None) -> None:
        self.stream, self.left = stream, length

    def readline(self, most: int) -> bytes:
        """Raises OSError for a body that ends too early."""
        line = self.stream.readline(most)
        if self.left is not None:
            self.left -= len(line)
            if not line and self.left > 0:
                raise ConnectionError(f"the body ended {self.left} bytes early")
        return line


def _rows(inside: House, lines: Iterator[tuple[int, bytes]], request_id: str) -> Iterator[bytes]:
    tally = Tally()
    deciding = partial(_decide, inside, request_id)
    try:
        for number, raw in lines:
            row = answer_row(inside.expert, number, raw, decide=deciding, dump=inside.wire)
            tally.count(row)
            metrics.batch_line("failed" if "error" in row else "ok")
            yield json_line(row)
            keeps_up()
    except OSError:
        # The client has stopped sending: the closing line stays away, which tells it so.
        logs.LOGGER.warning(
            "a batch was cut off", extra={"told": {"request_id": request_id, "lines": tally.ok + tally.failed}}
        )
        return
    told = {"request_id": request_id, "ok": tally.ok, "failed": tally.failed}
    logs.LOGGER.info("a batch was answered", extra={"told": told})
    yield json_line(tally.closing(inside.expert.book.version))


def _decide(inside: House, request_id: str, enquiry: Any) -> Any:
    return decide(inside.answers, enquiry, inside.settings, inside.dump, request_id)


def _lines(stream: _Announced) -> Iterator[tuple[int, bytes]]:
    """Numbered lines that hold something. Of one that is too long a byte too many is given and the rest skipped."""
    number = 0
    while raw := stream.readline(LONGEST_LINE + 1):
        number += 1
        keeps_up()
        if len(raw) > LONGEST_LINE and not raw.endswith(b"\n"):
            _skip_line(stream)
        if raw.strip():
            yield number, raw.rstrip(b"\r\n") if raw.endswith(b"\n") else raw


def _skip_line(stream: _Announced) -> None:
    while (rest := stream.readline(LONGEST_LINE)) and not rest.endswith(b"\n"):
        pass
