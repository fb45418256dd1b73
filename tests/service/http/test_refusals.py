"""Every way to be refused has its own status and problem type, and tells where and what to write instead."""

from __future__ import annotations

import json
from typing import Any

import pytest
from flask.testing import FlaskClient

NOTE = {"note": "the oven is dead but the clock is on"}


def post(client: FlaskClient, body: Any, path: str = "/v1/triage") -> dict[str, Any]:
    raw = body if isinstance(body, bytes) else json.dumps(body).encode()
    response = client.post(path, data=raw, content_type="application/json")
    assert response.mimetype == "application/problem+json"
    problem: dict[str, Any] = response.get_json()
    assert problem["status"] == response.status_code
    assert problem["instance"].endswith(response.headers["X-Request-ID"])
    return problem


@pytest.mark.parametrize(
    ("method", "path", "headers", "body", "status", "slug"),
    [
        ("POST", "/v1/triage", {"Content-Type": "text/plain"}, b"oven", 415, "unsupported-media-type"),
        ("POST", "/v1/triage", {}, b"{}", 415, "unsupported-media-type"),
        ("POST", "/v1/triage", {"Content-Type": "application/x-ndjson"}, b"{}", 415, "unsupported-media-type"),
        (
            "POST",
            "/v1/triage",
            {"Content-Type": "application/json; charset=latin-1"},
            b"{}",
            415,
            "unsupported-media-type",
        ),
        (
            "POST",
            "/v1/triage",
            {"Content-Type": "application/json", "Content-Encoding": "gzip"},
            b"{}",
            415,
            "unsupported-media-type",
        ),
        ("POST", "/v1/triage/batch", {"Content-Type": "application/json"}, b"{}", 415, "unsupported-media-type"),
        ("POST", "/v1/triage", {"Content-Type": "application/json"}, b"x" * 300_000, 413, "body-too-large"),
        ("POST", "/v1/triage", {"Content-Type": "application/json"}, b"{", 400, "malformed-json"),
        ("POST", "/v1/triage", {"Content-Type": "application/json"}, b"{}", 422, "unusable-input"),
        ("POST", "/v1/triage?explian=full", {"Content-Type": "application/json"}, b"{}", 422, "unusable-input"),
        (
            "POST",
            "/v1/triage",
            {"Content-Type": "application/json", "Accept": "text/html"},
            b"{}",
            406,
            "not-acceptable",
        ),
        ("GET", "/v1/faults", {"Accept": "application/json;q=0"}, None, 406, "not-acceptable"),
        ("GET", "/v1/faults", {"Accept": "*/*, application/json;q=0"}, None, 406, "not-acceptable"),
        ("GET", "/v1/triage", {}, None, 405, "method-not-allowed"),
        ("DELETE", "/v1/faults", {}, None, 405, "method-not-allowed"),
        ("GET", "/nowhere", {}, None, 404, "not-found"),
        ("GET", "/v1/faults/nothing", {}, None, 404, "not-found"),
        ("GET", "/v1/triage/", {}, None, 405, "method-not-allowed"),
    ],
)
def test_told_apart(
    client: FlaskClient, method: str, path: str, headers: dict[str, str], body: bytes | None, status: int, slug: str
) -> None:
    response = client.open(path, method=method, headers=headers, data=body)
    assert (response.status_code, response.get_json()["type"]) == (status, f"/problems/{slug}")
    assert response.mimetype == "application/problem+json"


def test_what_helps_the_caller_is_in_the_headers(client: FlaskClient) -> None:
    assert "POST" in client.get("/v1/triage").headers["Allow"]
    assert client.post("/v1/triage", data="x").headers["Accept"] == "application/json"


def test_accepted_media_types(client: FlaskClient) -> None:
    for accept in (
        "*/*",
        "application/json; charset=utf-8",
        "application/*",
        "text/html, application/json;q=0.1",
        "application/json",
    ):
        assert client.post("/v1/triage", json=NOTE, headers={"Accept": accept}).status_code == 200


