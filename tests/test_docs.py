"""The documents are true: every command and request they show works, and what exists is named in them."""

from __future__ import annotations

import json
import re
import shlex
from collections.abc import Iterator
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from rules import Expert
from rules.bookkeeping.schemas import RuleSchema
from rules.bookkeeping.yamlsource import parse
from service.app import create_app
from service.cases.database import Database
from service.cases.migrating import prepare
from service.cases.store import Store
from service.cli import main
from service.settings import Settings

ROOT = Path(__file__).resolve().parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
BLOCKS = re.findall(r"^```\w*\n(.*?)^```", README, re.MULTILINE | re.DOTALL)
LINES = [line for block in BLOCKS for line in block.splitlines()]
COMMANDS = [line for line in LINES if line.startswith("coldleg ") and not line.startswith("coldleg serve")]
BODIES = re.findall(r"http://127\.0\.0\.1:8017(/[^\s']*)[^\n]*?-d '(\{.*?\})'", README, re.DOTALL)


@pytest.fixture
def database(tmp_path: Path) -> Iterator[Database]:
    made = Database(str(tmp_path / "cases.db"))
    made.make_place()
    prepare(made)
    yield made
    made.close()


def test_set_up_is_two_lines_that_stand_alone() -> None:
    section = README.partition("\n## Set up\n")[2].partition("\n## ")[0]
    blocks = re.findall(r"^```\w*\n(.*?)^```", section, re.MULTILINE | re.DOTALL)
    assert len(blocks) == 1
    assert len(blocks[0].splitlines()) == 2


@pytest.mark.parametrize("command", COMMANDS)
def test_commands_of_the_tour_work(command: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    for text, file in re.findall(r"^printf '([^']*)' > (\S+)$", README, re.MULTILINE):
        (tmp_path / file).write_text(text.replace("\\n", "\n"))
    result = CliRunner().invoke(main, shlex.split(command)[1:])
    assert result.exit_code == 0, result.output
    assert result.stdout.strip()


def test_there_are_commands_and_requests_to_try() -> None:
    assert len(COMMANDS) >= 8
    assert len(BODIES) >= 2


@pytest.mark.parametrize(("path", "body"), BODIES)
def test_requests_of_the_tour_work(expert: Expert, database: Database, path: str, body: str) -> None:
    client = create_app(expert, Settings(store=Store(database))).test_client()
    if "$case" in path:
        path = path.replace("$case", client.post("/v1/cases", json={}).get_json()["case"]["id"])
    response = client.post(path, json=json.loads(body), headers={"If-Match": "*"})
    assert response.status_code in (200, 201)
    told = response.get_json()
    assert path.startswith("/v1/readings") or told.get("reply") or told["understood"]


def test_the_developers_rule_is_a_rule() -> None:
    blocks = re.findall(r"^```yaml\n(.*?)^```", DEVELOPERS, re.MULTILINE | re.DOTALL)
    assert blocks
    for block in blocks:
        for record in parse("DEVELOPERS.md", block).data:
            assert RuleSchema().load(record)["rule"]


def test_every_folder_of_the_house_is_in_the_developers_page() -> None:
    folders = {path.name for path in (ROOT / "rules").iterdir() if path.is_dir() and not path.name.startswith("__")}
    missing = [folder for folder in sorted(folders) if f"`rules/{folder}/`" not in DEVELOPERS]
    assert not missing


def test_every_command_is_in_the_documents() -> None:
    missing = [name for name in main.list_commands(click.Context(main)) if f"coldleg {name}" not in README + DEVELOPERS]
    assert not missing
