"""``coldleg batch --server``: a running service gives the very lines that the command itself would give."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from service.cli import main
from tests.service.running import Running, served

NOTES = ("left front burner is dead", "oven cold, clock on", "it is a gas stove", "sparks from the oven")
COMMAND = [sys.executable, "-c", "from service.cli import main; main()", "batch"]


def rows(count: int) -> bytes:
    made = [json.dumps({"id": number, "note": NOTES[number % 4]}) for number in range(count)]
    return ("\n".join(made) + "\n").encode()


def batch(*args: object, stdin: bytes | None = None) -> Result:
    return CliRunner().invoke(main, ["batch", *map(str, args)], input=stdin)


BAD = b"""{"id": 1, "note": "oven cold, clock on"}

{"id": 1, "note": "the same id"}
{"id": 2, "note": 7}
{"note": "no id"}
no JSON
\x0c
{"id": 3, "facts": [{"fact": "display", "value": "lit"}], "rle": "desk"}
{"id": 12345678901234567890123, "note": "left front burner is dead"}
{"id": 4, "note": "\xff"}
{"id": 5, "note": "sparks from the oven", "role": "caller", "appliance": "coil_range"}
"""


@pytest.mark.parametrize("form", ["ndjson", "csv"])
@pytest.mark.parametrize("jobs", [1, 3])
def test_every_line_is_as_the_command_itself_would_give_it(service: Running, form: str, jobs: int) -> None:
    given = BAD + rows(100).replace(b'"id": ', b'"id": 9')
    here = batch("-", "--format", form, stdin=given)
    there = batch("-", "--format", form, "--server", service.address, "--jobs", jobs, stdin=given)
    assert there.exit_code == here.exit_code == 1
    assert len(there.stdout.splitlines()) == 110 + (form == "csv")
    differing = [
        (a, b) for a, b in zip(here.stdout.splitlines(), there.stdout.splitlines(), strict=True) if a != b
    ]  # a row that holds nothing is not sent; it is refused in other words
    assert all("\x0c" in a or '"line":7' in a or a.startswith(",7,") for a, _ in differing), differing
    assert there.stderr.split(", ")[:2] == here.stderr.split(", ")[:2]


def test_a_csv_with_bad_rows(service: Running, tmp_path: Path) -> None:
    source = tmp_path / "calls.csv"
    source.write_bytes(b'id,note\n1,oven cold\n2,"broken\n3,left front is dead\n')
    here, there = batch(source), batch(source, "--server", service.address)
    assert there.stdout == here.stdout
    assert there.exit_code == here.exit_code == 1


def test_an_interrupted_output_is_gone_on_with(service: Running, tmp_path: Path) -> None:
    source, out = tmp_path / "calls.ndjson", tmp_path / "answers.ndjson"
    source.write_bytes(rows(60))
    whole = batch(source).stdout.encode()
    out.write_bytes(whole[: len(whole) // 3])
    done = batch(source, "--out", out, "--resume", "--server", service.address)
    assert done.exit_code == 0, done.output
    assert out.read_bytes() == whole


def test_lines_come_while_rows_are_still_sent(service: Running) -> None:
    """A piece is answered before the next is read, so a pipe that stays open holds nothing back for long."""
    with subprocess.Popen(
        [*COMMAND, "-", "--server", service.address], stdin=subprocess.PIPE, stdout=subprocess.PIPE
    ) as process:
        assert process.stdin is not None
        assert process.stdout is not None
        process.stdin.write(rows(40))
        process.stdin.flush()
        assert json.loads(process.stdout.readline())["id"] == 0
        process.stdin.close()
        assert len(process.stdout.readlines()) == 39
    assert process.returncode == 0


def test_a_service_that_dies_ends_the_run_with_4_and_it_can_be_gone_on_with(service: Running, tmp_path: Path) -> None:
    source, out = tmp_path / "calls.ndjson", tmp_path / "answers.ndjson"
    source.write_bytes(rows(20_000))
    with served("--workers", "1") as dying:
        command = [*COMMAND, str(source), "--out", str(out), "--server", dying.address]
        with subprocess.Popen(command, stderr=subprocess.PIPE, stdout=subprocess.DEVNULL, text=True) as process:
            while process.poll() is None and (not out.exists() or out.stat().st_size < 100_000):
                time.sleep(0.01)
            dying.signal(signal.SIGQUIT)
            assert process.stderr is not None
            told = process.stderr.read()
    assert process.returncode == 4
    assert "does not answer" in told
    assert "--resume" in told
    before = out.read_bytes()
    assert before.endswith(b"\n")
    source.write_bytes(rows(before.count(b"\n") + 5))
    assert batch(source, "--out", out, "--resume", "--server", service.address).exit_code == 0
    assert out.read_bytes().startswith(before)
    assert [json.loads(line)["id"] for line in out.read_bytes().splitlines()] == list(range(before.count(b"\n") + 5))


def test_what_does_not_go_together_or_does_not_answer(service: Running, tmp_path: Path) -> None:
    out = tmp_path / "answers.ndjson"
    out.write_bytes(b"precious\n")
    nobody = batch("--demo", "--out", out, "--server", "http://127.0.0.1:1")
    assert (nobody.exit_code, out.read_bytes()) == (4, b"precious\n")
    assert "does not answer" in nobody.stderr
    assert batch("--demo", "--server", "localhost").exit_code == 4
    both = batch("--demo", "--server", service.address, "--book", tmp_path)
    assert both.exit_code == 2
    assert "--book" in both.stderr


def test_a_key_is_asked_for_and_taken_from_the_environment(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    keys = tmp_path / "keys.json"
    made = CliRunner().invoke(main, ["keys", "add", "batches", "--scope", "triage", "--keys", str(keys)])
    key = next(word for word in made.stdout.split() if len(word) > 30)
    with served("--workers", "1", keys=keys) as guarded:
        refused = batch("-", "--server", guarded.address, stdin=rows(3))
        assert refused.exit_code == 4
        assert "401" in refused.stderr
        monkeypatch.setenv("COLDLEG_KEY", key)
        assert batch("-", "--server", guarded.address, stdin=rows(3)).exit_code == 0
