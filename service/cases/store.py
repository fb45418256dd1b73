"""Cases in a database: opened, added to, read, listed. Knows nothing of what the entries say.

Every write is one transaction: entries, version and the kept answer are there together or not at all. A write names the
version it was made against; if another came first it changes nothing. Whoever asks for the case of another owner is
told that there is none.
"""

from __future__ import annotations

import secrets
import zlib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import Any, Literal

from sqlalchemy import (
    Connection,
    Executable,
    Row,
    Select,
    String,
    bindparam,
    delete,
    insert,
    literal,
    select,
    tuple_,
    update,
)
from sqlalchemy.dialects import postgresql, sqlite

from service.cases.database import Database
from service.cases.tables import Moment, answers, cases, entries

State = Literal["open", "closed"]
STATES: tuple[State, ...] = ("open", "closed")
Kind = Literal["opened", "message", "role", "strike", "outcome", "reopened", "erased"]
ANSWERS_KEPT = timedelta(hours=24)
_PRUNED_AT_ONCE = 20  # old answers taken away with each new one


# What every message asks of the database, put together once.
_OWNED = select(cases).where(cases.c.id == bindparam("case"), cases.c.owner == bindparam("whose"))
_ENTRIES = (
    select(entries.c.number, entries.c.kind, entries.c.at, entries.c.body)
    .where(entries.c.case_id == bindparam("case"), entries.c.number <= bindparam("last"))
    .order_by(entries.c.number)
)
_ANSWERED = select(answers).where(
    answers.c.owner == bindparam("whose"), answers.c.key == bindparam("mark"), answers.c.made_at > bindparam("since")
)
_CHANGED = update(cases).where(
    cases.c.id == bindparam("case"), cases.c.owner == bindparam("whose"), cases.c.version == bindparam("seen")
)
_OUTDATED = delete(answers).where(
    tuple_(answers.c.owner, answers.c.key).in_(
        select(answers.c.owner, answers.c.key)
        .where(answers.c.made_at <= bindparam("until"))
        .order_by(answers.c.made_at)
        .limit(_PRUNED_AT_ONCE)
        .with_for_update(skip_locked=True)
    )
)


def _kept(added: sqlite.Insert | postgresql.Insert) -> Executable:
    """An answer added, or put in the place of one that is too old; no row where a younger one is there."""
    changed = {column.name: added.excluded[column.name] for column in answers.c if not column.primary_key}
    outdated = answers.c.made_at <= bindparam("until")
    kept = added.on_conflict_do_update(index_elements=["owner", "key"], set_=changed, where=outdated)
    return kept.execution_options(preserve_rowcount=True)


_KEPT = {"sqlite": _kept(sqlite.insert(answers)), "postgresql": _kept(postgresql.insert(answers))}


@dataclass(frozen=True)
class Case:
    """What a list shows of a case. ``version``: the number of its last entry."""

    id: str
    owner: str
    reference: str | None
    state: State
    version: int
    opened_at: datetime
    changed_at: datetime
    erased_at: datetime | None = None


@dataclass(frozen=True)
class Entry:
    """One thing that happened to a case; numbered from 1 without a gap."""

    number: int
    kind: Kind
    at: datetime
    body: dict[str, Any]


@dataclass(frozen=True)
class Whole:
    """A case with its history."""

    case: Case
    entries: tuple[Entry, ...]


@dataclass(frozen=True)
class Once:
    """What makes a request one of its kind: the key its sender gave it, and the SHA-256 of what it asks."""

    key: str
    fingerprint: str


@dataclass(frozen=True)
class Kept:
    """The answer that a request got."""

    case: str
    status: int
    version: int
    body: bytes


@dataclass(frozen=True)
class Change:
    """What a write adds, and what it says in answer. ``entries``: kind and body of each."""

    entries: Sequence[tuple[Kind, dict[str, Any]]]
    state: State = "open"


@dataclass(frozen=True)
class Filter:
    """Which cases a list shows; times are of opening, the first included, the second not."""

    state: State | None = None
    reference: str | None = None
    since: datetime | None = None
    before: datetime | None = None


Position = tuple[datetime, str]


class NoCaseError(LookupError):
    """No case with this id belongs to this owner."""


class VersionError(Exception):
    """Another write came first."""

    def __init__(self, version: int) -> None:
        super().__init__(f"the case is at version {version}")
        self.version = version


class KeyReusedError(Exception):
    """The Idempotency-Key stands for another request."""


class RepeatedError(Exception):
    """The same request was answered meanwhile: :meth:`Store.answered` has the answer."""


def new_id() -> str:
    """An id that nobody can guess: 144 random bits."""
    return secrets.token_urlsafe(18)


def now() -> datetime:
    return datetime.now(UTC)


