"""Batches: order, ids, bad input in every form, interrupted runs, several processes, the demo."""

from __future__ import annotations

import csv
import gzip
import io
import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from rules import Expert, open_book
from service import batch_cli
from service.batching.incoming import Incoming
from service.batching.outgoing import HEADER, csv_line, error_words
from service.batching.seen import SeenIds
from service.cli import main

NOTES = ("left front burner is dead", "oven cold, clock on", "it is a gas stove", "sparks from the oven")
COMMAND = [sys.executable, "-c", "from service.cli import main; main()", "batch"]


def rows(count: int) -> bytes:
    made = [json.dumps({"id": number, "note": NOTES[number % 4]}) for number in range(count)]
    return ("\n".join(made) + "\n").encode()


def batch(*args: object, stdin: bytes | None = None) -> Result:
    return CliRunner().invoke(main, ["batch", *map(str, args)], input=stdin)


@pytest.fixture(scope="module")
def expert() -> Expert:
    return open_book()


@pytest.fixture(autouse=True)
def opened_once(expert: Expert, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(batch_cli, "opened", lambda _: expert)


def lines(text: str | bytes) -> list[dict[str, Any]]:
    return [json.loads(line) for line in text.splitlines()]


def errors(text: str | bytes) -> dict[int, str]:
    """Line number to everything its error says."""
    return {
        row["line"]: f"{row['error']['title']} {error_words(row['error'])}" for row in lines(text) if "error" in row
    }


@pytest.fixture
def four(tmp_path: Path) -> Path:
    path = tmp_path / "in.ndjson"
    path.write_bytes(rows(4))
    return path


def test_one_line_for_each_row_in_order_with_its_id(four: Path) -> None:
    result = batch(four)
    assert result.exit_code == 0
    made = lines(result.stdout)
    assert [row["id"] for row in made] == [0, 1, 2, 3]
    assert [row["line"] for row in made] == [1, 2, 3, 4]
    assert made[3]["answer"]["stop"]["signal"] == "WARNING"
    assert "4 rows, 0 failed" in result.stderr
    assert "out of scope 1" in result.stderr


def test_standard_input_gzip_and_plain_read_the_same(tmp_path: Path, four: Path) -> None:
    packed = tmp_path / "in.ndjson.gz"
    packed.write_bytes(gzip.compress(rows(4)))
    plain = batch(four).stdout
    assert batch(packed).stdout == plain
    assert batch("-", stdin=rows(4)).stdout == plain
    out = tmp_path / "out.ndjson.gz"
    assert batch(four, "--out", out).exit_code == 0
    assert gzip.decompress(out.read_bytes()).decode() == plain


def test_csv_in_and_out(tmp_path: Path) -> None:
    source = tmp_path / "in.csv"
    source.write_text('id,phone,note,facts\na,5,"oven dead,\nclock on",\nb,6,,display=dark; volts@L1-L2/loaded=1 V\n')
    out = tmp_path / "out.csv"
    result = batch(source, "--out", out)
    assert result.exit_code == 0, result.stderr
    assert "columns not read: phone" in result.stderr
    with out.open(newline="") as stream:
        made = list(csv.DictReader(stream))
    assert [row["id"] for row in made] == ["a", "b"]
    assert [row["line"] for row in made] == ["2", "4"]
    assert tuple(made[0]) == HEADER
    assert 0 < float(made[0]["probability_1"]) <= 1
    assert made[0]["next_question"].endswith("?")
    assert len(out.read_text().splitlines()) == 3


def test_a_cell_is_one_line_and_no_formula() -> None:
    assert csv_line(("=1+1", "two\nlines", 3)) == b"'=1+1,two lines,3\n"


BAD_ROWS: list[tuple[bytes, str]] = [
    (b'{"note": "oven dead"}', "id: missing"),
    (b'{"id": 0, "note": "oven dead"}', "used by an earlier row"),
    (b'{"id": 7, "note": "caf\xe9"}', "not UTF-8"),
    (b'{"id": 7, "note": "a\x00b"}', "NUL byte"),
    (b'{"id": 7, "note": ', "JSON"),
    (b"[1, 2]", "JSON object"),
    (b'{"id": true, "note": "oven dead"}', "id: write text"),
    (b'{"id": 7, "notes": "oven dead"}', "no such field"),
    (b'{"id": 7, "note": "' + b"x" * 10_000_000 + b'"}', "the most is"),
    (b'{"id": 7, "note": "\\ud800"}', "JSON"),
    (b'{"id": 7, "note": ""}', "is empty"),
]


@pytest.mark.parametrize(("bad", "words"), BAD_ROWS, ids=[words for _, words in BAD_ROWS])
def test_a_bad_row_is_an_error_line_and_the_run_goes_on(bad: bytes, words: str) -> None:
    given = rows(1) + b"\n" + bad + b"\n" + b'{"id": "last", "note": "oven cold"}\n'
    result = batch("-", stdin=given)
    assert result.exit_code == 1
    made = lines(result.stdout)
    assert [row["line"] for row in made] == [1, 3, 4]
    assert words in errors(result.stdout)[3]
    assert "answer" in made[2]
    assert "Traceback" not in result.stderr


def test_bad_rows_of_a_csv(tmp_path: Path) -> None:
    source = tmp_path / "in.csv"
    source.write_bytes(
        b"id,note\n1,oven cold\n2,caf\xe9 cold\n3,oven\x00 cold\n4,one,two\n,no id\n1,again\n8,oven cold\n"
    )
    result = batch(source)
    assert result.exit_code == 1
    found = errors(result.stdout)
    expected = {3: "not UTF-8", 4: "NUL byte", 5: "in quotes", 6: "missing", 7: "earlier row"}
    assert set(found) == set(expected)
    assert all(words in found[line] for line, words in expected.items())
    assert lines(result.stdout)[-1]["id"] == "8"


@pytest.mark.parametrize(
    ("given", "words"),
    [
        (b"", "is empty"),
        (b"\n \n", "is empty"),
        (b"1,oven cold\n2,oven dead\n", "no CSV header"),
        (b"hello\n", "neither NDJSON nor CSV"),
        ("id,note\n".encode("utf-16"), "UTF-16"),
        (gzip.compress(rows(3))[:4], "gzip"),
        (b"note,note\na,b\n", "twice"),
        (b"id;note\n1;oven cold\n", "semicolons; save it with commas"),
        (b'"ID"\t"Note"\n1\toven cold\n', "tabs; save it with commas"),
    ],
)
def test_unusable_input_is_refused_with_a_clear_line(given: bytes, words: str) -> None:
    result = batch("-", stdin=given)
    assert result.exit_code == 2
    assert words in result.stderr
    assert result.stdout == ""
    assert "Traceback" not in result.stderr


@pytest.mark.parametrize(
    ("args", "words"),
    [
        ([], "--demo"),
        (["no-such-file"], "No such file"),
        (["-", "--resume"], "--out"),
        (["-", "--resume", "--out", "x"], "read again"),
        (["--demo", "x"], "--demo"),
    ],
)
def test_options_that_do_not_go_together(args: Sequence[str], words: str) -> None:
    result = batch(*args)
    assert result.exit_code == 2
    assert words in result.stderr


def test_the_input_is_never_written_over(four: Path) -> None:
    assert batch(four, "--out", four).exit_code == 2
    assert four.read_bytes() == rows(4)


def test_fail_fast_stops_at_the_first_failure() -> None:
    result = batch("-", "--fail-fast", stdin=rows(1) + b"{}\n" + rows(9))
    assert result.exit_code == 1
    assert [row["line"] for row in lines(result.stdout)] == [1, 2]


def test_a_gzip_that_breaks_off_answers_what_came_before_and_can_be_gone_on_with(tmp_path: Path) -> None:
    whole = gzip.compress(b"".join(rows(1).replace(b'"id": 0', b'"id": %d' % n) for n in range(300)), 0)
    source, out = tmp_path / "in.ndjson.gz", tmp_path / "out.ndjson"
    source.write_bytes(whole[: len(whole) // 2])
    result = batch(source, "--out", out)
    assert result.exit_code == 2
    assert "breaks off" in result.stderr
    some = len(lines(out.read_bytes()))
    source.write_bytes(whole)
    assert batch(source, "--out", out, "--resume").exit_code == 0
    assert [row["id"] for row in lines(out.read_bytes())] == list(range(300))
    assert some < 300


@pytest.mark.parametrize("name", ["out.ndjson", "out.csv", "out.ndjson.gz", "out.csv.gz"])
def test_an_interrupted_output_is_gone_on_with_from_any_byte(tmp_path: Path, name: str) -> None:
    source, out = tmp_path / "in.ndjson", tmp_path / name
    source.write_bytes(rows(12))
    assert batch(source, "--out", out).exit_code == 0
    whole = out.read_bytes()
    read = gzip.decompress if name.endswith("gz") else bytes
    for cut in (0, 1, len(whole) // 3, len(whole) // 2, len(whole) - 1, len(whole)):
        out.write_bytes(whole[:cut])
        result = batch(source, "--out", out, "--resume")
        assert result.exit_code == 0, result.stderr
        assert read(out.read_bytes()) == read(whole)


def test_another_inputs_output_is_not_gone_on_with(tmp_path: Path, four: Path) -> None:
    out = tmp_path / "out.ndjson"
    out.write_text('{"line":1,"id":"other","answer":{}}\n')
    result = batch(four, "--out", out, "--resume")
    assert result.exit_code == 2
    assert "was not made from" in result.stderr
    assert len(out.read_text().splitlines()) == 1


def environment() -> dict[str, str]:
    return {**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])}


def test_a_killed_run_is_gone_on_with(tmp_path: Path) -> None:
    source, out = tmp_path / "in.ndjson", tmp_path / "out.ndjson"
    source.write_bytes(rows(2000))
    args = [*COMMAND, str(source), "--out", str(out), "--jobs", "2"]
    with subprocess.Popen(args, env=environment(), stderr=subprocess.DEVNULL) as process:
        deadline = time.monotonic() + 60
        while time.monotonic() < deadline and not (out.exists() and out.stat().st_size > 6_000):
            time.sleep(0.01)
        process.send_signal(signal.SIGKILL)
    with out.open("ab") as stream:
        stream.write(b'{"line":')  # as if killed in mid-line
    assert 0 < len(out.read_bytes().splitlines()) < 2000
    done = subprocess.run([*args, "--resume"], env=environment(), capture_output=True, check=False)
    assert done.returncode == 0, done.stderr
    assert [row["id"] for row in lines(out.read_bytes())] == list(range(2000))


def test_several_processes_give_the_same_lines_in_the_same_order(tmp_path: Path) -> None:
    source = tmp_path / "in.ndjson"
    source.write_bytes(rows(70) + b"{}\n" + b'{"id": 1, "note": "again"}\n')
    made = [
        subprocess.run([*COMMAND, str(source), "--jobs", jobs], env=environment(), capture_output=True, check=False)
        for jobs in ("1", "2")
    ]
    assert made[0].stdout == made[1].stdout
    assert [each.returncode for each in made] == [1, 1]
    assert b"Traceback" not in made[1].stderr


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs a device that is full")
def test_a_full_disk_is_said_and_nothing_is_raised(four: Path) -> None:
    result = batch(four, "--out", "/dev/full")
    assert result.exit_code == 2
    assert "make room and go on with --resume" in result.stderr


def test_an_output_that_cannot_be_opened_is_not_said_to_be_full(tmp_path: Path, four: Path) -> None:
    result = batch(four, "--out", tmp_path / "no" / "such" / "folder.ndjson")
    assert result.exit_code == 2
    assert "name a file in a folder that takes it" in result.stderr


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs a device that is full")
def test_a_full_standard_output_is_told_from_a_file(four: Path) -> None:
    with Path("/dev/full").open("wb") as full:
        done = subprocess.run([*COMMAND, str(four)], stdout=full, stderr=subprocess.PIPE, text=True, check=False)
    assert done.returncode == 2
    assert "standard output cannot be written" in done.stderr
    assert "Traceback" not in done.stderr


def test_the_demo_is_two_hundred_notes_that_are_all_answered() -> None:
    result = batch("--demo", "--format", "csv")
    assert result.exit_code == 0
    made = list(csv.DictReader(io.StringIO(result.stdout)))
    assert len(made) == len({row["id"] for row in made}) == 200
    assert {row["error"] for row in made} == {""}
    assert {"", "WARNING", "DANGER"} <= {row["stop"] for row in made}


def test_unread_clauses_are_counted(tmp_path: Path) -> None:
    out = tmp_path / "unread.txt"
    given = b'{"id": 1, "note": "the drawer squeaks"}\n{"id": 2, "note": "The drawer squeaks!"}\n'
    assert batch("-", "--unread", out, stdin=given).exit_code == 0
    assert out.read_text() == "2\tdrawer squeaks\n"


def test_ids_are_remembered_as_they_are() -> None:
    seen = SeenIds()
    assert all(seen.add(each) for each in (1, "1", None, "", "a"))
    assert not seen.add(1)
    assert not seen.add("a")
    many = SeenIds()
    assert all(many.add(number) for number in range(20_000))
    assert not any(many.add(number) for number in range(20_000))


def test_a_line_of_any_length_is_held_in_bounds() -> None:
    found = list(Incoming(io.BytesIO(b'{"a": "' + b"x" * 3_000_000 + b'"}\n{"id": 2}'), "x.ndjson").rows())
    assert [(row.line, row.problem is None) for row in found] == [(1, False), (2, True)]
    assert found[0].raw == b""
