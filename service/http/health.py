"""For machines that watch: alive, ready, and the counts."""

from __future__ import annotations

from flask import Response
from marshmallow import Schema, fields

from rules import Enquiry, triage
from service.http.blueprint import Blueprint, Terms, problem_response
from service.http.context import TEXT, house, reply
from service.http.requests import told
from service.problems import RefusedError
from service.watching import logs, metrics

blp = Blueprint("health", __name__, description="Alive, ready, counts.")
OPEN = Terms(scope=None)
SELF_TEST = Enquiry(note="the oven is cold but the clock is on")


class AliveSchema(Schema):
    alive = fields.Boolean()


class ReadySchema(Schema):
    ready = fields.Boolean()
    book = fields.String(metadata=told("Version of the book: a content hash."))


@blp.route("/livez", terms=OPEN)
@blp.doc(operationId="livez", summary="Whether the process answers")
@blp.response(200, AliveSchema)
def livez() -> Response:
    """Nothing is checked: a process that answers this need not be restarted."""
    return reply({"alive": True})


@blp.route("/readyz", terms=OPEN)
@blp.doc(operationId="readyz", summary="Whether calls can be answered")
@blp.response(200, ReadySchema)
@blp.doc(responses={"503": problem_response(503)})
def readyz() -> Response:
    """A call is worked through and the database of cases is asked; 503 if that fails."""
    expert, store = house().expert, house().settings.store
    try:
        triage(expert, SELF_TEST)
        if store is not None:
            store.database.ask()
    except Exception as error:
        logs.LOGGER.error("the self-test failed", exc_info=error)
        raise RefusedError("not-ready", "The self-test fails; see the log.") from error
    return reply({"ready": True, "book": expert.book.version})


@blp.route("/metrics", terms=Terms(scope="admin", gives=TEXT))
@blp.doc(operationId="metrics", summary="Counts for Prometheus")
@blp.response(200, {"type": "string"}, content_type=TEXT)
def counts() -> Response:
    """Prometheus' text format, of all workers together."""
    inside = house()
    text = metrics.exposed(inside.expert.book.version, inside.settings.metrics)
    return Response(text, content_type="text/plain; version=0.0.4; charset=utf-8")
