"""A client for the service: typed answers, time limits, and another try only where one can do no harm.

>>> with Client("http://127.0.0.1:8017") as coldleg:              # doctest: +SKIP
...     answer = coldleg.triage(note="the oven is dead but the clock is on")
...     answer.conclusions[0].fault
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any, cast
from urllib.parse import quote, urljoin
from uuid import uuid4

import requests
from requests.adapters import HTTPAdapter
from requests.auth import AuthBase
from urllib3.util import Retry

from rules import Problem
from rules.answer import Triage
from rules.bookkeeping.types import FactTerm
from service.typed import NotAnAnswerError, terms, typed

TIMEOUT = (3.05, 30.0)  # seconds to connect, and between bytes
TRIES_AGAIN = 3
BACK_OFF = 0.2  # seconds, doubled each time, with as much at random
LONGEST_WAIT = 30  # seconds, whatever Retry-After says
WORTH_ANOTHER = (429, 502, 503, 504)
#: Decisions keep nothing, so sending one twice is the same as once; what is said in a case has a mark by which the
#: service knows it again. Routes that record something without such a mark do not belong here.
SAFE_POSTS = ("/v1/triage", "/v1/readings/", "/v1/cases")
LINES_A_POST, BYTES_A_POST = 100, 64 * 1024  # so little that sending never waits for reading


class ServiceError(Exception):
    """No answer: the service cannot be reached, or what came back is not what the contract says."""


class ProblemError(ServiceError):
    """The service refused. ``problem`` is the RFC 9457 body; ``problems`` its wrong fields."""

    def __init__(self, status: int, problem: Mapping[str, Any]) -> None:
        self.status, self.problem = status, dict(problem)
        errors = problem.get("errors") or []
        self.problems = [Problem(_place(error), str(error.get("detail", ""))) for error in errors]
        told = "; ".join(map(str, self.problems)) or str(problem.get("detail", problem.get("title", "")))
        super().__init__(f"{status}: {told}")


class Client:
    """One service. Not to be shared between threads; make one in each."""

    def __init__(
        self,
        address: str,
        *,
        key: str | None = None,
        timeout: tuple[float, float] = TIMEOUT,
        tries_again: int = TRIES_AGAIN,
    ) -> None:
        """``address``: scheme, host and port. ``key``: an API key; it goes to this address only."""
        if not address.startswith(("http://", "https://")):
            raise ServiceError(f"{address[:60]!r} is no address; write for example http://127.0.0.1:8017")
        self.address = address.rstrip("/") + "/"
        self.timeout = timeout
        self.session = requests.Session()
        self.session.auth = _Bearer(key) if key else _NoKey()
        for prefix, methods in (("", _READING), *((post.lstrip("/"), (*_READING, "POST")) for post in SAFE_POSTS)):
            self.session.mount(self.address + prefix, HTTPAdapter(max_retries=_retry(methods, tries_again)))

    def __enter__(self) -> Client:
        return self

    def __exit__(self, *_: object) -> None:
        self.session.close()

    def triage(
        self,
        note: str | None = None,
        facts: Sequence[Mapping[str, Any]] = (),
        *,
        appliance: str | Mapping[str, Any] | None = None,
        role: str = "desk",
        explain: str = "brief",
    ) -> Triage:
        """The answer to one call. Raises ProblemError, ServiceError."""
        body = {"note": note, "facts": list(facts), "appliance": appliance, "role": role, "explain": explain}
        return _typed(Triage, self.triage_json({name: value for name, value in body.items() if value is not None}))

    def triage_json(self, body: Mapping[str, Any]) -> dict[str, Any]:
        """The same as plain JSON, as ``coldleg triage --json`` prints it."""
        return self._object(self._send("POST", "v1/triage", json=body))

    def batch(self, lines: Iterable[bytes]) -> Iterator[dict[str, Any]]:
        """A row for each line that holds something, in order, then a closing row of the whole.

        The lines are sent in pieces, each answered before the next is read: memory stays small, and a piece that got
        lost is sent again. Raises ProblemError, ServiceError.
        """
        ok = failed = done = 0
        book = None
        for first, piece in _pieces(lines):
            rows = self._rows(piece)
            closing = rows.pop()
            ok, failed, book = ok + closing["ok"], failed + closing["failed"], closing["book"]
            for row in rows:
                yield {**row, "line": row["line"] + first}
            done += len(rows)
        yield {"end": True, "lines": done, "ok": ok, "failed": failed, "book": book}

    # --- cases ---------------------------------------------------------------------------------------------------
    def open_case(self, body: Mapping[str, Any]) -> tuple[dict[str, Any], str]:
        """Open a case. The step, as the contract has it, and the case's ETag. Raises ProblemError, ServiceError."""
        return self._step("POST", "v1/cases", json=dict(body), headers=_once())

    def say(self, case: str, tag: str, body: Mapping[str, Any]) -> tuple[dict[str, Any], str]:
        """Say something in the case last seen as ``tag``; refused if somebody has changed it since."""
        headers = {"If-Match": tag, **_once()}
        return self._step("POST", f"v1/cases/{quote(case, safe='')}/messages", json=dict(body), headers=headers)

    def strike(self, case: str, tag: str, message: int, index: int | None = None) -> tuple[dict[str, Any], str]:
        """Unsay a fact of a message, or all that the message told."""
        what = f"messages/{message}" if index is None else f"facts/{message}.{index}"
        return self._step("DELETE", f"v1/cases/{quote(case, safe='')}/{what}", headers={"If-Match": tag})

    def case(self, case: str) -> tuple[dict[str, Any], str]:
        """Where a case stands, with its history."""
        return self._step("GET", f"v1/cases/{quote(case, safe='')}")

    def case_summary(self, case: str, form: str = "text") -> str:
        """The case for the ticket, as ``text`` or ``markdown``."""
        accept = "text/markdown" if form == "markdown" else "text/plain"
        return self._send("GET", f"v1/cases/{quote(case, safe='')}/summary", headers={"Accept": accept}).text

    def _step(self, method: str, path: str, **content: Any) -> tuple[dict[str, Any], str]:
        response = self._send(method, path, **content)
        return self._object(response), response.headers.get("ETag", "")

    def vocabulary(self) -> dict[str, FactTerm]:
        """What can be said, by name."""
        return terms(self.entries("vocabulary"))

    def entries(self, kind: str) -> Iterator[dict[str, Any]]:
        """All entries of ``vocabulary``, ``appliances``, ``faults``, ``tests`` or ``rules``, page after page."""
        path: str | None = f"v1/{kind}"
        while path is not None:
            page = self._object(self._send("GET", path))
            yield from page["items"]
            path = page["next"]

    def ready(self) -> str:
        """The version of the open book, if calls can be answered."""
        return str(self._object(self._send("GET", "readyz"))["book"])

    def _rows(self, piece: list[bytes]) -> list[dict[str, Any]]:
        headers = {"Content-Type": "application/x-ndjson"}
        response = self._send("POST", "v1/triage/batch", data=b"".join(piece), headers=headers)
        try:
            rows = [json.loads(line) for line in response.content.splitlines()]
        except ValueError as error:
            raise ServiceError("a row of the batch is no JSON") from error
        if not rows or rows[-1].get("end") is not True:
            raise ServiceError("the batch was cut off: its closing line is missing")
        return rows

    def _send(self, method: str, path: str, **content: Any) -> requests.Response:
        address = urljoin(self.address, path)
        try:
            response = self.session.request(method, address, timeout=self.timeout, allow_redirects=False, **content)
        except requests.RequestException as error:
            raise ServiceError(f"{self.address} does not answer ({_reason(error)})") from error
        if response.status_code not in _DONE:
            raise ProblemError(response.status_code, _problem(response))
        return response

    def _object(self, response: requests.Response) -> dict[str, Any]:
        try:
            data = response.json()
        except ValueError as error:
            raise ServiceError(f"{self.address} answers something that is no JSON; is it Coldleg?") from error
        if not isinstance(data, dict):
            raise ServiceError(f"{self.address} answers something else than an object; is it Coldleg?")
        return cast(dict[str, Any], data)


