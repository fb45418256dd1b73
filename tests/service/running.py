"""A real server for tests: on a free port of the loopback interface, ended by its process id."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import requests

PATIENCE = 60.0  # seconds until it answers, on a machine that has much else to do
PROGRAM = "from service.cli import main; main()"


@dataclass
class Running:
    """A server that answers. ``log``: what it has written to standard error."""

    process: subprocess.Popen[bytes]
    port: int
    log: Path
    ready_after: float

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def workers(self, number: int = 1) -> list[int]:
        """Process ids of its workers, once there are this many: the first answers before the last is begun."""
        children = Path(f"/proc/{self.process.pid}/task/{self.process.pid}/children")
        until = time.monotonic() + PATIENCE
        while len(found := [int(child) for child in children.read_text().split()]) < number:
            assert time.monotonic() < until, f"{len(found)} of {number} workers"
            time.sleep(0.02)
        return found

    @contextmanager
    def left_to(self, worker: int) -> Iterator[None]:
        """Every request goes to this worker meanwhile: the kernel may give them all to one, or to any."""
        others = [other for other in self.workers() if other != worker]
        for other in others:
            os.kill(other, signal.SIGSTOP)
        try:
            yield
        finally:
            for other in others:
                os.kill(other, signal.SIGCONT)

    def signal(self, number: signal.Signals) -> None:
        os.kill(self.process.pid, number)


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@contextmanager
def served(*options: str, keys: Path | None = None, before: str = "") -> Iterator[Running]:
    """``coldleg serve`` with these options; without ``keys`` nobody is asked for one. ``before``: Python run first."""
    port = free_port()
    with tempfile.TemporaryDirectory() as folder:
        log = Path(folder) / "log"
        program = [sys.executable, "-c", before + PROGRAM]
        command = [*program, "serve", "--port", str(port), "--keys", str(keys or Path(folder) / "none.json")]
        command += ["--database", str(Path(folder) / "cases.db"), *options]
        began = time.monotonic()
        with log.open("wb") as out:
            process = subprocess.Popen(command, stdout=out, stderr=out)
        try:
            _wait(process, port, log)
            yield Running(process, port, log, time.monotonic() - began)
        finally:
            process.send_signal(signal.SIGQUIT)  # at once; what a graceful stop does is tested on its own
            try:
                process.wait(40)
            finally:
                process.kill()


def _wait(process: subprocess.Popen[bytes], port: int, log: Path) -> None:
    until = time.monotonic() + PATIENCE
    while time.monotonic() < until and process.poll() is None:
        try:
            if requests.get(f"http://127.0.0.1:{port}/livez", timeout=2).ok:
                return
        except requests.ConnectionError:
            time.sleep(0.02)
    raise RuntimeError(f"the server does not answer: {log.read_text()}")
