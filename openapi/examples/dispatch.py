"""Dispatch software and Coldleg: a ticket in, the answer attached to it, the outcome kept beside it.

A ticket is a dictionary here; put your own store in its place. Run it with a ticket as JSON on standard input:

    python dispatch.py http://127.0.0.1:8017 < ticket.json
"""

from __future__ import annotations

import json
import os
import sys
from typing import Any

from service.client import Client, ProblemError, ServiceError


def attach(coldleg: Client, ticket: dict[str, Any]) -> dict[str, Any]:
    """The ticket with what a dispatcher needs of the answer; with ``triage_failed`` if there is none.

    A ticket must never wait for this: without an answer it goes on as it always did.
    """
    try:
        answer = coldleg.triage(ticket["note"], appliance=ticket.get("appliance"))
    except ProblemError as error:
        return {**ticket, "triage_failed": str(error)}  # the ticket is wrong; asking again will not help
    except ServiceError as error:
        return {**ticket, "triage_failed": f"{error}; ask again later"}
    visit = answer.visit
    attached = {
        "decision_id": answer.decision_id,
        "book": answer.book,
        "say_now": answer.stop.say if answer.stop else None,  # shown above everything else
        "send": visit.skill if visit.needed else None,
        "urgency": visit.urgency,
        "minutes": list(visit.minutes),
        "load": [part.part for part in visit.load_parts],
        "ask_next": [test.ask for test in answer.next_tests[:1]],
        "suspects": [f"{c.title} {c.probability:.0%}" for c in answer.conclusions[:3]],
    }
    return {**ticket, "triage": attached}


def outcome(ticket: dict[str, Any], *, fault: str, parts: list[str]) -> dict[str, Any]:
    """The closed ticket: what was found and used, beside the decision it is to be held against.

    Keep it: a triage leaves nothing in the service, and only both together show how good the answers are.
    """
    return {**ticket, "outcome": {"decision_id": ticket["triage"]["decision_id"], "fault": fault, "parts": parts}}


if __name__ == "__main__":
    with Client(sys.argv[1], key=os.environ.get("COLDLEG_KEY")) as coldleg:
        json.dump(attach(coldleg, json.load(sys.stdin)), sys.stdout, indent=1)