_READING = ("GET", "HEAD")
_DONE = (200, 201)


def _once() -> dict[str, str]:
    """The mark by which the service knows a request that is sent again."""
    return {"Idempotency-Key": str(uuid4())}


class _Bearer(AuthBase):
    """The key, put on by requests itself, so that no .netrc replaces it."""

    def __init__(self, key: str) -> None:
        self._key = key

    def __call__(self, request: requests.PreparedRequest) -> requests.PreparedRequest:
        request.headers["Authorization"] = f"Bearer {self._key}"
        return request


class _NoKey(AuthBase):
    """Nothing, not even what a .netrc holds."""

    def __call__(self, request: requests.PreparedRequest) -> requests.PreparedRequest:
        return request


def _retry(methods: Sequence[str], times: int) -> Retry:
    return Retry(
        total=times,
        allowed_methods=frozenset(methods),
        status_forcelist=WORTH_ANOTHER,
        backoff_factor=BACK_OFF,
        backoff_jitter=BACK_OFF,
        retry_after_max=LONGEST_WAIT,
        raise_on_status=False,
        redirect=0,
    )


def _pieces(lines: Iterable[bytes]) -> Iterator[tuple[int, list[bytes]]]:
    """Lines in pieces, with the number of lines before each."""
    piece: list[bytes] = []
    size = before = 0
    for line in lines:
        whole = line if line.endswith(b"\n") else line + b"\n"
        if piece and (len(piece) >= LINES_A_POST or size + len(whole) > BYTES_A_POST):
            yield before, piece
            before += len(piece)
            piece, size = [], 0
        piece.append(whole)
        size += len(whole)
    if piece:
        yield before, piece


def _typed(kind: type[Triage], data: Any) -> Triage:
    try:
        return typed(kind, data)
    except (NotAnAnswerError, TypeError) as error:
        raise ServiceError(f"the answer is not one: {error}") from error


def _problem(response: requests.Response) -> dict[str, Any]:
    try:
        data = response.json()
    except ValueError:
        data = None
    return (
        data if isinstance(data, dict) else {"title": response.reason, "detail": f"{response.reason}; is it Coldleg?"}
    )


def _place(error: Mapping[str, Any]) -> str:
    """Where a problem is: the pointer without its first slash, or the parameter or header."""
    return str(error.get("pointer", error.get("parameter", error.get("header", "")))).removeprefix("/")


def _reason(error: requests.RequestException) -> str:
    """The kind of trouble in a word or two; the whole message repeats addresses and retries."""
    return {"ConnectTimeout": "no connection in time", "ReadTimeout": "no answer in time"}.get(
        type(error).__name__, "no connection"
    )
