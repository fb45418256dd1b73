"""``coldleg notes``: how well call notes are read."""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import click

from rules import BookError, Enquiry, Expert, InputError, Problem, triage
from rules.bookkeeping.yamlsource import parse
from rules.notes import read_note
from rules.notes.scoring import Hazard, Miss, Phrase, Report, Score, load_phrases, score
from service.opening import EXIT_INPUT, book_option, opened, refuse

EXIT_BELOW = 1
LEAST_PRECISION, LEAST_RECALL, MOST_POLARITY, MOST_FALSE_STOPS = 0.95, 0.85, 0.02, 0.03
_HEAD = f"{'category':24} {'notes':>5} {'precision':>9} {'recall':>7} {'polarity':>8} {'missed':>6} {'false':>5}"


@click.group("notes")
def notes_group() -> None:
    """How well call notes are read."""


@notes_group.command("score")
@click.argument("files", nargs=-1, required=True, type=click.Path(dir_okay=False, path_type=Path))
@click.option("--gate", is_flag=True, help="Exit 1 if a threshold is not reached.")
@click.option("--misses", is_flag=True, help="Also list what was not read as labelled.")
@click.option("--unread", "unread_out", type=click.Path(dir_okay=False, path_type=Path),
              help="Write clauses that nobody could read, with their counts.")  # fmt: skip
@book_option
def score_command(
    files: tuple[Path, ...], gate: bool, misses: bool, unread_out: Path | None, book: Path | None
) -> None:
    """Score the reader on labelled phrases by category: precision, recall, wrong polarity, dangers, false stops."""
    expert = opened(book)
    report = Report()
    unread: Counter[str] = Counter()
    for file in files:
        phrases = _phrases(expert, file)
        found = score(phrases, lambda note: read_note(note, expert.lexicon, positions(expert)), hazard_of(expert))
        for name, each in found.by_category.items():
            report.by_category.setdefault(name, Score()).add(each)
        report.misses += found.misses
        unread.update(u for p in phrases for u in read_note(p.note, expert.lexicon, positions(expert)).unread)
    click.echo(_table(report))
    for miss in report.misses if misses else ():
        click.echo(_miss_words(miss))
    if unread_out is not None:
        write_unread(unread, unread_out)
    short = shortfalls(report.total)
    for line in short:
        click.echo(f"coldleg: {line}", err=True)
    if short and gate:
        sys.exit(EXIT_BELOW)


def positions(expert: Expert) -> tuple[str, ...]:
    """Every surface unit that any appliance of the book has."""
    return tuple(dict.fromkeys(p for appliance in expert.book.appliances.values() for p in appliance.positions))


def write_unread(unread: Counter[str], file: Path) -> None:
    """Write unread clauses, the most frequent first, as ``count<TAB>words``. Ends the command if it cannot."""
    lines = [
        f"{count}\t{' '.join(words.split())}\n" for words, count in sorted(unread.items(), key=lambda e: (-e[1], e[0]))
    ]
    try:
        file.write_text("".join(lines), encoding="utf-8")
    except OSError as error:
        refuse(InputError([Problem("--unread", f"{file} cannot be written: {error.strerror}")]))


def _phrases(expert: Expert, file: Path) -> list[Phrase]:
    try:
        return load_phrases(parse(str(file), file.read_text(encoding="utf-8")), expert.book.facts)
    except (OSError, UnicodeDecodeError) as error:
        refuse(InputError([Problem(str(file), f"cannot be read as UTF-8 text: {error}")]))
    except BookError as error:
        for problem in error.problems:
            click.echo(f"coldleg: {problem}", err=True)
        sys.exit(EXIT_INPUT)


def hazard_of(expert: Expert) -> Callable[[str], Hazard]:
    """What a whole triage of a note does about danger."""

    def of(note: str) -> Hazard:
        answer = triage(expert, Enquiry(note, explain="off"))
        if answer.stop is not None:
            return "stop"
        doubt = any(f.fact.startswith("hazard.") and f.value == "yes" for f in answer.understood)
        return "ask" if doubt else "none"

    return of


def shortfalls(total: Score) -> list[str]:
    """What does not reach its threshold, in words; none if all do."""
    polarity, false = total.polarity_errors, total.false_stop_share
    checks = (
        (total.precision >= LEAST_PRECISION, f"precision {total.precision:.3f} is below {LEAST_PRECISION}"),
        (total.recall >= LEAST_RECALL, f"recall {total.recall:.3f} is below {LEAST_RECALL}"),
        (polarity <= MOST_POLARITY, f"wrong polarity {polarity:.3f} is above {MOST_POLARITY}"),
        (total.missed_dangers == 0, f"{total.missed_dangers} dangers are missed"),
        (false <= MOST_FALSE_STOPS, f"false stops {false:.3f} are above {MOST_FALSE_STOPS}"),
    )
    return [words for reached, words in checks if not reached]


def _table(report: Report) -> str:
    rows = [*report.by_category.items(), ("all", report.total)]
    return "\n".join([_HEAD, *(_row(name, each) for name, each in rows)])


def _row(name: str, each: Score) -> str:
    return (
        f"{name:24} {each.phrases:5} {each.precision:9.3f} {each.recall:7.3f} {each.polarity_errors:8.3f}"
        f" {each.missed_dangers:6} {each.false_stops:5}"
    )


def _miss_words(miss: Miss) -> str:
    parts = [f"{name} {', '.join(found)}" for name, found in (("wrong", miss.wrong), ("missed", miss.missed)) if found]
    if miss.phrase.hazard not in (miss.hazard, "any"):
        parts.append(f"hazard {miss.hazard}, should be {miss.phrase.hazard}")
    return f"{miss.phrase.category}: {miss.phrase.note!r}: {'; '.join(parts) or 'certainty or a forbidden fact'}"
