"""Cases over HTTP: heard, unsaid, closed; conditions, repetition, owners, pages. All callers are invented."""

from __future__ import annotations

import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from flask import Flask
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from rules import Expert
from service.app import create_app
from service.cases.database import Database, DatabaseError
from service.cases.store import Store
from service.keys import KeyStore
from service.settings import Settings

STRANGE = ("<script>alert(1)</script>", "'; DROP TABLE cases; --", "{{7*7}} ${x} %s", "\u202eoven\U0001f525", "a\x00b")


class Caller:
    """Somebody at one case: sends each message against the version last seen."""

    def __init__(self, client: FlaskClient, **opening: Any) -> None:
        self.client = client
        self.seen(client.post("/v1/cases", json=opening))

    def seen(self, response: TestResponse) -> dict[str, Any]:
        assert response.status_code in (200, 201), response.get_data(as_text=True)
        self.form: dict[str, Any] = response.get_json()
        self.id, self.etag = self.form["case"]["id"], response.headers["ETag"]
        return self.form

    def say(self, text: str, **more: Any) -> dict[str, Any]:
        return self.seen(self.post("messages", {"text": text, **more}))

    def post(self, what: str, body: Any, etag: str | None = None, key: str | None = None) -> TestResponse:
        headers = {"If-Match": etag or self.etag} | ({"Idempotency-Key": key} if key else {})
        return self.client.post(f"/v1/cases/{self.id}/{what}", json=body, headers=headers)

    def strike(self, what: str, etag: str | None = None) -> TestResponse:
        return self.client.delete(f"/v1/cases/{self.id}/{what}", headers={"If-Match": etag or self.etag})

    def whole(self) -> dict[str, Any]:
        return self.seen(self.client.get(f"/v1/cases/{self.id}"))


def standing(form: dict[str, Any]) -> dict[str, Any]:
    return {fact["number"]: fact["fact"]["value"] for fact in form["facts"] if fact["fate"] == "stands"}


def problem(response: TestResponse, status: int, slug: str) -> dict[str, Any]:
    assert (response.status_code, response.get_json()["type"]) == (status, f"/problems/{slug}")
    found: dict[str, Any] = response.get_json()
    return found


# --- a call ----------------------------------------------------------------------------------------------------------
def test_a_call_from_the_first_word_to_the_outcome(client: FlaskClient) -> None:
    caller = Caller(client, reference="T-1", text="no burner heats, but the clock is on")
    assert caller.form["asks"]["ask"] in caller.form["reply"]
    first = caller.form["answer"]["conclusions"][0]["fault"]
    caller.say("no")
    caller.say("no wait, the clock is dead")
    assert caller.form["answer"]["conclusions"][0]["fault"] != first
    on_site = caller.seen(caller.post("messages", {"role": "technician"}))
    assert on_site["role"] == "technician"
    caller.seen(caller.post("outcome", {"fixed": False, "fault": "supply.leg_l1_open", "minutes": 20.5}))
    whole = caller.whole()
    assert whole["case"]["state"] == "closed"
    assert whole["outcome"]["minutes"] == 20.5
    kinds = [entry["kind"] for entry in whole["history"]]
    assert kinds == ["opened", "message", "message", "message", "role", "outcome"]
    assert [entry["text"] for entry in whole["history"] if entry["kind"] == "message"][
        2
    ] == "no wait, the clock is dead"
    assert whole["case"]["version"] == len(kinds)
    assert caller.etag == f'"{len(kinds)}"'


def test_the_case_read_again_stands_as_it_was_answered(client: FlaskClient) -> None:
    caller = Caller(client, text="left front burner is dead, the others work")
    for text in ("no", "not sure", "why do you ask?", "no wait, it is the right rear"):
        told = caller.say(text)
        read = caller.whole()
        assert read["answer"] == told["answer"]
        assert read["asks"] == told["asks"]


def test_what_is_unsaid_counts_no_longer_and_stays_in_the_history(client: FlaskClient) -> None:
    plain = Caller(client, text="the clock is on")
    caller = Caller(client, text="the clock is on")
    caller.say("the oven is cold")
    fact = caller.form["facts"][0]["number"]
    caller.seen(caller.strike(f"facts/{fact}"))
    assert fact not in standing(caller.form)
    assert caller.form["answer"]["decision_id"] == plain.form["answer"]["decision_id"]
    version = caller.form["case"]["version"]
    caller.seen(caller.strike(f"facts/{fact}"))  # again: nothing to do
    assert caller.form["case"]["version"] == version
    caller.seen(caller.strike("messages/0"))
    assert not standing(caller.form)
    history = caller.whole()["history"]
    assert [entry["struck"] for entry in history if entry["kind"] == "strike"] == [[fact], ["0.0"]]
    assert [entry["text"] for entry in history if entry["kind"] == "message"] == ["the clock is on", "the oven is cold"]


