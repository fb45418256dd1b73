"""``coldleg rules``: exit codes, reports and what is said of wrong names."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

import rules
from rules import Expert, open_book
from rules.checking import KINDS, report
from service.opening import opened
from service.rules_cli import rules_group

SHIPPED = Path(rules.__file__).parent / "book"
RING = """
- rule: ring
  when: {all: [{fact: display, is: lit}, {not: {fact: leg.both_alive, is: yes}}]}
  derive: [{fact: leg.both_alive, value: yes}]
  because: It ends the absence it waits for.
  source: invented
  fires_on: [{display: lit}]
  silent_on: [{display: dark}]
"""
UNTRUE = """
- rule: untrue
  when: {all: [{fact: oven.lamp, is: dark}]}
  shift: [{faults: [oven.lamp_dead], factor: 2}]
  because: The lamp is dark.
  source: invented
  fires_on: [{oven.lamp: lit}]
  silent_on: [{oven.lamp: dim}]
"""

TWIN = """
- fault: oven.lamp_dead_too
  title: a lamp that is dead in the same way
  only: {oven: [yes]}
  weight: 1
  effects: [{part: oven_lamp, mode: open}]
  parts: [oven_lamp]
  minutes: [5, 10]
  skill: appliance_technician
  urgency: routine
  limit: none
  tell: The range may be used.
  because: No test tells it from the first.
  source: invented
"""


@pytest.fixture(autouse=True)
def opened_once(expert: Expert, monkeypatch: pytest.MonkeyPatch) -> None:
    """The shipped book is open already; another one is opened as ever."""
    monkeypatch.setattr("service.rules_cli.opened", lambda book: expert if book is None else opened(book))
    monkeypatch.setattr("service.rules_cli.open_book", lambda book: expert if book is None else open_book(book))


def run(*arguments: str) -> Result:
    return CliRunner().invoke(rules_group, list(arguments))


@pytest.fixture
def book(tmp_path: Path) -> Path:
    return Path(shutil.copytree(SHIPPED, tmp_path / "book"))


def add(book: Path, text: str, kind: str = "trade") -> None:
    (book / kind / "added.yaml").write_text(text, encoding="utf-8")


# --- check -------------------------------------------------------------------------------------------------------
def test_check_tells_findings_by_kind(book: Path) -> None:
    add(book, UNTRUE)
    add(book, TWIN, "faults")
    done = run("check", "--groups", "--book", str(book))
    assert done.exit_code == 1
    lines = done.output.splitlines()
    assert [line.split()[0] for line in lines[1 : 1 + len(KINDS)]] == list(KINDS)
    assert "error: example-does-not-hold: trade/added.yaml:2: untrue" in lines
    assert any(line.startswith("  oven.lamp_dead_too, oven.lamp_dead  [oven_lamp]") for line in lines)
    assert lines[-1].endswith("the book needs mending.")


def test_check_as_json_agrees_with_its_exit_code(expert: Expert) -> None:
    done = run("check", "--json")
    said = json.loads(done.output)
    errors = [f for f in said["findings"] if f["level"] == "error" and not f["accepted"]]
    assert said["ok"] is (not errors) is (done.exit_code == 0)
    assert {"kind", "where", "subject", "message", "level", "accepted"} == set(said["findings"][0])
    assert [tuple(group["members"]) for group in said["ambiguity_groups"]] == [g.members for g in report(expert).groups]


def test_rules_that_cannot_be_chained_are_findings(book: Path) -> None:
    add(book, RING)
    done = run("check", "--book", str(book))
    assert done.exit_code == 1
    assert "error: negation-not-stratified: trade/added.yaml:2: ring" in done.output


def test_a_book_that_cannot_be_loaded_ends_with_3(book: Path) -> None:
    add(book, UNTRUE.replace("is: dark", "is: darkk"))
    done = run("check", "--book", str(book))
    assert done.exit_code == 3
    assert "trade/added.yaml:3" in done.output
    assert "Traceback" not in done.output


# --- test --------------------------------------------------------------------------------------------------------
def test_the_shipped_examples_hold(expert: Expert) -> None:
    done = run("test", "--json")
    said = json.loads(done.output)
    assert done.exit_code == 0
    assert (said["failed"], said["coverage"], said["uncovered"]) == ([], 1.0, [])
    assert said["examples"] == sum(len(r.fires_on) + len(r.silent_on) for r in expert.book.rules.values())


def test_a_failing_example_and_a_threshold(book: Path) -> None:
    add(book, UNTRUE)
    done = run("test", "--threshold", "0", "--book", str(book))
    assert done.exit_code == 1  # coverage would do, the failed example does not
    assert "failed: trade/added.yaml:2: untrue/fires_on/0: should fire and does not" in done.output
    assert "uncovered: trade/added.yaml:2: untrue" in done.output
    assert run("test", "--threshold", "1.2").exit_code == 2


# --- list and show -----------------------------------------------------------------------------------------------
def test_list_filters(expert: Expert) -> None:
    every = run("list").stdout.splitlines()
    assert len(every) == len(expert.book.rules)
    stops = {line.split()[0] for line in run("list", "--act", "stop").stdout.splitlines()}
    assert stops == {rule.rule for rule in expert.book.rules.values() if rule.stop}
    named = {line.split()[0] for line in run("list", "--points-to", "supply.leg_l2_open").stdout.splitlines()}
    assert {"one-leg-lost", "both-legs-hold-under-load"} <= named
    reads = {line.split()[0] for line in run("list", "--fact", "symbols", "--act", "points_to").stdout.splitlines()}
    assert "demo-symbol" in reads
    assert "one-leg-lost" not in reads


def test_show_prints_a_sentence_with_source_and_examples() -> None:
    done = run("show", "one-leg-lost")
    assert done.exit_code == 0
    assert "this points to" in done.output
    assert "because the display runs from one 120 V leg" in done.output
    for label in ("Not when", "Source", "Written", "Fires on", "Silent on"):
        assert f"\n{label}" in done.output


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("show", "one-leg-los"), "did you mean 'one-leg-lost'"),
        (("list", "--points-to", "supply.leg_l2_opn"), "did you mean 'supply.leg_l2_open'"),
        (("list", "--fact", "displya"), "did you mean 'display'"),
    ],
)
def test_unknown_names_end_with_2(arguments: tuple[str, ...], told: str) -> None:
    done = run(*arguments)
    assert done.exit_code == 2
    assert told in done.output