@pytest.mark.parametrize(
    ("body", "pointers"),
    [
        ({**NOTE, "rolle": "desk"}, ["/rolle"]),
        ({**NOTE, "a/b~c": 1}, ["/a~1b~0c"]),
        ({**NOTE, "x" * 500: 1}, [""]),
        ({"facts": [{"fact": "display", "value": "lit", "a/b": 1}]}, ["/facts/0/a~1b"]),
        (
            {"facts": [{"fact": "display", "value": "lit"}, {"fact": "surface.heat", "value": "nun"}]},
            ["/facts/1/where", "/facts/1/value"],
        ),
        ({"facts": [{"fact": "surface.heat", "where": "left_frnt", "value": "none"}]}, ["/facts/0/where"]),
        ({"facts": [{"fact": "oven.bake.heat", "value": "none"}], "appliance": "radiant_cooktop"}, ["/facts/0/fact"]),
        ({"facts": [{"fact": "volts", "between": "L1-L9", "while": "loaded", "value": "1 V"}]}, ["/facts/0/between"]),
        ({**NOTE, "appliance": {"cooktop": "gas", "cord": 4}}, ["/appliance/cord", "/appliance/cooktop"]),
        ({**NOTE, "appliance": {"oven": "yes"}}, ["/appliance/oven"]),
        (
            {**NOTE, "appliance": {"units": [{"where": "left_front", "watts": ["1200"]}]}},
            ["/appliance/units/0/watts/0"],
        ),
        ({**NOTE, "appliance": {"value": 1}}, ["/appliance/value"]),
        (
            {"note": 5, "role": 5, "explain": 5, "facts": 5, "appliance": 5},
            ["/note", "/role", "/explain", "/facts", "/appliance"],
        ),
    ],
)
def test_pointers(client: FlaskClient, body: Any, pointers: list[str]) -> None:
    errors = post(client, body)["errors"]
    assert sorted(error["pointer"] for error in errors) == sorted(pointers)
    assert all(len(error["detail"]) >= 10 for error in errors)


def test_the_nearest_name_is_told(client: FlaskClient) -> None:
    def detail(problem: dict[str, Any]) -> str:
        return str(problem["errors"][0]["detail"])

    assert "'role'" in detail(post(client, {**NOTE, "rolle": "desk"}))
    assert "'display'" in detail(post(client, {"facts": [{"fact": "dispaly", "value": "lit"}]}))
    assert "'value'" in detail(post(client, {"facts": [{"fact": "display", "value": "lit", "valeu": 1}]}))
    assert "'quantity'" in detail(post(client, {"at": "L1-N", "quantty": "volts"}, "/v1/readings/expected"))
    assert "'element'" in detail(post(client, {"kind": "elemnt", "values": {}}, "/v1/readings/judged"))
    assert "'ohms'" in detail(post(client, {"kind": "element", "values": {"ohm": "1"}}, "/v1/readings/judged"))
    told = client.get("/v1/faults/supply.leg_l2_opne").get_json()["detail"]
    assert "supply.leg_l2_open" in told
    assert "'limit'" in client.get("/v1/faults?limt=3").get_json()["errors"][0]["detail"]


