"""One real server that the tests share; those that stop or break theirs start their own."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

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
