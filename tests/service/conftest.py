"""One real server that the tests share; those that stop or break theirs start their own.

Each database test runs on SQLite and on PostgreSQL; the latter is skipped, with the reason, where it is missing.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from service.cases.database import Database
from service.cases.migrating import prepare
from tests.service.cases.postgres import Postgres, postgres, programs, runs_as
from tests.service.running import Running, served


@pytest.fixture(scope="session")
def records(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Where the shared server keeps its decisions."""
    return tmp_path_factory.mktemp("records") / "decisions.ndjson"


@pytest.fixture(scope="session")
def service(records: Path) -> Iterator[Running]:
    """Two workers of two threads, nobody asked for a key, decisions recorded."""
    with served("--workers", "2", "--threads", "2", "--record", str(records)) as running:
        yield running


@pytest.fixture(scope="session")
def server() -> Iterator[Postgres]:
    place = programs()
    if place is None:
        pytest.skip("PostgreSQL is not installed (no initdb); apt-get install postgresql")
    try:
        with postgres(place) as running:
            yield running
    except KeyError:
        pytest.skip(f"PostgreSQL is not run by root and there is no user {runs_as()}")


@pytest.fixture(params=["sqlite", "postgresql"])
def url(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """The address of a database that holds nothing yet."""
    if request.param == "sqlite":
        return f"sqlite:///{tmp_path}/cases.db"
    running: Postgres = request.getfixturevalue("server")
    return running.new_database()


@pytest.fixture
def database(url: str) -> Iterator[Database]:
    made = Database(url)
    made.make_place()
    prepare(made)
    yield made
    made.close()
