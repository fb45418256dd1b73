"""The Python client: typed answers, another try only where it is safe, and the commands that use it."""

from __future__ import annotations

import http.server
import json
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from rules import Enquiry, Expert, triage
from service import client as client_module
from service.cli import main
from service.client import Client, ProblemError, ServiceError
from tests.service.running import Running

NOTE = "the oven is dead but the clock is on"


class Scripted(http.server.ThreadingHTTPServer):
    """Answers what it is told to, one after the other, and keeps what it was asked."""

    def __init__(self, *answers: tuple[int, dict[str, str], bytes]) -> None:
        super().__init__(("127.0.0.1", 0), _Handler)
        self.answers, self.asked = list(answers), list[tuple[str, str, dict[str, str]]]()

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self.server_address[1]}"


class _Handler(http.server.BaseHTTPRequestHandler):
    server: Scripted

    def do_POST(self) -> None:
        self.rfile.read(int(self.headers.get("Content-Length", 0)))
        self.server.asked.append((self.command, self.path, dict(self.headers)))
        status, headers, body = self.server.answers.pop(0)
        if status == 0:
            self.close_connection = True  # as a server that dies
            return
        self.send_response(status)
        for name, value in {**headers, "Content-Length": str(len(body))}.items():
            self.send_header(name, value)
        self.end_headers()
        self.wfile.write(body)

    do_GET = do_POST  # noqa: N815

    def log_message(self, *_: object) -> None:
        pass


@contextmanager
def scripted(*answers: tuple[int, dict[str, str], bytes]) -> Iterator[Scripted]:
    with Scripted(*answers) as server:
        thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.01})
        thread.start()
        yield server
        server.shutdown()
        thread.join()


