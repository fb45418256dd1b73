"""Decision records: whole, masked, rotated, written by many at once, and asked again under another book."""

from __future__ import annotations

import json
import shutil
import threading
from pathlib import Path
from typing import Any

import pytest
import requests
from click.testing import CliRunner

from rules import Expert
from rules.bookkeeping.loading import BOOK_FOLDER
from service.app import create_app
from service.cli import main
from service.settings import Settings
from service.watching.records import Recorder
from tests.service.running import Running

NOTE = "Mrs Invented of Nowhere Street says the oven is dead but the clock is on, purple frogs"
OWN = {"based_on": "coil_range", "title": "Mrs Invented's range"}


def recorded(expert: Expert, file: Path, *bodies: dict[str, Any], **options: Any) -> list[dict[str, Any]]:
    client = create_app(expert, Settings(recorder=Recorder(file, **options))).test_client()
    for body in bodies:
        assert client.post("/v1/triage", json=body).status_code == 200
    return [json.loads(line) for line in file.read_text().splitlines()]


def test_what_is_kept(expert: Expert, tmp_path: Path) -> None:
    [record] = recorded(expert, tmp_path / "r", {"note": "sparks from the oven"}, notes=True)
    assert record["input"]["note"] == "sparks from the oven"
    assert record["book"] == expert.book.version
    assert record["decision_id"] == record["result"]["decision_id"]
    assert "stop-sparks" in record["fired"]
    assert record["masked"] == []
    assert record["ms"] > 0


def test_masked_by_default_and_the_answer_untouched(expert: Expert, tmp_path: Path) -> None:
    file = tmp_path / "r"
    client = create_app(expert, Settings(recorder=Recorder(file))).test_client()
    body = {"note": NOTE, "appliance": OWN}
    answer = client.post("/v1/triage", json=body).get_json()
    assert answer == create_app(expert).test_client().post("/v1/triage", json=body).get_json()
    text = file.read_text()
    for word in ("Invented", "Nowhere", "purple", "frogs"):
        assert word not in text
    record = json.loads(text)
    assert "/input/note" in record["masked"]
    for pointer in record["masked"]:
        at: Any = record
        for step in pointer.split("/")[1:]:
            at = at[int(step)] if isinstance(at, list) else at[step]
        assert at in ("masked", None)
    assert file.stat().st_mode & 0o077 == 0


def test_batches_are_recorded_too(expert: Expert, tmp_path: Path) -> None:
    file = tmp_path / "r"
    client = create_app(expert, Settings(recorder=Recorder(file))).test_client()
    lines = b'{"note": "oven is dead"}\n{"note": ""}\n{"note": "left front burner is dead"}\n'
    client.post("/v1/triage/batch", data=lines, content_type="application/x-ndjson").get_data()
    assert len(file.read_text().splitlines()) == 2


def test_rotated(expert: Expert, tmp_path: Path) -> None:
    file = tmp_path / "r"
    recorded(expert, file, *[{"note": f"oven is dead {n}"} for n in range(12)], largest=25_000, kept=2, notes=True)
    files = sorted(path.name for path in tmp_path.iterdir() if not path.name.endswith(".lock"))
    assert files == ["r", "r.1", "r.2"]
    assert all((tmp_path / name).stat().st_size <= 25_000 for name in files)
    kept = [
        json.loads(line)["input"]["note"]
        for name in ("r.2", "r.1", "r")
        for line in (tmp_path / name).read_text().splitlines()
    ]
    assert kept == [f"oven is dead {n}" for n in range(12 - len(kept), 12)]


