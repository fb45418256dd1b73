"""The HTTP service through Flask's test client, and once for real under gunicorn."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
import requests
from click.testing import CliRunner
from flask.testing import FlaskClient

from rules import Expert
from service.app import create_app
from service.cli import main
from service.serving import NotLoopbackError, Serving, serve
from tests.service.running import Running


@pytest.fixture(scope="module")
def client(expert: Expert) -> FlaskClient:
    return create_app(expert).test_client()


def test_the_answer_is_the_command_s(client: FlaskClient) -> None:
    note = "the oven is dead but the clock is on"
    over_http = client.post("/v1/triage", json={"note": note}).get_json()
    typed = CliRunner().invoke(main, ["triage", note, "--json"])
    assert over_http == json.loads(typed.stdout)


def test_facts_role_appliance_explain(client: FlaskClient) -> None:
    body = {
        "facts": [
            {"fact": "volts", "between": "L1-L2", "while": "loaded", "value": 1.2, "unit": "V"},
            {"fact": "volts", "between": "L1-N", "while": "loaded", "value": 121, "unit": "V"},
        ],
        "role": "technician",
        "appliance": {"based_on": "coil_range", "cord": "3-wire"},
        "explain": "full",
    }
    answer = client.post("/v1/triage", json=body)
    assert answer.status_code == 200
    assert answer.get_json()["nearly"]
    assert client.post("/v1/triage", json={**body, "explain": "off"}).get_json()["conclusions"][0]["because"] == []


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({"note": ""}, "/note"),
        ({"note": 7}, "/note"),
        ({}, "/note"),
        ({"nots": "oven"}, "/nots"),
        ({"note": "oven", "role": "boss"}, "/role"),
        ({"note": "oven", "explain": "all"}, "/explain"),
        ({"note": "oven", "appliance": "kettle"}, "/appliance"),
        ({"note": "oven", "appliance": {"cooktop": "gas"}}, "/appliance/cooktop"),
        ({"note": "oven", "appliance": 7}, "/appliance"),
        ({"facts": [{"fact": "display", "value": "bright"}]}, "/facts/0/value"),
        ({"facts": "display"}, "/facts"),
        ([], ""),
        ("oven", ""),
        (None, ""),
    ],
)
def test_wrong_fields_are_pointed_at(client: FlaskClient, body: Any, pointer: str) -> None:
    response = client.post("/v1/triage", data=json.dumps(body), content_type="application/json")
    assert response.status_code == 422
    assert response.mimetype == "application/problem+json"
    assert pointer in [error["pointer"] for error in response.get_json()["errors"]]


@pytest.mark.parametrize("raw", [b"{", b"\xff\xfe", b'{"note": NaN}', b"", b"[" * 100_000, b'{"note": "\\ud800"}'])
def test_bodies_that_are_no_json(client: FlaskClient, raw: bytes) -> None:
    response = client.post("/v1/triage", data=raw, content_type="application/json")
    assert 400 <= response.status_code < 500
    assert response.mimetype == "application/problem+json"


def test_other_refusals(client: FlaskClient) -> None:
    assert client.post("/v1/triage", data="x", content_type="text/plain").status_code == 415
    assert client.post("/v1/triage", data=b"x" * 300_000, content_type="application/json").status_code == 413
    wrong = client.get("/v1/triage")
    assert wrong.status_code == 405
    assert "POST" in wrong.headers["Allow"]
    assert client.get("/nowhere").status_code == 404
    for response in (wrong, client.get("/nowhere")):
        assert response.mimetype == "application/problem+json"


def test_health(client: FlaskClient, expert: Expert) -> None:
    assert client.get("/livez").get_json() == {"alive": True}
    assert client.get("/readyz").get_json() == {"ready": True, "book": expert.book.version}


def test_only_this_machine(expert: Expert, tmp_path: Path) -> None:
    for host in ("0.0.0.0", "192.0.2.7", "example"):
        with pytest.raises(NotLoopbackError):
            serve(lambda: expert, Serving(host, 1, keys=tmp_path / "none.json"))
    result = CliRunner().invoke(main, ["serve", "--host", "0.0.0.0", "--keys", str(tmp_path / "none.json")])
    assert result.exit_code == 2


def test_under_gunicorn(service: Running) -> None:
    answer = requests.post(f"{service.address}/v1/triage", json={"note": "sparks from the oven"}, timeout=10)
    assert answer.status_code == 200
    assert answer.json()["stop"]["signal"] == "WARNING"
    assert requests.get(f"{service.address}/livez", timeout=10).json() == {"alive": True}
