"""``coldleg evaluate`` on the command line."""

from __future__ import annotations

import importlib.util
import json
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner

from rules.evaluating import Options
from rules.evaluating.soundness import Probe
from service.cli import main

PNG = b"\x89PNG\r\n\x1a\n"


@pytest.fixture(autouse=True)
def _tiny(monkeypatch: pytest.MonkeyPatch) -> None:
    """Quick runs in seconds."""
    probe = Probe(depth=1, width=1, paths=1, wrong=1)

    def tiny(self: Options) -> Options:
        return replace(self, cases=6, orders=0.2, submodels=2, grid=0, every=50, probe=probe)

    monkeypatch.setattr(Options, "quick", tiny)


def run(*arguments: str) -> tuple[int, str, str]:
    result = CliRunner().invoke(main, ["evaluate", *arguments])
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    return result.exit_code, result.stdout, result.stderr


SMALL = ("--quick", "--configuration", "wall_oven", "--processes", "1")


def test_report_is_readable_and_aligned() -> None:
    code, out, err = run(*SMALL)
    assert code == 0
    assert err == ""  # no bar in a pipe
    assert "wall_oven" in out
    for heading in (
        "What must be reached",
        "Telephone only",
        "Visits after",
        "exact optimum",
        "Calibration",
        "Soundness",
    ):
        assert heading in out
    assert "perturbed model" in out
    assert max(map(len, out.splitlines())) < 250


def test_json_has_every_figure_and_repeats() -> None:
    code, out, _ = run(*SMALL, "--json", "--seed", "7")
    again = run(*SMALL, "--json", "--seed", "7")[1]
    shown = json.loads(out)
    assert code == 0
    assert out == again
    assert shown["options"]["seed"] == 7
    oven = shown["configurations"]["wall_oven"]
    assert set(oven["phone"]["at"]) == {"0", "3", "5", "8"}
    top = oven["phone"]["end"]["top1"]
    assert top["low"] <= top["share"] <= top["high"]
    assert oven["phone_calibration"]["ece"] is None  # too few cases
    assert "NaN" not in out


def test_another_seed_draws_others() -> None:
    first, second = (run(*SMALL, "--json", "--seed", seed)[1] for seed in ("1", "2"))
    assert json.loads(first)["configurations"] != json.loads(second)["configurations"]


def test_markdown_is_a_table_with_its_command() -> None:
    code, out, _ = run(*SMALL, "--markdown")
    lines = out.splitlines()
    assert code == 0
    assert lines[0].startswith("| configuration |")
    assert lines[2].startswith("| wall oven |")
    assert lines[0].count("|") == lines[2].count("|")
    assert "coldleg evaluate --seed 1" in out


def test_plot_is_a_png(tmp_path: Path) -> None:
    pytest.importorskip("matplotlib")
    file = tmp_path / "reliability.png"
    code, _, err = run(*SMALL, "--plot", str(file))
    assert code == 0
    assert file.read_bytes().startswith(PNG)
    assert str(file) in err


def test_plot_without_matplotlib_says_how_to_get_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(importlib.util, "find_spec", lambda _name: None)
    code, out, err = run(*SMALL, "--plot", str(tmp_path / "x.png"))
    assert code == 2
    assert out == ""
    assert "coldleg[plot]" in err


@pytest.mark.parametrize(
    ("arguments", "named"),
    [
        (("--configuration", "wall_ofen"), "wall_oven"),
        (("--json", "--markdown"), "--markdown"),
        (("--plot", "somewhere.svg"), ".png"),
        (("--plot", "/nowhere/at/all.png"), "folder"),
        (("--cases", "0"), "--cases"),
        (("--seed", "-1"), "--seed"),
        (("--seed", "many"), "--seed"),
        (("--processes", "0"), "--processes"),
    ],
)
def test_wrong_options_are_refused_before_any_work(arguments: tuple[str, ...], named: str) -> None:
    code, out, err = run("--quick", *arguments)
    assert code == 2
    assert out == ""
    assert named in err
    assert "Traceback" not in err


def test_a_broken_book_ends_with_its_own_code(tmp_path: Path) -> None:
    assert run("--quick", "--book", str(tmp_path))[0] == 3
