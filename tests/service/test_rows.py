"""A batch: one row for each line whatever it holds, as lines come, and a closing line; memory stays small."""

from __future__ import annotations

import gc
import io
import json
import random
import socket
import tracemalloc
from collections.abc import Iterator
from typing import Any

import pytest
import requests
from flask import Flask
from flask.testing import FlaskClient
from hypothesis import given, settings
from hypothesis import strategies as st

from rules import Expert
from service.app import create_app
from service.rows import LONGEST_LINE, answer_row
from tests.service.hostile import bodies
from tests.service.running import Running

GOOD = b'{"id": "a", "note": "left front burner is dead"}'
NDJSON = "application/x-ndjson"


@pytest.fixture(scope="module")
def app(expert: Expert) -> Flask:
    return create_app(expert)


@pytest.fixture(scope="module")
def client(app: Flask) -> FlaskClient:
    return app.test_client()


def batch(client: FlaskClient, raw: bytes) -> list[dict[str, Any]]:
    response = client.post("/v1/triage/batch", data=raw, content_type=NDJSON)
    assert response.status_code == 200
    assert response.mimetype == NDJSON
    return [json.loads(line) for line in response.get_data().splitlines()]


def test_rows_in_order_with_number_and_id(client: FlaskClient, expert: Expert) -> None:
    lines = [GOOD, b"", b"{", b'{"id": 7, "note": ""}', b'{"id": [], "note": "x"}', b"   ", b'{"note": "sparks"}']
    *rows, end = batch(client, b"\n".join(lines))
    assert [(row["line"], row["id"], "answer" in row) for row in rows] == [
        (1, "a", True),
        (3, None, False),
        (4, 7, False),
        (5, None, False),
        (7, None, True),
    ]
    assert [row["error"]["type"] for row in rows if "error" in row] == [
        "/problems/malformed-json",
        "/problems/unusable-input",
        "/problems/unusable-input",
    ]
    assert rows[2]["error"]["errors"][0]["pointer"] == "/note"
    assert end == {"end": True, "lines": 5, "ok": 2, "failed": 3, "book": expert.book.version}


def test_a_row_is_the_single_answer(client: FlaskClient) -> None:
    row = batch(client, GOOD)[0]
    assert row["answer"] == client.post("/v1/triage", json={"note": "left front burner is dead"}).get_json()
    wrong = {"facts": [{"fact": "surface.heat", "where": "left_frnt", "value": "none"}]}
    row = batch(client, json.dumps(wrong).encode())[0]
    assert row["error"]["errors"] == client.post("/v1/triage", json=wrong).get_json()["errors"]


def test_nothing_sent(client: FlaskClient) -> None:
    assert [row["end"] for row in batch(client, b"")] == [True]
    assert [row["lines"] for row in batch(client, b"\n\n")] == [0]


def test_line_ends_and_a_mark_at_the_start(client: FlaskClient) -> None:
    rows = batch(client, b"\xef\xbb\xbf" + GOOD + b"\r\n" + GOOD)
    assert [row.get("line") for row in rows] == [1, 2, None]
    assert rows[2]["ok"] == 2


def test_a_line_too_long_costs_that_line_only(client: FlaskClient) -> None:
    for long in (b'{"note": "' + b"a" * LONGEST_LINE + b'"}', b"a" * (LONGEST_LINE * 3), b"a" * (LONGEST_LINE + 1)):
        rows = batch(client, GOOD + b"\n" + long + b"\n" + GOOD)
        assert [("answer" in row) for row in rows[:3]] == [True, False, True]
        assert rows[1]["line"] == 2
        assert rows[3]["failed"] == 1


@given(st.binary(max_size=100).filter(lambda raw: b"\n" not in raw))
@settings(max_examples=100)
def test_any_bytes_give_a_row(expert: Expert, raw: bytes) -> None:
    row = answer_row(expert, 5, raw)
    assert row["line"] == 5
    assert ("answer" in row) != ("error" in row)
    json.dumps(row, allow_nan=False).encode()


def test_hostile_lines_give_rows(expert: Expert) -> None:
    chance = random.Random(3)
    for (_, raw), number in zip(bodies(chance), range(150)):  # noqa: B905  # the first has no end
        row = answer_row(expert, number, raw)
        assert row.get("error", {"status": 400})["status"] < 500, raw


