"""The ``coldleg`` command. Exit codes: 0 answered, 2 the input cannot be used, 3 the book cannot be used."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import click

from rules import Enquiry, Expert, InputError, Problem, triage
from rules.enquiry import fact_from_text
from rules.terms import ROLES, Role
from service.batch_cli import batch_command
from service.expect_cli import expect_command
from service.faults_cli import faults_group
from service.intake import appliance_from_file, source_of
from service.notes_cli import notes_group
from service.opening import book_option, opened, refuse
from service.reading_cli import reading
from service.rules_cli import rules_group

MOST_STDIN = 16 * 1024 * 1024  # bytes read before the note is judged


@click.group(context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(package_name="coldleg", prog_name="coldleg")
def main() -> None:
    """Triage of electric-range faults for an appliance-repair shop, all on this machine."""


@main.command("triage")
@click.argument("text", required=False)
@click.option("--fact", "facts", multiple=True, metavar="NAME=VALUE", help="A fact, e.g. surface.heat@left_front=none.")
@click.option("--role", type=click.Choice(ROLES), default="desk", show_default=True, help="Who asks.")
@click.option("--appliance", metavar="NAME|FILE", help="A configuration of the book, or a YAML or JSON file.")
@click.option("--explain", is_flag=True, help="Every reason, bits for each fact, rules that nearly fired.")
@click.option("--json", "as_json", is_flag=True, help="The answer as JSON.")
@book_option
def triage_command(
    text: str | None,
    facts: tuple[str, ...],
    role: Role,
    appliance: str | None,
    explain: bool,
    as_json: bool,
    book: Path | None,
) -> None:
    """Triage one call: TEXT is the note (- reads it from standard input), --fact adds what is known for sure."""
    expert = opened(book)
    try:
        enquiry = _enquiry(expert, text, facts, role, appliance, explain)
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
@click.option("--host", default="127.0.0.1", show_default=True, help="Loopback only in this version.")
@click.option("--port", default=8017, show_default=True, type=click.IntRange(1, 65535))
@click.option("--workers", default=1, show_default=True, type=click.IntRange(1, 16))
@click.option("--threads", default=4, show_default=True, type=click.IntRange(1, 64))
@book_option
def serve_command(host: str, port: int, workers: int, threads: int, book: Path | None) -> None:
    """Answer over HTTP on this machine: POST /v1/triage, GET /livez, GET /readyz."""
    from service.serving import NotLoopbackError, serve

    try:
        serve(lambda: opened(book), host=host, port=port, workers=workers, threads=threads)
    except NotLoopbackError as error:
        refuse(InputError([Problem("--host", str(error))]))


reading.add_command(expect_command)
main.add_command(reading)
main.add_command(rules_group)
main.add_command(faults_group)
main.add_command(notes_group)
main.add_command(batch_command)