def test_one_of_many_wrong_facts_is_still_found_and_the_rest_counted(client: FlaskClient) -> None:
    problem = post(client, {"facts": [{"fact": f"display{n}", "value": "lit"} for n in range(400)]})
    assert len(problem["errors"]) == 100
    assert "400" in problem["detail"]


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({}, "/at"),
        ({"at": "L1-L9"}, "/at"),
        ({"at": "L1-N", "while": "sleeping"}, "/while"),
        ({"at": "L1-N", "quantity": "henry"}, "/quantity"),
        ({"at": "L1-N", "lifted": 1}, "/lifted"),
        ({"at": "L1-N", "suspects": [{"fault": "supply.leg_l9_open"}]}, "/suspects"),
        ({"at": "L1-N", "suspects": [{"fault": "supply.leg_l2_open", "wehre": "x"}]}, "/suspects/0/wehre"),
        ({"at": "L1-N", "reading": "12 parsecs"}, "/reading"),
        ({"at": "sensor", "quantity": "ohms", "at_temperature": "warm"}, "/at_temperature"),
        ({"at": "L1-N", "appliance": "kettle"}, "/appliance"),
        ([], ""),
    ],
)
def test_expected_readings_refused(client: FlaskClient, body: Any, pointer: str) -> None:
    assert pointer in [error["pointer"] for error in post(client, body, "/v1/readings/expected")["errors"]]


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({}, "/kind"),
        ({"kind": "supply"}, "/values"),
        ({"kind": "supply", "values": {}, "extra": 1}, "/extra"),
        ({"kind": "element", "values": {"watts": 2585}}, "/values/watts"),
        ({"kind": "element", "values": {"watts": "2585 V"}}, "/values/watts"),
        ({"kind": "element", "values": {"watts": "2585 W", "amps": "10 A"}}, "/values/volts"),
        ({"kind": "duty", "values": {"on": "10 s"}}, "/values/off"),
        ({"kind": "duty", "values": {"on": "10 s", "off": "2 s", "setting": "warmish"}}, "/values/setting"),
        ({"kind": "breaker", "values": {"breaker": True}}, "/values/breaker"),
        ({"kind": "joint", "values": {"amps": 1e308, "across": "2 V"}}, "/values/amps"),
        ({"kind": "oven-log", "values": {"log": "no log", "set": "350 F"}}, "/values/log"),
        ({"kind": "expect", "values": {}}, "/kind"),
    ],
)
def test_judged_readings_refused(client: FlaskClient, body: Any, pointer: str) -> None:
    found = [error["pointer"] for error in post(client, body, "/v1/readings/judged")["errors"]]
    assert pointer in found


def test_judged_as_the_command_judges(client: FlaskClient) -> None:
    from click.testing import CliRunner

    from service.cli import main

    typed = CliRunner().invoke(main, ["reading", "supply", "--l1-n", "121", "--l2-n", "119", "--loaded", "--json"])
    sent = client.post(
        "/v1/readings/judged", json={"kind": "supply", "values": {"l1_n": 121, "l2_n": "119 V", "loaded": True}}
    )
    assert sent.get_json()["verdicts"] == json.loads(typed.stdout)["verdicts"]


def test_expected_as_the_command_expects(client: FlaskClient) -> None:
    from click.testing import CliRunner

    from service.cli import main

    typed = CliRunner().invoke(main, ["reading", "expect", "L2-N", "--while", "loaded", "--reading", "118 V", "--json"])
    sent = client.post("/v1/readings/expected", json={"at": "L2-N", "while": "loaded", "reading": "118 V"})
    assert sent.get_json()["rows"] == json.loads(typed.stdout)


def test_explain_in_the_query(client: FlaskClient) -> None:
    assert client.post("/v1/triage?explain=full", json=NOTE).get_json()["nearly"]
    assert client.post("/v1/triage?explain=full", json={**NOTE, "explain": "full"}).status_code == 200
    assert client.post("/v1/triage?explain=full", json={**NOTE, "explain": "off"}).status_code == 422
    assert client.post("/v1/triage?explain=all", json=NOTE).get_json()["errors"][0]["parameter"] == "explain"
    assert client.post("/v1/triage?explain=off&explain=full", json=NOTE).status_code == 422


def test_explain_levels(client: FlaskClient) -> None:
    off, brief, full = (
        client.post("/v1/triage", json={**NOTE, "explain": e}).get_json() for e in ("off", "brief", "full")
    )
    assert all(not c["because"] for c in off["conclusions"])
    assert any(c["because"] for c in brief["conclusions"])
    assert not brief["nearly"]
    assert all(not c["bits"] for c in brief["conclusions"])
    assert full["nearly"]
    assert any(c["bits"] for c in full["conclusions"])
    assert [c["probability"] for c in off["conclusions"]] == [c["probability"] for c in full["conclusions"]]
