"""Keys: kept as hashes, told once, refused when unknown, revoked or too often; never written down."""

from __future__ import annotations

import json
import re
import socket
import stat
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
import requests
from click.testing import CliRunner
from flask.testing import FlaskClient

from rules import Expert, InputError
from service.app import create_app
from service.cli import main
from service.keys import KeyStore
from service.ratelimit import RateLimiter
from service.settings import Settings
from tests.service.running import served


@pytest.fixture
def store(tmp_path: Path) -> KeyStore:
    return KeyStore(tmp_path / "keys.json")


def client_of(expert: Expert, store: KeyStore) -> FlaskClient:
    return create_app(expert, Settings(keys=store, limiter=RateLimiter())).test_client()


def bearer(token: str) -> dict[str, str]:
    return {"Authorization": f"Bearer {token}"}


def test_the_commands(tmp_path: Path) -> None:
    file = str(tmp_path / "deep" / "keys.json")
    made = CliRunner().invoke(
        main, ["keys", "add", "dispatch desk", "--scope", "triage", "--scope", "admin", "--keys", file]
    )
    token = made.stdout.strip()
    assert re.fullmatch(r"coldleg_[0-9a-f]{8}_[\w-]{43}", token)
    kept = Path(file).read_text()
    assert token.rpartition("_")[2] not in kept
    assert stat.S_IMODE(Path(file).stat().st_mode) == 0o600
    listed = CliRunner().invoke(main, ["keys", "list", "--keys", file])
    assert "dispatch desk" in listed.stdout
    assert token.rpartition("_")[2] not in listed.output
    number = token.split("_")[1]
    assert KeyStore(Path(file)).find(token) is not None
    assert CliRunner().invoke(main, ["keys", "revoke", number, "--keys", file]).exit_code == 0
    assert KeyStore(Path(file)).find(token) is None
    assert CliRunner().invoke(main, ["keys", "revoke", "nothing", "--keys", file]).exit_code == 2
    assert CliRunner().invoke(main, ["keys", "add", "a\nb", "--keys", file]).exit_code == 2


def test_a_file_that_cannot_be_read_is_told(tmp_path: Path) -> None:
    file = tmp_path / "keys.json"
    for text in ("", "[]", '{"keys": [{}]}', "\x00"):
        file.write_text(text)
        result = CliRunner().invoke(main, ["keys", "list", "--keys", str(file)])
        assert result.exit_code == 2
        assert "cannot be read" in result.output
        with pytest.raises(InputError):
            KeyStore(file).active()


def test_keys_made_at_the_same_time_are_all_kept(store: KeyStore) -> None:
    with ThreadPoolExecutor(8) as pool:
        tokens = [
            token for token, _ in pool.map(lambda n: KeyStore(store.file).add(f"key {n}", ("triage",), 0), range(24))
        ]
    assert all(store.find(token) for token in tokens)


def test_who_gets_in(expert: Expert, store: KeyStore) -> None:
    token, record = store.add("desk", ("triage",), 0)
    client = client_of(expert, store)
    assert client.get("/v1/faults", headers=bearer(token)).status_code == 200
    other = token[:-1] + ("a" if token[-1] != "a" else "b")
    for headers in (
        {},
        bearer(other),
        bearer(token.upper()),
        bearer(""),
        {"Authorization": f"Basic {token}"},
        bearer(token + " x"),
    ):
        refused = client.get("/v1/faults", headers=headers)
        assert (refused.status_code, refused.get_json()["type"]) == (401, "/problems/key-needed")
        assert refused.headers["WWW-Authenticate"].startswith("Bearer")
    assert client.get(f"/v1/faults?key={token}").status_code == 401
    scarce = client.get("/metrics", headers=bearer(token))
    assert (scarce.status_code, scarce.get_json()["type"]) == (403, "/problems/key-not-enough")
    assert 'scope="admin"' in scarce.headers["WWW-Authenticate"]
    for path in ("/livez", "/readyz", "/openapi.json", "/docs", "/problems/key-needed"):
        assert client.get(path).status_code == 200
    assert record.sha256 != token


def test_revoked_while_running(expert: Expert, store: KeyStore, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("service.keys.LOOK_AGAIN", 0.0)
    token, record = store.add("desk", ("triage",), 0)
    client = client_of(expert, store)
    assert client.get("/v1/faults", headers=bearer(token)).status_code == 200
    KeyStore(store.file).revoke(record.key)
    assert client.get("/v1/faults", headers=bearer(token)).status_code == 401
    again, _ = KeyStore(store.file).add("desk", ("triage",), 0)
    assert client.get("/v1/faults", headers=bearer(again)).status_code == 200
    store.file.write_text("half a fi")
    assert client.get("/v1/faults", headers=bearer(again)).status_code == 200, "the last good keys stay"


def test_the_rate_is_the_key_s(expert: Expert, store: KeyStore) -> None:
    slow, _ = store.add("slow", ("triage",), 6)
    quick, _ = store.add("quick", ("triage",), 6000)
    client = client_of(expert, store)
    assert client.get("/v1/faults", headers=bearer(slow)).status_code == 200
    refused = client.get("/v1/faults", headers=bearer(slow))
    assert refused.status_code == 429
    assert 1 <= int(refused.headers["Retry-After"]) <= 10
    assert {client.get("/v1/faults", headers=bearer(quick)).status_code for _ in range(20)} == {200}


def test_buckets_fill_again_with_time() -> None:
    now = [1000.0]
    limiter = RateLimiter(clock=lambda: now[0])
    assert [limiter.take("k", 60) for _ in range(10)] == [0.0] * 10
    wait = limiter.take("k", 60)
    assert wait == pytest.approx(1.0)
    now[0] += wait
    assert limiter.take("k", 60) == 0.0
    assert limiter.take("k", 60) > 0
    now[0] += 1e6
    assert [limiter.take("k", 60) for _ in range(11)].count(0.0) == 10, "no more than the burst is saved up"


def test_more_keys_than_buckets() -> None:
    limiter = RateLimiter(clock=lambda: 5.0)
    assert all(limiter.take(f"{n:08x}", 60) == 0.0 for n in range(2500))


def test_beyond_this_machine_only_with_keys_and_the_key_is_never_written_down(tmp_path: Path) -> None:
    """Also the rate, which holds over both workers together."""
    keys = tmp_path / "keys.json"
    token, _ = KeyStore(keys).add("desk", ("triage", "admin"), 600)
    with served(
        "--host", "127.0.0.1", "--workers", "2", "--threads", "2", "--log-level", "debug", keys=keys
    ) as service:
        statuses = []
        for _ in range(125):
            sent = requests.get(f"{service.address}/v1/tests/verify_dead", headers=bearer(token), timeout=10)
            statuses.append(sent.status_code)
        assert 100 <= statuses.count(200) <= 120
        assert statuses.count(200) + statuses.count(429) == 125
        for mangled in (f"Bearer {token}\x00", f"Bearer {token}\x7f", f"Bea\rer {token}"):
            with socket.create_connection(("127.0.0.1", service.port)) as raw:
                raw.sendall(f"GET /v1/faults HTTP/1.1\r\nHost: localhost\r\nAuthorization: {mangled}\r\n\r\n".encode())
                assert b" 4" in raw.recv(100)
        time.sleep(0.2)
        log = service.log.read_text()
        assert token[-30:] not in log
        lines = [json.loads(line) for line in log.splitlines()]
        assert any(line.get("key") == token.split("_")[1] for line in lines)
