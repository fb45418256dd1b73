"""``coldleg batch``: many calls from a file.

Exit codes: 0 all answered, 1 some rows failed, 2 input or output that cannot be used, 4 a service asked with --server
gives no answer, 130 interrupted.
"""

from __future__ import annotations

import errno
import io
import sys
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from dataclasses import dataclass
from importlib import resources
from itertools import islice
from pathlib import Path
from typing import IO, Any, NoReturn, cast

import click

from rules.terms import InputError, Problem
from service.batching.incoming import Form, Incoming, Row
from service.batching.outgoing import Outgoing
from service.batching.running import Done, NoAnswerError, checked, run
from service.batching.seen import SeenIds
from service.batching.summing import Summary
from service.notes_cli import write_unread
from service.opening import EXIT_INPUT, book_option, opened, refuse

EXIT_FAILED, EXIT_SERVICE, EXIT_INTERRUPTED = 1, 4, 130
Answering = Callable[[Iterable[Row]], Iterator[Done]]
DEMO = "demo.ndjson"
MOST_JOBS = 64
_NO_ROOM = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)


@dataclass(frozen=True)
class _Options:
    """What the command was asked for."""

    out: Path | None
    form: Form
    jobs: int
    resume: bool
    fail_fast: bool
    unread: Path | None
    book: Path | None
    server: str | None


@click.command("batch")
@click.argument("file", required=False)
@click.option("--out", type=click.Path(dir_okay=False, path_type=Path), help="Where the answers go; .gz is packed.")
@click.option("--format", "form", type=click.Choice(["ndjson", "csv"]), help="Of the answers; else by --out's name.")
@click.option("--jobs", default=1, show_default=True, type=click.IntRange(1, MOST_JOBS),
              help="Processes; with --server, connections.")  # fmt: skip
@click.option("--resume", is_flag=True, help="Go on with an interrupted --out: no row lost, none twice.")
@click.option("--fail-fast", is_flag=True, help="Stop at the first row that fails.")
@click.option("--unread", type=click.Path(dir_okay=False, path_type=Path),
              help="Write clauses that nobody could read, with their counts.")  # fmt: skip
@click.option("--server", metavar="URL", help="Ask a running service; its key, if it wants one, in COLDLEG_KEY.")
@click.option("--demo", is_flag=True, help="Answer 200 invented notes.")
@book_option
def batch_command(file: str | None, form: Form | None, demo: bool, **asked: Any) -> None:
    """Triage every row of FILE (- is standard input): NDJSON or CSV, plain or gzip.

    A row has an id of its own and a note, facts or both. Each gives one line, in order; a row that cannot be answered
    gives an error line and the run goes on. CSV needs a header: id, note, role, appliance, facts.
    """
    try:
        options = _Options(form=form or _form_of(asked["out"]), **asked)
        _check(file, options, demo)
        with _input(file, demo) as (stream, name, size):
            incoming = Incoming(stream, name)
            if incoming.unused:
                click.echo(f"coldleg: columns not read: {', '.join(incoming.unused)}", err=True)
            _answered(incoming, _answering(options), options, size)
    except InputError as error:
        refuse(error)


def _answering(options: _Options) -> Answering:
    """What answers the rows: the book opened here, or a running service that is ready."""
    if options.server is None:
        expert = opened(options.book)
        return lambda rows: run(rows, expert, options.form, options.jobs, options.book)
    from service.batching.asking import Asker
    from service.client import ServiceError
    from service.remote import give_up

    try:
        asker = Asker(options.server, options.form)
    except ServiceError as error:
        give_up(error)
    return lambda rows: asker.run(rows, options.jobs)


def _form_of(out: Path | None) -> Form:
    return "csv" if out is not None and out.name.lower().removesuffix(".gz").endswith(".csv") else "ndjson"


def _check(file: str | None, options: _Options, demo: bool) -> None:
    """Options that do not go together. Raises InputError."""
    if demo == (file is not None):
        raise InputError([Problem("FILE", "give a file, - for standard input, or --demo")])
    if options.server is not None and options.book is not None:
        raise InputError([Problem("--book", "the service has its own book; leave --book or --server out")])
    out, resume = options.out, options.resume
    if resume and out is None:
        raise InputError([Problem("--resume", "needs --out: it goes on with that file")])
    if resume and file == "-":
        raise InputError([Problem("--resume", "needs a file that can be read again, not standard input")])
    source = Path(file) if file not in (None, "-") else None
    if out is not None and source is not None and source.exists() and out.exists() and out.samefile(source):
        raise InputError([Problem("--out", "is the input itself; write the answers to another file")])


