"""Opening the book for a command, and ending a command whose input or book cannot be used."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import NoReturn

import click

from rules import BookError, Expert, InputError, open_book

EXIT_INPUT, EXIT_BOOK = 2, 3


def opened(book: Path | None) -> Expert:
    """Open the book, or end with its problems and exit code 3."""
    try:
        return open_book(book)
    except BookError as error:
        refuse_book(error)


def refuse_book(error: BookError) -> NoReturn:
    """Tell the book's problems and end with exit code 3."""
    click.echo("the book cannot be used:", err=True)
    for problem in error.problems:
        click.echo(f"  {problem}", err=True)
    sys.exit(EXIT_BOOK)


def refuse(error: InputError) -> NoReturn:
    """Say what is wrong with the input and end with exit code 2."""
    for problem in error.problems:
        click.echo(f"coldleg: {problem}", err=True)
    sys.exit(EXIT_INPUT)


book_option = click.option(
    "--book", type=click.Path(file_okay=False, path_type=Path), envvar="COLDLEG_BOOK", help="Folder of another book."
)