class Store:
    """The cases of one database. Safe to share between threads; every method raises DatabaseError."""

    def __init__(self, database: Database) -> None:
        self.database = database

    # --- writing ---------------------------------------------------------------------------------------------------
    def open(self, case: Case, change: Change, once: Once | None = None, kept: Kept | None = None) -> None:
        """Keep a new case, as :func:`opening` made it. Raises RepeatedError, KeyReusedError."""
        row = _row(case, once, kept)
        with self.database.writing() as connection:
            connection.execute(insert(cases), case.__dict__)
            _add(connection, case, change)
            if once is not None and row is not None:
                _keep(connection, case, once, row)

    def add(
        self, before: Case, after: Case, change: Change, once: Once | None = None, kept: Kept | None = None
    ) -> None:
        """Add to a case what :func:`following` made of it.

        Raises VersionError if the case is not as it was ``before``, NoCaseError, RepeatedError, KeyReusedError.
        """
        row = _row(after, once, kept)
        against = {"case": before.id, "whose": before.owner, "seen": before.version}
        becomes = {"state": after.state, "version": after.version, "changed_at": after.changed_at}
        with self.database.writing() as connection:
            if connection.execute(_CHANGED, {**against, **becomes}).rowcount != 1:
                if once is not None and _answered(connection, before.owner, once) is not None:
                    raise RepeatedError(once.key)
                raise VersionError(_owned(connection, before.owner, before.id).version)
            _add(connection, after, change)
            if once is not None and row is not None:
                _keep(connection, after, once, row)

    # --- reading ---------------------------------------------------------------------------------------------------
    def answered(self, owner: str, once: Once) -> Kept | None:
        """The answer this request got before, None if it is new. Raises KeyReusedError."""
        with self.database.reading() as connection:
            return _answered(connection, owner, once)

    def case(self, owner: str, number: str) -> Case:
        """Raises NoCaseError."""
        with self.database.reading() as connection:
            return _owned(connection, owner, number)

    def whole(self, owner: str, number: str) -> Whole:
        """The case with its history up to its version. Raises NoCaseError."""
        with self.database.reading() as connection:
            return whole_of(connection, _owned(connection, owner, number))

    def page(
        self, owner: str, wanted: Filter, after: Position | None, limit: int
    ) -> tuple[list[Case], Position | None]:
        """Cases, newest first, and where the next page begins. A case opened meanwhile moves nothing."""
        query = select(cases).where(cases.c.owner == owner)
        query = narrowed(query, wanted)
        if after is not None:
            there = tuple_(literal(after[0], Moment), literal(after[1], String))
            query = query.where(tuple_(cases.c.opened_at, cases.c.id) < there)
        query = query.order_by(cases.c.opened_at.desc(), cases.c.id.desc()).limit(limit + 1)
        with self.database.reading() as connection:
            found = [case_of(row) for row in connection.execute(query)]
        more = found[limit - 1] if len(found) > limit else None
        return found[:limit], None if more is None else (more.opened_at, more.id)


# --- made before they are written ------------------------------------------------------------------------------------
def opening(owner: str, reference: str | None, change: Change, at: datetime) -> Case:
    """The case that this change opens."""
    return Case(new_id(), owner, reference, change.state, len(change.entries), at, at)


def following(case: Case, change: Change, at: datetime) -> Case:
    """The case after this change."""
    later = max(at, case.changed_at)  # a clock that was set back does not turn the history round
    return replace(case, state=change.state, version=case.version + len(change.entries), changed_at=later)


# --- pieces of a transaction -----------------------------------------------------------------------------------------
def case_of(row: Row[Any]) -> Case:
    return Case(**row._mapping)


def whole_of(connection: Connection, case: Case) -> Whole:
    """Entries that came after the case was read are left out."""
    found = connection.execute(_ENTRIES, {"case": case.id, "last": case.version})
    return Whole(case, tuple(Entry(*row) for row in found))


def narrowed(query: Select[Any], wanted: Filter) -> Select[Any]:
    """A query on the cases with the filter's conditions."""
    if wanted.state is not None:
        query = query.where(cases.c.state == wanted.state)
    if wanted.reference is not None:
        query = query.where(cases.c.reference == wanted.reference)
    if wanted.since is not None:
        query = query.where(cases.c.opened_at >= wanted.since)
    if wanted.before is not None:
        query = query.where(cases.c.opened_at < wanted.before)
    return query


def _owned(connection: Connection, owner: str, number: str) -> Case:
    row = connection.execute(_OWNED, {"case": number, "whose": owner}).one_or_none()
    if row is None:
        raise NoCaseError(number)
    return case_of(row)


def _add(connection: Connection, case: Case, change: Change) -> None:
    first = case.version - len(change.entries) + 1
    rows = [
        {"case_id": case.id, "number": number, "kind": kind, "at": case.changed_at, "body": body}
        for number, (kind, body) in enumerate(change.entries, start=first)
    ]
    connection.execute(insert(entries), rows)


def _answered(connection: Connection, owner: str, once: Once) -> Kept | None:
    since = now() - ANSWERS_KEPT
    row = connection.execute(_ANSWERED, {"whose": owner, "mark": once.key, "since": since}).one_or_none()
    if row is None:
        return None
    if row.fingerprint != once.fingerprint:
        raise KeyReusedError(once.key)
    return Kept(row.case_id, row.status, row.version, zlib.decompress(row.body))


def _row(case: Case, once: Once | None, kept: Kept | None) -> dict[str, Any] | None:
    """The answer as a row; made before the transaction, in which others wait."""
    if once is None or kept is None:
        return None
    return {
        "owner": case.owner,
        "key": once.key,
        "fingerprint": once.fingerprint,
        "case_id": case.id,
        "status": kept.status,
        "version": kept.version,
        "body": zlib.compress(kept.body, 1),
        "made_at": now(),
    }


def _keep(connection: Connection, case: Case, once: Once, row: dict[str, Any]) -> None:
    """Keep the answer, and take away some that are too old.

    Raises RepeatedError if the request was answered meanwhile, KeyReusedError if its key stands for another.
    """
    until = row["made_at"] - ANSWERS_KEPT
    connection.execute(_OUTDATED, {"until": until})
    if connection.execute(_KEPT[connection.dialect.name], {**row, "until": until}).rowcount != 1:
        _answered(connection, case.owner, once)
        raise RepeatedError(once.key)
