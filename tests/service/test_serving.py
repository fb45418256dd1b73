"""The real server under load: stopped, reloaded, a worker killed, stalled connections; and who may reach it."""

from __future__ import annotations

import contextlib
import http.client
import json
import os
import shutil
import signal
import socket
import threading
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
import requests

from rules.bookkeeping.loading import BOOK_FOLDER
from tests.service.running import Running, served

BODY = b'{"note": "left front burner is dead"}'
JSON = {"Content-Type": "application/json"}


class Load:
    """Clients that ask as fast as they are answered, each time over a new connection or over one they keep."""

    def __init__(self, port: int, clients: int, *, kept: bool) -> None:
        self.port, self.kept = port, kept
        self.counts: Counter[str] = Counter()
        self.going = True
        self.threads = [threading.Thread(target=self._ask) for _ in range(clients)]

    def _ask(self) -> None:
        connection = None
        while self.going:
            if connection is None:
                connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=20)
                try:
                    connection.connect()
                except ConnectionRefusedError:
                    self.counts["refused"] += 1  # not taken, so not lost
                    connection = None
                    time.sleep(0.02)
                    continue
            connection = self._once(connection)
        if connection is not None:
            connection.close()

    def _once(self, connection: http.client.HTTPConnection) -> http.client.HTTPConnection | None:
        try:
            connection.request("POST", "/v1/triage", BODY, JSON)
            response = connection.getresponse()
            whole = len(response.read()) == int(response.headers["Content-Length"])
            self.counts["answered" if response.status == 200 and whole else f"status {response.status}"] += 1
            if self.kept and response.headers.get("Connection", "") != "close":
                return connection
        except (OSError, http.client.HTTPException) as error:
            self.counts[f"lost: {type(error).__name__}"] += 1
        connection.close()
        return None

    def lost(self) -> dict[str, int]:
        return {what: number for what, number in self.counts.items() if what not in ("answered", "refused")}


@contextmanager
def under_load(service: Running, *, clients: int = 4, kept: bool = False) -> Iterator[Load]:
    load = Load(service.port, clients, kept=kept)
    for thread in load.threads:
        thread.start()
    try:
        time.sleep(0.5)
        yield load
    finally:
        load.going = False
        for thread in load.threads:
            thread.join(30)


def test_a_worker_killed_and_then_the_server_stopped_under_load() -> None:
    """Killed: only what this worker had in hand is lost, one for each thread at most. Stopped: nothing is."""
    with served("--workers", "2", "--threads", "2", "--log-level", "warning") as service:
        with under_load(service, clients=4) as load:
            os.kill(service.workers(2)[0], signal.SIGKILL)
            _until(lambda: len(service.workers()) == 2)
            after = load.counts["answered"]
            _until(lambda: load.counts["answered"] > after + 10)
        assert sum(load.lost().values()) <= 4  # two in hand, and connections it had accepted for them
        counts = requests.get(f"{service.address}/metrics", timeout=10).text
        line = 'coldleg_http_requests_total{method="POST",route="/v1/triage",status="200"} '
        counted = float(counts.partition(line)[2].partition("\n")[0])
        assert load.counts["answered"] <= counted <= load.counts["answered"] + 4, "the dead worker's counts are kept"
        with under_load(service, clients=2) as fresh, under_load(service, clients=2, kept=True) as kept:
            _until(lambda: min(fresh.counts["answered"], kept.counts["answered"]) > 5)
            service.signal(signal.SIGTERM)
            assert service.process.wait(30) == 0
        assert not fresh.lost()
        assert not kept.lost()