def test_a_failure_of_ours_is_a_row(expert: Expert) -> None:
    def broken(_: object) -> Any:
        raise RuntimeError("about a caller")

    row = answer_row(expert, 1, GOOD, decide=broken)
    assert (row["id"], row["error"]["status"]) == ("a", 500)
    assert "about a caller" not in json.dumps(row)


class _Endless(io.RawIOBase):
    """A body that is made while it is read, and counts what was taken of it."""

    def __init__(self, lines: int) -> None:
        self.left, self.taken = lines, 0

    def readline(self, _size: int | None = -1, /) -> bytes:
        if not self.left:
            return b""
        self.left -= 1
        self.taken += 1
        return GOOD + b"\n"


def rows_of(app: Flask, stream: _Endless) -> Iterator[bytes]:
    environ = {
        "REQUEST_METHOD": "POST",
        "PATH_INFO": "/v1/triage/batch",
        "SERVER_NAME": "localhost",
        "SERVER_PORT": "80",
        "HTTP_HOST": "localhost",
        "SERVER_PROTOCOL": "HTTP/1.1",
        "CONTENT_TYPE": NDJSON,
        "HTTP_TRANSFER_ENCODING": "chunked",
        "wsgi.input_terminated": True,
        "wsgi.input": stream,
        "wsgi.url_scheme": "http",
    }
    yield from app(environ, lambda *_: None)


def test_the_next_line_is_read_when_the_last_answer_was_taken(app: Flask) -> None:
    stream = _Endless(1000)
    rows = rows_of(app, stream)
    for taken in range(1, 20):
        assert json.loads(next(rows))["line"] == taken
        assert stream.taken == taken
    rows.close()
    assert stream.taken == 19, "a reader that has left ends the reading"


def test_memory_stays_flat(app: Flask) -> None:
    """What is held after 10 rows is what is held after 40."""
    rows = rows_of(app, _Endless(1000))
    held = []
    tracemalloc.start()
    for number, _ in enumerate(rows):
        if number in (10, 40):
            gc.collect()
            held.append(tracemalloc.get_traced_memory()[0])
        if number == 40:
            break
    tracemalloc.stop()
    rows.close()
    assert held[1] - held[0] < 30_000


def test_a_slow_reader_and_one_that_leaves(service: Running) -> None:
    """Over a real connection: both directions are open at once, and the server outlives whoever goes away."""
    head = f"POST /v1/triage/batch HTTP/1.1\r\nHost: localhost\r\nContent-Type: {NDJSON}\r\n"
    head += "Transfer-Encoding: chunked\r\n\r\n"
    chunk = b"%x\r\n%s\r\n" % (len(GOOD) * 8 + 8, (GOOD + b"\n") * 8)
    for _ in range(6):  # more than there are threads
        with socket.create_connection(("127.0.0.1", service.port)) as leaves:
            leaves.sendall(head.encode() + chunk)
            assert leaves.recv(20, socket.MSG_WAITALL).startswith(b"HTTP/1.1 200")
    with socket.create_connection(("127.0.0.1", service.port), timeout=20) as slow:
        slow.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 16384)
        slow.sendall(head.encode() + chunk)
        first = b""
        while b'"line":1' not in first:  # would end by the time limit if answers waited for the request's end
            first += slow.recv(2000)
        assert requests.get(f"{service.address}/readyz", timeout=10).ok, "others are served meanwhile"
        slow.sendall(chunk + b"0\r\n\r\n")
        got = first
        while b'"end":true' not in got and (more := slow.recv(4096)):
            got += more
        assert b'"lines":16,"ok":16' in got
    with socket.create_connection(("127.0.0.1", service.port), timeout=20) as cut:
        announced = head.replace("Transfer-Encoding: chunked", f"Content-Length: {len(GOOD) * 10}")
        cut.sendall(announced.encode() + GOOD + b"\n")
        cut.shutdown(socket.SHUT_WR)
        got = b""
        while more := cut.recv(4096):
            got += more
        assert b'"line":1' in got
        assert b'"end":true' not in got, "a body cut off gets no closing line"