@pytest.fixture(autouse=True)
def _impatient(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(client_module, "BACK_OFF", 0.01)


def test_the_answer_is_the_expert_s(service: Running, expert: Expert) -> None:
    with Client(service.address) as coldleg:
        for enquiry in (Enquiry(NOTE, explain="full"), Enquiry("sparks from the oven"), Enquiry("gas range")):
            answer = coldleg.triage(enquiry.note, explain=enquiry.explain)
            alone = triage(expert, enquiry)
            assert answer.conclusions == alone.conclusions
            assert answer.understood == alone.understood
            assert (answer.stop, answer.visit, answer.next_tests) == (alone.stop, alone.visit, alone.next_tests)
        assert coldleg.ready() == expert.book.version
        assert list(coldleg.vocabulary()) == list(expert.book.facts)
        open_line = coldleg.triage(facts=[{"fact": "ohms.bake", "value": "OL"}], role="technician")
        assert open_line.understood[0].value == float("inf")


def test_refused(service: Running) -> None:
    with Client(service.address) as coldleg:
        with pytest.raises(ProblemError) as refused:
            coldleg.triage(facts=[{"fact": "dispaly", "value": "lit"}])
        assert refused.value.status == 422
        assert refused.value.problems[0].field == "facts/0/fact"
        with pytest.raises(ProblemError, match="404"):
            list(coldleg.entries("nothing"))


def test_batch_in_pieces_is_one_batch(service: Running, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(client_module, "LINES_A_POST", 3)
    lines = [b'{"id": %d, "note": "left front burner is dead"}' % n for n in range(10)]
    lines[4:4] = [b"", b"nonsense\n"]
    with Client(service.address) as coldleg:
        *rows, end = coldleg.batch(lines)
    assert [row["line"] for row in rows] == [1, 2, 3, 4, 6, 7, 8, 9, 10, 11, 12]
    assert [row["id"] for row in rows if "answer" in row] == list(range(10))
    assert (end["lines"], end["ok"], end["failed"]) == (11, 10, 1)
    with Client(service.address) as coldleg:
        assert [row["end"] for row in coldleg.batch([])] == [True]


BUSY = (503, {"Retry-After": "0"}, b"")
ALIVE = (200, {}, b'{"ready": true, "book": "sha256:x"}')


def test_tried_again_where_it_is_safe() -> None:
    with scripted(BUSY, (429, {"Retry-After": "0"}, b""), ALIVE) as server, Client(server.address) as coldleg:
        assert coldleg.ready() == "sha256:x"
        assert len(server.asked) == 3
    with scripted(BUSY, (0, {}, b""), (200, {}, b"{}")) as server, Client(server.address) as coldleg:
        assert coldleg.triage_json({"note": NOTE}) == {}
        assert len(server.asked) == 3
    with scripted(BUSY, BUSY, BUSY, BUSY) as server, Client(server.address) as coldleg:
        with pytest.raises(ProblemError, match="503"):
            coldleg.ready()
        assert len(server.asked) == 4


def test_what_is_said_in_a_case_is_said_again_under_the_same_mark() -> None:
    with scripted(BUSY, (0, {}, b""), (200, {"ETag": '"3"'}, b"{}")) as server, Client(server.address) as coldleg:
        assert coldleg.say("c", '"2"', {"text": NOTE}) == ({}, '"3"')
        assert len(server.asked) == 3
        assert len({asked[2]["Idempotency-Key"] for asked in server.asked}) == 1
    with scripted(BUSY, (0, {}, b""), (201, {}, b"{}")) as server, Client(server.address) as coldleg:
        coldleg.open_case({})
        assert len({asked[2]["Idempotency-Key"] for asked in server.asked}) == 1


def test_not_tried_again_where_it_might_do_something_twice() -> None:
    for answer in (BUSY, (0, {}, b"")):
        with scripted(answer, ALIVE) as server, Client(server.address) as coldleg:
            with pytest.raises(ServiceError):
                coldleg._send("POST", "v1/elsewhere", json={})
            assert len(server.asked) == 1
    with scripted((422, {}, b'{"title": "no"}'), ALIVE) as server, Client(server.address) as coldleg:
        with pytest.raises(ProblemError):
            coldleg.triage(NOTE)
        assert len(server.asked) == 1


def test_the_key_goes_nowhere_else(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    netrc = tmp_path / "netrc"
    netrc.write_text("machine 127.0.0.1 login someone password else\n")
    netrc.chmod(0o600)
    monkeypatch.setenv("NETRC", str(netrc))
    with scripted(ALIVE) as other, scripted((302, {"Location": other.address}, b"")) as server:
        with Client(server.address, key="coldleg_k") as coldleg, pytest.raises(ProblemError):
            coldleg.ready()
        assert server.asked[0][2]["Authorization"] == "Bearer coldleg_k"
        assert not other.asked
    with scripted(ALIVE) as server, Client(server.address) as coldleg:
        coldleg.ready()
        assert "Authorization" not in server.asked[0][2]


@pytest.mark.parametrize(
    "body", [b"<html>", b"[]", b"7", b"{}", b'{"conclusions": 5}', b'{"understood": [5]}', b'{"stop": []}', b"\xff"]
)
def test_answers_that_are_none(body: bytes) -> None:
    with scripted((200, {}, body)) as server, Client(server.address) as coldleg:
        if body == b"{}":
            assert coldleg.triage(NOTE).conclusions == ()  # an older server may know less
        else:
            with pytest.raises(ServiceError):
                coldleg.triage(NOTE)


def test_nobody_there() -> None:
    with Client("http://127.0.0.1:1", tries_again=0) as coldleg, pytest.raises(ServiceError, match="does not answer"):
        coldleg.ready()
    with pytest.raises(ServiceError, match="write for example"):
        Client("localhost:8017")


# --- the command -------------------------------------------------------------------------------------------------
def typed(*words: str, given: str | None = None) -> Any:
    return CliRunner().invoke(main, ["triage", *words], input=given)


@pytest.mark.parametrize(
    "words",
    [
        (NOTE,),
        (NOTE, "--explain"),
        ("--fact", "surface.heat@all=none", "--fact", "volts@L1-L2/loaded=1.2 V", "--role", "technician"),
        ("sparks from the oven", "--appliance", "coil_range", "--role", "caller"),
        (NOTE, "--fact", 'self_clean_days="1 day"'.replace('"', "")),
        (NOTE, "--json"),
    ],
)
def test_asked_of_a_server_the_screen_is_the_same(service: Running, words: tuple[str, ...]) -> None:
    here, there = typed(*words), typed(*words, "--server", service.address)
    assert there.exit_code == here.exit_code == 0, there.output
    assert there.stdout == here.stdout


def test_an_appliance_of_one_s_own_and_standard_input(service: Running, tmp_path: Path) -> None:
    file = tmp_path / "flat.yaml"
    file.write_text("based_on: coil_range\nsupply: 208Y/120\n")
    words = ("-", "--appliance", str(file))
    here, there = (typed(*words, *more, given="all burners are weak") for more in ((), ("--server", service.address)))
    assert there.stdout == here.stdout


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--fact", "dispaly=lit"), "facts/0/fact"),
        (("--fact", "display"), "write NAME=VALUE"),
        ((), "note"),
        (("x", "--appliance", "kettle"), "appliance"),
        (("x", "--book", "."), "--book"),
    ],
)
def test_wrong_words_are_told(service: Running, words: tuple[str, ...], said: str) -> None:
    result = typed(*words, "--server", service.address)
    assert result.exit_code == 2
    assert said in result.output


def test_no_service_is_told() -> None:
    result = typed("x", "--server", "http://127.0.0.1:1")
    assert result.exit_code == 4
    assert "does not answer" in result.output


def test_the_key_is_taken_from_the_environment(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLDLEG_KEY", "coldleg_k")
    with scripted((401, {}, json.dumps({"title": "no", "detail": "unknown key"}).encode())) as server:
        result = typed("x", "--server", server.address, "--json")
        assert server.asked[0][2]["Authorization"] == "Bearer coldleg_k"
    assert result.exit_code == 4
    assert "unknown key" in result.output
