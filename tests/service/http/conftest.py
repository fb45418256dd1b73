"""A client of the application, and the committed contract."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from flask import Flask
from flask.testing import FlaskClient

from rules import Expert
from service.app import create_app
from service.cases.store import Store
from service.settings import Settings
from tests.service.databases import new_store

ROOT = Path(__file__).resolve().parents[3]


@pytest.fixture(scope="session")
def store(tmp_path_factory: pytest.TempPathFactory) -> Store:
    return new_store(tmp_path_factory.mktemp("cases"))


@pytest.fixture(scope="session")
def app(expert: Expert, store: Store) -> Flask:
    return create_app(expert, Settings(store=store))


@pytest.fixture(scope="session")
def client(app: Flask) -> FlaskClient:
    return app.test_client()


@pytest.fixture(scope="session")
def contract() -> dict[str, Any]:
    spec: dict[str, Any] = json.loads((ROOT / "openapi" / "coldleg.json").read_text(encoding="utf-8"))
    return spec
