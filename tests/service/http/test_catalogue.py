"""The book's routes: pages that join to the whole, ETags that save the second reading, cursors nobody can bend."""

from __future__ import annotations

import base64
import json
from typing import Any

import pytest
from flask.testing import FlaskClient

from rules import Expert
from rules.checking import rule_sentence

KEPT = {"vocabulary": "facts", "appliances": "appliances", "faults": "faults", "tests": "tests", "rules": "rules"}
KEY = {"vocabulary": "fact", "appliances": "appliance", "faults": "fault", "tests": "test", "rules": "rule"}


@pytest.mark.parametrize("family", KEPT)
def test_pages_join_to_the_whole(client: FlaskClient, expert: Expert, family: str) -> None:
    names: list[str] = []
    path: str | None = f"/v1/{family}?limit=7"
    while path is not None:
        response = client.get(path)
        page: dict[str, Any] = response.get_json()
        assert page["book"] == expert.book.version
        assert len(page["items"]) <= 7
        assert ("Link" in response.headers) == (page["next"] is not None)
        names += [item[KEY[family]] for item in page["items"]]
        path = page["next"]
    assert names == list(getattr(expert.book, KEPT[family]))


@pytest.mark.parametrize("family", KEPT)
def test_each_entry_by_its_id_is_the_list_s(client: FlaskClient, family: str) -> None:
    for item in client.get(f"/v1/{family}?limit=500").get_json()["items"]:
        assert client.get(f"/v1/{family}/{item[KEY[family]]}").get_json()["item"] == item


@pytest.mark.parametrize(
    "path", ["/v1/rules", "/v1/rules?limit=3", "/v1/faults/supply.leg_l2_open", "/openapi.json", "/docs"]
)
def test_held_already(client: FlaskClient, path: str) -> None:
    first = client.get(path)
    tag = first.headers["ETag"]
    assert not tag.startswith("W/")
    for held in (tag, f'"other", {tag}', f"W/{tag}"):
        again = client.get(path, headers={"If-None-Match": held})
        assert (again.status_code, again.get_data(), again.headers["ETag"]) == (304, b"", tag)
        assert again.headers["Cache-Control"] == "no-cache"
    assert client.get(path, headers={"If-None-Match": '"other"'}).status_code == 200
    head = client.head(path)
    assert (head.status_code, head.headers["ETag"], head.get_data()) == (200, tag, b"")


def test_the_tag_is_the_book_s(client: FlaskClient, expert: Expert) -> None:
    tags = {client.get(path).headers["ETag"] for path in ("/v1/rules", "/v1/rules?limit=3", "/v1/faults")}
    assert len(tags) == 3
    assert all(expert.book.version.removeprefix("sha256:")[:32] in tag for tag in tags)


@pytest.mark.parametrize(
    "cursor",
    [
        "x",
        "%00",
        "AAAA",
        "=" * 50,
        "é",
        "[" * 3000,
        base64.urlsafe_b64encode(b'["faults","000000000000",3]').decode(),
        base64.urlsafe_b64encode(b'["rules","000000000000",3]').decode(),
        base64.urlsafe_b64encode(b"[" * 3000).decode(),
    ],
)
def test_cursors_that_are_none(client: FlaskClient, cursor: str) -> None:
    response = client.get("/v1/faults", query_string={"cursor": cursor})
    assert response.status_code == 422
    assert response.get_json()["errors"][0]["parameter"] == "cursor"


@pytest.mark.parametrize("position", [-1, 0, 10**9, True, None, "3", 3.5])
def test_cursors_bent(client: FlaskClient, expert: Expert, position: Any) -> None:
    packed = json.dumps(["faults", expert.book.version.partition(":")[2][:12], position])
    cursor = base64.urlsafe_b64encode(packed.encode()).decode()
    assert client.get("/v1/faults", query_string={"cursor": cursor}).status_code == 422


@pytest.mark.parametrize("limit", ["0", "-1", "501", "many", "", "1.5", "1e2", "9" * 400])
def test_limits(client: FlaskClient, limit: str) -> None:
    response = client.get("/v1/faults", query_string={"limit": limit})
    assert response.status_code == 422
    assert "1 to 500" in response.get_json()["errors"][0]["detail"]


def test_a_rule_is_told_as_a_sentence(client: FlaskClient, expert: Expert) -> None:
    rule = next(iter(expert.book.rules.values()))
    item = client.get(f"/v1/rules/{rule.rule}").get_json()["item"]
    assert item["sentence"] == rule_sentence(rule, expert.book)
    assert item["fires_on"]
    assert item["silent_on"]


def test_everything_in_the_vocabulary_that_may_be_said_is_taken(client: FlaskClient) -> None:
    """What the route lists is enough to write a fact that is taken."""
    for term in client.get("/v1/vocabulary?limit=500").get_json()["items"]:
        if term["derived"]:
            continue
        fact: dict[str, Any] = {"fact": term["fact"], "value": next(iter(term["values"]))}
        if term["kind"] == "number":
            low, high = term["limits"]
            fact |= {"value": low if low is not None else high, "unit": term["unit"]}
        if term["place"] == "surface":
            fact["where"] = "left_front"
        if term["place"] == "meter":
            fact["between"] = term["between"][0]
        if term["states"]:
            fact["while"] = term["states"][0]
        response = client.post("/v1/triage", json={"facts": [fact], "role": "technician"})
        errors = response.get_json().get("errors", [])
        foreign = [error for error in errors if error["pointer"] in ("/facts/0/fact", "/facts/0/where")]
        assert response.status_code == 200 or foreign, (fact, errors)
