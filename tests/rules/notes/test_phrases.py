"""Precision, recall, polarity and dangers over the labelled phrases: the half tuned on, and the frozen half."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner

from rules import Expert, open_book
from rules.bookkeeping.yamlsource import YamlSource, parse
from rules.notes import NoteReading
from rules.notes.scoring import Phrase, Score, load_phrases, score, stops
from rules.terms import BookError
from service import notes_cli
from service.cli import main
from service.notes_cli import MOST_FALSE_STOPS, MOST_POLARITY, shortfalls
from tests.rules.notes.conftest import PHRASES

TUNED, FROZEN = ("tuned", "calls_tuned"), ("frozen", "calls_frozen")


@pytest.fixture(scope="module")
def expert() -> Expert:
    return open_book()


def source(name: str) -> YamlSource:
    return parse(name, (PHRASES / f"{name}.yaml").read_text(encoding="utf-8"))


def phrases(expert: Expert, names: tuple[str, ...]) -> list[Phrase]:
    return [phrase for name in names for phrase in load_phrases(source(name), expert.book.facts)]


def scored(expert: Expert, names: tuple[str, ...], read: Callable[..., NoteReading]) -> Score:
    return score(phrases(expert, names), read, notes_cli.hazard_of(expert)).total


def test_the_tuned_half_reaches_the_thresholds(expert: Expert, read: Callable[..., NoteReading]) -> None:
    total = scored(expert, TUNED, read)
    assert shortfalls(total) == []
    assert (total.precision, total.recall) >= (0.98, 0.97)
    assert total.forbidden <= 1


def test_what_the_lexicon_grew_by_is_still_read(expert: Expert, read: Callable[..., NoteReading]) -> None:
    total = scored(expert, ("grown",), read)
    assert shortfalls(total) == []


def test_the_frozen_half_does_not_fall_back(expert: Expert, read: Callable[..., NoteReading]) -> None:
    """Scored 0.928 precision, 0.932 recall, 1.0 % wrong polarity and no danger missed when it was first gated.

    What it must come to is 0.95, 0.85, 2 % and none; precision is still short.
    """
    total = scored(expert, FROZEN, read)
    print(total, f"precision {total.precision:.3f}, recall {total.recall:.3f}")
    assert total.precision >= 0.92
    assert total.recall >= 0.92
    assert total.polarity_errors <= MOST_POLARITY
    assert total.missed_dangers == 0
    assert total.false_stop_share <= MOST_FALSE_STOPS


def test_the_halves_are_large_and_alike(expert: Expert) -> None:
    tuned, frozen = phrases(expert, TUNED), phrases(expert, FROZEN)
    assert len(tuned) + len(frozen) >= 400
    assert abs(len(tuned) - len(frozen)) <= 30
    assert {phrase.category for phrase in tuned} == {phrase.category for phrase in frozen}
    assert not {phrase.note for phrase in tuned} & {phrase.note for phrase in frozen}


def test_a_score_counts_what_it_says(expert: Expert, read: Callable[..., NoteReading]) -> None:
    text = """
one:
  - {note: left front is dead, facts: {surface.heat@left_front: normal}}
  - {note: smoke, facts: {hazard.smoke: yes}}
  - {note: smoke again, hazard: none, may: {hazard.smoke: yes}}
  - {note: the display is dark, facts: {display: dark, oven.keys: dead}, hedged: [display]}
"""
    report = score(load_phrases(parse("x", text), expert.book.facts), read, notes_cli.hazard_of(expert))
    total = report.total
    assert (total.phrases, total.right, total.wrong, total.missed) == (4, 2, 1, 2)
    assert (total.polarity, total.certainty) == (1, 1)
    assert (total.dangers, total.missed_dangers, total.calm, total.false_stops) == (1, 0, 3, 1)
    assert [miss.phrase.note for miss in report.misses] == ["left front is dead", "smoke again", "the display is dark"]
    assert (total.precision, total.recall) == (2 / 3, 0.5)


def test_an_empty_score_is_no_error() -> None:
    assert (Score().precision, Score().recall, Score().polarity_errors, Score().false_stop_share) == (1, 1, 0, 0)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("- note: x", "categories"),
        ("one: x", "list of phrases"),
        ("one: [{facts: {display: lit}}]", "note: the words"),
        ("one: [{note: x, facts: {dsplay: lit}}]", "did you mean 'display'"),
        ("one: [{note: x, facts: {display: bright}}]", "no value"),
        ("one: [{note: x, hazard: maybe}]", "write one of stop"),
        ("one: [{note: x, fact: {}}]", "unknown field"),
    ],
)
def test_a_wrong_label_is_refused_with_its_line(text: str, words: str, expert: Expert) -> None:
    with pytest.raises(BookError, match="x:1") as caught:
        load_phrases(parse("x", text), expert.book.facts)
    assert words in str(caught.value)


def test_what_stops() -> None:
    assert stops("hazard.smoke", "yes")
    assert stops("surface.off_heat@left_front", "some")
    assert not stops("hazard.smoke", "no")


def test_the_command_scores_lists_and_gates(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, expert: Expert) -> None:
    monkeypatch.setattr(notes_cli, "opened", lambda _: expert)
    good, bad, unread = tmp_path / "good.yaml", tmp_path / "bad.yaml", tmp_path / "unread.txt"
    good.write_text("one: [{note: the oven is cold, facts: {oven.bake.heat: none}}]\n")
    bad.write_text("one: [{note: the drawer squeaks, facts: {oven.bake.heat: none}}]\n")
    passed = CliRunner().invoke(main, ["notes", "score", str(good), "--gate"])
    assert passed.exit_code == 0
    assert "1.000" in passed.stdout
    args = ["notes", "score", str(bad), "--gate", "--misses", "--unread", str(unread)]
    failed = CliRunner().invoke(main, args)
    assert failed.exit_code == 1
    assert "missed oven.bake.heat=none" in failed.stdout
    assert "recall 0.000 is below" in failed.stderr
    assert unread.read_text() == "1\tdrawer squeaks\n"
    assert CliRunner().invoke(main, ["notes", "score", str(tmp_path / "none.yaml")]).exit_code == 2
