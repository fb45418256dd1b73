"""A sample of hostile bodies (all: ``tests/benchmarks/hostile_bodies.py``), and schemathesis on every route."""

from __future__ import annotations

import contextlib
import itertools
import json
import random
import time
from collections import Counter
from pathlib import Path
from typing import Any

import pytest
import requests
import schemathesis
from flask.testing import FlaskClient
from hypothesis import HealthCheck, given, settings
from hypothesis.errors import Unsatisfiable
from schemathesis import GenerationMode
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    negative_data_rejection,
    response_headers_conformance,
    response_schema_conformance,
    status_code_conformance,
    unsupported_method,
)

from rules import Expert
from service.app import create_app
from service.settings import Settings
from tests.service.databases import new_store
from tests.service.hostile import RAW, bodies
from tests.service.hostile_cases import requests_about, send, wrong_in
from tests.service.running import Running

CHECKS = [
    not_a_server_error,
    status_code_conformance,
    content_type_conformance,
    response_headers_conformance,
    response_schema_conformance,
    negative_data_rejection,
    unsupported_method,
]


@pytest.fixture(scope="module")
def client(expert: Expert) -> FlaskClient:
    return create_app(expert).test_client()


def test_no_hostile_body_is_a_failure(client: FlaskClient) -> None:
    sample = itertools.islice(bodies(random.Random(7)), 700)
    for path, body in [*(("/v1/triage", raw) for raw in RAW), *sample]:
        response = client.post(path, data=body, content_type="application/json")
        assert response.status_code in (200, 400, 413, 422), body[:300]
        wanted = "application/json" if response.status_code == 200 else "application/problem+json"
        assert response.mimetype == wanted


def test_no_hostile_request_about_a_case_is_a_failure(expert: Expert, tmp_path: Path) -> None:
    store = new_store(tmp_path)
    client = create_app(expert, Settings(store=store)).test_client()
    case = client.post("/v1/cases", json={"text": "the oven is cold"}).get_json()["case"]["id"]
    seen = Counter[int]()
    for sent in itertools.islice(requests_about(case, random.Random(7)), 700):
        response = send(client, sent)
        assert not wrong_in(response), (sent, response.get_data(as_text=True)[:300])
        seen[response.status_code] += 1
    assert {200, 201, 400, 404, 409, 412, 422, 428} <= set(seen)
    whole = store.whole("local", case)
    assert [entry.number for entry in whole.entries] == list(range(1, whole.case.version + 1))
    assert client.get(f"/v1/cases/{case}").status_code == 200
    store.database.close()


def test_no_raw_body_of_these_is_answered(client: FlaskClient) -> None:
    for raw in RAW:
        assert client.post("/v1/triage", data=raw, content_type="application/json").status_code in (400, 422), raw[:80]


@pytest.mark.parametrize(
    "body",
    [
        {"facts": [{"fact": f"oven.bake.hea{n:03}" * 3, "value": "none"} for n in range(500)]},
        {"facts": [{"fact": "display", "value": "li" * 40, "x" * 50: n, "wher": "a" * 50} for n in range(500)]},
        {
            "facts": [
                {"fact": "volts", "between": "L1-L2", "while": "loaded", "value": n, "unit": "V"} for n in range(500)
            ]
        },
        {"note": "the oven is dead and " * 950},
        {"note": "a" * 20_000},
        {"note": "é\u0301" * 10_000},
        {"f" * 50 + str(n): n for n in range(3000)},
        {"note": "x", "role": "technicia" * 20_000},
        {"note": "x", "appliance": {"units": [{"where": f"u{n}", "watts": [1000]} for n in range(5000)]}},
    ],
    ids=["names", "words", "readings", "note", "letters", "signs", "fields", "role", "units"],
)
def test_nothing_takes_long(client: FlaskClient, body: dict[str, Any]) -> None:
    began = time.process_time()
    response = client.post("/v1/triage", data=json.dumps(body), content_type="application/json")
    assert response.status_code in (200, 422)
    assert time.process_time() - began < 2.0
    assert len(response.get_data()) < 200_000


@schemathesis.serializer("application/x-ndjson")
def _lines(_context: object, value: Any) -> bytes:
    return json.dumps(value).encode() + b"\n"


@schemathesis.deserializer("application/x-ndjson")
def _last_line(_context: object, response: Any) -> Any:
    return json.loads(response.content.splitlines()[-1])


@pytest.mark.parametrize("mode", list(GenerationMode), ids=lambda mode: mode.value)
def test_schemathesis_finds_nothing(service: Running, mode: GenerationMode) -> None:
    """Requests made from the document, right ones and wrong ones, against the live server, route by route.

    That right data is accepted is not asked: the words of facts, faults and units belong to the book, not the document.
    """
    tried: Counter[str] = Counter()
    for result in schemathesis.openapi.from_url(f"{service.address}/openapi.json").get_all_operations():
        operation = result.ok()

        @given(case=operation.as_strategy(generation_mode=mode))
        @settings(
            max_examples=8, deadline=None, derandomize=True, database=None, suppress_health_check=list(HealthCheck)
        )
        def check(case: Any) -> None:
            batch = case.operation.path.endswith("/batch")  # answers 200 and tells what is wrong in the line's row
            case.call_and_validate(checks=[c for c in CHECKS if not (batch and c is negative_data_rejection)])
            tried[case.operation.label] += 1

        with contextlib.suppress(Unsatisfiable):  # a route without anything that could be wrong
            check()
    assert len(tried) >= (20 if mode is GenerationMode.POSITIVE else 4)  # those with a body


def test_the_shared_server_has_failed_nobody(service: Running) -> None:
    assert requests.get(f"{service.address}/readyz", timeout=10).ok
    assert '"error"' not in service.log.read_text()
