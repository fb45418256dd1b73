"""Answers to a file or a pipe, one line each; an interrupted file is mended and gone on with.

A file that was cut off in mid-line, even by a kill or a full disk, keeps its whole lines and loses the piece of one.
"""

from __future__ import annotations

import csv
import gzip
import io
import json
import sys
import zlib
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import IO, Any, cast

from rules.wording import place_words
from service.batching.incoming import Form
from service.dumping import json_line

PIECE = 1 << 20
HEADER = (
    "id", "line", "stop", "urgency", "fault_1", "probability_1", "fault_2", "probability_2", "fault_3", "probability_3",
    "next_question", "skill", "parts", "unread", "scope", "error",
)  # fmt: skip
_FORMULA = ("=", "+", "-", "@", "\t")


def line_of(row: dict[str, Any], form: Form) -> bytes:
    """A row as one line of output."""
    if form == "ndjson":
        return json_line(row)
    return csv_line(_cells(row))


def csv_line(cells: tuple[Any, ...]) -> bytes:
    """One CSV line; line breaks inside a cell become blanks, so that a row is a line."""
    made = io.StringIO()
    csv.writer(made, lineterminator="\n").writerow([_plain(cell) for cell in cells])
    return made.getvalue().encode("utf-8")


def _plain(cell: Any) -> Any:
    """Text on one line, and never taken for a formula by a spreadsheet."""
    if not isinstance(cell, str):
        return cell
    text = " ".join(cell.split())
    return "'" + text if text.startswith(_FORMULA) else text


def _cells(row: dict[str, Any]) -> tuple[Any, ...]:
    number = row["id"] if row["id"] is not None else ""
    if "error" in row:
        return (number, row["line"], *[""] * (len(HEADER) - 3), error_words(row["error"]))
    answer = row["answer"]
    faults: list[Any] = []
    for conclusion in (*answer["conclusions"][:3], *[None] * 3)[:3]:
        named = conclusion and conclusion["title"] + (
            f", {place_words(conclusion['where'])}" if conclusion["where"] else ""
        )
        faults += [named or "", conclusion["probability"] if conclusion else ""]
    stop = answer["stop"]
    following = answer["next_tests"]
    visit = answer["visit"]
    parts = "; ".join(f"{part['part']} {part['probability_used']:.2f}" for part in visit["load_parts"])
    return (
        number, row["line"], stop["signal"] if stop else "", visit["urgency"], *faults,
        following[0]["ask"] if following else "", visit["skill"], parts, " | ".join(answer["unread"]),
        "in" if answer["scope"]["in_scope"] else "out", "",
    )  # fmt: skip


def error_words(error: dict[str, Any]) -> str:
    """An error in one sentence."""
    told = [f"{e['pointer'].lstrip('/')}: {e['detail']}".removeprefix(": ") for e in error.get("errors", ())]
    return "; ".join(told) or str(error.get("detail") or error.get("title") or "failed")


class Outgoing:
    """Where the answers go. ``done`` rows were there already; ``last_id`` is the last one's."""

    def __init__(self, path: Path | None, form: Form, *, resume: bool) -> None:
        """Look at what is there; nothing is written before :meth:`begin`. Raises OSError."""
        self.path, self.form = path, form
        self.done = 0
        self.last_id: Any = None
        self.zipped = path is not None and path.suffix == ".gz"
        self.stream: IO[bytes] | None = None
        self._whole = 0  # bytes of whole lines, unpacked
        if resume and path is not None and path.exists():
            with self._unpacked(path) as stream:
                for line in _whole_lines(stream):
                    self._whole += len(line)
                    self._count(line)

    def begin(self) -> None:
        """Mend what is there and open it. Raises OSError."""
        if self.path is not None and self._whole:
            self._mend(self.path)
        self.stream = self._opened(append=bool(self._whole))
        if not self._whole and self.form == "csv":
            self.write(csv_line(HEADER))

    def _unpacked(self, path: Path) -> IO[bytes]:
        return cast(IO[bytes], gzip.open(path, "rb") if self.zipped else path.open("rb"))

    def _opened(self, *, append: bool) -> IO[bytes]:
        if self.path is None:
            return cast(IO[bytes], sys.stdout.buffer)
        if self.zipped:
            return cast(IO[bytes], gzip.open(self.path, "ab" if append else "wb", compresslevel=6))
        return self.path.open("ab" if append else "wb")

    def write(self, lines: bytes) -> None:
        """Write whole lines and hand them to the system. Raises OSError."""
        if self.stream is None:
            raise ValueError("begin first")
        self.stream.write(lines)
        if not self.zipped:
            self.stream.flush()

    def close(self) -> None:
        """Write what is left. Raises OSError."""
        if self.path is None and self.stream is not None:
            self.stream.flush()
        elif self.stream is not None:
            self.stream.close()

    def abandon(self) -> None:
        """Let go of an output that cannot be written."""
        with suppress(OSError):
            self.close()

    # --- going on --------------------------------------------------------------------------------------------

    def _mend(self, path: Path) -> None:
        """Cut off the piece of a line. A gzip file that was cut off is written anew: it cannot be gone on with."""
        if not self.zipped:
            with path.open("r+b") as plain:
                plain.truncate(self._whole)
            return
        mended = path.with_name(path.name + ".mending")
        with self._unpacked(path) as packed, gzip.open(mended, "wb") as stream:
            for line in _whole_lines(packed):
                stream.write(line)
        mended.replace(path)

    def _count(self, line: bytes) -> None:
        if self.form == "csv":
            cells = next(csv.reader([line.decode("utf-8", "replace")]))
            if self.done == 0 and self.last_id is None and cells == list(HEADER):
                self.last_id = ""
                return
            self.last_id = cells[0] if cells else ""
        else:
            self.last_id = _id_in(line)
        self.done += 1


def _id_in(line: bytes) -> Any:
    try:
        row = json.loads(line)
    except ValueError:
        return None
    return row.get("id") if isinstance(row, dict) else None


def _whole_lines(stream: IO[bytes]) -> Iterator[bytes]:
    """The lines that end; a piece at the end, or where the file is broken, is left out."""
    try:
        while line := stream.readline():
            if line.endswith(b"\n"):
                yield line
    except (EOFError, zlib.error, gzip.BadGzipFile):
        return