@contextmanager
def _input(file: str | None, demo: bool) -> Iterator[tuple[IO[bytes], str, int | None]]:
    """The input, its name, and its size in bytes if that is known."""
    if demo:
        packed = resources.files("service.batching").joinpath(DEMO).read_bytes()
        yield io.BytesIO(packed), DEMO, len(packed)
    elif file == "-":
        buffered = sys.stdin.buffer
        stream = getattr(buffered, "raw", buffered)  # which gives what is there, and does not wait for a whole buffer
        yield cast(IO[bytes], stream), "standard input", None
    else:
        path = Path(str(file))
        try:
            stream = path.open("rb", buffering=0)
        except OSError as error:
            raise InputError([Problem(str(file), f"cannot be read: {error.strerror}")]) from error
        with stream:
            yield cast(IO[bytes], stream), path.name, path.stat().st_size if path.is_file() else None


def _answered(incoming: Incoming, answering: Answering, options: _Options, size: int | None) -> None:
    """Run the batch and end the command with its exit code."""
    out = _output(options)
    summary = Summary(resumed=out.done)
    broken: list[Row] = []
    rows = _whole(_fresh(incoming, out), broken)
    try:
        out.begin()
        with _progress(size) as moved:
            for done in answering(rows):
                out.write(done.text)
                summary.add(done.seen)
                if moved is not None:
                    moved(incoming)
                if options.fail_fast and done.seen.failed:
                    break
        out.close()
    except OSError as error:
        out.abandon()
        _cannot_write(error, summary, options)
    except BrokenProcessPool:
        _end(summary, options, "a process was ended from outside; go on with --resume", EXIT_INPUT)
    except NoAnswerError as error:
        _end(summary, options, f"{error}; go on with --resume", EXIT_SERVICE)
    except KeyboardInterrupt:
        _end(summary, options, "interrupted; go on with --resume", EXIT_INTERRUPTED)
    if broken and broken[0].problem is not None:
        words = f"line {broken[0].line}: {broken[0].problem.message}; mend it and go on with --resume"
        _end(summary, options, words, EXIT_INPUT)
    _end(summary, options, None, EXIT_FAILED if summary.failed else 0)


def _output(options: _Options) -> Outgoing:
    try:
        return Outgoing(options.out, options.form, resume=options.resume)
    except OSError as error:
        raise InputError([Problem("--out", f"cannot be written: {error.strerror}")]) from error


def _fresh(incoming: Incoming, out: Outgoing) -> Iterator[Row]:
    """The rows that are not answered yet. Raises InputError if the output was made from another input."""
    rows = checked(incoming.rows(), SeenIds())
    given: Any = None
    skipped = 0
    for row in islice(rows, out.done):
        given = row.id
        skipped += 1
    if skipped < out.done or (given is not None and out.last_id not in (None, given, str(given))):
        raise InputError([Problem("--resume", f"{out.path} was not made from {incoming.name}; name another --out")])
    return rows


def _whole(rows: Iterator[Row], broken: list[Row]) -> Iterator[Row]:
    """The rows up to where the input breaks off; that is no row of its own, and is told at the end."""
    for row in rows:
        if row.last:
            broken.append(row)
            return
        yield row


@contextmanager
def _progress(size: int | None) -> Iterator[Any]:
    """A bar on a terminal, nothing in a pipe."""
    if size is None or not sys.stderr.isatty():
        yield None
        return
    with click.progressbar(length=size, file=sys.stderr, label="answered") as bar:

        def moved(incoming: Incoming) -> None:
            bar.update(max(0, incoming.raw.tell() - bar.pos))

        yield moved


def _cannot_write(error: OSError, summary: Summary, options: _Options) -> NoReturn:
    if error.errno == errno.EPIPE:
        sys.stderr.close()
        sys.exit(EXIT_FAILED)
    if options.out is None:
        words = (
            f"standard output cannot be written: {error.strerror}; name a file with --out, so that --resume can go on"
        )
    elif error.errno in _NO_ROOM:
        words = f"--out: cannot be written: {error.strerror}; make room and go on with --resume"
    else:
        words = f"--out: {options.out} cannot be written: {error.strerror}; name a file in a folder that takes it"
    _end(summary, options, words, EXIT_INPUT)


def _end(summary: Summary, options: _Options, words: str | None, code: int) -> NoReturn:
    """Say how it went, on standard output if the answers go elsewhere, and end."""
    click.echo(summary.words(), err=options.out is None)
    if words is not None:
        click.echo(f"coldleg: {words}", err=True)
    if options.unread is not None:
        write_unread(summary.unread, options.unread)
    sys.exit(code)
