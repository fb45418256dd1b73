"""``coldleg chat``: a call as a conversation in the terminal, or through a pipe, a line a message."""

from __future__ import annotations

import io
import re
import sys
import textwrap
from collections.abc import Iterable, Iterator
from pathlib import Path

import click

from rules import InputError, Problem
from rules.talking import FORMS
from rules.terms import ROLES, Role
from service.chatting import Call, LocalCall, ServedCall
from service.client import ServiceError
from service.intake import appliance_from_file
from service.opening import book_option, opened, refuse

WIDTH = 92
LONGEST_LINE = 64 * 1024  # characters of a line that are read; more is no message
HELP = """Say what is wrong, answer the questions (yes, no, left front, about 40 low, not sure), correct yourself
(no wait, the clock is dead), or ask back (why do you ask? how do you know?). Besides:
  strike 3, strike 3.1     unsay all that message 3 told, or one fact of it; restore 3.1 takes that back
  facts                    all facts so far, by number
  role technician          who speaks from now on: caller, desk or technician
  summary, summary markdown  the case for the ticket
  help                     this
  quit                     leave, as does the end of the input"""
_LEAVING = ("quit", "exit", "bye", "goodbye", "leave", "q", ":q")
_UNSAYING = re.compile(r"(strike|unsay|restore)\s+\[?(\d{1,6})(?:\.(\d{1,6}))?\]?")


@click.command("chat")
@click.option("--appliance", metavar="NAME|FILE", help="A configuration of the book, or a YAML or JSON file.")
@click.option("--role", type=click.Choice(ROLES), default="desk", show_default=True, help="Who speaks.")
@click.option("--server", metavar="URL", help="Keep the call as a case of a running service.")
@click.option("--key", metavar="KEY", envvar="COLDLEG_KEY", help="API key for --server; better in COLDLEG_KEY.")
@book_option
def chat_command(appliance: str | None, role: Role, server: str | None, key: str | None, book: Path | None) -> None:
    """Hold a call as a conversation: say what is wrong, answer, correct, ask why. `help` lists further words."""
    if server is not None and book is not None:
        refuse(InputError([Problem("--book", "the service has its own book; leave --book or --server out")]))
    try:
        call = _local(appliance, role, book) if server is None else _served(server, key, appliance, role)
        _talk(call, _lines(), prompt=sys.stdin.isatty())
    except InputError as error:
        refuse(error)
    except ServiceError as error:
        from service.remote import give_up

        give_up(error)
    except KeyboardInterrupt:
        click.echo()


def _local(appliance: str | None, role: Role, book: Path | None) -> Call:
    expert = opened(book)
    return LocalCall(expert, None if appliance is None else appliance_from_file(expert, appliance), role)


def _served(server: str, key: str | None, appliance: str | None, role: Role) -> Call:
    from service.client import Client
    from service.remote import appliance_given

    return ServedCall(Client(server, key=key), None if appliance is None else appliance_given(appliance), role)


def _lines() -> Iterator[str]:
    """Lines of the input; half characters and broken UTF-8 are shown as such, never a reason to stop."""
    stream = io.TextIOWrapper(sys.stdin.buffer, encoding="utf-8", errors="replace")
    while line := stream.readline(LONGEST_LINE):
        yield line


def _talk(call: Call, lines: Iterable[str], *, prompt: bool) -> None:
    """Go on until somebody leaves or the input ends."""
    _show(call.begin())
    _prompt(call, prompt)
    for line in lines:
        text = line.strip()
        if text.lower().rstrip(".!") in _LEAVING:
            return
        if text:
            try:
                _step(call, text)
            except InputError as error:
                for problem in error.problems:
                    click.echo(f"  ({problem})")
        _prompt(call, prompt)
    if prompt:
        click.echo()


def _step(call: Call, text: str) -> None:
    """One line: a word to the program, or something said."""
    plain = " ".join(text.lower().split())
    word, _, rest = plain.partition(" ")
    if plain in ("help", "?"):
        click.echo(HELP)
    elif plain == "facts":
        _show("\n".join(call.facts()) or "No fact so far.")
    elif found := _UNSAYING.fullmatch(plain):
        message, index = int(found[2]), None if found[3] is None else int(found[3])
        _show(call.restore(message, index) if found[1] == "restore" else call.strike(message, index))
    elif word == "summary" and " " not in rest:
        click.echo(_summary(call, rest))
    elif word == "role" and " " not in rest:
        _show(_role(call, rest))
    else:
        _show(call.say(text))


def _role(call: Call, name: str) -> str:
    if name not in ROLES:
        raise InputError([Problem("role", f"write role and one of {', '.join(ROLES)}")])
    return f"({name} speaks from now on)\n{call.speak_as(name)}"


def _summary(call: Call, form: str) -> str:
    if form and form not in FORMS:
        raise InputError([Problem("summary", f"write summary, or summary and one of {', '.join(FORMS)}")])
    return call.summary(form or "text").rstrip()


def _prompt(call: Call, wanted: bool) -> None:
    if wanted:
        click.echo(f"{call.role}> ", nl=False)


def _show(reply: str) -> None:
    for line in reply.splitlines():
        indent = "  " + " " * (len(line) - len(line.lstrip()))
        wrapped = textwrap.wrap(line, WIDTH, initial_indent="  ", subsequent_indent=indent + "  ")
        click.echo("\n".join(wrapped) if len(line) > WIDTH - 2 else f"  {line}".rstrip())
