"""Rows of a file: NDJSON or CSV, plain or gzip, a bounded piece at a time.

Every row keeps its line number. What cannot be read becomes a row with its problem, so that nothing is skipped.
"""

from __future__ import annotations

import csv
import gzip
import io
import json
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from typing import IO, Any, Literal, cast

from rules.terms import InputError, Problem
from service.rows import LONGEST_LINE

Form = Literal["ndjson", "csv"]
GZIP, UTF8_BOM, UTF16_BOMS = b"\x1f\x8b", b"\xef\xbb\xbf", (b"\xff\xfe", b"\xfe\xff")
COLUMNS = ("id", "note", "role", "appliance", "explain", "facts")
PEEK = 64 * 1024
NUL = Problem("", "holds a NUL byte; save the file as UTF-8 text")
_OTHER_MARKS = {b";": "semicolons", b"\t": "tabs"}
_BROKEN_GZIP = (EOFError, zlib.error, gzip.BadGzipFile)


@dataclass(frozen=True, slots=True)
class Row:
    """One row to answer: its line number and its JSON, or what is wrong with it. ``id`` as far as it could be read."""

    line: int
    raw: bytes = b""
    problem: Problem | None = None
    id: Any = None
    last: bool = False  # the input broke off here


class Incoming:
    """A stream of rows. ``form`` is what it was found to be, ``unused`` the CSV columns that are not read."""

    def __init__(self, stream: IO[bytes], name: str) -> None:
        """Look at the beginning. Raises InputError for input that cannot be used at all."""
        self.name = name
        self.raw = stream
        self.stream: IO[bytes] = self._unpacked(io.BufferedReader(cast(Any, stream), PEEK))
        self.unused: tuple[str, ...] = ()
        self.form: Form = self._form()
        self._header: list[str] = []
        if self.form == "csv":
            self._csv = _CsvLines(self._lines())
            csv.field_size_limit(LONGEST_LINE)
            self._reader = csv.reader(self._csv, strict=True)
            self._header = self._read_header()

    def rows(self) -> Iterator[Row]:
        """Every row that is not empty, in order."""
        return self._json_rows() if self.form == "ndjson" else self._csv_rows()

    # --- what it is ------------------------------------------------------------------------------------------

    def _unpacked(self, buffered: io.BufferedReader) -> IO[bytes]:
        if buffered.peek(2)[:2] == GZIP:
            return cast(
                IO[bytes], gzip.GzipFile(fileobj=buffered)
            )  # buffers by itself, and keeps what came before a break
        return cast(IO[bytes], buffered)

    def _form(self) -> Form:
        try:
            start = cast(io.BufferedReader, self.stream).peek(PEEK)
        except _BROKEN_GZIP as error:
            raise _unusable(self.name, f"is no readable gzip file: {error}") from error
        if not start.strip():
            raise _unusable(self.name, "is empty; write one JSON object a line, or CSV with a header")
        if start[:2] in UTF16_BOMS:
            raise _unusable(self.name, "is UTF-16; save it as UTF-8")
        if start.startswith(UTF8_BOM):
            self.stream.read(len(UTF8_BOM))
            start = start[len(UTF8_BOM) :]
        first = start.lstrip().split(b"\n", 1)[0]
        named = self.name.lower().removesuffix(".gz")
        if named.endswith((".ndjson", ".jsonl", ".json")) or first.startswith((b"{", b"[")):
            return "ndjson"
        for mark, called in _OTHER_MARKS.items():
            cells = {cell.strip(b' \r"') for cell in first.lower().split(mark)}
            if mark in first and cells & {b"note", b"facts"}:
                raise _unusable(self.name, f"separates its columns with {called}; save it with commas")
        if named.endswith(".csv") or b"," in first or first.strip().lower() in (b"id", b"note"):
            return "csv"
        raise _unusable(self.name, "is neither NDJSON nor CSV; write one JSON object a line, or CSV with a header")

    # --- lines -----------------------------------------------------------------------------------------------

    def _lines(self) -> Iterator[tuple[int, bytes, Problem | None, bool]]:
        """Line number, line, its problem, whether the input broke off in it. Never holds more than one line's bound."""
        number = 0
        while True:
            number += 1
            try:
                line = self.stream.readline(LONGEST_LINE + 2)
                if not line:
                    return
                size = len(line)
                if size > LONGEST_LINE and not line.endswith(b"\n"):
                    while (more := self.stream.readline(PEEK)) and not more.endswith(b"\n"):
                        size += len(more)
                    problem = Problem("", f"the line has {size + len(more):,} bytes; the most is {LONGEST_LINE:,}")
                    yield number, b"", problem, False
                    continue
            except _BROKEN_GZIP:
                message = "the gzip file breaks off here; everything before this line was answered"
                yield number, b"", Problem("", message), True
                return
            except OSError as error:
                yield number, b"", Problem("", f"the input cannot be read further: {error.strerror}"), True
                return
            yield number, line, None, False

    def _json_rows(self) -> Iterator[Row]:
        for number, line, problem, last in self._lines():
            if problem is not None:
                yield Row(number, problem=problem, last=last)
            elif b"\0" in line:
                yield Row(number, problem=NUL)
            elif line.strip(b" \t\r\n"):
                yield Row(number, line.rstrip(b"\r\n"))

    # --- CSV -------------------------------------------------------------------------------------------------

    def _csv_rows(self) -> Iterator[Row]:
        source, reader, header = self._csv, self._reader, self._header
        while True:
            begun = source.number + 1
            try:
                cells = next(reader)
            except StopIteration:
                return
            except csv.Error as error:
                spoilt = source.taken_problem()
                lines = f"lines {begun} to {source.number}" if source.number > begun else f"line {begun}"
                yield Row(begun, problem=spoilt or Problem("", f"{lines} are no CSV row: {error}; mend the quotes"),
                          last=source.broken)  # fmt: skip
                continue
            spoilt = source.taken_problem()
            if spoilt is not None:
                yield Row(begun, problem=spoilt, last=source.broken)
            elif any(cell.strip() for cell in cells):
                yield _csv_row(begun, header, cells)

    def _read_header(self) -> list[str]:
        try:
            header = [name.strip().lower() for name in next(self._reader)]
        except (csv.Error, StopIteration) as error:
            raise _unusable(self.name, f"has no CSV header that can be read: {error}") from error
        if "note" not in header and "facts" not in header:
            known = ", ".join(COLUMNS)
            raise _unusable(self.name, f"has no CSV header; write the names of its columns first: {known}")
        twice = sorted({name for name in header if name in COLUMNS and header.count(name) > 1})
        if twice:
            raise _unusable(self.name, f"names the column {twice[0]} twice; keep one")
        self.unused = tuple(name for name in header if name not in COLUMNS)
        return header


