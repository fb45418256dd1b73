"""``POST /v1/triage``: one call in, the whole answer out."""

from __future__ import annotations

from typing import Any

from flask import Response, request

from rules import EXPLAINS, InputError, Problem
from service.deciding import decide
from service.http import examples
from service.http.blueprint import Blueprint, Terms, body_doc, read_json
from service.http.context import JSON, house, marks, reply
from service.http.requests import TriageRequestSchema
from service.intake import enquiry_from_json
from service.pointers import located
from service.problems import SEE_ERRORS, RefusedError
from service.schemas import TriageSchema

blp = Blueprint("triage", __name__, description="A call answered.")
TERMS = Terms(takes=JSON, query=("explain",))
EXPLAIN_WORDS = f"write one of {', '.join(EXPLAINS)}"
EXPLAIN_DOC = {
    "name": "explain",
    "in": "query",
    "required": False,
    "schema": {"type": "string", "enum": list(EXPLAINS)},
    "description": "As the body's own field, for a body that has none.",
}


@blp.route("/v1/triage", methods=["POST"], terms=TERMS)
@blp.doc(
    operationId="triage",
    summary="Triage one call",
    requestBody=body_doc(TriageRequestSchema, JSON, examples.TRIAGE),
    parameters=[EXPLAIN_DOC],
)
@blp.response(200, TriageSchema)
def triage() -> Response:
    """A note, facts or both in; safety stop, ranked faults, next tests and visit out.

    Nothing is kept of it, and the same call gives the same answer and decision_id, so it may safely be sent again.
    """
    inside = house()
    enquiry = enquiry_from_json(inside.expert, _explained(read_json()))
    try:
        answer = decide(inside.answers, enquiry, inside.settings, inside.dump, marks().request_id)
    except InputError as error:
        raise InputError(located(error.problems, enquiry.facts)) from error
    marks().decision = answer.decision_id
    return reply(inside.wire(answer))


def _explained(data: Any) -> Any:
    """The body, with the query's explain level if it has none of its own. Raises InputError if they differ."""
    explain = request.args.get("explain") if request.query_string else None
    if explain is None or not isinstance(data, dict):
        return data
    if explain not in EXPLAINS:
        raise RefusedError("unusable-input", SEE_ERRORS, [{"parameter": "explain", "detail": EXPLAIN_WORDS}])
    if data.get("explain") not in (None, explain):
        raise InputError([Problem("explain", f"the query says {explain}; say it once, or the same twice")])
    return {**data, "explain": explain}
