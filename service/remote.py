"""``coldleg triage --server``: a running service is asked, and its answer shown as the command's own would be."""

from __future__ import annotations

import json
import os
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NoReturn

import click

from rules import BookError, InputError, Problem
from rules.bookkeeping.yamlsource import parse
from rules.enquiry import mapping_from_text
from service.client import Client, ProblemError, ServiceError
from service.intake import read_appliance_file
from service.opening import refuse

EXIT_SERVICE = 4
KEY_VARIABLE = "COLDLEG_KEY"


@dataclass(frozen=True)
class Question:
    """What was typed."""

    note: str | None
    facts: tuple[str, ...]
    role: str
    appliance: str | None
    explain: str


def ask(server: str, question: Question, *, as_json: bool) -> str:
    """The answer as text. Ends the command with 2 for what the service refuses, with 4 if there is no answer."""
    try:
        with client(server) as service:
            answer = service.triage_json(_body(service, question))
            if as_json:
                return json.dumps(answer, indent=2, ensure_ascii=False)
            return _screen(service, answer, question.explain)
    except (ServiceError, InputError) as error:
        give_up(error)


def client(server: str) -> Client:
    """A client with the key from the environment, where other users of this machine cannot see it."""
    return Client(server, key=os.environ.get(KEY_VARIABLE) or None)


def give_up(error: ServiceError | InputError) -> NoReturn:
    """Tell what is wrong and end the command."""
    if isinstance(error, InputError):
        refuse(error)
    if isinstance(error, ProblemError) and error.problems:
        refuse(InputError(error.problems))
    click.echo(f"coldleg: {error}", err=True)
    sys.exit(EXIT_SERVICE)


def _body(service: Client, question: Question) -> dict[str, Any]:
    body: dict[str, Any] = {"role": question.role, "explain": question.explain}
    if question.note is not None:
        body["note"] = question.note
    if question.facts:
        known = service.vocabulary()
        body["facts"] = [mapping_from_text(text, known) for text in question.facts]
    if question.appliance is not None:
        body["appliance"] = appliance_given(question.appliance)
    return body


def appliance_given(name: str) -> Any:
    """A file's mapping, which the service checks, or the name of a configuration of its book."""
    if not Path(name).is_file():
        return name
    try:
        return parse(name, read_appliance_file(Path(name))).data
    except BookError as error:
        raise InputError([Problem("appliance", problem) for problem in error.problems]) from error


def _screen(service: Client, answer: dict[str, Any], explain: str) -> str:
    from rules.answer import Triage
    from service.terminal import render
    from service.typed import NotAnAnswerError, typed

    try:
        return render(typed(Triage, answer), service.vocabulary(), explain=explain == "full")
    except (NotAnAnswerError, KeyError, TypeError) as error:
        raise ServiceError("the answer has not the form of the contract; is the service of another version?") from error
