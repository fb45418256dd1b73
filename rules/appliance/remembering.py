"""What machines show, remembered between runs: the one part of opening a book that takes the solver most of a second.

A file holds numbers only, one for each word of each machine, never code or objects. Its name is the hash of everything
the answer depends on: the appliance, every machine, the vocabulary's words and bands, this program's own source, and
NumPy's version. It is believed only if it belongs to this user, nobody else may write to it, its checksum holds, and it
fits the question; otherwise it is worked out anew. Where it cannot be written, nothing happens.

``COLDLEG_CACHE`` names the folder, or is ``off``; by default ``coldleg`` in ``$XDG_CACHE_HOME`` or ``~/.cache``.
"""

from __future__ import annotations

import contextlib
import hashlib
import io
import json
import os
import stat
import tempfile
import zipfile
from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import lru_cache
from pathlib import Path

import numpy as np

from rules.appliance.seen.common import Words
from rules.bookkeeping.types import Appliance, FactTerm
from rules.terms import fact_of

VARIABLE = "COLDLEG_CACHE"
MOST_FILES = 64  # each some ten kilobytes; the oldest go
SUFFIX = ".seen"
CHECKSUM = 32  # bytes
_SOURCES = ("appliance", "electrical", "bookkeeping")

Seen = dict[str, Words]


def remembered(
    appliance: Appliance, machines: Sequence[object], terms: Mapping[str, FactTerm], work_out: Callable[[], Seen]
) -> Seen:
    """What ``work_out`` gives, from the cache if it is there."""
    folder = cache_folder()
    if folder is None:
        return work_out()
    path = folder / (_key(appliance, machines, terms) + SUFFIX)
    held = _read(path, terms)
    if held is None:
        held = work_out()
        _write(path, held, terms)
    return held


def cache_folder() -> Path | None:
    """Where files are kept; None if the cache is off."""
    named = os.environ.get(VARIABLE, "")
    if named.lower() == "off":
        return None
    if named:
        return Path(named)
    base = os.environ.get("XDG_CACHE_HOME")
    with contextlib.suppress(RuntimeError):  # no home folder
        return (Path(base) if base else Path.home() / ".cache") / "coldleg"
    return None


def _key(appliance: Appliance, machines: Sequence[object], terms: Mapping[str, FactTerm]) -> str:
    digest = hashlib.sha256(_program().encode())
    for part in _told(appliance, machines, terms):
        digest.update(part.encode())
        digest.update(b"\0")
    return digest.hexdigest()


def _told(appliance: Appliance, machines: Sequence[object], terms: Mapping[str, FactTerm]) -> Iterator[str]:
    """All that what is seen depends on, in words."""
    yield repr(appliance)
    for machine in machines:
        yield repr([sorted(v) if isinstance(v, set) else v for v in vars(machine).values()])
    for term in terms.values():
        if term.model == "circuit":
            yield repr((term.fact, term.kind, list(term.values), term.between, term.states, term.bands))


@lru_cache(maxsize=1)
def _program() -> str:
    """The hash of the source that decides what is seen, and NumPy's version."""
    digest = hashlib.sha256(np.__version__.encode())
    top = Path(__file__).resolve().parent.parent
    for folder in _SOURCES:
        for path in sorted((top / folder).rglob("*.py")):
            digest.update(path.read_bytes())
    return digest.hexdigest()


def _read(path: Path, terms: Mapping[str, FactTerm]) -> Seen | None:
    """A file's content, or None for one that is not there or not to be believed."""
    try:
        with path.open("rb") as stream:
            if not _own(os.fstat(stream.fileno())):
                return None
            content = stream.read()
    except OSError:
        return None
    if hashlib.sha256(content[CHECKSUM:]).digest() != content[:CHECKSUM]:
        return None
    try:
        with np.load(io.BytesIO(content[CHECKSUM:]), allow_pickle=False) as arrays:
            keys, numbers = json.loads(arrays["keys"].tobytes()), arrays["numbers"]
        return {key: np.array([*terms[fact_of(key)].values, ""])[row] for key, row in zip(keys, numbers, strict=True)}
    except (ValueError, KeyError, IndexError, TypeError, EOFError, zipfile.BadZipFile):
        return None


def _own(status: os.stat_result) -> bool:
    """Whether a file is this user's alone to write."""
    others = stat.S_IWGRP | stat.S_IWOTH
    return not hasattr(os, "getuid") or (status.st_uid == os.getuid() and not status.st_mode & others)


def _write(path: Path, seen: Seen, terms: Mapping[str, FactTerm]) -> None:
    """Put a file in place whole, or not at all."""
    rows = []
    for key, words in seen.items():
        numbers = {word: number for number, word in enumerate([*terms[fact_of(key)].values, ""])}
        rows.append([numbers[str(word)] for word in words])
    packed = io.BytesIO()
    keys = np.frombuffer(json.dumps(list(seen)).encode(), dtype=np.uint8)
    np.savez_compressed(packed, keys=keys, numbers=np.array(rows, dtype=np.uint8))
    content = packed.getvalue()
    with contextlib.suppress(OSError):
        path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(dir=path.parent, suffix=".part")
        try:
            with os.fdopen(handle, "wb") as stream:
                stream.write(hashlib.sha256(content).digest() + content)
            Path(name).replace(path)
        except OSError:
            Path(name).unlink(missing_ok=True)
            raise
        _tidy(path.parent)


def _tidy(folder: Path) -> None:
    files = sorted(folder.glob(f"*{SUFFIX}"), key=lambda path: path.stat().st_mtime, reverse=True)
    for path in files[MOST_FILES:]:
        path.unlink(missing_ok=True)
