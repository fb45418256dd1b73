"""A store of each kind."""

from __future__ import annotations

import pytest

from service.cases.database import Database
from service.cases.store import Store


@pytest.fixture
def store(database: Database) -> Store:
    return Store(database)
