"""``coldleg cases``, ``backup`` and ``restore``: for whoever keeps the database; they see the cases of all API keys."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from rules import InputError, Problem
from service.opening import refuse

if TYPE_CHECKING:
    from service.cases.database import Database
    from service.cases.retention import Wanted
    from service.cases.store import Whole

Command = TypeVar("Command", bound=Callable[..., Any])
DATABASE_VARIABLE = "COLDLEG_DATABASE"
database_option = click.option(
    "--database",
    "where",
    metavar="URL|FILE",
    envvar=DATABASE_VARIABLE,
    help="Where cases are kept: a SQLite file or postgresql://USER@HOST/NAME; by default cases.db in the user's "
    "data folder.",
)
yes_option = click.option("--yes", is_flag=True, help="Do it without asking.")
MOST_DAYS = 36500


def selecting(command: Command) -> Command:
    """Options that choose cases."""
    for option in (
        click.option("--case", metavar="ID", help="This one."),
        click.option("--reference", metavar="TEXT", help="Those of this ticket."),
        click.option("--owner", metavar="KEY", help="Those opened with this API key, by its id; local: without one."),
        click.option("--state", type=click.Choice(("open", "closed")), help="Open or closed ones only."),
    ):
        command = option(command)
    return command


@contextmanager
def opened_database(where: str | None, *, make: bool = False) -> Iterator[Database]:
    """The database with its tables; ends the command with exit code 2 if it cannot be used."""
    from service.cases.database import Database, DatabaseError
    from service.cases.migrating import prepare

    try:
        database = Database(where)
        if not make and database.file is not None and not database.file.is_file():
            told = f"{database.file} does not exist; coldleg serve makes it, --database names another"
            refuse(InputError([Problem("--database", told)]))
        try:
            database.make_place()
            prepare(database)
            yield database
        finally:
            database.close()
    except DatabaseError as error:
        refuse(InputError([Problem("--database", str(error))]))


def _wanted(case: str | None, reference: str | None, owner: str | None, state: Any) -> Wanted:
    from service.cases.retention import Wanted
    from service.cases.store import Filter

    return Wanted(case, owner, Filter(state, reference))


@click.group("cases")
def cases_group() -> None:
    """Cases that coldleg serve keeps: list, show, export, erase, purge."""


@cases_group.command("list")
@selecting
@click.option("--limit", default=50, show_default=True, type=click.IntRange(1, 10_000), help="The newest so many.")
@database_option
def list_command(where: str | None, limit: int, **chosen: Any) -> None:
    """List cases, newest first: id, opened, state, version, owner, reference."""
    from service.cases.retention import listed

    with opened_database(where) as database:
        found = listed(database, _wanted(**chosen), limit)
    click.echo(f"{'id':24}  {'opened (UTC)':16}  {'state':6}  {'version':>7}  {'owner':8}  reference")
    for case in found:
        state = "erased" if case.erased_at else case.state
        reference = _printable(case.reference or "")
        click.echo(f"{case.id}  {_minute(case.opened_at)}  {state:6}  {case.version:7}  {case.owner:8}  {reference}")
    click.echo(f"{len(found)} shown.", err=True)


@cases_group.command("show")
@click.argument("case", metavar="ID")
@database_option
def show_command(where: str | None, case: str) -> None:
    """Print a case's history: who said what, what was read from it, what became of it."""
    from service.cases.retention import each

    with opened_database(where) as database:
        whole = next(each(database, _wanted(case, None, None, None)), None)
    if whole is None:
        refuse(InputError([Problem("ID", f"no case {case[:60]!r}; coldleg cases list shows them")]))
    click.echo("\n".join(_shown(whole)))


@cases_group.command("export")
@click.argument("file", type=click.File("w", encoding="utf-8"))
@selecting
@database_option
def export_command(file: Any, where: str | None, **chosen: Any) -> None:
    """Write cases to FILE (- prints them), one a line as JSON with the whole history: to hand over, or to keep."""
    from service.cases.retention import each

    count = 0
    with opened_database(where) as database:
        for whole in each(database, _wanted(**chosen)):
            file.write(json.dumps(_exported(whole), ensure_ascii=True) + "\n")
            count += 1
    click.echo(f"{count} exported.", err=True)


@cases_group.command("erase")
@selecting
@yes_option
@database_option
def erase_command(where: str | None, yes: bool, **chosen: Any) -> None:
    """Take out of cases what persons wrote and their references, for good; facts in the book's words stay.

    Choose them by --case, --reference or --owner. Backups and records of decisions are other files: see to them, too.
    """
    from service.cases.retention import each, erase

    if not any(chosen[name] for name in ("case", "reference", "owner")):
        refuse(InputError([Problem("--case", "choose cases by --case, --reference or --owner")]))
    with opened_database(where) as database:
        ids = [whole.case.id for whole in each(database, _wanted(**chosen)) if whole.case.erased_at is None]
        if ids:
            _asked(f"Erase the texts of {len(ids)} cases? They cannot be brought back.", yes)
        for number in ids:
            erase(database, number)
    click.echo(f"{len(ids)} erased.")


