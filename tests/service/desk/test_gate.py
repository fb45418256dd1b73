"""Who may use the desk: keys as the API has them, forms of this site only, and what the pages may load."""

from __future__ import annotations

from pathlib import Path

import pytest
from flask import Flask
from flask.testing import FlaskClient

from rules import Expert
from service.app import create_app
from service.cases.store import Store
from service.keys import KeyStore
from service.ratelimit import RateLimiter
from service.settings import Settings
from tests.service.desk.forms import Page, opened, send


@pytest.fixture(autouse=True)
def at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """A changed file of keys is noticed without waiting."""
    monkeypatch.setattr("service.keys.LOOK_AGAIN", 0.0)


@pytest.fixture(scope="module")
def keys(tmp_path_factory: pytest.TempPathFactory) -> KeyStore:
    return KeyStore(Path(tmp_path_factory.mktemp("keys")) / "keys.json")


@pytest.fixture(scope="module")
def desk_key(keys: KeyStore) -> str:
    return keys.add("desk", ("cases",), 0)[0]


@pytest.fixture(scope="module")
def guarded(expert: Expert, store: Store, keys: KeyStore, desk_key: str) -> Flask:
    return create_app(expert, Settings(store=store, keys=keys, limiter=RateLimiter()))


def signed_in(app: Flask, key: str) -> FlaskClient:
    client = app.test_client()
    response = send(client, Page(client.get("/desk/sign-in")).form("/sign-in"), key=key)
    assert response.status_code == 303, response.get_data(as_text=True)
    return client


def test_without_a_key_only_the_sign_in_page_is_shown(guarded: Flask) -> None:
    client = guarded.test_client()
    for path in ("/desk", "/desk/faults", "/desk/cases/" + "A" * 24):
        response = client.get(path)
        assert response.status_code == 303
        assert response.headers["Location"] == "/desk/sign-in"
    assert client.get("/desk/style.css").status_code == 200
    assert client.get("/desk/sign-in").status_code == 200


def test_a_key_lets_in_by_a_cookie_no_script_can_read(guarded: Flask, desk_key: str) -> None:
    client = guarded.test_client()
    response = send(client, Page(client.get("/desk/sign-in")).form("/sign-in"), key=desk_key)
    cookie = next(c for c in response.headers.getlist("Set-Cookie") if c.startswith("coldleg_desk="))
    assert "HttpOnly" in cookie
    assert "SameSite=Strict" in cookie
    assert client.get("/desk").status_code == 200
    assert desk_key not in client.get("/desk").get_data(as_text=True)
    assert send(client, Page(client.get("/desk")).form("/sign-out")).status_code == 303
    assert client.get("/desk").status_code == 303


def test_a_wrong_key_a_key_for_something_else_and_a_revoked_one(guarded: Flask, keys: KeyStore) -> None:
    client = guarded.test_client()
    other = keys.add("batch", ("triage",), 0)[0]
    for key in ("nonsense", "", other):
        response = send(client, Page(client.get("/desk/sign-in")).form("/sign-in"), key=key)
        assert response.status_code == 403
        assert "not known" in response.get_data(as_text=True)
    token, record = keys.add("leaving", ("cases",), 0)
    leaving = signed_in(guarded, token)
    assert leaving.get("/desk").status_code == 200
    keys.revoke(record.key)
    assert leaving.get("/desk").status_code == 303


def test_another_keys_calls_are_not_there(guarded: Flask, keys: KeyStore, desk_key: str) -> None:
    address = opened(signed_in(guarded, desk_key), "left front is dead", reference="SECRET-1")
    stranger = signed_in(guarded, keys.add("other", ("cases",), 0)[0])
    assert stranger.get(address).status_code == 404
    assert "SECRET-1" not in stranger.get("/desk").get_data(as_text=True)
    own = Page(signed_in(guarded, desk_key).get(address)).form("/say", "text")
    forged = Page(stranger.get("/desk")).form("/desk/cases").fields["form"]
    assert send(stranger, own, form=forged, text="x").status_code == 404


def test_a_keys_rate_holds_here_too(guarded: Flask, keys: KeyStore) -> None:
    client = signed_in(guarded, keys.add("slow", ("cases",), 2)[0])
    answers = [client.get("/desk/rules/one-leg-lost").status_code for _ in range(4)]
    assert answers[-1] == 429


def test_a_form_from_elsewhere_is_refused(client: FlaskClient) -> None:
    form = Page(client.get("/desk")).form("/desk/cases")
    assert send(client, form, form="0" * 64, text="oven is dead").status_code == 403
    assert send(client, form, form="", text="oven is dead").status_code == 403
    crossed = client.post(form.action, data=form.fields, headers={"Sec-Fetch-Site": "cross-site"})
    assert crossed.status_code == 403
    other = client.application.test_client()
    assert send(other, form, text="oven is dead").status_code == 403  # its cookie is another's


def test_pages_may_load_their_own_style_and_script_only(client: FlaskClient) -> None:
    for path in ("/desk", "/desk/faults", "/desk/cases/x"):
        response = client.get(path)
        policy = response.headers["Content-Security-Policy"]
        assert "default-src 'none'" in policy
        assert "script-src 'self'" in policy
        assert "unsafe" not in policy
        html = response.get_data(as_text=True)
        assert "style=" not in html
        assert "http://" not in html.replace("http://www.w3.org", "")
        assert "https://" not in html
        assert response.headers["Cache-Control"] == "no-store"
    assert "script-src" not in client.get("/docs").headers["Content-Security-Policy"]


def test_files_come_with_their_types(client: FlaskClient) -> None:
    for path, kind in (("style.css", "text/css"), ("desk.js", "text/javascript"), ("icon.svg", "image/svg+xml")):
        response = client.get(f"/desk/{path}")
        assert response.mimetype == kind
        again = client.get(f"/desk/{path}", headers={"If-None-Match": response.headers["ETag"]})
        assert again.status_code == 304


def test_no_database_no_calls_and_yet_the_book(expert: Expert) -> None:
    client = create_app(expert).test_client()
    assert client.get("/desk").status_code == 503
    assert client.get("/desk/faults").status_code == 200
