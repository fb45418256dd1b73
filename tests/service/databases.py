"""A SQLite database of a test's own, with its tables."""

from __future__ import annotations

from pathlib import Path

from service.cases.database import Database
from service.cases.migrating import prepare
from service.cases.store import Store


def new_store(folder: Path) -> Store:
    """An empty store in ``cases.db`` of a folder that exists."""
    database = Database(str(folder / "cases.db"))
    database.make_place()
    prepare(database)
    return Store(database)