class _CsvLines:
    """Lines for the CSV reader, with bytes that are no UTF-8 kept apart so that only their row fails."""

    def __init__(self, lines: Iterator[tuple[int, bytes, Problem | None, bool]]) -> None:
        self._lines = lines
        self.number = 0
        self.broken = False
        self._problem: Problem | None = None

    def __iter__(self) -> _CsvLines:
        return self

    def __next__(self) -> str:
        self.number, line, problem, self.broken = next(self._lines)
        if problem is not None:
            self._problem = problem
            return "\n"
        if b"\0" in line:
            self._problem = NUL
        try:
            return line.decode("utf-8").replace("\0", " ")
        except UnicodeDecodeError as error:
            self._problem = Problem("", f"byte {error.start} is not UTF-8; save the file as UTF-8")
            return line.decode("utf-8", "replace").replace("\0", " ")

    def taken_problem(self) -> Problem | None:
        """What was wrong with the lines since the last row."""
        problem, self._problem = self._problem, None
        return problem


def _csv_row(line: int, header: list[str], cells: list[str]) -> Row:
    given = {name: cell.strip() for name, cell in zip(header, cells, strict=False) if cell.strip()}
    number = given.get("id")
    if len(cells) > len(header):
        message = f"has {len(cells)} columns where the header has {len(header)}; put a note with commas in quotes"
        return Row(line, problem=Problem("", message), id=number)
    data: dict[str, Any] = {name: given[name] for name in COLUMNS if name in given and name != "facts"}
    if "facts" in given:
        facts, problem = _facts(given["facts"])
        if problem is not None:
            return Row(line, problem=problem, id=number)
        data["facts"] = facts
    return Row(line, json.dumps(data, ensure_ascii=False).encode("utf-8"), id=number)


def _facts(text: str) -> tuple[list[dict[str, str]], Problem | None]:
    """``display=lit; surface.heat@left_front=none`` as the list that a JSON row holds."""
    facts = []
    for part in text.split(";"):
        key, equals, value = part.partition("=")
        if not part.strip():
            continue
        if not equals:
            return [], Problem("facts", f"{part.strip()[:60]!r} is no fact; write NAME=VALUE; NAME=VALUE")
        head, _, during = key.strip().partition("/")
        name, _, place = head.partition("@")
        fact = {"fact": name, "value": value.strip()}
        if place:
            fact["between" if "-" in place else "where"] = place
        if during:
            fact["while"] = during
        facts.append(fact)
    return facts, None


def _unusable(name: str, message: str) -> InputError:
    return InputError([Problem(name, message)])
