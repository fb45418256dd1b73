"""``coldleg evaluate``: how good the ranking is, on simulated callers and technicians from a perturbed model."""

from __future__ import annotations

import importlib.util
import json
import os
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import click

from rules import InputError, Problem
from rules.bookkeeping.types import Book
from rules.bookkeeping.yamlsource import nearest
from rules.evaluating import DEFAULT_CASES, DEFAULT_SEED, Options, evaluate
from rules.evaluating.study import Progress
from service.evaluate_report import as_json, as_markdown, as_text
from service.opening import book_option, opened, refuse

EVERY = "all"
MOST_PROCESSES = 16
USUAL_PROCESSES = min(2, os.cpu_count() or 1)


@click.command("evaluate")
@click.option("--seed", default=DEFAULT_SEED, show_default=True, type=click.IntRange(0), help="Start of the draws.")
@click.option(
    "--cases",
    default=DEFAULT_CASES,
    show_default=True,
    type=click.IntRange(1, 100_000),
    help="Simulated calls for the default configuration; a fifth for each other.",
)
@click.option(
    "--configuration",
    "chosen",
    multiple=True,
    default=(EVERY,),
    show_default=True,
    metavar="NAME|all",
    help="A configuration of the book; may be repeated.",
)
@click.option("--quick", is_flag=True, help="A tenth of the work; figures that are not for quoting.")
@click.option("--json", "as_data", is_flag=True, help="Every figure as JSON.")
@click.option("--markdown", is_flag=True, help="The table of the README.")
@click.option("--plot", metavar="FILE", type=click.Path(path_type=Path), help="Draw the reliability plot into a PNG.")
@click.option(
    "--processes",
    default=USUAL_PROCESSES,
    show_default=True,
    type=click.IntRange(1, MOST_PROCESSES),
    help="Processes to share the work; the figures stay the same.",
)
@book_option
def evaluate_command(
    seed: int, cases: int, chosen: tuple[str, ...], plot: Path | None, book: Path | None, **how: Any
) -> None:
    """Measure the ranking on simulated calls.

    Callers, technicians, appliances and minutes are drawn from a perturbed model, never from the ranker's own table.
    The figures compare ways of working; they do not predict the field.
    """
    expert = opened(book)
    problems = [*_unknown(chosen, expert.book), *_unplottable(plot)]
    if how["as_data"] and how["markdown"]:
        problems.append(Problem("--markdown", "write either --json or --markdown"))
    if problems:
        refuse(InputError(problems))
    names = tuple(expert.book.appliances) if EVERY in chosen else tuple(dict.fromkeys(chosen))
    options = Options(seed=seed, cases=cases, configurations=names)
    if how["quick"]:
        options = options.quick()
    with _bar() as progress:
        made = evaluate(expert, options, folder=book, processes=how["processes"], progress=progress)
    if plot is not None:
        from service.reliability_plot import draw

        draw(made, plot)
        click.echo(f"Reliability plot: {plot}", err=True)
    if how["as_data"]:
        click.echo(json.dumps(as_json(made), indent=2))
    else:
        click.echo(as_markdown(made) if how["markdown"] else as_text(made))


def _unknown(chosen: Sequence[str], book: Book) -> list[Problem]:
    known = ", ".join(book.appliances)
    return [
        Problem(
            "--configuration", f"the book has no {name!r}{nearest(name, book.appliances)}; write all or one of {known}"
        )
        for name in chosen
        if name != EVERY and name not in book.appliances
    ]


def _unplottable(plot: Path | None) -> list[Problem]:
    """What would keep the plot from being drawn, told before the work is done."""
    if plot is None:
        return []
    if importlib.util.find_spec("matplotlib") is None:
        return [Problem("--plot", "needs matplotlib; install it with: pip install 'coldleg[plot]'")]
    if plot.suffix.lower() != ".png":
        return [Problem("--plot", f"{plot} is not a PNG file; write a name that ends in .png")]
    if plot.is_dir() or not plot.parent.is_dir() or not os.access(plot.parent, os.W_OK):
        return [Problem("--plot", f"{plot} cannot be written; name a file in a folder that exists and is yours")]
    return []


@contextmanager
def _bar() -> Iterator[Progress | None]:
    """A bar on a terminal, on the error stream; nothing in a pipe."""
    if not sys.stderr.isatty():
        yield None
        return
    with click.progressbar(length=1, label="Evaluating", file=sys.stderr, show_pos=True) as bar:

        def progress(done: int, of: int) -> None:
            bar.length = of
            bar.update(done - bar.pos)

        yield progress
