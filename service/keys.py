"""API keys: made at random, kept as a hash, compared in constant time.

A key is ``coldleg_<id>_<secret>`` with 256 random bits in the secret, so that a plain SHA-256 is as hard to turn back
as the secret is to guess; stretching it, as for a password, would only slow down every request. The file holds no
secret.
"""

from __future__ import annotations

import fcntl
import hashlib
import hmac
import json
import os
import re
import secrets
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from rules import InputError, Problem

SCOPES = ("triage", "cases", "admin")
LOOK_AGAIN = 1.0  # seconds until a change of the file is noticed
MOST_PER_MINUTE = 1_000_000
_TOKEN = re.compile(r"coldleg_([0-9a-f]{8})_([A-Za-z0-9_-]{43})")
_NOBODY = "0" * 64


@dataclass(frozen=True)
class KeyRecord:
    """What is kept of a key. ``key`` is its public id; ``per_minute`` 0 sets no rate."""

    key: str
    name: str
    sha256: str
    scopes: tuple[str, ...]
    per_minute: int
    made: str
    revoked: str | None = None


def default_file() -> Path:
    """Where the keys are kept unless told otherwise, after the XDG base directory specification."""
    home = os.environ.get("XDG_CONFIG_HOME") or Path.home() / ".config"
    return Path(home) / "coldleg" / "keys.json"


class KeyStore:
    """The keys of one file. Safe to share between threads; a change made by another process is noticed."""

    def __init__(self, file: Path) -> None:
        self.file = file
        self._records: dict[str, KeyRecord] = {}
        self._seen: tuple[int, int, int] | None = None
        self._looked = -LOOK_AGAIN
        self._reading = threading.Lock()

    def find(self, token: str) -> KeyRecord | None:
        """The record of a key that may be used, else None."""
        self._refresh()
        found = _TOKEN.fullmatch(token)
        record = self._records.get(found[1]) if found else None
        known = record.sha256 if record else _NOBODY
        same = hmac.compare_digest(_digest(token), known)
        return record if same and record is not None and record.revoked is None else None

    def records(self) -> list[KeyRecord]:
        """All keys, revoked ones too. Raises InputError for a file that cannot be read."""
        with self._reading:
            self._records = _read(self.file)
        return list(self._records.values())

    def active(self) -> bool:
        """Whether there is a key that may be used. Raises InputError for a file that cannot be read."""
        return any(record.revoked is None for record in self.records())

    def add(self, name: str, scopes: tuple[str, ...], per_minute: int) -> tuple[str, KeyRecord]:
        """Make a key. Returns the token, which is shown this once, and its record. Raises InputError."""
        if not re.fullmatch(r"[\w .@-]{1,60}", name):
            raise InputError([Problem("NAME", "write 1 to 60 letters, digits, spaces or . - @ _")])
        with self._changing() as records:
            number = secrets.token_hex(4)
            while number in records:
                number = secrets.token_hex(4)
            token = f"coldleg_{number}_{secrets.token_urlsafe(32)}"
            record = KeyRecord(number, name, _digest(token), scopes, per_minute, _now())
            records[number] = record
        return token, record

    def revoke(self, key: str) -> KeyRecord:
        """Make a key useless, by its id. Raises InputError for one that does not exist."""
        with self._changing() as records:
            if key not in records:
                raise InputError([Problem("ID", f"no key {key[:60]!r}; coldleg keys list shows them")])
            changed = KeyRecord(**{**asdict(records[key]), "revoked": records[key].revoked or _now()})
            records[key] = changed
        return changed

    @contextmanager
    def _changing(self) -> Iterator[dict[str, KeyRecord]]:
        """The records, to be changed; written back whole, one process at a time."""
        self.file.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        lock = os.open(self.file.with_suffix(".lock"), os.O_RDWR | os.O_CREAT, 0o600)
        try:
            fcntl.flock(lock, fcntl.LOCK_EX)
            records = _read(self.file)
            yield records
            _write(self.file, records)
        finally:
            os.close(lock)

    def _refresh(self) -> None:
        now = time.monotonic()
        if now - self._looked < LOOK_AGAIN:
            return
        with self._reading:
            self._looked = now
            try:
                stat = self.file.stat()
                seen = (stat.st_ino, stat.st_size, stat.st_mtime_ns)
                if seen != self._seen:
                    self._records, self._seen = _read(self.file), seen
            except FileNotFoundError:
                self._records, self._seen = {}, None
            except (OSError, InputError):
                return  # half a change or a moment's trouble: the last good keys stay


def _digest(token: str) -> str:
    return hashlib.sha256(token.encode("utf-8")).hexdigest()


def _now() -> str:
    return time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime())


def _read(file: Path) -> dict[str, KeyRecord]:
    """Raises InputError for a file that is no list of keys."""
    try:
        kept: list[dict[str, Any]] = json.loads(file.read_text(encoding="utf-8"))["keys"]
        records = [KeyRecord(**{**entry, "scopes": tuple(entry["scopes"])}) for entry in kept]
    except FileNotFoundError:
        return {}
    except (OSError, ValueError, KeyError, TypeError) as error:
        told = f"{file} cannot be read as the keys' file ({type(error).__name__}); restore it or name another"
        raise InputError([Problem("--keys", told)]) from error
    return {record.key: record for record in records}


def _write(file: Path, records: dict[str, KeyRecord]) -> None:
    draft = file.with_suffix(f".{os.getpid()}")
    handle = os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    with os.fdopen(handle, "w", encoding="utf-8") as out:
        json.dump({"keys": [asdict(record) for record in records.values()]}, out, indent=1)
        out.flush()
        os.fsync(out.fileno())
    draft.replace(file)