def test_reloaded_under_load(tmp_path: Path) -> None:
    """Twice: with a changed book, which is then answered by, and with a broken one, which changes nothing."""
    book = tmp_path / "book"
    shutil.copytree(BOOK_FOLDER, book)
    with served("--workers", "1", "--threads", "2", "--book", str(book)) as service:
        first = requests.get(f"{service.address}/readyz", timeout=10).json()["book"]
        cautions = book / "cautions.yaml"
        cautions.write_text(cautions.read_text() + "\n# changed\n")
        with under_load(service, clients=3, kept=True) as load:
            old = service.workers()
            service.signal(signal.SIGHUP)
            _until(lambda: service.workers() and not set(service.workers()) & set(old))
        assert load.counts["answered"] > 5
        assert not load.lost()
        assert load.counts["refused"] == 0
        changed = requests.get(f"{service.address}/readyz", timeout=10).json()["book"]
        assert first != changed
        cautions.write_text("- nonsense: [\n")
        old = service.workers()
        service.signal(signal.SIGHUP)
        _until(lambda: service.workers() and not set(service.workers()) & set(old))
        assert requests.get(f"{service.address}/readyz", timeout=10).json()["book"] == changed
        assert "cautions.yaml" in service.log.read_text()


def test_a_broken_book_is_told(tmp_path: Path) -> None:
    from click.testing import CliRunner

    from service.cli import main

    result = CliRunner().invoke(main, ["serve", "--book", str(tmp_path), "--keys", str(tmp_path / "none.json")])
    assert result.exit_code == 3
    assert "the book cannot be used" in result.output


def _until(holds: object, seconds: float = 20.0) -> None:
    end = time.monotonic() + seconds
    while not holds():  # type: ignore[operator]
        assert time.monotonic() < end
        time.sleep(0.05)


def test_stalled_connections_are_ended_and_others_served() -> None:
    """Slow headers and a slow body on every thread; after their deadline the threads serve again."""
    starts = (
        b"GET /livez HTTP/1.1\r\nHost: loc",
        b"POST /v1/triage HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/json\r\nContent-Length: 99\r\n\r\n{",
    )
    quicker = "import service.worker as w; w.HEAD_SECONDS = w.STALL_SECONDS = 1.5; "
    with served("--threads", "2", "--log-level", "warning", before=quicker) as service, contextlib.ExitStack() as held:
        stalled = []
        for start in starts:
            connection = held.enter_context(socket.create_connection(("127.0.0.1", service.port), timeout=10))
            connection.sendall(start)
            stalled.append(connection)
        time.sleep(0.2)
        assert requests.get(f"{service.address}/livez", timeout=10).ok
        for connection in stalled:
            while connection.recv(4096):
                pass  # the server ends it; without that this would run into the time limit
        assert service.log.read_text().count("stalled") == 2


@pytest.mark.parametrize(
    ("raw", "status"),
    [
        (b"nonsense\r\n\r\n", 400),
        (b"GET / HTTP/9.9\r\n\r\n", 400),
        (b"GET /" + b"a" * 9000 + b" HTTP/1.1\r\n\r\n", 414),
        (b"GET / HTTP/1.1\r\n" + b"X: y\r\n" * 200 + b"\r\n", 431),
        (b"GET / HTTP/1.1\r\nBad Header: x\r\n\r\n", 400),
        (b"POST /v1/triage HTTP/1.1\r\nHost: localhost\r\nContent-Length: -1\r\n\r\n", 400),
        (b"POST /v1/triage HTTP/1.1\r\nHost: localhost\r\nContent-Length: 1\r\nContent-Length: 2\r\n\r\n", 400),
        (
            b"POST /v1/triage HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/json\r\n"
            b"Transfer-Encoding: chunked\r\n\r\nzz\r\n",
            400,
        ),
        (b"GET /livez HTTP/1.1\r\n\r\n", 400),
    ],
)
def test_what_is_no_http_gets_a_problem_too(service: Running, raw: bytes, status: int) -> None:
    with socket.create_connection(("127.0.0.1", service.port), timeout=10) as connection:
        connection.sendall(raw)
        response = http.client.HTTPResponse(connection)
        response.begin()
        problem = json.loads(response.read())
    assert (response.status, problem["status"]) == (status, status)
    assert response.headers["Content-Type"] == "application/problem+json"
    assert problem["type"] == "/problems/malformed-request"
