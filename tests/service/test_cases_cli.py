"""``coldleg cases`` and ``coldleg backup``, also beside a server that writes. All callers are invented."""

from __future__ import annotations

import json
import sqlite3
import threading
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
import requests
from click.testing import CliRunner, Result

from rules import Expert
from service.cases.calls import Calls, Keeping, Said, Step
from service.cases.database import Database
from service.cases.folding import Outcome
from service.cases.store import Kept, Once, Store, now
from service.cli import main
from tests.service.running import served

SECRET = "Mrs Invented of Nowhere Lane says the oven is cold"


def kept(step: Step) -> Kept:
    return Kept(step.case.id, 200, step.case.version, step.turn.reply.encode() + SECRET.encode())


@pytest.fixture
def store(expert: Expert, database: Database) -> Store:
    """Two cases of two owners: one closed, with a secret in every field that takes text."""
    store = Store(database)
    calls = Calls(expert, store)
    told = Said(SECRET)
    step = calls.open("a", "T-1 Invented", None, told, Keeping(Once("k", "f"), kept))
    calls.strike_fact("a", step.case.id, None, (0, 0))
    calls.settle("a", step.case.id, None, Outcome(fixed=True, found=SECRET))
    calls.open("b", "T-2", None, Said("left front burner is dead"))
    return store


def run(database: Database, *arguments: str) -> Result:
    where = database.url.render_as_string(hide_password=False)
    return CliRunner().invoke(main, [*arguments, "--database", where])


def lines(result: Result) -> list[str]:
    assert result.exit_code == 0, result.output
    return result.stdout.splitlines()


def exported(database: Database, *chosen: str) -> list[dict[str, Any]]:
    return [json.loads(line) for line in lines(run(database, "cases", "export", "-", *chosen))]


def test_list_and_show(store: Store) -> None:
    assert len(lines(run(store.database, "cases", "list"))) == 3
    [_, line] = lines(run(store.database, "cases", "list", "--state", "closed"))
    number = line.split()[0]
    assert "T-1 Invented" in line
    shown = lines(run(store.database, "cases", "show", number))
    assert [line.split()[3] for line in shown[1:]] == ["opened", "message", "strike", "outcome"]
    assert SECRET in shown[2]
    wrong = run(store.database, "cases", "show", "A" * 24)
    assert (wrong.exit_code, "no case" in wrong.stderr) == (2, True)


def test_a_terminal_is_not_spoken_to(expert: Expert, database: Database) -> None:
    Calls(expert, Store(database)).open("a", None, None, Said("the oven \x1b[2J is cold"))
    [one] = exported(database)
    assert "\x1b" not in run(database, "cases", "show", one["id"]).stdout


def test_export_has_everything_of_whom_it_is_asked_for(store: Store) -> None:
    assert {case["owner"] for case in exported(store.database)} == {"a", "b"}
    [mine] = exported(store.database, "--reference", "T-1 Invented")
    assert [entry["number"] for entry in mine["entries"]] == [1, 2, 3, 4]
    assert SECRET in json.dumps(mine)
    assert exported(store.database, "--owner", "b", "--state", "closed") == []


def everything(database: Database) -> str:
    """What the database holds: of SQLite every byte of its files, of PostgreSQL every row."""
    if database.file is not None:
        files = database.file.parent.glob(database.file.name + "*")
        return "".join(file.read_bytes().decode("latin-1") for file in files)
    with database.reading() as connection:
        rows = [connection.exec_driver_sql(f"SELECT * FROM {name}").all() for name in ("cases", "entries")]
        return str(rows) + str(connection.exec_driver_sql("SELECT count(*) FROM answers").all())


def test_erased_is_what_persons_wrote_and_nothing_else(expert: Expert, store: Store) -> None:
    [before] = exported(store.database, "--owner", "a")
    assert SECRET in everything(store.database)
    result = run(store.database, "cases", "erase", "--reference", "T-1 Invented", "--yes")
    assert lines(result) == ["1 erased."]
    store.database.close()
    held = everything(store.database)
    assert "Nowhere Lane" not in held
    assert "T-1 Invented" not in held
    [after] = exported(store.database, "--owner", "a")
    assert (after["state"], after["version"], after["reference"]) == ("closed", before["version"] + 1, None)
    assert after["erased_at"]
    told = [entry["body"]["heard"]["facts"][0]["fact"] for entry in (before["entries"][1], after["entries"][1])]
    assert told[1] == {**told[0], "text": None, "span": None}
    whole, step = Calls(expert, store).seen("a", after["id"])
    assert [entry.kind for entry in whole.entries] == ["opened", "message", "strike", "outcome", "erased"]
    assert step.outcome == Outcome(fixed=True)
    assert lines(run(store.database, "cases", "erase", "--case", after["id"])) == ["0 erased."]
    assert len(exported(store.database, "--reference", "T-2")) == 1


