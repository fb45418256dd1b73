"""``coldleg chat`` through a pipe: the words to the program, and clean ends."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from rules import Expert
from service import chat_cli
from service.chat_cli import chat_command

DEAD = "none of the burners heat and the oven is dead"


@pytest.fixture(autouse=True)
def open_already(expert: Expert, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(chat_cli, "opened", lambda _: expert)


def chat(*lines: str, options: tuple[str, ...] = ()) -> Result:
    return CliRunner().invoke(chat_command, list(options), input="\n".join(lines))


def one_line(result: Result) -> str:
    """The output without its line breaks."""
    return " ".join(result.output.split())


def test_a_call_through_a_pipe() -> None:
    result = chat(DEAD, "no", "yes", "no wait, it is dark", "why do you ask?")
    assert result.exit_code == 0
    said = one_line(result)
    assert said.startswith("What is wrong with the range?")
    assert "I understood: [3.0] clock or display, everything switched off: nothing at all." in said
    assert "That replaces [2.0], lit as always." in said
    assert "I ask this because" in said
    assert "desk>" not in result.output  # no prompt where nobody types


@pytest.mark.parametrize("word", ["quit", "bye", "Exit", "leave"])
def test_words_to_leave(word: str) -> None:
    result = chat("the oven is dead", word, "the clock is dead")
    assert result.exit_code == 0 and "[1.0]" not in result.output


def test_facts_are_listed_struck_and_restored() -> None:
    result = chat(DEAD, "no", "strike 0.1", "facts", "restore 0.1", "facts", "strike 0", "facts")
    first, second, third = [part.split("[1.0]")[0] for part in result.output.split("  [0.0] ")[1:]]
    assert "(struck)" in first and "(struck)" not in second
    assert third.count("(struck)") == 2
    assert result.exit_code == 0


def test_a_danger_struck_lets_the_call_go_on() -> None:
    result = chat("sparks from the oven and the clock is dead", "strike 0.0")
    before, _, after = result.output.partition("Nothing is tried or touched")
    assert "STOP" in before and "STOP" not in after and "Next:" in after


def test_the_role_changes_and_the_facts_stay() -> None:
    result = chat(DEAD, "no", "role technician", "facts")
    assert "(technician speaks from now on)" in result.output
    assert "Prove the meter" in result.output  # a technician's question
    assert "[0.0]" in result.output.rpartition("technician")[2]


def test_the_summary_in_both_forms() -> None:
    result = chat(DEAD, "summary", "summary markdown")
    assert "Told:" in result.output and "## Told" in result.output


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ("strike 9", "message 9 has no fact"),
        ("strike 0.9", "no fact 0.9"),
        ("role king", "caller, desk, technician"),
        ("summary html", "text, markdown"),
        ("x" * 5000, "4,000"),
    ],
)
def test_what_cannot_be_used_is_told_and_the_call_goes_on(line: str, told: str) -> None:
    result = chat("the oven is dead", line, "the clock is dead")
    assert told in one_line(result) and "[1.0]" in result.output
    assert result.exit_code == 0 and "Traceback" not in result.output


def test_broken_bytes_are_no_reason_to_stop() -> None:
    result = CliRunner().invoke(chat_command, input=b"the oven is dead\n\xff\xfe\nthe clock is dead\n\x00\n")
    assert result.exit_code == 0 and "display" in result.output


def test_an_empty_input_ends_cleanly() -> None:
    result = CliRunner().invoke(chat_command, input="")
    assert result.exit_code == 0 and "What is wrong" in result.output


def test_help_and_options() -> None:
    assert "strike 3" in chat("help").output
    coil = chat("one burner is dead", "summary", options=("--appliance", "coil_range", "--role", "caller"))
    assert "(assumed)" not in coil.output and "coil" in coil.output
    wrong = chat("x", options=("--appliance", "no_such_range"))
    assert wrong.exit_code == 2 and "no_such_range" in wrong.output
    both = chat("x", options=("--server", "http://127.0.0.1:9", "--book", "."))
    assert both.exit_code == 2 and "leave --book or --server out" in both.output


def test_a_service_that_does_not_answer() -> None:
    result = chat("x", options=("--server", "http://127.0.0.1:9"))
    assert result.exit_code == 4 and "does not answer" in result.output


def test_ctrl_c_leaves_cleanly(tmp_path: Path) -> None:
    out = tmp_path / "out"
    with out.open("wb") as written:
        program = [sys.executable, "-u", "-c", "from service.cli import main; main()", "chat"]
        process = subprocess.Popen(program, stdin=subprocess.PIPE, stdout=written, stderr=subprocess.STDOUT)
        try:
            for _ in range(600):
                if b"What is wrong" in out.read_bytes():
                    break
                time.sleep(0.1)
            os.kill(process.pid, signal.SIGINT)
            assert process.wait(timeout=30) == 0
        finally:
            process.kill()
            process.wait()
            assert process.stdin is not None
            process.stdin.close()
    assert b"Traceback" not in out.read_bytes()
