"""Decision records: what was asked, by which book, what was answered, which rules fired, when; one JSON line each.

Records are off until a file is named. The caller's words are masked unless it is asked for them: the note, the words a
fact was read from and the clauses nobody read; ``masked`` lists the JSON Pointers. What the note said in the closed
vocabulary is kept, so that a masked record can still be replayed. Masking never touches the answer itself.
"""

from __future__ import annotations

import fcntl
import os
import threading
import time
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from rules import Enquiry
from rules.answer import Triage
from service.dumping import Dump, json_line

LARGEST = 64 * 1024 * 1024  # bytes of one file
KEPT = 5  # older files beside it: FILE.1 is the newest
MASK = "masked"


@dataclass
class Recorder:
    """Appends to one file from any thread of any worker. ``largest`` bytes, then the file is rotated."""

    file: Path
    notes: bool = False
    largest: int = LARGEST
    kept: int = KEPT
    _threads: threading.Lock = field(default_factory=threading.Lock)

    def keep(self, record: dict[str, Any], *, own_appliance: bool) -> None:
        """Write down one decision, masked here. Raises OSError if the file cannot be written."""
        if not self.notes:
            mask(record, own_appliance=own_appliance)
        self._append(json_line(record))

    def _append(self, line: bytes) -> None:
        with self._threads:
            lock = os.open(self.file.with_name(self.file.name + ".lock"), os.O_RDWR | os.O_CREAT, 0o600)
            try:
                fcntl.flock(lock, fcntl.LOCK_EX)
                if self._full(len(line)):
                    self._rotate()
                handle = os.open(self.file, os.O_WRONLY | os.O_APPEND | os.O_CREAT, 0o600)
                try:
                    _write_all(handle, line)
                finally:
                    os.close(handle)
            finally:
                os.close(lock)

    def _full(self, more: int) -> bool:
        try:
            size = self.file.stat().st_size
        except FileNotFoundError:
            return False
        return size > 0 and size + more > self.largest

    def _rotate(self) -> None:
        for number in range(self.kept, 0, -1):
            newer = self.file if number == 1 else self.file.with_name(f"{self.file.name}.{number - 1}")
            if newer.exists():
                newer.replace(self.file.with_name(f"{self.file.name}.{number}"))
        if self.kept == 0:
            self.file.unlink()


def made(enquiry: Enquiry, answer: Triage, dump: Dump, *, request_id: str | None, seconds: float) -> dict[str, Any]:
    """The whole record, nothing masked."""
    return {
        "record": 1,
        "time": time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime()),
        "decision_id": answer.decision_id,
        "request_id": request_id,
        "book": answer.book,
        "ms": round(seconds * 1000, 2),
        "input": {
            "note": enquiry.note,
            "facts": [_fact(fact) for fact in enquiry.facts],
            "appliance": None if enquiry.appliance is None else asdict(enquiry.appliance),
            "role": enquiry.role,
            "explain": enquiry.explain,
        },
        "result": dump(answer),
        "fired": list(answer.fired),
        "masked": [],
    }


def mask(record: dict[str, Any], *, own_appliance: bool) -> None:
    """Put a word in the place of everything a caller may have said in words of its own, and list where."""
    masked: list[str] = record["masked"]
    for part in ("input", "result") if own_appliance else ():
        record[part]["appliance"] |= {"appliance": MASK, "title": MASK}
        masked += [f"/{part}/appliance/appliance", f"/{part}/appliance/title"]
    if record["input"]["note"] is not None:
        record["input"]["note"] = MASK
        masked.append("/input/note")
    for number, fact in enumerate(record["result"]["understood"]):
        if fact["text"] is not None:
            fact["text"], fact["span"] = MASK, None
            masked += [f"/result/understood/{number}/text", f"/result/understood/{number}/span"]
    for number in range(len(record["result"]["unread"])):
        record["result"]["unread"][number] = MASK
        masked.append(f"/result/unread/{number}")


def _fact(fact: Any) -> dict[str, Any]:
    """A fact as a record keeps it: its own fields, an open line as OL."""
    kept = {
        name: getattr(fact, name) for name in ("fact", "value", "where", "between", "during", "source", "certainty")
    }
    if kept["value"] == float("inf"):
        kept["value"] = "OL"
    return kept


def _write_all(handle: int, line: bytes) -> None:
    while line:
        line = line[os.write(handle, line) :]
