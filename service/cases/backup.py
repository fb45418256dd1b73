"""A copy of the database while others write to it, and the way back."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path

from service.cases.database import Database, DatabaseError
from service.cases.migrating import VERSION_TABLE, prepare

_TABLES = {"cases", "entries", "answers", VERSION_TABLE}


class InUseError(DatabaseError):
    """Somebody has the database open."""


class NotEmptyError(DatabaseError):
    """The database holds cases, or something that cannot be read."""


@dataclass(frozen=True)
class Restored:
    """What a restore put in place: how many cases, and when the last of them was changed (UTC, as kept)."""

    cases: int
    last: str | None


def back_up(database: Database, target: Path, *, replace: bool = False) -> int:
    """Copy a SQLite database as it is at one moment; the copy is there when it is whole. Returns its size in bytes.

    Raises DatabaseError, also for PostgreSQL, which has a program of its own for this.
    """
    if database.file is None:
        at = database.url.set(drivername="postgresql", password=None).render_as_string()
        raise DatabaseError(f"PostgreSQL is backed up by its own program: pg_dump -Fc -f {target} '{at}'")
    if target.exists() and not replace:
        raise DatabaseError(f"{target} exists; name another file, or give --replace")
    try:
        with _draft_beside(target) as draft:
            _copy(database.file, draft)
            draft.replace(target)
    except (OSError, sqlite3.Error) as error:
        raise DatabaseError(f"{target} could not be written: {error}") from error
    return target.stat().st_size


def restore(database: Database, copy: Path, *, replace: bool = False, in_use: bool = False) -> Restored:
    """Put a backup in the place of a SQLite database, in one transaction: a crash leaves the old cases or the new.

    The copy is checked first, and brought to the tables of this program if an older one made it. ``replace``: also
    over cases; ``in_use``: also under a running service, which goes on with what was put back. Raises InUseError and
    NotEmptyError without these, DatabaseError for a copy that is none, not sound or newer than this program, and for
    PostgreSQL.
    """
    if database.file is None:
        at = database.url.set(drivername="postgresql", password=None).render_as_string()
        raise DatabaseError(f"PostgreSQL is restored by its own program: pg_restore --clean -d '{at}' {copy}")
    _check(copy)
    if database.file.exists() and copy.samefile(database.file):
        raise DatabaseError(f"{copy} is the database itself; name a backup")
    database.make_place()
    if not in_use and _others_have(database.file):
        raise InUseError(f"{database.shown} is in use; stop the service first")
    if not replace and (held := _holds(database.file)):
        raise NotEmptyError(f"{database.shown} holds {held}, which would be gone")
    try:
        with _draft_beside(database.file) as draft:
            _copy(copy, draft)
            _bring_up_to_date(draft, copy)
            return _put_back(draft, database.file)
    except (OSError, sqlite3.Error) as error:
        raise DatabaseError(f"{database.shown} could not be restored: {error}") from error


# --- the copy --------------------------------------------------------------------------------------------------------
@contextmanager
def _draft_beside(target: Path) -> Iterator[Path]:
    """A file for its user only, in the same folder; gone afterwards unless it was moved."""
    draft = target.with_name(f"{target.name}.{os.getpid()}")
    try:
        os.close(os.open(draft, os.O_RDWR | os.O_CREAT | os.O_TRUNC, 0o600))
        yield draft
    finally:
        for name in ("", "-wal", "-shm", "-journal"):
            draft.with_name(draft.name + name).unlink(missing_ok=True)


def _copy(source: Path, draft: Path) -> None:
    """Raises sqlite3.Error, also for a copy that is not sound."""
    with closing(_reading(source)) as old, closing(sqlite3.connect(draft)) as new:
        old.backup(new, pages=-1)
        _make_one_file(new)
    handle = os.open(draft, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _make_one_file(connection: sqlite3.Connection) -> None:
    """Nothing beside the file, and what is in it sound. Raises sqlite3.Error."""
    connection.execute("PRAGMA journal_mode=DELETE").fetchall()
    if (found := connection.execute("PRAGMA integrity_check").fetchone()) != ("ok",):
        raise sqlite3.DatabaseError(f"the copy is not sound ({found})")


def _reading(file: Path) -> sqlite3.Connection:
    return sqlite3.connect(f"{file.absolute().as_uri()}?mode=ro", uri=True)


# --- the way back ----------------------------------------------------------------------------------------------------
def _check(copy: Path) -> None:
    """Raises DatabaseError for a file that is no sound backup."""
    if not copy.is_file():
        raise DatabaseError(f"{copy} does not exist; name a file that coldleg backup has written")
    try:
        with closing(_reading(copy)) as connection:
            tables = {name for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
            if not tables >= _TABLES:
                raise DatabaseError(f"{copy} is no backup of cases: it has not their tables")
            if (found := connection.execute("PRAGMA integrity_check").fetchone()) != ("ok",):
                raise DatabaseError(f"{copy} is damaged ({found[0]}); take another backup")
            if lost := connection.execute("PRAGMA foreign_key_check").fetchall():
                raise DatabaseError(f"{copy} is damaged ({len(lost)} rows belong to no case); take another backup")
    except sqlite3.Error as error:
        raise DatabaseError(f"{copy} cannot be read as a backup: {error}") from error


def _others_have(file: Path) -> bool:
    """Whether another connection is open: each holds the file so that its journal cannot be changed."""
    with closing(sqlite3.connect(file, timeout=0, isolation_level=None)) as connection:
        try:
            (mode,) = connection.execute("PRAGMA journal_mode=DELETE").fetchone()
        except sqlite3.OperationalError:
            return True
        except sqlite3.DatabaseError:
            return False  # no database any more
    return bool(mode != "delete")


def _holds(file: Path) -> str:
    """What is in the file, in words; nothing for one without cases."""
    try:
        with closing(_reading(file)) as connection:
            tables = connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'").fetchall()
            if tables and ("cases",) not in tables:
                return "tables of something else"
            count = connection.execute("SELECT count(*) FROM cases").fetchone()[0] if tables else 0
    except sqlite3.DatabaseError:
        return "something that cannot be read"
    return f"{count:,} cases" if count else ""


def _bring_up_to_date(draft: Path, copy: Path) -> None:
    """The tables that this program knows. Raises DatabaseError for a copy of a newer program."""
    made = Database(str(draft))
    made.shown = str(copy)
    try:
        prepare(made)
    finally:
        made.close()
    with closing(sqlite3.connect(draft)) as connection:
        _make_one_file(connection)


def _put_back(draft: Path, file: Path) -> Restored:
    """In one transaction of the database; a file that is no database any more is replaced as a whole."""
    with closing(_reading(draft)) as new:
        count, last = new.execute("SELECT count(*), max(changed_at) FROM cases").fetchone()
        try:
            with closing(sqlite3.connect(file)) as old:
                new.backup(old, pages=-1)
                old.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()
        except sqlite3.OperationalError:
            raise
        except sqlite3.DatabaseError:
            for name in ("-wal", "-shm", "-journal"):
                file.with_name(file.name + name).unlink(missing_ok=True)
            draft.replace(file)
    return Restored(int(count), last)
