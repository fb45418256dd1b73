"""What every request is asked and every response carries."""

from __future__ import annotations

import pytest
from flask import Flask
from flask.testing import FlaskClient

from rules import Expert
from service.app import create_app
from service.http.guards import SECURITY_HEADERS
from service.settings import Settings

TRACE = "00-0af7651916cd43dd8448eb211c80319c-b7ad6b7169203331-01"  # W3C Trace Context's own example


@pytest.mark.parametrize("host", ["localhost", "127.0.0.1:8017", "[::1]:8017", "LOCALHOST:1"])
def test_hosts_served(client: FlaskClient, host: str) -> None:
    assert client.get("/livez", headers={"Host": host}).status_code == 200


@pytest.mark.parametrize(
    "host",
    [
        "shop.example",
        "localhost.shop.example",
        "127.0.0.1.shop.example",
        "192.0.2.7",
        "",
        "localhost:8017:1",
        "a@localhost",
    ],
)
def test_hosts_refused(client: FlaskClient, host: str) -> None:
    response = client.get("/v1/faults", headers={"Host": host})
    assert response.status_code in (400, 421)
    assert response.mimetype == "application/problem+json"


def test_further_hosts(expert: Expert) -> None:
    client = create_app(expert, Settings(hosts=("coldleg.shop.example",), any_address=True)).test_client()
    for host in ("coldleg.shop.example", "192.0.2.7:80", "[2001:db8::1]:80"):
        assert client.get("/livez", headers={"Host": host}).status_code == 200
    assert client.get("/livez", headers={"Host": "other.example"}).status_code == 421


def test_request_ids(client: FlaskClient) -> None:
    assert client.get("/livez", headers={"X-Request-ID": "T-1001.a_b"}).headers["X-Request-ID"] == "T-1001.a_b"
    for strange in ("", "a b", "é", "a" * 65, "<script>", "a,b", "-a"):
        given = client.get("/livez", headers={"X-Request-ID": strange}).headers["X-Request-ID"]
        assert given != strange
        assert len(given) == 24
    problem = client.get("/nowhere", headers={"X-Request-ID": "mine"}).get_json()
    assert problem["instance"] == "/nowhere#mine"


def test_trace_context(client: FlaskClient) -> None:
    back = client.get("/livez", headers={"traceparent": TRACE}).headers["traceparent"].split("-")
    assert back[:2] == ["00", TRACE.split("-")[1]]
    assert back[2] != TRACE.split("-")[2]
    assert back[3] == "01"
    later = client.get("/livez", headers={"traceparent": TRACE.replace("00-", "cc-", 1) + "-more"})
    assert later.headers["traceparent"].startswith("00-0af765")


@pytest.mark.parametrize(
    "wrong",
    [
        TRACE.upper(),
        TRACE + "-more",
        TRACE.replace("00-", "ff-", 1),
        TRACE.replace("0af7651916cd43dd8448eb211c80319c", "0" * 32),
        TRACE.replace("b7ad6b7169203331", "0" * 16),
        TRACE[:-1],
        "nonsense",
    ],
)
def test_trace_context_that_is_none(client: FlaskClient, wrong: str) -> None:
    assert "traceparent" not in client.get("/livez", headers={"traceparent": wrong}).headers


def test_every_response_has_the_security_headers_and_no_cors(app: Flask, client: FlaskClient) -> None:
    seen = 0
    for rule in app.url_map.iter_rules():
        for method in sorted((rule.methods or set()) & {"GET", "POST", "OPTIONS"}):
            response = client.open(
                str(rule).replace("<string:name>", "x"), method=method, headers={"Origin": "http://x.example"}
            )
            for name, value in SECURITY_HEADERS:
                assert response.headers.getlist(name) == [value], (rule, method)
            assert len(response.headers.getlist("X-Request-ID")) == 1
            assert len(response.headers.getlist("Cache-Control")) == 1
            assert not [name for name, _ in response.headers if name.lower().startswith("access-control")]
            seen += 1
    assert seen > 40


def test_answers_about_a_caller_are_not_stored(client: FlaskClient) -> None:
    assert client.post("/v1/triage", json={"note": "oven is dead"}).headers["Cache-Control"] == "no-store"


def test_a_failure_of_ours_is_a_problem_without_the_caller_s_words(
    expert: Expert, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def broken(*_: object) -> None:
        raise RuntimeError("about Mrs Invented")

    monkeypatch.setattr("rules.recalling.triage", broken)
    app = create_app(expert)
    response = app.test_client().post("/v1/triage", json={"note": "Mrs Invented's oven is dead"})
    assert response.status_code == 500
    assert response.mimetype == "application/problem+json"
    assert "Invented" not in response.get_data(as_text=True)


def test_ready_only_while_calls_are_answered(expert: Expert, monkeypatch: pytest.MonkeyPatch) -> None:
    client = create_app(expert).test_client()
    assert client.get("/readyz").status_code == 200

    def broken(*_: object) -> None:
        raise RuntimeError

    monkeypatch.setattr("service.http.health.triage", broken)
    assert client.get("/readyz").status_code == 503
    assert client.get("/livez").status_code == 200
