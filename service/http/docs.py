"""The contract to read: the OpenAPI document, the page made from it, and a page for each problem type.

Everything is made here from what is on this machine; no script and nothing from elsewhere.
"""

from __future__ import annotations

from flask import Response, current_app, request

from service.http import markup
from service.http.blueprint import Blueprint, Terms
from service.http.catalogue import CONDITION, ETAG_DOC, NOT_MODIFIED
from service.http.context import HTML, reply
from service.http.spec import document
from service.pages import page
from service.problems import KINDS, RefusedError
from service.strictjson import shown

blp = Blueprint("contract", __name__, description="This document, and pages about it.")
PAGE = Terms(scope=None, gives=HTML)
HTML_UTF8 = "text/html; charset=utf-8"


@blp.route("/openapi.json", terms=Terms(scope=None))
@blp.doc(operationId="openapi", summary="This document", parameters=CONDITION, responses=NOT_MODIFIED)
@blp.response(200, {"type": "object"}, headers={"ETag": ETAG_DOC["ETag"]})
def openapi() -> Response:
    """OpenAPI 3.1, as committed in openapi/coldleg.json."""
    return _kept(reply(document(current_app)))


@blp.route("/docs", terms=PAGE)
@blp.doc(operationId="docs", summary="This document as a page")
@blp.response(200, {"type": "string"}, content_type=HTML)
def docs() -> Response:
    """One page to read, made here; it needs no network and runs no script."""
    return _kept(Response(markup.contract(document(current_app)), content_type=HTML_UTF8))


@blp.route("/docs/style.css", terms=Terms(scope=None, gives="text/css"))
@blp.doc(operationId="style", summary="How the pages look")
@blp.response(200, {"type": "string"}, content_type="text/css")
def style() -> Response:
    """The pages' style sheet."""
    return _kept(Response(markup.STYLE, content_type="text/css; charset=utf-8"))


@blp.route("/problems/<string:name>", terms=PAGE)
@blp.doc(operationId="problem_page", summary="What a problem type means and what to do")
@blp.response(200, {"type": "string"}, content_type=HTML)
def problem_page(name: str) -> Response:
    """A problem's `type` is the address of its page here."""
    text = page("problems", name) if name in KINDS else None
    if text is None:
        known = f"there are {', '.join(KINDS)}"
        raise RefusedError("not-found", f"No problem type {shown(name)!r}.", [{"parameter": "name", "detail": known}])
    return _kept(Response(markup.page(name, markup.from_markdown(text)), content_type=HTML_UTF8))


def _kept(response: Response) -> Response:
    """With an ETag of its content; 304 if the caller holds it already."""
    response.add_etag()
    response.headers["Cache-Control"] = "no-cache"
    response.make_conditional(request)
    return response
