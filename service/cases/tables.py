"""The tables. What a case has been through is in ``entries`` and never changed; all else can be worked out from it.

``cases.version`` is the number of the case's last entry, so entries are numbered without a gap and a write that was
made against an older version finds no row to change. Texts that people wrote are JSON escaped to ASCII in a text
column: every character survives in both databases, U+0000 too.
"""

from __future__ import annotations

import json
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import (
    CheckConstraint,
    Column,
    DateTime,
    Dialect,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    SmallInteger,
    String,
    Table,
    Text,
    TypeDecorator,
)
from sqlalchemy.types import TypeEngine

LONGEST_REFERENCE = 100
ID_LENGTH = 24  # characters of URL-safe base 64: 144 random bits


class Moment(TypeDecorator[datetime]):
    """A UTC time to the microsecond; in SQLite as text that sorts by time."""

    impl = DateTime
    cache_ok = True

    def load_dialect_impl(self, dialect: Dialect) -> TypeEngine[Any]:
        return dialect.type_descriptor(DateTime(timezone=dialect.name != "sqlite"))

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        if value is None:
            return None
        utc = value.astimezone(UTC)
        return utc.replace(tzinfo=None) if dialect.name == "sqlite" else utc

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:  # noqa: ARG002
        if value is None:
            return None
        return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)


class Plain(TypeDecorator[Any]):
    """A JSON value as ASCII text."""

    impl = Text
    cache_ok = True

    def process_bind_param(self, value: Any, dialect: Dialect) -> str | None:  # noqa: ARG002
        return None if value is None else json.dumps(value, ensure_ascii=True, separators=(",", ":"), allow_nan=False)

    def process_result_value(self, value: str | None, dialect: Dialect) -> Any:  # noqa: ARG002
        return None if value is None else json.loads(value)


metadata = MetaData()

cases = Table(
    "cases",
    metadata,
    Column("id", String(ID_LENGTH), primary_key=True),
    Column("owner", String(40), nullable=False),
    Column("reference", String(LONGEST_REFERENCE)),
    Column("state", String(8), nullable=False),
    Column("version", Integer, nullable=False),
    Column("opened_at", Moment, nullable=False),
    Column("changed_at", Moment, nullable=False),
    Column("erased_at", Moment),
    CheckConstraint("state IN ('open', 'closed')", name="cases_state_known"),
    CheckConstraint("version >= 1", name="cases_version_counts"),
)
Index("cases_by_time", cases.c.owner, cases.c.opened_at, cases.c.id)
Index("cases_by_state", cases.c.owner, cases.c.state, cases.c.opened_at, cases.c.id)
Index("cases_by_reference", cases.c.owner, cases.c.reference, cases.c.opened_at, cases.c.id)
Index("cases_by_change", cases.c.changed_at)

entries = Table(
    "entries",
    metadata,
    Column("case_id", String(ID_LENGTH), ForeignKey("cases.id", ondelete="CASCADE"), primary_key=True),
    Column("number", Integer, primary_key=True, autoincrement=False),
    Column("kind", String(16), nullable=False),
    Column("at", Moment, nullable=False),
    Column("body", Plain, nullable=False),
    CheckConstraint("number >= 1", name="entries_number_counts"),
)

#: Answers to requests that carried an Idempotency-Key, so that the same request gets the same answer.
answers = Table(
    "answers",
    metadata,
    Column("owner", String(40), primary_key=True),
    Column("key", String(255), primary_key=True),
    Column("fingerprint", String(64), nullable=False),
    Column("case_id", String(ID_LENGTH), ForeignKey("cases.id", ondelete="CASCADE"), nullable=False),
    Column("status", SmallInteger, nullable=False),
    Column("version", Integer, nullable=False),
    Column("body", LargeBinary, nullable=False),
    Column("made_at", Moment, nullable=False),
)
Index("answers_by_time", answers.c.made_at)
Index("answers_by_case", answers.c.case_id)