def test_facts_belong_to_whom_speaks(client: FlaskClient) -> None:
    caller = Caller(client, role="technician")
    fact = {"fact": "display", "value": "lit"}
    assert caller.seen(caller.post("messages", {"facts": [fact]}))["facts"][0]["fact"]["source"] == "technician"
    told = caller.seen(caller.post("messages", {"facts": [fact], "role": "caller"}))
    assert told["facts"][0]["fact"]["source"] == "caller"


def test_a_closed_case_is_opened_again_by_taking_the_outcome_back(client: FlaskClient) -> None:
    caller = Caller(client, text="the oven is cold")
    caller.seen(caller.post("outcome", {"fixed": True, "found": "set wrong"}))
    problem(caller.post("messages", {"text": "yes"}), 409, "case-closed")
    problem(caller.strike("facts/0.0"), 409, "case-closed")
    caller.seen(caller.post("outcome", {"fixed": True, "found": "set wrong, shown how", "call_back": True}))
    assert caller.form["outcome"]["call_back"] is True
    caller.seen(caller.strike("outcome"))
    assert (caller.form["case"]["state"], caller.form["outcome"]) == ("open", None)
    caller.say("it is cold again")


def test_the_summary_in_both_forms(client: FlaskClient) -> None:
    caller = Caller(client, text="the oven is cold")
    caller.seen(caller.post("outcome", {"fixed": True, "found": "*loose* <b>plug</b>", "parts": ["cord_set"]}))
    address = f"/v1/cases/{caller.id}/summary"
    plain, marked = client.get(address), client.get(address, headers={"Accept": "text/markdown"})
    assert (plain.mimetype, marked.mimetype) == ("text/plain", "text/markdown")
    assert "*loose* <b>plug</b>" in plain.get_data(as_text=True)
    assert r"\*loose\* \<b\>plug\</b\>" in marked.get_data(as_text=True)
    problem(client.get(address, headers={"Accept": "text/html"}), 406, "not-acceptable")


# --- conditions ------------------------------------------------------------------------------------------------------
def test_a_change_names_the_version_it_was_made_against(client: FlaskClient) -> None:
    caller = Caller(client, text="the oven is cold")
    old = caller.etag
    caller.say("the clock is on")
    bare = client.post(f"/v1/cases/{caller.id}/messages", json={"text": "yes"})
    assert problem(bare, 428, "version-needed")["errors"][0]["header"] == "If-Match"
    for given in (old, f"W/{caller.etag}", '"x"', "garbage", '"0"', '"99999999999999999999"', f'{old}, "77"'):
        problem(caller.post("messages", {"text": "yes"}, given), 412, "version-changed")
        problem(caller.strike("facts/0.0", given), 412, "version-changed")
    assert len(caller.whole()["history"]) == 3
    assert caller.post("messages", {"text": "yes"}, f"{old}, {caller.etag}").status_code == 200
    assert caller.post("messages", {"text": "yes"}, "*").status_code == 200


def test_of_many_at_one_version_one_is_heard(app: Flask, client: FlaskClient) -> None:
    caller = Caller(client, text="the oven is cold")
    statuses = at_once(6, lambda _: post_alone(app, caller, {"text": "the clock is on"}, caller.etag))
    assert sorted(statuses) == [200] + [412] * 5
    assert caller.whole()["case"]["version"] == 3


def test_whoever_minds_no_version_is_heard_always(app: Flask, client: FlaskClient) -> None:
    caller = Caller(client, text="the oven is cold")
    assert at_once(5, lambda n: post_alone(app, caller, {"text": f"message {n}"}, "*")) == [200] * 5
    heard = [entry["text"] for entry in caller.whole()["history"] if entry["kind"] == "message"]
    assert sorted(heard[1:]) == [f"message {n}" for n in range(5)]


