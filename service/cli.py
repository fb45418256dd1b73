"""The ``coldleg`` command. Exit codes: 0 answered, 2 the input cannot be used, 3 the book cannot be used."""

from __future__ import annotations

import json
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import click

from rules import BookError, Enquiry, Expert, InputError, Problem, open_book, triage
from rules.enquiry import fact_from_text
from rules.terms import ROLES, Role
from service.cases_cli import database_option
from service.intake import appliance_from_file, source_of
from service.keys import default_file
from service.keys_cli import keys_option
from service.later import LaterGroup
from service.opening import book_option, opened, refuse, refuse_book

MOST_STDIN = 16 * 1024 * 1024  # bytes read before the note is judged


#: Commands of modules of their own, which are loaded when asked for.
LATER = {
    "reading": "service.expect_cli:reading",
    "rules": "service.rules_cli:rules_group",
    "faults": "service.faults_cli:faults_group",
    "evaluate": "service.evaluate_cli:evaluate_command",
    "van": "service.van_cli:van_command",
    "keys": "service.keys_cli:keys_group",
    "replay": "service.replay_cli:replay_command",
    "notes": "service.notes_cli:notes_group",
    "batch": "service.batch_cli:batch_command",
    "cases": "service.cases_cli:cases_group",
    "backup": "service.cases_cli:backup_command",
    "restore": "service.cases_cli:restore_command",
    "chat": "service.chat_cli:chat_command",
}


@click.group(
    cls=LaterGroup, later=LATER, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100}
)
@click.version_option(package_name="coldleg", prog_name="coldleg")
def main() -> None:
    """Triage of electric-range faults for an appliance-repair shop, all on this machine."""


@main.command("triage")
@click.argument("text", required=False)
@click.option("--fact", "facts", multiple=True, metavar="NAME=VALUE", help="A fact, e.g. surface.heat@left_front=none.")
@click.option("--role", type=click.Choice(ROLES), default="desk", show_default=True, help="Who asks.")
@click.option("--appliance", metavar="NAME|FILE", help="A configuration of the book, or a YAML or JSON file.")
@click.option("--tool", "tools", multiple=True, metavar="NAME", help="A tool at hand; without any, all are.")
@click.option("--explain", is_flag=True, help="Every reason, bits for each fact, rules that nearly fired.")
@click.option("--json", "as_json", is_flag=True, help="The answer as JSON.")
@click.option("--server", metavar="URL", help="Ask a running service; its key, if it wants one, in COLDLEG_KEY.")
@book_option
def triage_command(
    text: str | None,
    facts: tuple[str, ...],
    role: Role,
    appliance: str | None,
    tools: tuple[str, ...],
    explain: bool,
    book: Path | None,
    **shown: Any,
) -> None:
    """Triage one call: TEXT is the note (- reads it from standard input), --fact adds what is known for sure."""
    as_json, server = shown["as_json"], shown["server"]
    if server is not None:
        from service.remote import Question, ask

        if book is not None:
            refuse(InputError([Problem("--book", "the service has its own book; leave --book or --server out")]))
        note = _standard_input() if text == "-" else text
        click.echo(ask(server, Question(note, facts, role, appliance, "full" if explain else "brief"), as_json=as_json))
        return
    expert = opened(book)
    try:
        enquiry = replace(_enquiry(expert, text, facts, role, appliance, explain), tools=tools or None)
        answer = triage(expert, enquiry)
    except InputError as error:
        refuse(error)
    if as_json:
        from service.schemas import TriageSchema

        click.echo(json.dumps(TriageSchema(expert.book.facts).dump(answer), indent=2, ensure_ascii=False))
    else:
        from service.terminal import render

        click.echo(render(answer, expert.book.facts, explain=explain))


