"""What is asked of every request before its route runs, and put on every response after it."""

from __future__ import annotations

import ipaddress
import re
import secrets
import time

from flask import Flask, Request, Response, current_app, g, request

from rules.bookkeeping.yamlsource import nearest
from service.http.blueprint import Terms
from service.http.context import NDJSON, Marks, asked, house, marks, new_id
from service.keys import KeyRecord
from service.problems import SEE_ERRORS, RefusedError
from service.settings import Settings
from service.strictjson import shown
from service.watching import logs, metrics

_REQUEST_ID = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,63}")
_TRACEPARENT = re.compile(r"([0-9a-f]{2})-([0-9a-f]{32})-([0-9a-f]{16})-([0-9a-f]{2})(-.*)?")
_BEARER = re.compile(r"(?i:bearer) +([A-Za-z0-9_.~+/-]+=*)")

SECURITY_HEADERS = (
    ("X-Content-Type-Options", "nosniff"),
    ("X-Frame-Options", "DENY"),
    ("Referrer-Policy", "no-referrer"),
    ("Cross-Origin-Resource-Policy", "same-origin"),
)
#: What a page may load and where its forms may go: nothing but its style, and for the desk what is the desk's own.
POLICY = "default-src 'none'; style-src 'self'; frame-ancestors 'none'; base-uri 'none'; form-action 'none'"
DESK_POLICY = (
    "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self'; form-action 'self'; "
    "frame-ancestors 'none'; base-uri 'none'"
)
NO_TERMS = Terms(scope=None)


def guard(app: Flask) -> None:
    """Put the checks before and the headers, log line and counts after every request."""
    app.before_request(_before)
    app.after_request(_after)


def terms_of_request() -> Terms:
    """The terms of the route that was asked for; the mildest where there is none."""
    view = current_app.view_functions.get(request.endpoint or "")
    return getattr(view, "terms", NO_TERMS)


def _before() -> None:
    request = asked()
    g.marks = _marks(request.headers.get("X-Request-ID", ""), request.headers.get("traceparent", ""))
    settings = house().settings
    _check_host(request, settings)
    terms = terms_of_request()
    if request.routing_exception is not None or request.method == "OPTIONS":
        return
    if settings.keys is not None and terms.scope is not None:
        _check_key(request, settings, terms.scope)
    _check_accept(request, terms)
    _check_query(request, terms)
    if terms.takes is not None:
        _check_content(request, terms.takes)
    if terms.takes == NDJSON:
        request.max_content_length = None  # read line by line, never held whole


def _marks(request_id: str, traceparent: str) -> Marks:
    """The caller's ids where they are well-formed, our own where they are not."""
    made = Marks(request_id if _REQUEST_ID.fullmatch(request_id) else new_id())
    found = _TRACEPARENT.fullmatch(traceparent)
    if found is not None and _usable(found):
        made.trace_id, made.trace_flags, made.span_id = found[2], f"{int(found[4], 16) & 1:02x}", secrets.token_hex(8)
    return made


def _usable(found: re.Match[str]) -> bool:
    """W3C Trace Context: ids of zeros and version ff are invalid; version 00 has nothing after the flags."""
    version, trace, parent, rest = found[1], found[2], found[3], found[5]
    return version != "ff" and set(trace) != {"0"} and set(parent) != {"0"} and not (version == "00" and rest)


def _check_host(request: Request, settings: Settings) -> None:
    """Against DNS rebinding: a page of another name must not reach this server through a browser."""
    given = request.headers.get("Host")
    if given is None and request.environ.get("SERVER_PROTOCOL") == "HTTP/1.0":
        return  # no browser leaves it out
    if given is None:
        raise RefusedError(
            "malformed-request", "HTTP/1.1 needs a Host header.", [{"header": "Host", "detail": "add it"}]
        )
    name = re.sub(r":\d{1,5}\Z", "", (given or "").lower())
    if name in settings.hosts or (settings.any_address and _is_address(name)):
        return
    known = ", ".join(settings.hosts)
    raise RefusedError(
        "wrong-host",
        f"Host {shown(given or '')!r} is not served here.",
        [{"header": "Host", "detail": f"write one of {known}; coldleg serve --allow-host adds a name"}],
    )


def _is_address(name: str) -> bool:
    try:
        ipaddress.ip_address(name.removeprefix("[").removesuffix("]"))
    except ValueError:
        return False
    return True