def post_alone(app: Flask, caller: Caller, body: Any, etag: str, key: str | None = None) -> int:
    headers = {"If-Match": etag} | ({"Idempotency-Key": key} if key else {})
    return app.test_client().post(f"/v1/cases/{caller.id}/messages", json=body, headers=headers).status_code


def at_once(many: int, act: Callable[[int], int]) -> list[int]:
    together, found = threading.Barrier(many), []

    def work(number: int) -> None:
        together.wait(20)
        found.append(act(number))

    threads = [threading.Thread(target=work, args=(number,)) for number in range(many)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    return found


# --- once ------------------------------------------------------------------------------------------------------------
def test_a_repeated_request_counts_once_and_is_answered_as_before(client: FlaskClient) -> None:
    body, headers = {"text": "the oven is cold"}, {"Idempotency-Key": "test-open"}
    first, again = (client.post("/v1/cases", json=body, headers=headers) for _ in range(2))
    assert first.status_code == again.status_code == 201
    assert first.data == again.data
    for name in ("ETag", "Location", "Content-Type"):
        assert first.headers[name] == again.headers[name]
    caller = Caller(client, text="the oven is cold")
    for what, sent in (("messages", {"text": "the clock is on"}), ("outcome", {"fixed": True, "found": "x"})):
        etag = caller.etag
        one = caller.post(what, sent, etag, key=f"test-{what}")
        two = caller.post(what, sent, etag, key=f'"test-{what}"')  # quoted, as a structured field is; an old version
        assert one.data == two.data
        assert one.headers["ETag"] == two.headers["ETag"]
        problem(caller.post(what, {**sent, "extra": 1}, etag, key=f"test-{what}"), 422, "unusable-input")
        other = {"text": "yes"} if what == "messages" else {"fixed": False, "found": "x"}
        problem(caller.post(what, other, "*", key=f"test-{what}"), 422, "request-differs")
        caller.seen(one)
    assert caller.whole()["case"]["version"] == 4


def test_the_order_of_members_does_not_make_another_request(client: FlaskClient) -> None:
    headers = {"Idempotency-Key": "test-order", "Content-Type": "application/json"}
    first = client.post("/v1/cases", data='{"text": "cold oven", "role": "caller"}', headers=headers)
    again = client.post("/v1/cases", data='{"role":"caller","text":"cold oven"}', headers=headers)
    assert first.data == again.data


def test_the_same_request_at_the_same_time_counts_once(app: Flask, client: FlaskClient) -> None:
    caller = Caller(client, text="the oven is cold")
    for etag in (caller.etag, "*"):
        body = {"text": f"the clock is on {len(etag)}"}
        assert at_once(5, lambda _, e=etag, b=body: post_alone(app, caller, b, e, f"same-{e}")) == [200] * 5
    assert len(caller.whole()["history"]) == 4


@pytest.mark.parametrize("key", ["", " ", '""', "a b", "é", "x" * 256])
def test_keys_that_are_none(client: FlaskClient, key: str) -> None:
    told = problem(client.post("/v1/cases", json={}, headers={"Idempotency-Key": key}), 422, "unusable-input")
    assert told["errors"][0]["header"] == "Idempotency-Key"


# --- whose -----------------------------------------------------------------------------------------------------------
def test_another_key_s_case_is_none(expert: Expert, store: Store, tmp_path: Path) -> None:
    keys = KeyStore(tmp_path / "keys.json")
    tokens = [
        keys.add(name, scopes, 0)[0] for name, scopes in (("a", ("cases",)), ("b", ("cases",)), ("c", ("triage",)))
    ]
    app = create_app(expert, Settings(keys=keys, store=store))
    mine, theirs, weak = (app.test_client() for _ in range(3))
    for client, token in zip((mine, theirs, weak), tokens, strict=True):
        client.environ_base["HTTP_AUTHORIZATION"] = f"Bearer {token}"
    caller = Caller(mine, reference="T-7", text="the oven is cold")
    before = caller.whole()
    problem(weak.get("/v1/cases"), 403, "key-not-enough")
    problem(app.test_client().get(f"/v1/cases/{caller.id}"), 401, "key-needed")
    missing = "A" * 24
    for method, what, body in (
        ("GET", "", None), ("GET", "/summary", None), ("POST", "/messages", {"text": "yes"}),
        ("POST", "/outcome", {"fixed": True, "found": "x"}), ("DELETE", "/outcome", None),
        ("DELETE", "/facts/0.0", None), ("DELETE", "/messages/0", None),
    ):  # fmt: skip
        for match in ("*", caller.etag, '"1", "2", "3"'):
            told = [
                theirs.open(f"/v1/cases/{case}{what}", method=method, json=body, headers={"If-Match": match})
                for case in (caller.id, missing)
            ]
            bodies = [problem(response, 404, "not-found") for response in told]
            assert {**bodies[0], "instance": ""} == {**bodies[1], "instance": ""}  # not told apart from one nobody has
    assert theirs.get("/v1/cases?reference=T-7").get_json()["items"] == []
    assert caller.whole() == before


# --- what comes in ---------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("text", STRANGE)
def test_whatever_is_written_stays_text(client: FlaskClient, text: str) -> None:
    caller = Caller(client, text=text)
    caller.seen(caller.post("outcome", {"fixed": True, "found": text}))
    whole = caller.whole()
    assert whole["history"][1]["text"] == text
    assert whole["outcome"]["found"] == text
    if text.isprintable():
        tagged = Caller(client, reference=text)
        [found] = client.get("/v1/cases", query_string={"reference": text, "limit": 1}).get_json()["items"]
        assert (found["id"], found["reference"]) == (tagged.id, text)


@pytest.mark.parametrize(
    ("body", "pointers"),
    [
        ([], [""]),
        ({"txt": "x"}, ["/txt"]),
        ({"text": ""}, ["/text"]),
        ({"text": 5, "role": 5, "facts": 5, "reference": 5, "appliance": 5},
         ["/appliance", "/facts", "/reference", "/role", "/text"]),
        ({"reference": " "}, ["/reference"]),
        ({"reference": "x" * 101}, ["/reference"]),
        ({"reference": "a\nb"}, ["/reference"]),
        ({"reference": "a\x00b"}, ["/reference"]),
        ({"facts": [{"fact": "display", "value": "lit"}, {"fact": "dispaly", "value": "lit"}]}, ["/facts/1/fact"]),
        ({"facts": [{"fact": "oven.bake.heat", "value": "none"}], "appliance": "radiant_cooktop"}, ["/facts/0/fact"]),
    ],
)  # fmt: skip
def test_openings_refused(client: FlaskClient, body: Any, pointers: list[str]) -> None:
    told = problem(client.post("/v1/cases", json=body), 422, "unusable-input")
    assert sorted(error["pointer"] for error in told["errors"]) == pointers


@pytest.mark.parametrize(
    ("what", "body", "pointers"),
    [
        ("messages", {}, ["/text"]),
        ("messages", {"text": None}, ["/text"]),
        ("messages", {"reference": "T-1"}, ["/reference"]),
        ("messages", {"facts": [{"fact": "display"}]}, ["/facts/0/value"]),
        ("messages", {"text": " \n"}, ["/text"]),
        ("outcome", {}, ["/fixed"]),
        ("outcome", {"fixed": 1, "found": "x"}, ["/fixed"]),
        ("outcome", {"fixed": True}, ["/fault"]),
        ("outcome", {"fixed": True, "fault": "surface.element_opne"}, ["/fault"]),
        ("outcome", {"fixed": True, "found": "x", "parts": ["cord_set", "cord_sett"]}, ["/parts/1"]),
        ("outcome", {"fixed": True, "found": "x", "where": "left"}, ["/where"]),
        ("outcome", {"fixed": True, "found": "x", "minutes": -1}, ["/minutes"]),
        ("outcome", {"fixed": True, "found": "x", "minutes": "5"}, ["/minutes"]),
    ],
)
def test_records_refused(client: FlaskClient, what: str, body: Any, pointers: list[str]) -> None:
    caller = Caller(client)
    told = problem(caller.post(what, body), 422, "unusable-input")
    assert sorted(error["pointer"] for error in told["errors"]) == pointers
    assert len(caller.whole()["history"]) == 1


@pytest.mark.parametrize(
    "what", ["facts/9.9", "facts/x", "facts/0", "facts/-1.0", "messages/7", "messages/x", "messages/-1"]
)
def test_numbers_the_case_does_not_have(client: FlaskClient, what: str) -> None:
    caller = Caller(client, text="the oven is cold")
    told = problem(caller.strike(what), 404, "not-found")
    assert [error["parameter"] for error in told["errors"]] == [what.partition("/")[0].removesuffix("s")]
    assert len(caller.whole()["history"]) == 2


@pytest.mark.parametrize("case", ["x", "A" * 24, "A" * 25, "%00" * 24, "..%2f..%2fetc", "'--", "a" * 3000])
def test_ids_nobody_has(client: FlaskClient, case: str) -> None:
    problem(client.get(f"/v1/cases/{case}"), 404, "not-found")


def test_a_case_in_words_the_book_no_longer_has_is_no_failure(client: FlaskClient, store: Store) -> None:
    caller = Caller(client, text="the clock is on")
    with store.database.writing() as connection:
        changed = (
            f"UPDATE entries SET body = replace(body, '\"display\"', '\"dial_lamp\"') WHERE case_id = '{caller.id}'"
        )
        connection.exec_driver_sql(changed)
    for response in (
        client.get(f"/v1/cases/{caller.id}"),
        client.get(f"/v1/cases/{caller.id}/summary"),
        caller.post("messages", {"text": "yes"}),
        caller.strike("facts/0.0"),
    ):
        assert "present book" in problem(response, 409, "case-closed")["detail"]


# --- lists -----------------------------------------------------------------------------------------------------------
def test_pages_by_their_next_address(client: FlaskClient) -> None:
    made = [Caller(client, reference="page me").id for _ in range(7)]
    address, found = "/v1/cases?reference=page+me&limit=3", []
    while address:
        response = client.get(address)
        page = response.get_json()
        assert (page["next"] is None) == ("Link" not in response.headers)
        found += [case["id"] for case in page["items"]]
        address = page["next"]
        Caller(client, reference="page me")
    assert found == made[::-1]


def test_filters_by_state_and_time(client: FlaskClient) -> None:
    first, second = Caller(client, reference="by time"), Caller(client, reference="by time")
    first.seen(first.post("outcome", {"fixed": True, "found": "x"}))

    def found(**query: str) -> list[str]:
        response = client.get("/v1/cases", query_string={"reference": "by time", **query})
        return [case["id"] for case in response.get_json()["items"]]

    since = second.form["case"]["opened_at"]
    assert found() == [second.id, first.id]
    assert found(state="closed") == [first.id]
    assert found(since=since) == [second.id]
    assert found(before=since) == [first.id]
    assert found(since=since.replace("Z", "+00:00")) == [second.id]


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("state", "opne"), ("since", "yesterday"), ("since", "2026-03-01"), ("since", "2026-03-01T09:00:00"),
        ("before", "0001-01-01T00:00:00+14:00"), ("before", "9999-12-31T23:59:59-14:00"), ("limit", "0"),
        ("limit", "x"), ("limit", "201"), ("reference", ""), ("reference", "\x00"), ("cursor", "x"), ("cursor", ""),
        ("cursor", "WzEsMiwzXQ"), ("cursor", "bnVsbA"), ("curser", "x"),
    ],
)  # fmt: skip
def test_queries_refused(client: FlaskClient, name: str, value: str) -> None:
    told = problem(client.get("/v1/cases", query_string={name: value}), 422, "unusable-input")
    assert [error["parameter"] for error in told["errors"]] == [name]


