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

ROOT = Path(__file__).resolve().parents[3]


@pytest.fixture(scope="session")
def app(expert: Expert) -> Flask:
    return create_app(expert)


@pytest.fixture(scope="session")
def client(app: Flask) -> FlaskClient:
    return app.test_client()


@pytest.fixture(scope="session")
def contract() -> dict[str, Any]:
    spec: dict[str, Any] = json.loads((ROOT / "openapi" / "coldleg.json").read_text(encoding="utf-8"))
    return spec
