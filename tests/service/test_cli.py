"""The command, as typed."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from rules.bookkeeping.loading import BOOK_FOLDER
from service.cli import main


def typed(*words: str, given: bytes | None = None) -> Result:
    return CliRunner().invoke(main, list(words), input=given)


def test_one_screen_with_the_stop_first() -> None:
    result = typed("triage", "sparks from the oven and the display is dead")
    assert result.exit_code == 0
    lines = result.stdout.splitlines()
    assert lines[0].startswith("!! WARNING: STOP")
    assert len(lines) <= 45
    assert max(map(len, lines)) <= 100
    headings = [line for line in lines if line in ("Understood", "Suspects", "Next")]
    assert headings == ["Understood", "Suspects", "Next"]
    assert "no question while the stop stands" in result.stdout or "from memory only" in result.stdout
    flame = typed("triage", "flames inside the oven behind the panel")
    assert "no question while the stop stands" in flame.stdout


def test_json_is_the_contract_s_answer() -> None:
    result = typed("triage", "the oven is dead but the clock is on", "--json")
    answer = json.loads(result.stdout)
    assert list(answer) == [
        "decision_id",
        "book",
        "scope",
        "appliance",
        "understood",
        "unread",
        "contradictions",
        "stop",
        "conclusions",
        "none_of_these",
        "next_step",
        "next_tests",
        "repair_order",
        "visit",
        "cautions",
        "nearly",
    ]
    assert answer["book"].startswith("sha256:")
    for fact in answer["understood"]:
        start, end = fact["span"]
        assert "the oven is dead but the clock is on"[start:end] == fact["text"]
    assert answer == json.loads(typed("triage", "the oven is dead but the clock is on", "--json").stdout)


def test_facts_add_to_the_note_and_contradictions_are_told() -> None:
    result = typed("triage", "the clock is on", "--fact", "display=dark")
    assert result.exit_code == 0
    assert "contradiction:" in result.stdout


def test_explain_shows_bits_and_near_misses() -> None:
    result = typed("triage", "--fact", "oven.bake.heat=none", "--explain")
    assert "bits for it" in result.stdout
    assert "Rules one fact short" in result.stdout


def test_an_open_line_is_written_as_a_meter_shows_it() -> None:
    answer = json.loads(typed("triage", "--fact", "ohms.bake=OL", "--role", "technician", "--json").stdout)
    assert answer["understood"][0]["value"] == "OL"
    assert answer["understood"][0]["unit"] == "ohm"


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--fact", "disply=lit"), "did you mean 'display'"),
        (("--fact", "display=bright"), "write one of lit"),
        (("--fact", "volts@L1-N/loaded=20 ohm"), "volts"),
        (("--fact", "surface.heat@middle=none"), "left_front"),
        (("",), "is empty"),
        (("   ",), "is empty"),
        (("x" * 1_000_000,), "the most is"),
        ((), "missing; give a note"),
        (("oven cold", "--appliance", "nowhere.yaml"), "neither a file nor one of"),
    ],
)
def test_unusable_input_ends_with_2_and_nothing_half_printed(words: tuple[str, ...], says: str) -> None:
    result = typed("triage", *words)
    assert result.exit_code == 2
    assert result.stdout == ""
    assert says in result.stderr
    assert "Traceback" not in result.stderr


def test_every_wrong_fact_is_told() -> None:
    result = typed("triage", "--fact", "disply=lit", "--fact", "display=bright")
    assert len(result.stderr.splitlines()) == 2


def test_standard_input() -> None:
    assert typed("triage", "-", given=b"the oven is cold").exit_code == 0
    bad = typed("triage", "-", given=b"\xff\xfe oven")
    assert (bad.exit_code, bad.stdout) == (2, "")
    assert "UTF-8" in bad.stderr


def test_an_appliance_file(tmp_path: Path) -> None:
    own = tmp_path / "own.yaml"
    own.write_text("based_on: coil_range\nsupply: 208Y/120\n")
    answer = json.loads(typed("triage", "oven cold", "--appliance", str(own), "--json").stdout)
    assert answer["appliance"]["assumed"] is False
    own.write_text("cooktop: [gas\n")
    bad = typed("triage", "oven cold", "--appliance", str(own))
    assert bad.exit_code == 2
    assert "own.yaml:" in bad.stderr


def test_a_broken_book_ends_with_3(tmp_path: Path) -> None:
    folder = tmp_path / "book"
    shutil.copytree(BOOK_FOLDER, folder)
    (folder / "parts.yaml").write_text("- {part: x}\n")
    result = typed("triage", "oven cold", "--book", str(folder))
    assert (result.exit_code, result.stdout) == (3, "")
    assert "parts.yaml:1: title: missing; add it" in result.stderr


def test_facts_lists_the_vocabulary() -> None:
    result = typed("facts")
    assert "surface.heat@UNIT" in result.stdout
    assert "Is the clock" in typed("facts", "display").stdout or "clock" in typed("facts", "display").stdout
    assert typed("facts", "disply").exit_code == 2
