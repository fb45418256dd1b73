"""``coldleg replay``: which recorded answers the present book would change."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import click

from rules import Expert, InputError, Problem
from service.opening import book_option, opened, refuse
from service.replaying import Replayed, replay

EXIT_CHANGED = 1


@click.command("replay")
@click.argument("file", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.option("--json", "as_json", is_flag=True, help="One JSON object a record.")
@book_option
def replay_command(file: Path, as_json: bool, book: Path | None) -> None:
    """Ask again what decision records in FILE were asked; tell which answers change. Ends with 1 if any does."""
    expert = opened(book)
    total = changed = 0
    try:
        for replayed in _replayed(file, expert):
            total += 1
            changed += bool(replayed.changes)
            if as_json:
                click.echo(json.dumps(replayed.__dict__, ensure_ascii=False))
            elif replayed.changes:
                click.echo("\n".join(_told(replayed)))
    except InputError as error:
        refuse(error)
    click.echo(f"{changed} of {total} answers change under the present book.", err=True)
    sys.exit(EXIT_CHANGED if changed else 0)


def _replayed(file: Path, expert: Expert) -> Iterator[Replayed]:
    with file.open("rb") as lines:
        for number, raw in enumerate(lines, start=1):
            if not raw.strip():
                continue
            try:
                record: dict[str, Any] = json.loads(raw)
                yield replay(expert, record, number)
            except (ValueError, KeyError, TypeError, AttributeError) as error:
                if isinstance(error, InputError):
                    raise
                told = f"is no decision record ({type(error).__name__}); give a file that coldleg serve --record wrote"
                raise InputError([Problem(f"{file}, line {number}", told)]) from error


def _told(replayed: Replayed) -> Iterator[str]:
    masked = " (from masked facts)" if replayed.masked else ""
    yield f"line {replayed.line}: {replayed.decision_id} of {replayed.time}{masked}"
    for name, (before, now) in replayed.changes.items():
        yield f"  {name}: {before} -> {now}"
