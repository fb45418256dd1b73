"""``coldleg chat --server`` against a real server: the same words as with the book here, and every way it can fail.

All callers are invented.
"""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
import requests
from click.testing import CliRunner, Result

from rules import Expert
from service import chat_cli
from service.chat_cli import chat_command
from service.keys import KeyStore
from tests.service.running import PATIENCE, PROGRAM, Running, served

CALL = (
    "none of the burners heat and the oven is dead",
    "why do you ask?",
    "no",
    "how do you know?",
    "yes",
    "no wait, it is dark",
    "not sure",
    "role technician",
    "facts",
    "summary",
    "summary markdown",
)


@pytest.fixture(autouse=True)
def open_already(expert: Expert, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(chat_cli, "opened", lambda _: expert)
    monkeypatch.delenv("COLDLEG_KEY", raising=False)


def chat(*lines: str, options: tuple[str, ...] = ()) -> Result:
    return CliRunner().invoke(chat_command, list(options), input="\n".join(lines))


def history(address: str, output: str, key: str | None = None) -> list[str]:
    """The messages of the case that a talk was kept as."""
    case = output.partition("(case ")[2].partition(")")[0]
    headers = {"Authorization": f"Bearer {key}"} if key else {}
    kept = requests.get(f"{address}/v1/cases/{case}", headers=headers, timeout=10).json()
    return [entry["text"] for entry in kept["history"] if entry["kind"] == "message"]


def test_a_service_says_what_the_book_here_says(service: Running) -> None:
    there = chat(*CALL, options=("--server", service.address))
    here = chat(*CALL)
    assert (there.exit_code, here.exit_code) == (0, 0), there.output
    first, *rest = there.output.splitlines()
    assert first.strip().startswith("(case ")
    assert rest == here.output.splitlines()
    assert "I ask this because" in there.output and "speaks for it" in there.output
    assert "That replaces" in there.output
    said = [line for line in CALL if line.partition(" ")[0] not in ("role", "facts", "summary")]
    assert history(service.address, there.output) == said


def test_what_is_struck_stays_in_the_case(service: Running) -> None:
    result = chat(
        "sparks from the oven", "strike 0.0", "restore 0.0", "strike 9", options=("--server", service.address)
    )
    before, _, after = result.output.partition("Nothing is tried or touched")
    assert "STOP" in before and "STOP" not in after
    assert "say it again instead" in after and "no message 9 in this case" in after
    assert result.exit_code == 0


def test_what_it_refuses_is_told_and_the_call_goes_on(service: Running) -> None:
    result = chat("x" * 5000, "the clock is dead", options=("--server", service.address))
    assert "4,000" in result.output and "[0.0]" in result.output
    assert result.exit_code == 0 and "Traceback" not in result.output
    wrong = chat("x", options=("--server", service.address, "--appliance", "no_such_range"))
    assert wrong.exit_code == 2 and "appliance" in wrong.output and "no_such_range" in wrong.output


@pytest.mark.parametrize(
    ("address", "told"),
    [
        ("http://127.0.0.1:9", "does not answer"),
        ("127.0.0.1:8017", "is no address; write for example http://"),
        ("http://no-such-host.invalid", "does not answer"),
    ],
)
def test_a_wrong_address(address: str, told: str) -> None:
    result = chat("the oven is dead", options=("--server", address))
    assert (result.exit_code, told in result.output, "Traceback" in result.output) == (4, True, False)


def test_another_path_of_a_service_is_no_service(service: Running) -> None:
    result = chat("the oven is dead", options=("--server", f"{service.address}/desk"))
    assert (result.exit_code, "404" in result.output) == (4, True)


def test_a_key_that_is_missing_wrong_or_for_something_else_is_refused(tmp_path: Path) -> None:
    keys = tmp_path / "keys.json"
    store = KeyStore(keys)
    good, _ = store.add("chat", ("cases",), 0)
    other, _ = store.add("triage only", ("triage",), 0)
    with served("--workers", "1", keys=keys) as service:
        for key, status in ((None, "401"), ("cl_wrong", "401"), (other, "403")):
            options = ("--server", service.address, *(("--key", key) if key else ()))
            result = chat("the oven is dead", options=options)
            assert (result.exit_code, status in result.output) == (4, True), result.output
            assert not key or key not in result.output
        result = chat("the oven is dead", options=("--server", service.address, "--key", good))
        assert result.exit_code == 0
        assert history(service.address, result.output, good) == ["the oven is dead"]


# --- a service that fails in the middle ------------------------------------------------------------------------------
class Talk:
    """``coldleg chat`` in a process of its own, a line at a time."""

    def __init__(self, address: str) -> None:
        command = [sys.executable, "-u", "-c", PROGRAM, "chat", "--server", address]
        self.process = subprocess.Popen(
            command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
        )
        self.heard = ""

    def say(self, text: str) -> None:
        assert self.process.stdin is not None
        self.process.stdin.write(text + "\n")
        self.process.stdin.flush()

    def until(self, words: str) -> None:
        """Read on until the program has said this."""
        assert self.process.stdout is not None
        watch = threading.Timer(PATIENCE, self.process.kill)
        watch.start()
        while words not in self.heard:
            line = self.process.stdout.readline()
            assert line, self.heard
            self.heard += line
        watch.cancel()

    def ends(self) -> int:
        out, _ = self.process.communicate(timeout=PATIENCE)
        self.heard += out
        return self.process.returncode


@contextmanager
def talking(address: str) -> Iterator[Talk]:
    talk = Talk(address)
    try:
        yield talk
    finally:
        talk.process.kill()
        talk.process.communicate()


def test_a_service_gone_in_the_middle_ends_the_talk_in_words() -> None:
    with served("--workers", "1") as service, talking(service.address) as talk:
        talk.say(CALL[0])
        talk.until("Next:")
        service.signal(signal.SIGQUIT)
        service.process.wait(PATIENCE)
        talk.say("no")
        assert talk.ends() == 4
        assert "does not answer" in talk.heard
        assert "Traceback" not in talk.heard


def test_a_worker_killed_in_the_middle_is_not_noticed() -> None:
    with served("--workers", "1") as service, talking(service.address) as talk:
        talk.say(CALL[0])
        talk.until("Next:")
        for worker in service.workers():
            os.kill(worker, signal.SIGKILL)
        talk.say("the clock is on")
        talk.until("[1.0]")
        talk.say("quit")
        assert talk.ends() == 0
        assert history(service.address, talk.heard) == [CALL[0], "the clock is on"]


def test_an_answer_lost_on_the_way_is_asked_for_again_and_counts_once(service: Running) -> None:
    with losing_answers(service.port, {2}) as address:
        result = chat(CALL[0], "no", "the clock is on", options=("--server", address))
    assert result.exit_code == 0, result.output
    assert history(service.address, result.output) == [CALL[0], "no", "the clock is on"]


@contextmanager
def losing_answers(port: int, lost: set[int]) -> Iterator[str]:
    """A line to a server that hangs up instead of passing on the answers with these numbers, counted from 0."""
    listening = socket.create_server(("127.0.0.1", 0))
    counted = iter(range(10_000))

    def serve() -> None:
        while True:
            try:
                near, _ = listening.accept()
            except OSError:
                return
            threading.Thread(target=_pass_on, args=(near, port, counted, lost), daemon=True).start()

    threading.Thread(target=serve, daemon=True).start()
    try:
        yield f"http://127.0.0.1:{listening.getsockname()[1]}"
    finally:
        listening.shutdown(socket.SHUT_RDWR)
        listening.close()


def _pass_on(near: socket.socket, port: int, counted: Iterator[int], lost: set[int]) -> None:
    """One connection: a request and its answer at a time; each comes in pieces with a short silence after it."""
    with near, socket.create_connection(("127.0.0.1", port)) as far:
        far.settimeout(0.5)
        while asked := near.recv(65536):
            near.settimeout(0.05)
            asked += _rest(near)
            near.settimeout(None)
            far.sendall(asked)
            answer = far.recv(65536) + _rest(far)
            if next(counted) in lost:
                return
            near.sendall(answer)


def _rest(line: socket.socket) -> bytes:
    """What follows until nothing more comes."""
    got = b""
    try:
        while piece := line.recv(65536):
            got += piece
    except TimeoutError:
        pass
    return got
