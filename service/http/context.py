"""What every route needs: the open book and the settings, hung on the application; the request's own marks."""

from __future__ import annotations

import secrets
import time
from dataclasses import dataclass, field
from typing import Any, cast

from flask import Request, Response, current_app, g, request

from rules import Answers, Expert
from service.cases.calls import Calls
from service.deciding import count_turn
from service.dumping import Dump, json_line
from service.schemas import triage_dump, triage_wire
from service.settings import Settings

JSON, NDJSON, PROBLEM = "application/json", "application/x-ndjson", "application/problem+json"
HTML, TEXT, MARKDOWN = "text/html", "text/plain", "text/markdown"


@dataclass
class House:
    """One application's expert and settings."""

    expert: Expert
    settings: Settings
    dump: Dump = field(init=False)
    wire: Dump = field(init=False)  # for what goes out at once
    answers: Answers = field(init=False)
    calls: Calls | None = field(init=False)

    def __post_init__(self) -> None:
        self.dump, self.wire = triage_dump(self.expert.book.facts), triage_wire(self.expert.book.facts)
        self.answers = Answers(self.expert)
        store = self.settings.store
        self.calls = None if store is None else Calls(self.expert, store, count_turn)


@dataclass
class Marks:
    """What is known of the request being answered, for its log line, its problems and the metrics."""

    request_id: str
    trace_id: str | None = None
    trace_flags: str = "00"
    span_id: str = ""
    key: str | None = None
    decision: str | None = None
    began: float = field(default_factory=time.perf_counter)


def house() -> House:
    """The application's house."""
    return cast(House, current_app.extensions["coldleg"])


def asked() -> Request:
    """The request itself; every look through Flask's stand-in for it costs as much as the look."""
    return cast(Request, cast(Any, request)._get_current_object())


def marks() -> Marks:
    """The request's marks; made on the spot for a request that was refused before it got any."""
    made = g.get("marks")
    if made is None:
        made = g.marks = Marks(new_id())
    return cast(Marks, made)


def new_id() -> str:
    """A request id: 96 random bits."""
    return secrets.token_hex(12)


def reply(data: Any, media_type: str = JSON, status: int = 200) -> Response:
    """A JSON response, compact, in UTF-8 without escapes."""
    return Response(json_line(data), status=status, content_type=media_type)
