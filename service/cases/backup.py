"""A copy of the database while others write to it."""

from __future__ import annotations

import os
import sqlite3
from pathlib import Path

from service.cases.database import Database, DatabaseError


def back_up(database: Database, target: Path, *, replace: bool = False) -> int:
    """Copy a SQLite database as it is at one moment; the copy is there when it is whole. Returns its size in bytes.

    Raises DatabaseError, also for PostgreSQL, which has a program of its own for this.
    """
    if database.file is None:
        at = database.url.set(drivername="postgresql", password=None).render_as_string()
        raise DatabaseError(f"PostgreSQL is backed up by its own program: pg_dump -Fc -f {target} '{at}'")
    if target.exists() and not replace:
        raise DatabaseError(f"{target} exists; name another file, or give --replace")
    draft = target.with_name(f"{target.name}.{os.getpid()}")
    try:
        os.close(os.open(draft, os.O_RDWR | os.O_CREAT | os.O_TRUNC, 0o600))
        _copy(database.file, draft)
        draft.replace(target)
    except (OSError, sqlite3.Error) as error:
        raise DatabaseError(f"{target} could not be written: {error}") from error
    finally:
        draft.unlink(missing_ok=True)
    return target.stat().st_size


def _copy(source: Path, draft: Path) -> None:
    """Raises sqlite3.Error, also for a copy that is not sound."""
    old = sqlite3.connect(f"{source.absolute().as_uri()}?mode=ro", uri=True)
    new = sqlite3.connect(draft)
    try:
        old.backup(new, pages=-1)
        new.execute("PRAGMA journal_mode=DELETE").fetchall()  # one file, nothing beside it
        if (found := new.execute("PRAGMA integrity_check").fetchone()) != ("ok",):
            raise sqlite3.DatabaseError(f"the copy is not sound ({found})")
    finally:
        new.close()
        old.close()
    handle = os.open(draft, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
