"""One database, SQLite or PostgreSQL, with transactions that read or write. Errors carry no value of a row.

SQLite: write-ahead log, so that readers never wait; a commit is on disk before it is told; a writer takes the file's
only write lock at once (BEGIN IMMEDIATE) instead of finding out late that it cannot have it.
"""

from __future__ import annotations

import os
import threading
import weakref
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import URL, Connection, Engine, create_engine, event, make_url
from sqlalchemy.exc import ArgumentError, DBAPIError, NoSuchModuleError
from sqlalchemy.exc import TimeoutError as PoolTimeoutError

BUSY_SECONDS = 10.0  # a writer waits so long for another's transaction
CONNECT_SECONDS = 5
MOST_CONNECTIONS = 72  # of one process; more than its threads
HOW = "write a file's path, sqlite:///PATH or postgresql://USER@HOST/NAME"


class DatabaseError(Exception):
    """The database cannot be used now, or at all; the message says what to do."""


def default_file() -> Path:
    """Where cases are kept unless told otherwise, after the XDG base directory specification."""
    home = os.environ.get("XDG_DATA_HOME") or Path.home() / ".local" / "share"
    return Path(home) / "coldleg" / "cases.db"


class Database:
    """Shared by all threads of a process; a forked child opens connections of its own."""

    def __init__(self, where: str | None = None) -> None:
        """``where``: a URL or a file's path. Connects to nothing yet. Raises DatabaseError for one that is neither."""
        self.url = _url(where)
        self.kind = self.url.get_backend_name()
        self.file = Path(self.url.database or "") if self.kind == "sqlite" else None
        self.shown = str(self.file) if self.file is not None else self.url.render_as_string(hide_password=True)
        self.engine = _engine(self.url)
        self._turn = threading.Lock()
        weakref.finalize(self, self.engine.dispose)
        _of_this_process(self)

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """A transaction that only reads. Raises DatabaseError."""
        with self._told(), self.engine.connect() as connection:
            yield connection

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """A transaction that is kept whole or not at all. Raises DatabaseError."""
        with self._told():
            if self.kind != "sqlite":
                with self.engine.begin() as connection:
                    yield connection
                return
            # Threads queue here rather than at the file, where waiting is sleeping and trying again.
            with self._turn, self.engine.connect() as connection:
                connection.execution_options(coldleg_writes=True)
                with connection.begin():
                    yield connection

    def ask(self) -> None:
        """Whether it answers. Raises DatabaseError."""
        with self.reading() as connection:
            connection.exec_driver_sql("SELECT 1").all()

    def make_place(self) -> None:
        """The folder and file of a new SQLite database, for its user only. Raises DatabaseError."""
        if self.file is None:
            return
        try:
            self.file.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
            os.close(os.open(self.file, os.O_RDWR | os.O_CREAT, 0o600))
        except OSError as error:
            told = f"{self.shown} cannot be opened for writing: {error.strerror}; {HOW}"
            raise DatabaseError(told) from error

    def close(self) -> None:
        self.engine.dispose()

    @contextmanager
    def _told(self) -> Iterator[None]:
        try:
            yield
        except PoolTimeoutError as error:
            raise DatabaseError(f"{self.shown}: every connection is in use; try again") from error
        except DBAPIError as error:
            if type(error).__name__ in ("IntegrityError", "ProgrammingError", "DataError"):
                raise  # ours to know or to mend
            first = str(error.orig).strip().splitlines()[0] if str(error.orig).strip() else type(error).__name__
            raise DatabaseError(f"{self.shown} cannot be used: {first[:200]}") from error


def _url(where: str | None) -> URL:
    if where is None:
        return URL.create("sqlite", database=str(default_file()))
    if "://" not in where:
        return URL.create("sqlite", database=str(Path(where).expanduser().absolute()))
    try:
        url = make_url(where)
    except (ArgumentError, ValueError) as error:
        raise DatabaseError(f"the database's address cannot be read; {HOW}") from error
    if url.drivername == "sqlite" and url.database not in (None, "", ":memory:") and not url.query:
        return url
    if url.drivername in ("postgresql", "postgres", "postgresql+psycopg"):
        return url.set(drivername="postgresql+psycopg")
    raise DatabaseError(f"{url.render_as_string(hide_password=True)[:100]} is no database for cases; {HOW}")


def _engine(url: URL) -> Engine:
    common: dict[str, Any] = {"hide_parameters": True, "pool_timeout": BUSY_SECONDS}
    if url.get_backend_name() == "sqlite":
        engine = create_engine(
            url, **common, pool_size=MOST_CONNECTIONS, max_overflow=0, connect_args={"timeout": BUSY_SECONDS}
        )
        event.listen(engine, "connect", _sqlite_connected)
        event.listen(engine, "begin", _sqlite_begins)
        return engine
    try:
        return create_engine(
            url,
            **common,
            pool_size=8,
            max_overflow=MOST_CONNECTIONS - 8,
            pool_pre_ping=True,
            connect_args={"connect_timeout": CONNECT_SECONDS, "options": "-c timezone=UTC"},
        )
    except (ImportError, NoSuchModuleError) as error:
        raise DatabaseError("PostgreSQL needs its driver; run: pip install 'coldleg[postgres]'") from error


def _sqlite_connected(raw: Any, _record: Any) -> None:
    raw.isolation_level = None  # BEGIN is ours to send
    for pragma in (
        "journal_mode=WAL",
        "synchronous=FULL",
        "foreign_keys=ON",
        "secure_delete=ON",  # what is erased is overwritten
        f"busy_timeout={int(BUSY_SECONDS * 1000)}",
    ):
        raw.execute(f"PRAGMA {pragma}").fetchall()


def _sqlite_begins(connection: Connection) -> None:
    writes = connection.get_execution_options().get("coldleg_writes", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


def _of_this_process(database: Database) -> None:
    """A child of fork must not speak over its parent's connections, nor wait for a thread it has not got."""
    known = weakref.ref(database)

    def forked() -> None:
        if (here := known()) is not None:
            here.engine.dispose(close=False)
            here._turn = threading.Lock()

    os.register_at_fork(after_in_child=forked)
