"""gunicorn's threaded worker, with what it lacks for this service.

- Every thread builds its engine before the first connection is accepted.
- A request has a deadline: slow senders and slow readers cannot hold threads for ever.
- The lines of a body are handed on as they arrive.
- On a graceful stop, connections that wait in the kernel's queue are still answered.
"""

from __future__ import annotations

import contextlib
import http
import io
import json
import select
import socket
import threading
import time
from typing import Any

from gunicorn.http import errors
from gunicorn.http.body import Body
from gunicorn.workers.gthread import TConn, ThreadWorker

from rules import triage
from service.http.health import SELF_TEST
from service.keeping_up import watched_by
from service.problems import KINDS, body_of
from service.watching import logs

HEAD_SECONDS = 15.0  # for the request line and headers
STALL_SECONDS = 30.0  # for the body and the answer; of a batch, for each line
WARMING_SECONDS = 25.0
STATUSES: tuple[tuple[type[Exception], int], ...] = (
    (errors.LimitRequestLine, 414),
    (errors.LimitRequestHeaders, 431),
    (errors.ExpectationFailed, 417),
    (errors.UnsupportedTransferCoding, 501),
    (errors.ParseException, 400),
)


class EagerBody(Body):  # type: ignore[misc]  # gunicorn has no types
    """A body whose lines come as soon as they are there; gunicorn's waits for a kilobyte of them."""

    buf: io.BytesIO

    def _read_reader(self, size: int) -> bytes:
        """Raises OSError for a body that is not framed as HTTP asks, as for one that is cut off."""
        try:
            return bytes(super()._read_reader(size))
        except errors.ParseException as error:
            raise ConnectionError(f"the body is malformed ({type(error).__name__})") from error

    def readline(self, size: int | None = None) -> bytes:
        most = self.getsize(size)
        held = self.buf.getvalue()
        while (end := held.find(b"\n", 0, most) + 1) == 0 and len(held) < most:
            more = self._arrived()
            if not more:
                break
            held += more
        end = end or min(len(held), most)
        self.buf = io.BytesIO()
        self.buf.write(held[end:])
        return held[:end]

    def _arrived(self) -> bytes:
        """What the connection has for us; waits for one byte at most."""
        first: bytes = self._read_reader(1)
        waiting = self.reader.buf if hasattr(self.reader, "buf") else self.reader.unreader.buf
        more = waiting.getbuffer().nbytes if first else 0
        return first + self._read_reader(more) if more else first


class Worker(ThreadWorker):  # type: ignore[misc]  # gunicorn has no types
    """One process of the service."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.deadlines: dict[TConn, float] = {}

    def run(self) -> None:
        """Warm every thread, then take connections."""
        expert = self.wsgi.extensions["coldleg"].expert
        together = threading.Barrier(self.cfg.threads)

        def warm() -> None:
            with contextlib.suppress(threading.BrokenBarrierError):
                together.wait(WARMING_SECONDS)  # so that each thread gets exactly one of these
            triage(expert, SELF_TEST)

        for done in [self.tpool.submit(warm) for _ in range(self.cfg.threads)]:
            self.notify()
            done.result()
        super().run()

    # --- refusals before the application is asked ----------------------------------------------------------------
    def handle_error(self, req: Any, client: socket.socket, addr: Any, exc: Exception) -> None:  # noqa: ARG002
        """A problem for what is no HTTP. The line or header itself is repeated nowhere: it may hold a key."""
        status = next((number for kind, number in STATUSES if isinstance(exc, kind)), 500)
        if status == 500:
            logs.LOGGER.error("a request failed outside the application", exc_info=exc)
        else:
            told = {"error": type(exc).__name__, "status": status}
            logs.LOGGER.warning("a request that is no HTTP", extra={"told": told})
        phrase = http.HTTPStatus(status).phrase
        kind = KINDS["internal-error" if status == 500 else "malformed-request"]
        body = json.dumps({**body_of(kind, f"{phrase} ({type(exc).__name__})."), "status": status}).encode() + b"\n"
        head = (
            f"HTTP/1.1 {status} {phrase}\r\nConnection: close\r\nContent-Type: application/problem+json\r\n"
            f"X-Content-Type-Options: nosniff\r\nContent-Length: {len(body)}\r\n\r\n"
        )
        with contextlib.suppress(OSError):
            client.sendall(head.encode() + body)

    # --- deadlines -----------------------------------------------------------------------------------------------
    def handle(self, conn: TConn) -> Any:
        self.deadlines[conn] = time.monotonic() + HEAD_SECONDS
        watched_by(lambda: self._extend(conn))
        try:
            return super().handle(conn)
        finally:
            watched_by(None)
            self.deadlines.pop(conn, None)

    def handle_request(self, req: Any, conn: TConn) -> Any:
        self._extend(conn)
        if type(req.body) is Body:
            req.body = EagerBody(req.body.reader)
        return super().handle_request(req, conn)

    def _extend(self, conn: TConn) -> None:
        self.deadlines[conn] = time.monotonic() + STALL_SECONDS

    def murder_pending(self) -> None:
        """Called by the main loop every second: also ends connections that are past their deadline."""
        super().murder_pending()
        now = time.monotonic()
        for conn, deadline in list(self.deadlines.items()):
            if now > deadline and self.deadlines.pop(conn, None) is not None:
                logs.LOGGER.warning("a connection stalled and was ended")
                with contextlib.suppress(OSError):
                    conn.sock.shutdown(socket.SHUT_RDWR)  # wakes the thread that waits on it

    # --- stopping ------------------------------------------------------------------------------------------------
    def set_accept_enabled(self, enabled: bool) -> None:
        super().set_accept_enabled(enabled)
        if not enabled and not self.alive:
            self._empty_queue()

    def _empty_queue(self) -> None:
        """Take what clients have connected already, then close at once; the kernel would reset what is left."""
        for listener in self.sockets:
            while select.select([listener], [], [], 0)[0]:
                before = self.nr_conns
                self.accept(listener)
                if self.nr_conns == before:
                    break  # another worker was faster
            listener.close()
