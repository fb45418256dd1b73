"""Cases of all owners, for whoever keeps the database: found, handed over, deleted, cleared of personal data."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, Select, delete, func, insert, select, update

from service.cases.database import Database
from service.cases.folding import without_words
from service.cases.store import Case, Filter, NoCaseError, Whole, case_of, narrowed, now, whole_of
from service.cases.tables import answers, cases, entries

_AT_ONCE = 200  # cases a transaction deletes; others write between two of them


@dataclass(frozen=True)
class Wanted:
    """Which cases: ``case``, an id; ``owner``, a key's id; and as a list filters them."""

    case: str | None = None
    owner: str | None = None
    filter: Filter = field(default_factory=Filter)

    def of(self, query: Select[Any]) -> Select[Any]:
        query = narrowed(query, self.filter)
        if self.case is not None:
            query = query.where(cases.c.id == self.case)
        return query if self.owner is None else query.where(cases.c.owner == self.owner)


def listed(database: Database, wanted: Wanted, limit: int) -> list[Case]:
    """The newest, newest first. Raises DatabaseError."""
    query = wanted.of(select(cases)).order_by(cases.c.opened_at.desc(), cases.c.id.desc()).limit(limit)
    with database.reading() as connection:
        return [case_of(row) for row in connection.execute(query)]


def each(database: Database, wanted: Wanted) -> Iterator[Whole]:
    """Every case with its history, one read at a time. Raises DatabaseError."""
    last = ""
    while True:
        query = wanted.of(select(cases)).where(cases.c.id > last).order_by(cases.c.id).limit(_AT_ONCE)
        with database.reading() as connection:
            found = [whole_of(connection, case_of(row)) for row in connection.execute(query).all()]
        if not found:
            return
        yield from found
        last = found[-1].case.id


def count_unchanged(database: Database, since: datetime, wanted: Wanted) -> int:
    """How many cases nobody has touched since then. Raises DatabaseError."""
    query = wanted.of(select(func.count()).select_from(cases)).where(cases.c.changed_at < since)
    with database.reading() as connection:
        return int(connection.execute(query).scalar_one())


def purge(database: Database, since: datetime, wanted: Wanted) -> int:
    """Delete cases that nobody has touched since then, with all that belongs to them. Raises DatabaseError."""
    total = 0
    while True:
        old = wanted.of(select(cases.c.id)).where(cases.c.changed_at < since).limit(_AT_ONCE)
        with database.writing() as connection:
            ids = connection.execute(old).scalars().all()
            if ids:
                gone = delete(cases).where(cases.c.id.in_(ids), cases.c.changed_at < since)
                total += connection.execute(gone).rowcount
        if not ids:
            _leave_no_copies(database)
            return total


def erase(database: Database, number: str) -> Case:
    """Take out of a case what persons wrote, and its reference; what it was about stays. It is closed for good.

    Raises NoCaseError, DatabaseError.
    """
    with database.writing() as connection:
        row = connection.execute(select(cases).where(cases.c.id == number).with_for_update()).one_or_none()
        if row is None:
            raise NoCaseError(number)
        case = case_of(row)
        if case.erased_at is None:
            _erase(connection, case)
    _leave_no_copies(database)
    with database.reading() as connection:
        return case_of(connection.execute(select(cases).where(cases.c.id == number)).one())


def _erase(connection: Connection, case: Case) -> None:
    for entry in whole_of(connection, case).entries:
        one = update(entries).where(entries.c.case_id == case.id, entries.c.number == entry.number)
        connection.execute(one.values(body=without_words(entry)))
    connection.execute(delete(answers).where(answers.c.case_id == case.id))
    at, version = max(now(), case.changed_at), case.version + 1
    connection.execute(insert(entries).values(case_id=case.id, number=version, kind="erased", at=at, body={}))
    changed = {"reference": None, "state": "closed", "version": version, "changed_at": at, "erased_at": at}
    connection.execute(update(cases).where(cases.c.id == case.id).values(**changed))


def _leave_no_copies(database: Database) -> None:
    """SQLite's log still holds the old pages until they are written back; PostgreSQL frees its old rows itself."""
    if database.kind == "sqlite":
        with database.engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
            connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)").all()