def _check_key(request: Request, settings: Settings, scope: str) -> None:
    """The API key: there, known, allowed to do this, and not too often."""
    found = _BEARER.fullmatch(request.headers.get("Authorization", ""))
    record = settings.keys.find(found[1]) if found and settings.keys else None
    if record is None:
        detail = "Send Authorization: Bearer and a key made with: coldleg keys add."
        raise RefusedError("key-needed", detail, headers={"WWW-Authenticate": 'Bearer realm="coldleg"'})
    marks().key = record.key
    if scope not in record.scopes:
        detail = f"This route needs the scope {scope}; the key has {', '.join(record.scopes)}."
        challenge = f'Bearer realm="coldleg", error="insufficient_scope", scope="{scope}"'
        raise RefusedError("key-not-enough", detail, headers={"WWW-Authenticate": challenge})
    check_rate(settings, record)


def check_rate(settings: Settings, record: KeyRecord) -> None:
    wait = settings.limiter.take(record.key, record.per_minute) if settings.limiter and record.per_minute else 0.0
    if wait > 0:
        seconds = str(int(wait) + 1)
        detail = f"The key allows {record.per_minute} requests a minute; try again in {seconds} s."
        raise RefusedError("too-many-requests", detail, headers={"Retry-After": seconds})


def _check_accept(request: Request, terms: Terms) -> None:
    if request.headers.get("Accept", "*/*") != "*/*" and not any(
        _accepted(request, media) for media in (terms.gives, *terms.also)
    ):
        made = " or ".join((terms.gives, *terms.also))
        raise RefusedError(
            "not-acceptable",
            f"This route makes {made}.",
            [{"header": "Accept", "detail": f"write {made} or leave it out"}],
        )


def _accepted(request: Request, gives: str) -> bool:
    """Whether the most specific range that fits is wanted at all; parameters such as a charset do not matter."""
    ranges = ("*/*", gives.partition("/")[0] + "/*", gives)
    found = (-1, 0.0)
    for name, quality in request.accept_mimetypes:
        base = name.partition(";")[0].strip().lower()
        if base in ranges:
            found = max(found, (ranges.index(base), quality))
    return found[1] > 0


def _check_query(request: Request, terms: Terms) -> None:
    if not request.query_string:
        return
    errors = []
    for name in request.args:
        if name not in terms.query:
            takes = f"this route takes {', '.join(terms.query)}" if terms.query else "this route takes none"
            text = f"no such parameter{nearest(name[:60], terms.query)}; {takes}"
            errors.append({"parameter": shown(name), "detail": text})
        elif len(request.args.getlist(name)) > 1:
            errors.append({"parameter": name, "detail": "given twice; keep one"})
    if errors:
        raise RefusedError("unusable-input", SEE_ERRORS, errors)


def _check_content(request: Request, takes: str) -> None:
    """Media type, charset and coding of the body. RFC 9110 15.5.16: the answer says what is read."""
    if request.headers.get("Content-Type") == takes and "Content-Encoding" not in request.headers:
        return
    problem = None
    charset = request.mimetype_params.get("charset", "utf-8").lower()
    if request.mimetype != takes:
        problem = ("Content-Type", f"write {takes}")
    elif charset not in ("utf-8", "utf8"):
        problem = ("Content-Type", f"charset {shown(charset)} is not read; send UTF-8")
    elif request.headers.get("Content-Encoding", "identity").lower() != "identity":
        problem = ("Content-Encoding", "send the body as it is, not compressed")
    if problem:
        headers = {"Accept": takes, "Accept-Encoding": "identity"}
        errors = [{"header": problem[0], "detail": problem[1]}]
        raise RefusedError("unsupported-media-type", f"This route reads {takes} in UTF-8.", errors, headers)


def _after(response: Response) -> Response:
    made, request = marks(), asked()
    headers = (
        response.headers
    )  # add, not set: no view sets any of these, and a search for each costs more than all else
    headers.add("X-Request-ID", made.request_id)
    if made.trace_id is not None:
        headers.add("traceparent", f"00-{made.trace_id}-{made.span_id}-{made.trace_flags}")
    for name, value in SECURITY_HEADERS:
        headers.add(name, value)
    headers.add("Content-Security-Policy", DESK_POLICY if request.blueprint == "desk" else POLICY)
    if "Cache-Control" not in headers:
        headers.add("Cache-Control", "no-store")
    route = request.url_rule.rule if request.url_rule is not None else "none"
    took = time.perf_counter() - made.began
    if route not in QUIET:
        metrics.request_answered(route, request.method, response.status_code, took)
        logs.request_answered(made, request.method, route, response.status_code, took)
    return response


QUIET = ("/livez", "/readyz", "/metrics")  # asked every few seconds by machines
