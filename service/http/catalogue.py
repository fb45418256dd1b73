"""The book to read: vocabulary, appliances, faults, tests and rules, a page at a time or one by its id.

Everything here is as old as the book, so the ETag is made from the book's version and the address; a page that was
fetched before costs one comparison. Cursors are opaque and belong to one book.
"""

from __future__ import annotations

import base64
import hashlib
import json
from collections.abc import Callable
from importlib.metadata import version
from typing import Any
from urllib.parse import quote

from flask import Response, request
from marshmallow import Schema, fields, validate

from rules import Expert
from rules.bookkeeping.yamlsource import nearest
from service.http import entries
from service.http.blueprint import Blueprint, Terms
from service.http.context import house, reply
from service.http.requests import told
from service.problems import SEE_ERRORS, RefusedError
from service.strictjson import shown

blp = Blueprint("book", __name__, description="What the open book holds.")
MOST_A_PAGE, A_PAGE = 500, 100
PROGRAM = version("coldleg")
ETAG_DOC = {
    "ETag": {"schema": {"type": "string"}, "description": "Changes with the book's version."},
    "Link": {"schema": {"type": "string"}, "description": 'The next page, rel="next"; not on the last.'},
}
CONDITION = [
    {
        "name": "If-None-Match",
        "in": "header",
        "required": False,
        "schema": {"type": "string"},
        "description": "ETags held already; 304 if one still holds.",
    }
]
NOT_MODIFIED = {"304": {"description": "The page held already is still right."}}
LIST_TERMS = Terms(query=("cursor", "limit"))


class PageQuery(Schema):
    """Which page."""

    limit = fields.Integer(
        load_default=A_PAGE,
        validate=validate.Range(1, MOST_A_PAGE, error=f"write a whole number from 1 to {MOST_A_PAGE}"),
        error_messages={"invalid": f"write a whole number from 1 to {MOST_A_PAGE}"},
        metadata=told("Entries a page."),
    )
    cursor = fields.String(metadata=told("From `next` of the page before; opaque."))


class _Family:
    """One kind of entry: its address, its schema, and where the open book keeps it."""

    def __init__(
        self, name: str, one: str, schema: type[Schema], make: Callable[[Any, Expert], dict[str, Any]], kept: str
    ) -> None:
        self.name, self.one, self.schema, self.make, self.kept = name, one, schema, make, kept
        page: dict[str, fields.Field[Any]] = {
            "book": fields.String(metadata=told("Version of the book: a content hash.")),
            "items": fields.List(fields.Nested(schema), metadata=told("In the book's order.")),
            "next": fields.String(allow_none=True, metadata=told("Address of the next page; null on the last.")),
        }
        self.page_schema = Schema.from_dict(page, name=f"{schema.__name__.removesuffix('EntrySchema')}PageSchema")
        single: dict[str, fields.Field[Any]] = {
            "book": fields.String(metadata=told("Version of the book: a content hash.")),
            "item": fields.Nested(schema),
        }
        self.item_schema = Schema.from_dict(single, name=f"{schema.__name__.removesuffix('EntrySchema')}ItemSchema")

    def page(self, query: dict[str, Any]) -> Response:
        if (held := _held()) is not None:
            return held
        expert = house().expert
        known = list(getattr(expert.book, self.kept).values())
        start = _position(query.get("cursor"), self.name, expert.book.version, len(known))
        end = start + query["limit"]
        following = None
        if end < len(known):
            following = f"/v1/{self.name}?limit={query['limit']}&cursor={_cursor(self.name, expert.book.version, end)}"
        items = [self.make(entry, expert) for entry in known[start:end]]
        response = _tagged(reply({"book": expert.book.version, "items": items, "next": following}))
        if following is not None:
            response.headers["Link"] = f'<{following}>; rel="next"'
        return response

    def item(self, name: str) -> Response:
        expert = house().expert
        known = getattr(expert.book, self.kept)
        if name not in known:
            hint = nearest(name[:60], known)
            detail = f"The book has no {self.one} {shown(name)!r}{hint}"
            errors = [{"parameter": self.one, "detail": f"GET /v1/{self.name} lists them"}]
            raise RefusedError("not-found", detail + ("" if hint else "."), errors)
        if (held := _held()) is not None:
            return held
        return _tagged(reply({"book": expert.book.version, "item": self.make(known[name], expert)}))


