"""The committed OpenAPI document is fresh, valid and true: its examples are sent and the answers have its form."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from typing import Any

import pytest
from flask import Flask
from flask.testing import FlaskClient
from jsonschema import Draft202012Validator
from openapi_spec_validator import OpenAPIV31SpecValidator

from rules import Expert
from service.http.spec import document
from service.problems import KINDS
from tests.service.http.conftest import ROOT

PAGES = ROOT / "openapi" / "problems"


def fits(contract: dict[str, Any], schema: dict[str, Any], data: Any) -> list[str]:
    """What of ``data`` is not as the schema says."""
    whole = {"$ref": "#/x", "x": schema, "components": contract["components"]}
    return [error.message for error in Draft202012Validator(whole).iter_errors(data)]


def operations(contract: dict[str, Any]) -> Iterator[tuple[str, str, dict[str, Any]]]:
    for path, methods in contract["paths"].items():
        for method, told in methods.items():
            if method in ("get", "post", "delete"):
                yield path, method, told


@pytest.fixture
def case(client: FlaskClient) -> dict[str, str]:
    """A case with something said, by the names that addresses and problem pages have for it; and a closed one."""
    found = {"fact": "0.0", "message": "0"}
    for name in ("case", "closed"):
        made = client.post("/v1/cases", json={"reference": name, "text": "no burner heats"}).get_json()["case"]["id"]
        found[name] = made
    client.post(f"/v1/cases/{found['closed']}/outcome", json={"fixed": True, "found": "x"}, headers={"If-Match": "*"})
    return found


def addressed(path: str, case: dict[str, str]) -> str:
    for name, value in case.items():
        path = path.replace("{" + name + "}", value)
    return path


def test_fresh(app: Flask, contract: dict[str, Any]) -> None:
    assert json.loads(json.dumps(document(app))) == contract, "run: coldleg openapi --out openapi/coldleg.json"


def test_valid(contract: dict[str, Any]) -> None:
    assert contract["openapi"].startswith("3.1")
    assert not [str(error) for error in OpenAPIV31SpecValidator(contract).iter_errors()]


def test_every_example_is_answered_in_the_form_it_shows(
    client: FlaskClient, contract: dict[str, Any], case: dict[str, str]
) -> None:
    sent = 0
    for path, method, told in operations(contract):
        for media_type, content in told.get("requestBody", {}).get("content", {}).items():
            for example in content["examples"].values():
                value = example["value"]
                body = value if isinstance(value, str) else json.dumps(value)
                lines = body.splitlines() if media_type.endswith("ndjson") else [body]
                assert not [wrong for line in lines for wrong in fits(contract, content["schema"], json.loads(line))]
                needed = [p["name"] for p in told.get("parameters", ()) if p["in"] == "header" and p["required"]]
                here = {"path": addressed(path, case), "headers": dict.fromkeys(needed, "*")}
                response = client.open(method=method.upper(), data=body, content_type=media_type, **here)
                [status] = {"200", "201"} & set(told["responses"])
                assert response.status_code == int(status), response.get_data(as_text=True)
                [(made, shape)] = told["responses"][status]["content"].items()
                assert set(told["responses"][status].get("headers", ())) <= set(response.headers.keys())
                sent += 1
                if path.endswith("/outcome"):
                    client.delete(addressed(path, case), headers={"If-Match": "*"})
                assert response.mimetype == made
                for line in response.get_data(as_text=True).splitlines():
                    assert not fits(contract, shape["schema"], json.loads(line))
                    assert '"error"' not in line
    assert sent >= 20


def test_every_readable_route_answers_in_its_form(
    client: FlaskClient, contract: dict[str, Any], case: dict[str, str]
) -> None:
    for path, method, told in operations(contract):
        if method == "post":
            continue
        example = next((p["example"] for p in contract["paths"][path].get("parameters", [])), "")
        address = addressed(path.replace("{name}", example), case)
        for made, shape in told["responses"]["200"]["content"].items():
            headers = {"Accept": made} | ({"If-Match": "*"} if method == "delete" else {})
            response = client.open(address, method=method.upper(), headers=headers)
            assert response.status_code == 200, (path, response.get_data(as_text=True))
            assert response.mimetype == made
            if made == "application/json":
                assert not fits(contract, shape["schema"], response.get_json()), path


def test_whole_answers_fit(client: FlaskClient, contract: dict[str, Any]) -> None:
    shape = {"$ref": "#/components/schemas/Triage"}
    for note in (
        "sparks from the oven",
        "gas range will not light",
        "hello",
        "oven cold, clock on, self clean yesterday",
    ):
        for explain in ("off", "brief", "full"):
            answer = client.post("/v1/triage", json={"note": note, "explain": explain}).get_json()
            assert not fits(contract, shape, answer)


def test_answers_may_grow_and_requests_are_closed(contract: dict[str, Any]) -> None:
    schemas = contract["components"]["schemas"]
    assert "additionalProperties" not in schemas["Triage"]
    assert "additionalProperties" not in schemas["FaultEntry"]
    assert set(schemas["Triage"]["required"]) == set(schemas["Triage"]["properties"])
    for name in (
        "TriageRequest",
        "FactGiven",
        "ApplianceGiven",
        "ExpectedRequest",
        "JudgedSupply",
        "BatchLine",
        "MessageGiven",
    ):
        assert schemas[name]["additionalProperties"] is False


def test_every_field_and_parameter_is_described(contract: dict[str, Any]) -> None:
    bare = [
        f"{name}.{field}"
        for name, schema in contract["components"]["schemas"].items()
        for field, told in schema.get("properties", {}).items()
        if not told.get("description") and "const" not in told and field != "values"
    ]
    assert not bare
    for path, _, told in operations(contract):
        assert told["summary"], path
        parameters = [*told.get("parameters", []), *contract["paths"][path].get("parameters", [])]
        assert all(parameter.get("description") for parameter in parameters), path


def test_the_promise_is_written(contract: dict[str, Any]) -> None:
    text = " ".join(contract["info"]["description"].split())
    assert "What stays as it is in `/v1`" in text
    assert "ignore what you do not know" in text


def test_errors_are_problems_in_the_document(contract: dict[str, Any]) -> None:
    for path, _, told in operations(contract):
        for status, response in told["responses"].items():
            if status >= "400":
                assert list(response["content"]) == ["application/problem+json"], (path, status)


# --- problem pages -----------------------------------------------------------------------------------------------
def test_each_problem_type_has_a_page_and_no_page_is_left_over() -> None:
    assert {page.stem for page in PAGES.glob("*.md")} == set(KINDS)


@pytest.mark.parametrize("slug", KINDS)
def test_a_type_is_the_address_of_its_page(client: FlaskClient, slug: str) -> None:
    response = client.get(KINDS[slug].type)
    assert response.status_code == 200
    assert response.mimetype == "text/html"
    text = response.get_data(as_text=True)
    for heading in ("What it means", "Example", "What to do"):
        assert f"<h2>{heading}</h2>" in text
    assert "<script" not in text


@pytest.mark.parametrize("page", sorted(PAGES.glob("*.md")), ids=lambda page: page.stem)
def test_the_pages_examples_give_their_problem(client: FlaskClient, page: Any, case: dict[str, str]) -> None:
    client.post("/v1/cases", json={"reference": "T-1"}, headers={"Idempotency-Key": "used-before"})
    for block in re.findall(r"^```http\n(.*?)^```", page.read_text(encoding="utf-8"), re.MULTILINE | re.DOTALL):
        head, _, body = block.partition("\n\n")
        (method, path), *lines = [line.split(" ", 1) for line in head.splitlines()]
        headers = {name.rstrip(":"): value for name, value in lines}
        base = f"http://{headers.pop('Host', 'localhost')}"
        address = addressed(path, case)
        response = client.open(address, method=method, headers=headers, data=body.strip() or None, base_url=base)
        assert response.get_json()["type"] == f"/problems/{page.stem}"


def test_the_documentation_page_needs_nothing_from_elsewhere(client: FlaskClient, contract: dict[str, Any]) -> None:
    text = client.get("/docs").get_data(as_text=True)
    assert not re.findall(r"""(?:src|href)=["'](?:https?:)?//""", text)
    assert "<script" not in text
    for path, method, _ in operations(contract):
        assert f"<code>{method.upper()} {path}</code>" in text
    for name in contract["components"]["schemas"]:
        assert f'id="schema-{name}"' in text


def test_the_dump_is_the_schema_s(expert: Expert, ask: Any) -> None:
    from service.schemas import TriageSchema, triage_dump

    dump, schema = triage_dump(expert.book.facts), TriageSchema(expert.book.facts)
    answers = [
        ask("sparks from the oven", explain="full"),
        ask("gas range"),
        ask("left front is dead", "volts@L1-L2/loaded=1.2 V", "ohms.bake=OL", role="technician", explain="full"),
    ]
    for answer in answers:
        assert json.dumps(dump(answer)) == json.dumps(schema.dump(answer))