def _enquiry(
    expert: Expert, text: str | None, facts: tuple[str, ...], role: Role, appliance: str | None, explain: bool
) -> Enquiry:
    """Gather the command's input. Raises InputError with all that is wrong."""
    problems: list[Problem] = []
    read = []
    for fact in facts:
        try:
            read.append(fact_from_text(fact, expert.book.facts, source_of(role)))
        except InputError as error:
            problems += error.problems
    own = None
    try:
        own = appliance_from_file(expert, appliance) if appliance is not None else None
    except InputError as error:
        problems += error.problems
    if problems:
        raise InputError(problems)
    note = _standard_input() if text == "-" else text
    return Enquiry(note, tuple(read), own, role, "full" if explain else "brief")


def _standard_input() -> str:
    raw = sys.stdin.buffer.read(MOST_STDIN)
    try:
        return raw.decode("utf-8")
    except UnicodeDecodeError as error:
        raise InputError([Problem("note", f"is not UTF-8 text (byte {error.start}); save it as UTF-8")]) from error


@main.command("facts")
@click.argument("name", required=False)
@book_option
def facts_command(name: str | None, book: Path | None) -> None:
    """List the vocabulary: what may be said with --fact, and how to ask it."""
    terms = opened(book).book.facts
    if name is not None and name not in terms:
        from rules.bookkeeping.yamlsource import nearest

        refuse(InputError([Problem("name", f"no fact named {name!r}{nearest(name, terms)}")]))
    shown = [terms[name]] if name is not None else list(terms.values())
    width = max(len(term.fact) for term in shown)
    for term in shown:
        place = {"surface": "@UNIT", "meter": "@POINTS/STATE", "none": ""}[term.place]
        values = f"a number of {term.unit}" if term.kind == "number" else ", ".join(term.values)
        click.echo(f"{term.fact + place:{width + 14}} {values}")
        if name is not None:
            click.echo(f"{'':{width + 14}} {term.title}; told by a {term.told_by}. {term.ask}")


@main.command("serve")
@click.option("--host", default="127.0.0.1", show_default=True, help="Beyond this machine only with API keys.")
@click.option("--port", default=8017, show_default=True, type=click.IntRange(1, 65535))
@click.option("--workers", default=1, show_default=True, type=click.IntRange(1, 16), help="Processes.")
@click.option("--threads", default=4, show_default=True, type=click.IntRange(1, 64), help="In each process.")
@click.option("--allow-host", "hosts", multiple=True, metavar="NAME", help="A further name for the Host header.")
@click.option("--record", type=click.Path(dir_okay=False, path_type=Path), help="Keep every decision in this file.")
@click.option("--record-notes", is_flag=True, help="Keep what callers said, too; personal data.")
@click.option(
    "--log-level", default="info", show_default=True, type=click.Choice(("debug", "info", "warning", "error"))
)
@keys_option
@database_option
@book_option
def serve_command(
    record: Path | None,
    keys_file: Path | None,
    where: str | None,
    hosts: tuple[str, ...],
    book: Path | None,
    **options: Any,
) -> None:
    """Answer over HTTP: /docs shows the routes. SIGHUP opens the book anew, SIGTERM stops, neither drops a call.

    Cases are kept in the database, which is made or brought up to date first.
    """
    from service.cases.store import Store
    from service.cases_cli import opened_database
    from service.serving import NotLoopbackError, Serving, serve

    try:
        with opened_database(where, make=True) as database:
            database.close()  # the workers open connections of their own
            serving = Serving(keys=keys_file or default_file(), hosts=hosts, records=record, **options)
            serve(lambda: open_book(book), serving, Store(database))
    except NotLoopbackError as error:
        refuse(InputError([Problem("--host", str(error))]))
    except InputError as error:
        refuse(error)
    except BookError as error:
        refuse_book(error)


@main.command("openapi")
@click.option("--out", type=click.Path(dir_okay=False, path_type=Path), help="Write it there instead of printing it.")
@book_option
def openapi_command(out: Path | None, book: Path | None) -> None:
    """The OpenAPI 3.1 document of the HTTP service, as committed in openapi/coldleg.json."""
    from service.app import create_app
    from service.http.spec import document

    text = json.dumps(document(create_app(opened(book))), indent=1, ensure_ascii=False) + "\n"
    if out is None:
        click.echo(text, nl=False)
    else:
        out.write_text(text, encoding="utf-8")