FAMILIES = (
    _Family(
        "vocabulary", "fact", entries.VocabularyEntrySchema, lambda e, _: entries.vocabulary_entry(e), kept="facts"
    ),
    _Family(
        "appliances",
        "appliance",
        entries.ApplianceEntrySchema,
        lambda e, _: entries.appliance_entry(e),
        kept="appliances",
    ),
    _Family("faults", "fault", entries.FaultEntrySchema, lambda e, _: entries.fault_entry(e), kept="faults"),
    _Family("tests", "test", entries.TestEntrySchema, lambda e, _: entries.test_entry(e), kept="tests"),
    _Family("rules", "rule", entries.RuleEntrySchema, lambda e, x: entries.rule_entry(e, x.book), kept="rules"),
)


def _routes(family: _Family) -> None:
    @blp.route(f"/v1/{family.name}", terms=LIST_TERMS, endpoint=f"{family.name}_page")
    @blp.doc(
        operationId=f"list_{family.name}",
        summary=f"List the {family.name}" if family.name != "vocabulary" else "List what can be said",
        parameters=CONDITION,
        responses=NOT_MODIFIED,
    )
    @blp.arguments(PageQuery, location="query")
    @blp.response(200, family.page_schema, headers=ETAG_DOC)
    def page(query: dict[str, Any]) -> Response:
        return family.page(query)

    @blp.route(f"/v1/{family.name}/<string:name>", endpoint=f"{family.name}_item")
    @blp.doc(
        operationId=f"get_{family.one}",
        summary=f"One {family.one} of the book",
        parameters=CONDITION,
        responses=NOT_MODIFIED,
    )
    @blp.response(200, family.item_schema, headers={"ETag": ETAG_DOC["ETag"]})
    def item(name: str) -> Response:
        return family.item(name)


for _family in FAMILIES:
    _routes(_family)


# --- ETags and cursors -------------------------------------------------------------------------------------------
def etag() -> str:
    """Strong: the book's version, and this address as this program writes it."""
    address = hashlib.sha256(f"{PROGRAM} {request.full_path}".encode()).hexdigest()
    return f"{house().expert.book.version.partition(':')[2][:32]}-{address[:8]}"


def _tagged(response: Response) -> Response:
    response.set_etag(etag())
    response.headers["Cache-Control"] = "no-cache"
    return response


def _held() -> Response | None:
    """304, if the caller holds this page already."""
    if not request.if_none_match.contains_weak(etag()) and not request.if_none_match.star_tag:
        return None
    response = _tagged(Response(status=304))
    response.headers.pop("Content-Type", None)
    return response


def _cursor(name: str, book: str, position: int) -> str:
    packed = json.dumps([name, book.partition(":")[2][:12], position], separators=(",", ":"))
    return quote(base64.urlsafe_b64encode(packed.encode()).decode().rstrip("="))


def _position(cursor: str | None, name: str, book: str, entries_known: int) -> int:
    if cursor is None:
        return 0
    told_how = "leave it out to start again from the first page"
    try:
        raw = base64.b64decode(cursor + "=" * (-len(cursor) % 4), altchars=b"-_", validate=True)
        kind, of_book, position = json.loads(raw)
        good = kind == name and type(position) is int and 0 < position < entries_known
    except (ValueError, TypeError, RecursionError):
        good, of_book = False, None
    if good and of_book == book.partition(":")[2][:12]:
        return int(position)
    wrong = f"belongs to another book; {told_how}" if good else f"was not made by this route; {told_how}"
    raise RefusedError("unusable-input", SEE_ERRORS, [{"parameter": "cursor", "detail": wrong}])
