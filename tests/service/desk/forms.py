"""A page's forms as a browser would send them, for tests without a browser."""

from __future__ import annotations

from dataclasses import dataclass, field
from html.parser import HTMLParser

from flask.testing import FlaskClient
from werkzeug.test import TestResponse


@dataclass
class Form:
    action: str
    method: str
    fields: dict[str, str] = field(default_factory=dict)
    buttons: list[tuple[str, str]] = field(default_factory=list)


class Page(HTMLParser):
    """The forms of a page, and its text."""

    def __init__(self, response: TestResponse) -> None:
        super().__init__()
        self.forms: list[Form] = []
        self.words: list[str] = []
        self._select = ""
        self.feed(response.get_data(as_text=True))

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attrs}
        if tag == "form":
            self.forms.append(Form(given["action"], given["method"]))
        form = self.forms[-1] if self.forms else None
        if form is None or (not given.get("name") and tag != "option"):
            return
        if tag == "input" and given.get("type") not in ("radio", "checkbox"):
            form.fields[given["name"]] = given.get("value", "")
        elif tag == "textarea":
            form.fields[given["name"]] = ""
        elif tag == "button":
            form.buttons.append((given["name"], given.get("value", "")))
        elif tag == "select":
            self._select = given["name"]
        elif tag == "option" and ("selected" in given or self._select not in form.fields):
            form.fields[self._select] = given["value"]

    def handle_data(self, data: str) -> None:
        self.words.append(data)

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.words).split())

    def form(self, ending: str, with_field: str = "form") -> Form:
        """The first form that goes to such an address and has such a field."""
        return next(f for f in self.forms if f.action.partition("#")[0].endswith(ending) and with_field in f.fields)


def send(client: FlaskClient, filled: Form, /, **changed: str) -> TestResponse:
    """Post a form with some fields changed."""
    return client.post(filled.action, data={**filled.fields, **changed})


def opened(client: FlaskClient, text: str = "", **fields: str) -> str:
    """The address of a new call."""
    form = Page(client.get("/desk")).form("/desk/cases")
    response = send(client, form, text=text, **fields)
    assert response.status_code == 303, response.get_data(as_text=True)
    return str(response.headers["Location"])


def said(client: FlaskClient, address: str, **fields: str) -> Page:
    """The page after something was said."""
    form = Page(client.get(address)).form("/say", "text")
    response = send(client, form, **fields)
    assert response.status_code == 303, response.get_data(as_text=True)
    return Page(client.get(response.headers["Location"]))