def test_a_cursor_goes_with_its_filter(client: FlaskClient) -> None:
    for _ in range(2):
        Caller(client, reference="cursor")
    following = client.get("/v1/cases?reference=cursor&limit=1").get_json()["next"]
    told = problem(client.get(following.replace("reference=cursor", "reference=other")), 422, "unusable-input")
    assert "another filter" in told["errors"][0]["detail"]


# --- no database -----------------------------------------------------------------------------------------------------
def test_without_a_database_the_rest_is_answered(expert: Expert) -> None:
    client = create_app(expert).test_client()
    problem(client.get("/v1/cases"), 503, "not-ready")
    problem(client.post("/v1/cases", json={}), 503, "not-ready")
    assert client.post("/v1/triage", json={"note": "the oven is cold"}).status_code == 200


def test_a_database_that_fails_is_told_without_its_address(
    expert: Expert, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    database = Database(str(tmp_path / "nothing" / "cases.db"))
    client = create_app(expert, Settings(store=Store(database))).test_client()
    for response in (
        client.get("/v1/cases"),
        client.post("/v1/cases", json={"text": "cold oven"}),
        client.get("/readyz"),
    ):
        told = problem(response, 503, "not-ready")
        assert str(tmp_path) not in str(told)
    with pytest.raises(DatabaseError):
        database.ask()