@cases_group.command("purge")
@click.option("--days", required=True, type=click.IntRange(0, MOST_DAYS), help="Not touched for so many days.")
@selecting
@click.option("--dry-run", is_flag=True, help="Only say how many.")
@yes_option
@database_option
def purge_command(where: str | None, days: int, dry_run: bool, yes: bool, **chosen: Any) -> None:
    """Delete cases that nobody has touched for --days, with everything about them."""
    from service.cases.retention import count_unchanged, purge
    from service.cases.store import now

    since, wanted = now() - timedelta(days=days), _wanted(**chosen)
    with opened_database(where) as database:
        count = count_unchanged(database, since, wanted)
        if dry_run:
            click.echo(f"{count} would be deleted.")
            return
        if count:
            _asked(f"Delete {count} cases? They cannot be brought back.", yes)
        click.echo(f"{purge(database, since, wanted)} deleted.")


@click.command("backup")
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
@click.option("--replace", is_flag=True, help="Also over a file that exists.")
@database_option
def backup_command(file: Path, replace: bool, where: str | None) -> None:
    """Copy the cases to FILE while the service runs, as they are at one moment, and check the copy."""
    from service.cases.backup import back_up

    with opened_database(where) as database:
        size = back_up(database, file, replace=replace)
    click.echo(f"{file}: {size:,} bytes. To put it back: coldleg restore {file}")


@click.command("restore")
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
@click.option("--replace", is_flag=True, help="Also over cases that are there; they are gone then.")
@click.option("--in-use", is_flag=True, help="Also while a service has the database open.")
@database_option
def restore_command(file: Path, replace: bool, in_use: bool, where: str | None) -> None:
    """Put the cases of a backup FILE back, all of them or, if anything fails, none. The file is checked first.

    What was erased or purged since the backup is there again: erase and purge it anew.
    """
    from service.cases.backup import InUseError, NotEmptyError, restore
    from service.cases.database import Database, DatabaseError

    try:
        database = Database(where)
        done = restore(database, file, replace=replace, in_use=in_use)
    except InUseError as error:
        refuse(InputError([Problem("--in-use", f"{error}, or give --in-use")]))
    except NotEmptyError as error:
        refuse(InputError([Problem("--replace", f"{error}; back it up, then give --replace")]))
    except DatabaseError as error:
        refuse(InputError([Problem("FILE", str(error))]))
    last = f", the last one changed {done.last[:16]} UTC" if done.last else ""
    click.echo(f"{database.shown}: {done.cases:,} cases put back from {file}{last}.")


# --- words -----------------------------------------------------------------------------------------------------------
def _asked(question: str, yes: bool) -> None:
    if not yes and not sys.stdin.isatty():
        refuse(InputError([Problem("--yes", f"{question} Give --yes to do it")]))
    if not yes:
        click.confirm(question, abort=True)


def _minute(at: datetime) -> str:
    return at.strftime("%Y-%m-%d %H:%M")


def _printable(text: str) -> str:
    """For a terminal: whatever would move its cursor is escaped."""
    return "".join(sign if sign.isprintable() else sign.encode("unicode_escape").decode() for sign in text)


def _shown(whole: Whole) -> Iterator[str]:
    case = whole.case
    yield f"{case.id}  {case.state}, version {case.version}, reference {_printable(case.reference or 'none')}"
    for entry in whole.entries:
        told = _entry(entry.kind, entry.body)
        yield f"{entry.number:4}  {entry.at.strftime('%Y-%m-%d %H:%M:%S')}  {entry.kind:8}  {_printable(told)}"


def _entry(kind: str, body: dict[str, Any]) -> str:
    if kind == "message":
        from rules.talking import heard_from_plain

        heard = heard_from_plain(body["heard"])
        facts = "; ".join(f"{one.fact.key}={one.fact.value}" for one in heard.facts)
        said = f'"{heard.message.text}"' if heard.message.text is not None else ""
        return f"{heard.message.role}: {said} [{facts}]"
    if kind == "role":
        return f"{body['role']} speaks"
    if kind == "strike":
        return "unsaid: " + ", ".join(f"{message}.{index}" for message, index in body["numbers"])
    if kind == "outcome":
        return "; ".join(f"{name} {value}" for name, value in body.items() if value not in (None, []))
    return ""


def _exported(whole: Whole) -> dict[str, Any]:
    case = {
        name: value.isoformat() if isinstance(value, datetime) else value for name, value in vars(whole.case).items()
    }
    history = [{**vars(entry), "at": entry.at.isoformat()} for entry in whole.entries]
    return {**case, "entries": history}