def test_written_by_many_at_once(tmp_path: Path) -> None:
    """Several recorders stand for several workers: every line is whole, none is lost over rotations."""
    file = tmp_path / "r"

    def write(who: int) -> None:
        recorder = Recorder(file, notes=True, largest=20_000, kept=1000)
        for number in range(50):
            recorder.keep({"who": who, "number": number, "text": "x" * 300}, own_appliance=False)

    threads = [threading.Thread(target=write, args=(who,)) for who in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    lines = [
        json.loads(line)
        for path in tmp_path.glob("r*")
        if path.suffix != ".lock"
        for line in path.read_text().splitlines()
    ]
    assert sorted((line["who"], line["number"]) for line in lines) == [(w, n) for w in range(4) for n in range(50)]


def test_a_record_that_cannot_be_written_costs_no_answer(expert: Expert, tmp_path: Path) -> None:
    client = create_app(expert, Settings(recorder=Recorder(tmp_path / "no" / "folder" / "r"))).test_client()
    assert client.post("/v1/triage", json={"note": "oven is dead"}).status_code == 200


# --- replay ------------------------------------------------------------------------------------------------------
BODIES: tuple[dict[str, Any], ...] = (
    {"note": "sparks from the oven"},
    {"note": NOTE, "appliance": OWN, "explain": "full"},
    {"note": "left front burner is dead", "facts": [{"fact": "display", "value": "lit"}], "role": "caller"},
    {
        "facts": [
            {"fact": "volts", "between": "L1-L2", "while": "loaded", "value": "1 V"},
            {"fact": "ohms.bake", "value": "OL"},
        ],
        "role": "technician",
    },
    {"note": "the gas range will not light"},
    {"note": "some burner is dead"},
)


@pytest.mark.parametrize("notes", [True, False], ids=["whole", "masked"])
def test_the_same_book_changes_nothing(expert: Expert, tmp_path: Path, notes: bool) -> None:
    recorded(expert, tmp_path / "r", *BODIES, notes=notes)
    result = CliRunner().invoke(main, ["replay", str(tmp_path / "r")])
    assert (result.exit_code, result.stdout) == (0, "")
    assert f"0 of {len(BODIES)} answers change" in result.stderr


def test_a_changed_book_is_told_apart(expert: Expert, tmp_path: Path) -> None:
    recorded(expert, tmp_path / "r", *BODIES)
    book = tmp_path / "book"
    shutil.copytree(BOOK_FOLDER, book)
    hazards = book / "trade" / "hazards.yaml"
    text = hazards.read_text()
    start = text.index("- rule: stop-sparks")
    end = text.index("\n- rule:", start + 1)
    hazards.write_text(text[:start] + text[end + 1 :])
    result = CliRunner().invoke(main, ["replay", str(tmp_path / "r"), "--book", str(book), "--json"])
    assert result.exit_code == 1
    replayed = [json.loads(line) for line in result.stdout.splitlines()]
    assert [entry["line"] for entry in replayed if "stop" in entry["changes"]] == [1]
    assert replayed[0]["changes"]["stop"][0].startswith("WARNING")
    assert "stop-sparks" in replayed[0]["changes"]["fired"][0]
    told = CliRunner().invoke(main, ["replay", str(tmp_path / "r"), "--book", str(book)])
    assert told.stdout.startswith("line 1: ")


@pytest.mark.parametrize(
    "line", ["{", "[]", "7", "{}", '{"input": {}, "result": {}, "fired": [], "masked": []}', "\x00"]
)
def test_what_is_no_record_is_told(tmp_path: Path, line: str) -> None:
    (tmp_path / "r").write_text(line + "\n")
    result = CliRunner().invoke(main, ["replay", str(tmp_path / "r")])
    assert result.exit_code == 2
    assert "line 1" in result.output
    assert "Traceback" not in result.output


# --- the real server ---------------------------------------------------------------------------------------------
def _count(text: str, name: str) -> float:
    return sum(float(line.rpartition(" ")[2]) for line in text.splitlines() if line.startswith(name))


def test_counts_logs_and_records_of_several_workers_agree(service: Running, records: Path) -> None:
    """Every scrape sees all workers; each answer has one record and one log line, and nowhere is the note."""
    asked = 'coldleg_http_requests_total{method="POST",route="/v1/triage",status="200"}'
    firings = 'coldleg_rule_firings_total{rule="stop-sparks"}'

    def scraped() -> str:
        return requests.get(f"{service.address}/metrics", timeout=10).text

    before, lines_before = scraped(), len(records.read_text().splitlines()) if records.exists() else 0
    ids = []
    workers = service.workers(2)
    for number in range(30):
        headers = {"X-Request-ID": f"count-{number}"}
        body = {"note": "Mrs Invented has sparks from the oven"}
        with service.left_to(workers[number % 2]):
            sent = requests.post(f"{service.address}/v1/triage", json=body, headers=headers, timeout=10)
        ids.append((sent.headers["X-Request-ID"], sent.json()["decision_id"]))
    for _ in range(6):  # of whichever worker
        text = scraped()
        assert _count(text, asked) - _count(before, asked) == 30
        assert _count(text, firings) - _count(before, firings) == 30
        assert text.count("coldleg_book_info{") == 1
    log = service.log.read_text()
    lines = [json.loads(line) for line in log.splitlines()]
    told = [(line["request_id"], line["decision_id"]) for line in lines if line.get("decision_id")]
    assert set(ids) <= set(told)
    assert {line["pid"] for line in lines if line.get("decision_id")} == set(workers)
    kept = records.read_text().splitlines()[lines_before:]
    assert len(kept) == 30
    assert {json.loads(line)["request_id"] for line in kept} == {request_id for request_id, _ in ids}
    assert "Invented" not in log + "".join(kept)


def test_every_metric_is_in_the_documents() -> None:
    from prometheus_client import generate_latest

    from service.watching.metrics import REGISTRY
    from tests.test_docs import DEVELOPERS, README

    names = {line.split()[2] for line in generate_latest(REGISTRY).decode().splitlines() if line.startswith("# TYPE")}
    missing = {name.removesuffix("_total") for name in names if not name.endswith("_created")}
    assert not [name for name in sorted(missing) if name not in README + DEVELOPERS]
