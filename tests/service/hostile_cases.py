"""Requests about cases that no honest client sends: bodies, addresses, If-Match and Idempotency-Key. All invented."""

from __future__ import annotations

import json
import random
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import quote

from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from tests.service.hostile import hostile

#: What the case routes may answer, whatever they are sent.
ALLOWED = frozenset({200, 201, 400, 404, 405, 409, 412, 413, 415, 422, 428})
OPENING: dict[str, Any] = {
    "reference": "T-1001",
    "text": "no burner heats, but the clock is on",
    "facts": [{"fact": "surface.heat", "where": "left_front", "value": "none"}],
    "appliance": {"based_on": "coil_range", "cord": "3-wire"},
    "role": "desk",
}
MESSAGE: dict[str, Any] = {
    "text": "no wait, the clock is dead",
    "facts": [{"fact": "volts", "between": "L1-L2", "while": "loaded", "value": 1.2, "unit": "V"}],
    "role": "technician",
}
OUTCOME: dict[str, Any] = {
    "fixed": True, "fault": "supply.leg_l2_open", "where": "left_front", "found": "a loose lug", "parts": ["cord_set"],
    "minutes": 40, "call_back": False,
}  # fmt: skip
TAGS: tuple[str, ...] = (
    "*", '"1"', '"2"', '"3"', "1", 'W/"2"', '"0"', '"-1"', '"1e9"', '"999999999999999999999"', "", " ", '"', '""', '"a',
    '"1","2"', '"1", *', "*, *", ",", '"\\""', "\x00", "\xff\xfe", '"\xe9"', "<script>", "a" * 9000, '"1"' * 500, "W/",
)  # fmt: skip
MARKS: tuple[str, ...] = (
    "k", '"k"', "", " ", '"', '""', "a b", "a" * 255, "a" * 256, "\x00", "\xff", "\xe9", "%00", "';--",
    "desk-" + "a" * 22,
)  # fmt: skip
NUMBERS: tuple[str, ...] = (
    "0.0", "0.1", "0", "1", "1.0", "9.9", "-1", "00", "0.00", "1e3", "0.", ".", "..", "*", "0.0.0", "999999999",
    "9999999999", "9" * 400, "a", "%00", "\u0660.\u0660", "0 .0", "\U0001f525", "0.0;", "' OR 1=1 --",
)  # fmt: skip
CASES: tuple[str, ...] = (
    "a" * 24, "A-_" * 8, "a", "..", "%2e%2e", "*", " ", "a" * 3000, "\x00" * 24, "\u202e", "' OR 1=1 --", "%", "a/b",
)  # fmt: skip
QUERIES: tuple[str, ...] = (
    "", "?state=open", "?state=", "?state=open&state=closed", "?limit=0", "?limit=1e9", "?limit=-1", "?cursor=",
    "?cursor=AAAA", "?cursor=%ff", "?cursor=W10", "?since=0001-01-01T00:00:00-23:59", "?since=9999-12-31T23:59:59Z",
    "?since=now", "?before=2026-01-01", "?reference=", "?reference=%00", "?reference=" + "a" * 5000, "?nothing=1",
)  # fmt: skip


@dataclass
class Sent:
    """A request."""

    method: str
    path: str
    headers: dict[str, str] = field(default_factory=dict)
    body: bytes | None = None


def requests_about(case: str, chance: random.Random) -> Iterator[Sent]:
    """Without end: requests about an open case, about none, and about all."""
    while True:
        one = case if chance.random() < 0.8 else quote(chance.choice(CASES), safe=chance.choice(("", "%")))
        number = quote(chance.choice(NUMBERS), safe="")
        method, path, good = chance.choice(
            (
                ("POST", "/v1/cases", OPENING),
                ("POST", f"/v1/cases/{one}/messages", MESSAGE),
                ("POST", f"/v1/cases/{one}/messages", MESSAGE),
                ("POST", f"/v1/cases/{one}/outcome", OUTCOME),
                ("DELETE", f"/v1/cases/{one}/facts/{number}", None),
                ("DELETE", f"/v1/cases/{one}/messages/{number}", None),
                ("DELETE", f"/v1/cases/{one}/outcome", None),
                ("GET", f"/v1/cases{chance.choice(QUERIES)}", None),
                ("GET", f"/v1/cases/{one}", None),
                ("GET", f"/v1/cases/{one}/summary", None),
            )
        )
        headers = {"If-Match": "*"} if chance.random() < 0.6 else {}
        if chance.random() < 0.4:
            headers["If-Match"] = chance.choice(TAGS)
        if chance.random() < 0.4:
            headers["Idempotency-Key"] = chance.choice(MARKS)
        honest = chance.random() < 0.4  # so that there is a case to be hostile to
        body = json.dumps(good).encode() if honest else hostile(chance, good or {"": 0})
        yield Sent(method, path, headers, None if good is None else body)


def send(client: FlaskClient, sent: Sent) -> TestResponse:
    """Raises whatever the application lets through."""
    content = {} if sent.body is None else {"data": sent.body, "content_type": "application/json"}
    return client.open(sent.path, method=sent.method, headers=sent.headers, **content)


def wrong_in(response: TestResponse) -> str:
    """What is not as the contract has it, in words; nothing for a right answer or refusal."""
    if response.status_code not in ALLOWED:
        return f"status {response.status_code}"
    good = response.status_code < 300
    wanted = ("application/json", "text/plain") if good else ("application/problem+json",)
    return "" if response.mimetype in wanted else f"{response.status_code} as {response.mimetype}"
