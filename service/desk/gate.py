"""Who may use the desk, and which forms are ours.

Where the service asks for API keys, a person signs in with one; it is kept in a cookie that no script can read and that
the browser sends to pages of this site only. Every form carries a token worked out from a second such cookie, so that
a page of another site can send none, with or without keys. Where no keys exist the desk is open, as the API is.
"""

from __future__ import annotations

import hashlib
import hmac
import re
import secrets
from collections.abc import Callable
from typing import Any, TypeVar

from flask import Blueprint, Response, abort, g, make_response, redirect, render_template, request, url_for

from service.http.blueprint import Terms
from service.http.context import HTML, house, marks
from service.http.guards import check_rate
from service.keys import KeyRecord

View = TypeVar("View", bound=Callable[..., Any])
FORM = "application/x-www-form-urlencoded"
SCOPE = "cases"
KEY_COOKIE, FORM_COOKIE = "coldleg_desk", "coldleg_form"
FORM_FIELD = "form"
SIGNED_IN_FOR = 12 * 3600  # seconds; a working day
_FORM_COOKIE_LOOKS = re.compile(r"[A-Za-z0-9_-]{43}")
_SAME_SITE = (None, "same-origin", "none")  # Sec-Fetch-Site of our own forms, and of an address typed in

PAGE = Terms(scope=None, gives=HTML)
POST = Terms(scope=None, gives=HTML, takes=FORM)


def route(blueprint: Blueprint, rule: str, *, terms: Terms = PAGE, **options: Any) -> Callable[[View], View]:
    """A blueprint's route that keeps to the service's terms (host, media types, query)."""

    def decorator(view: View) -> View:
        view.terms = terms  # type: ignore[attr-defined]
        methods = ["POST"] if terms.takes else ["GET"]
        blueprint.add_url_rule(rule, view.__name__, view, methods=methods, **options)
        return view

    return decorator


def guard(blueprint: Blueprint, open_to_all: tuple[str, ...]) -> None:
    """Put the checks before every route of the desk. ``open_to_all``: endpoints that need no sign-in."""

    def before() -> Response | None:
        g.form_cookie = _form_cookie()
        name = (request.endpoint or "").rpartition(".")[2]
        g.signed_in = _record()
        if house().settings.keys is not None and name not in open_to_all:
            if g.signed_in is None:
                return make_response(redirect(url_for("desk.sign_in_page"), 303))
            marks().key = g.signed_in.key
            check_rate(house().settings, g.signed_in)
        if request.method == "POST":
            _check_form()
        return None

    def after(response: Response) -> Response:
        if request.cookies.get(FORM_COOKIE) != g.get("form_cookie") and "form_used" in g:
            _put(response, FORM_COOKIE, g.form_cookie, None)
        return response

    blueprint.before_request(before)
    blueprint.after_request(after)


def form_token() -> str:
    """The token of the page's forms."""
    g.form_used = True
    return _token(g.form_cookie)


def sign_in(key: str) -> Response | None:
    """The response that signs a person in, None for a key that may not use the desk."""
    keys = house().settings.keys
    record = keys.find(key) if keys is not None else None
    if record is None or SCOPE not in record.scopes:
        return None
    response = make_response(redirect(url_for("desk.home"), 303))
    _put(response, KEY_COOKIE, key, SIGNED_IN_FOR)
    return response


def sign_out() -> Response:
    response = make_response(redirect(url_for("desk.sign_in_page"), 303))
    response.delete_cookie(KEY_COOKIE, path="/desk")
    return response


def _record() -> KeyRecord | None:
    keys = house().settings.keys
    token = request.cookies.get(KEY_COOKIE, "")
    record = keys.find(token) if keys is not None and token else None
    return record if record is not None and SCOPE in record.scopes else None


def _put(response: Response, name: str, value: str, seconds: int | None) -> None:
    response.set_cookie(
        name, value, max_age=seconds, path="/desk", secure=request.is_secure, httponly=True, samesite="Strict"
    )


def _form_cookie() -> str:
    given = request.cookies.get(FORM_COOKIE, "")
    return given if _FORM_COOKIE_LOOKS.fullmatch(given) else secrets.token_urlsafe(32)


def _token(cookie: str) -> str:
    return hmac.new(cookie.encode("ascii"), b"coldleg desk form", hashlib.sha256).hexdigest()


def _check_form() -> None:
    """A form of ours, from a page of ours; 403 with what to do for any other."""
    given = request.form.get(FORM_FIELD, "").encode("utf-8")
    ours = hmac.compare_digest(given, _token(g.form_cookie).encode("ascii"))
    if not ours or request.headers.get("Sec-Fetch-Site") not in _SAME_SITE:
        told = "This form is not from a page that was opened here, or the page is too old. Open the page anew."
        abort(make_response(render_template("desk/error.html", title="The form cannot be taken", told=told), 403))
