"""Bringing a database to the tables that this program knows. Alembic is imported here only, when it is needed."""

from __future__ import annotations

from pathlib import Path

from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, inspect, text

from service.cases.database import Database, DatabaseError

VERSION_TABLE = "coldleg_schema"
_LOCK = 0x636F6C646C6567  # of PostgreSQL's advisory locks, which are numbers
_STEPS = Path(__file__).parent / "migrations"


def prepare(database: Database) -> None:
    """Make or migrate the tables; one process at a time, all of it or nothing.

    Raises DatabaseError for a database that cannot be reached, is newer than this program, or holds other tables.
    """
    config = Config()
    config.set_main_option("script_location", str(_STEPS).replace("%", "%%"))
    config.set_main_option("path_separator", "os")
    steps = ScriptDirectory.from_config(config)
    with database.writing() as connection:
        if database.kind == "postgresql":
            connection.execute(text("SELECT pg_advisory_xact_lock(:lock)"), {"lock": _LOCK})
        present = MigrationContext.configure(connection, opts={"version_table": VERSION_TABLE}).get_current_revision()
        _check(connection, database, present, {step.revision for step in steps.walk_revisions()})
        if present != steps.get_current_head():
            config.attributes["connection"] = connection
            command.upgrade(config, "head")


def _check(connection: Connection, database: Database, present: str | None, known: set[str]) -> None:
    if present is not None and present not in known:
        raise DatabaseError(
            f"{database.shown} was made by a newer Coldleg (its tables are {present[:40]!r}, the newest known here "
            f"{max(known)!r}); update the program or name another database"
        )
    if present is None and (there := set(inspect(connection).get_table_names()) & {"cases", "entries"}):
        others = ", ".join(sorted(there))
        raise DatabaseError(f"{database.shown} holds tables of something else ({others}); name another database")
