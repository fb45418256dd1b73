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

from sqlalchemy import Connection, Row, Select, String, delete, insert, literal, select, tuple_, update
from sqlalchemy.exc import IntegrityError

from service.cases.database import Database
from service.cases.tables import Moment, answers, cases, entries

State = Literal["open", "closed"]
STATES: tuple[State, ...] = ("open", "closed")
Kind = Literal["opened", "message", "role", "strike", "outcome", "reopened", "erased"]
ANSWERS_KEPT = timedelta(hours=24)
_PRUNED_AT_ONCE = 20  # old answers taken away with each new one


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
        with self.database.writing() as connection:
            if once is not None:
                _check_key(connection, case.owner, once)
            connection.execute(insert(cases).values(case.__dict__))
            _add(connection, case, change)
            if once is not None and kept is not None:
                _keep(connection, case, once, kept)

    def add(
        self, before: Case, after: Case, change: Change, once: Once | None = None, kept: Kept | None = None
    ) -> None:
        """Add to a case what :func:`following` made of it.

        Raises VersionError if the case is not as it was ``before``, NoCaseError, RepeatedError, KeyReusedError.
        """
        with self.database.writing() as connection:
            if once is not None:
                _check_key(connection, before.owner, once)
            changed = connection.execute(
                update(cases)
                .where(cases.c.id == before.id, cases.c.owner == before.owner, cases.c.version == before.version)
                .values(state=after.state, version=after.version, changed_at=after.changed_at)
            )
            if changed.rowcount != 1:
                raise VersionError(_owned(connection, before.owner, before.id).version)
            _add(connection, after, change)
            if once is not None and kept is not None:
                _keep(connection, after, once, kept)

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
    query = (
        select(entries.c.number, entries.c.kind, entries.c.at, entries.c.body)
        .where(entries.c.case_id == case.id, entries.c.number <= case.version)
        .order_by(entries.c.number)
    )
    return Whole(case, tuple(Entry(*row) for row in connection.execute(query)))


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
    row = connection.execute(select(cases).where(cases.c.id == number, cases.c.owner == owner)).one_or_none()
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
    row = connection.execute(
        select(answers).where(
            answers.c.owner == owner, answers.c.key == once.key, answers.c.made_at > now() - ANSWERS_KEPT
        )
    ).one_or_none()
    if row is None:
        return None
    if row.fingerprint != once.fingerprint:
        raise KeyReusedError(once.key)
    return Kept(row.case_id, row.status, row.version, zlib.decompress(row.body))


def _check_key(connection: Connection, owner: str, once: Once) -> None:
    if _answered(connection, owner, once) is not None:
        raise RepeatedError(once.key)


def _keep(connection: Connection, case: Case, once: Once, kept: Kept) -> None:
    """Keep the answer, and take away some that are too old. Raises RepeatedError if another writer was faster."""
    old = select(answers.c.owner, answers.c.key).where(answers.c.made_at <= case.changed_at - ANSWERS_KEPT)
    old = old.order_by(answers.c.made_at).limit(_PRUNED_AT_ONCE).with_for_update(skip_locked=True)
    outdated = connection.execute(old).all()
    for row in outdated:
        connection.execute(delete(answers).where(answers.c.owner == row.owner, answers.c.key == row.key))
    connection.execute(
        delete(answers).where(
            answers.c.owner == case.owner, answers.c.key == once.key, answers.c.made_at <= now() - ANSWERS_KEPT
        )
    )
    values = {
        "owner": case.owner,
        "key": once.key,
        "fingerprint": once.fingerprint,
        "case_id": case.id,
        "status": kept.status,
        "version": kept.version,
        "body": zlib.compress(kept.body, 1),
        "made_at": now(),
    }
    try:
        connection.execute(insert(answers).values(values))
    except IntegrityError as error:
        raise RepeatedError(once.key) from error
