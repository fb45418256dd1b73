"""One decision, with everything that is kept of it: the counts, the record, the mark on the request."""

from __future__ import annotations

import time

from rules import Answers, Enquiry
from rules.answer import Triage
from rules.talking import Turn
from service.dumping import Dump
from service.settings import Settings
from service.turns import in_turn
from service.watching import logs, metrics
from service.watching.records import made


def decide(answers: Answers, enquiry: Enquiry, settings: Settings, dump: Dump, request_id: str | None) -> Triage:
    """Triage, counted and, if records are kept, written down. Raises InputError.

    A record that cannot be written is told in the log; the caller still gets the answer.
    """
    with in_turn():
        began = time.perf_counter()
        answer = answers.triage(enquiry)
        took = time.perf_counter() - began
    metrics.decided(answer, outcome_of(answer), took)
    if settings.recorder is not None:
        try:
            own = enquiry.appliance is not None and enquiry.appliance not in answers.expert.book.appliances.values()
            record = made(enquiry, answer, dump, request_id=request_id, seconds=took)
            settings.recorder.keep(record, own_appliance=own)
        except OSError as error:
            logs.LOGGER.error("a decision could not be recorded", exc_info=error)
    return answer


def count_turn(turn: Turn, seconds: float) -> None:
    """What is kept of a case's turn besides the case: the counts."""
    metrics.decided(turn.answer, outcome_of(turn.answer), seconds)


def outcome_of(answer: Triage) -> str:
    """One word for what an answer came to."""
    if not answer.scope.in_scope:
        return "out_of_scope"
    if answer.stop is not None:
        return "stop"
    return answer.conclusions[0].standing if answer.conclusions else "nothing_known"