def test_erasing_and_deleting_are_asked_for(store: Store) -> None:
    for arguments in (("erase",), ("erase", "--reference", "T-2"), ("purge", "--days", "0", "--state", "open")):
        result = run(store.database, "cases", *arguments)
        assert result.exit_code == 2, result.output
        assert result.stderr.startswith("coldleg: --")
    assert len(exported(store.database)) == 2


def test_purged_are_those_nobody_touched(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    purge = ("cases", "purge", "--days", "30", "--yes")
    assert lines(run(store.database, *purge)) == ["0 deleted."]
    later = now() + timedelta(days=31)
    monkeypatch.setattr("service.cases.store.now", lambda: later)
    assert lines(run(store.database, *purge, "--state", "closed", "--dry-run")) == ["1 would be deleted."]
    assert lines(run(store.database, *purge, "--state", "closed")) == ["1 deleted."]
    assert [case["reference"] for case in exported(store.database)] == ["T-2"]
    with store.database.reading() as connection:
        for table, left in (("entries", 2), ("answers", 0)):
            assert connection.exec_driver_sql(f"SELECT count(*) FROM {table}").scalar_one() == left


# --- databases that cannot be used -----------------------------------------------------------------------------------
@pytest.mark.parametrize("command", [("cases", "list"), ("backup", "copy.db"), ("cases", "export", "-")])
def test_a_database_that_is_not_there(tmp_path: Path, command: tuple[str, ...]) -> None:
    result = CliRunner().invoke(main, [*command, "--database", str(tmp_path / "none.db")])
    assert result.exit_code == 2
    assert "coldleg: --database: " in result.stderr
    assert "coldleg serve makes it" in result.stderr
    assert not (tmp_path / "none.db").exists()


def test_a_service_does_not_start_on_a_database_it_cannot_use(tmp_path: Path) -> None:
    (tmp_path / "cases.db").write_text("the oven is cold " * 500)
    result = CliRunner().invoke(main, ["serve", "--database", str(tmp_path / "cases.db")])
    assert (result.exit_code, result.stderr.startswith("coldleg: --database: ")) == (2, True)


# --- backup ----------------------------------------------------------------------------------------------------------
@pytest.fixture
def writing(tmp_path: Path) -> Iterator[tuple[Path, list[str]]]:
    """A server that cases are opened on without end, and the ids it has told so far."""
    file, told, stop = tmp_path / "cases.db", [], threading.Event()
    with served("--threads", "2", "--database", str(file)) as service:

        def write() -> None:
            while not stop.is_set():
                answer = requests.post(f"{service.address}/v1/cases", json={"text": "the oven is cold"}, timeout=10)
                told.append(answer.json()["case"]["id"])

        writer = threading.Thread(target=write)
        writer.start()
        try:
            yield file, told
        finally:
            stop.set()
            writer.join(20)


def test_a_backup_taken_while_the_service_writes_is_whole(writing: tuple[Path, list[str]], tmp_path: Path) -> None:
    file, told = writing
    while len(told) < 5:
        pass
    before = list(told)
    target = tmp_path / "copy.db"
    taken = run(Database(str(file)), "backup", str(target))
    assert taken.exit_code == 0, taken.output
    assert [path.name for path in tmp_path.iterdir() if path.name.startswith("copy")] == ["copy.db"]
    copies = {case["id"]: case for case in exported(Database(str(target)))}
    assert set(before) <= set(copies)
    assert all(len(case["entries"]) == case["version"] == 2 for case in copies.values())
    with sqlite3.connect(target) as copy:
        assert copy.execute("PRAGMA foreign_key_check").fetchall() == []
    again = run(Database(str(file)), "backup", str(target))
    assert (again.exit_code, "--replace" in again.stderr) == (2, True)
    assert run(Database(str(file)), "backup", str(target), "--replace").exit_code == 0


def test_postgresql_has_a_program_for_that(store: Store, tmp_path: Path) -> None:
    if store.database.kind == "postgresql":
        result = run(store.database, "backup", str(tmp_path / "copy"))
        assert (result.exit_code, "pg_dump -Fc" in result.stderr) == (2, True)
        assert str(store.database.url.password) not in result.stderr
    else:
        assert lines(run(store.database, "backup", str(tmp_path / "copy")))
