"""Precision, recall, polarity and dangers over the labelled phrases: the half tuned on, and the frozen half."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner

from rules import Expert
from rules.bookkeeping.yamlsource import YamlSource, parse
from rules.notes import NoteReading
from rules.notes.scoring import Hazard, Phrase, Score, load_phrases, score, stops
from rules.terms import BookError
from service import notes_cli
from service.cli import main
from service.notes_cli import MOST_FALSE_STOPS, MOST_POLARITY, shortfalls
from tests.rules.notes.conftest import PHRASES

FRESH = (
    "fresh_1", "fresh_2", "fresh_3", "fresh_4", "fresh_5", "fresh_6", "fresh_7", "fresh_8", "fresh_9", "fresh_10",
    "dangers", "dangers_2", "dangers_3", "dangers_4", "dangers_5", "dangers_6", "dangers_7",
)  # fmt: skip
TUNED, FROZEN = ("tuned", "calls_tuned"), ("frozen", "calls_frozen")


def source(name: str) -> YamlSource:
    return parse(name, (PHRASES / f"{name}.yaml").read_text(encoding="utf-8"))


def phrases(expert: Expert, names: tuple[str, ...]) -> list[Phrase]:
    return [phrase for name in names for phrase in load_phrases(source(name), expert.book.facts)]


def scored(expert: Expert, names: tuple[str, ...], read: Callable[..., NoteReading]) -> Score:
    whole = notes_cli.hazard_of(expert)

    def hazard_of(note: str) -> Hazard:
        """Only a note of which something dangerous was read goes through the whole triage."""
        return whole(note) if any(stops(fact.key, fact.value) for fact in read(note).facts) else "none"

    return score(phrases(expert, names), read, hazard_of).total


def test_the_tuned_half_reaches_the_thresholds(expert: Expert, read: Callable[..., NoteReading]) -> None:
    total = scored(expert, TUNED, read)
    assert shortfalls(total) == []
    assert (total.precision, total.recall) >= (0.98, 0.97)
    assert total.forbidden <= 1


def test_what_the_lexicon_grew_by_is_still_read(expert: Expert, read: Callable[..., NoteReading]) -> None:
    total = scored(expert, ("grown",), read)
    assert shortfalls(total) == []


def test_the_frozen_half_reaches_the_goal(expert: Expert, read: Callable[..., NoteReading]) -> None:
    """Scored 0.928 precision and 0.932 recall when first gated, 0.948 and 0.944 later; no danger was ever missed.

    It must come to 0.95 precision, 0.85 recall, 2 % wrong polarity and no danger missed.
    """
    total = scored(expert, FROZEN, read)
    print(total, f"precision {total.precision:.3f}, recall {total.recall:.3f}")
    assert total.precision >= 0.95
    assert total.recall >= 0.94
    assert total.polarity_errors <= MOST_POLARITY
    assert total.missed_dangers == 0
    assert total.false_stop_share <= MOST_FALSE_STOPS


def test_what_callers_say_of_doors_fans_rings_and_the_past_is_read(
    expert: Expert, read: Callable[..., NoteReading]
) -> None:
    """The held half scored 0.852 precision and recall when its words were first read; none was added because of it."""
    tuned, held = scored(expert, ("told_tuned",), read), scored(expert, ("told_held",), read)
    assert shortfalls(tuned) == []
    assert (held.precision, held.recall) >= (0.90, 0.84)
    assert (held.missed_dangers, held.false_stops) == (0, 0)


def test_batches_read_since_do_not_fall_back(expert: Expert, read: Callable[..., NoteReading]) -> None:
    """First scores, precision and recall: 0.841/0.865, 0.717/0.747, 0.619/0.703, 0.740/0.844, 0.769/0.833 of the first
    five; 0.785/0.725, 0.730/0.730, 0.829/0.802, 0.759/0.759, 0.947/0.831 of the next; 0.736/0.882,
    0.729/0.814, 0.608/0.721 and 0.706/0.837 of the dangers.

    The last three rounds of dangers judge dangers only. Of the 84 of the fifth, the phrases alone missed 23 at first
    sight (56 stopped, 5 asked; 4 of 62 harmless notes stopped). With alarms put together from families, begun with the
    fifth in view, 5 of 85 were missed in the sixth (77 stopped, 3 asked; 9 of 62 harmless notes stopped), where phrases
    alone missed 21, and 10 of 50 in the seventh (37 stopped, 3 asked; 4 of 40 harmless notes stopped), where they
    missed 17.

    At first sight 1, 2, 6 and 6 dangers were missed in the sixth to the ninth batch, none in the tenth, 4, 8, 10 and 5
    in the dangers, which are told in as many words as came to mind; of 20 harmless notes each, 4 and 3 of the last two
    stopped. The third and the ninth are mostly of the kinds the reader
    was weakest at. What was wrong was mended after each, so what they score now flatters the reader; only first scores
    tell how it does on new text.
    """
    total = scored(expert, FRESH, read)
    print(total, f"precision {total.precision:.3f}, recall {total.recall:.3f}")
    assert total.precision >= 0.925
    assert total.recall >= 0.93
    assert total.missed_dangers == 0
    assert total.false_stop_share <= MOST_FALSE_STOPS


def test_facts_that_labels_do_not_know_are_not_judged(expert: Expert, read: Callable[..., NoteReading]) -> None:
    judged = "one: [{note: the range is 15 years old, facts: {}}]"
    for head, wrong in (("", 1), ("not_judged: [age]\n", 0)):
        labelled = load_phrases(parse("x", head + judged), expert.book.facts)
        assert score(labelled, read, lambda _: "none").total.wrong == wrong


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
        ("not_judged: [agee]", "did you mean 'age'"),
        ("not_judged: age", "list of facts"),
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
