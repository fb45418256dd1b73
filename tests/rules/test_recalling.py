"""Answers kept for enquiries that come again."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

import pytest

from rules import Answers, Enquiry, Expert, Fact, InputError, triage
from rules.recalling import USUAL, VARIABLE, most_kept

DARK = Fact("display", "dark")


def test_an_equal_enquiry_gets_the_same_answer_and_another_its_own(expert: Expert) -> None:
    answers = Answers(expert, 8)
    first = answers.triage(Enquiry(facts=(DARK,)))
    assert answers.triage(Enquiry(facts=(DARK,))) is first
    assert first == triage(expert, Enquiry(facts=(DARK,)))
    for other in (Enquiry(facts=(DARK,), role="technician"), Enquiry(facts=(DARK,), explain="full")):
        assert answers.triage(other) == triage(expert, other)
    assert answers.recalled == 1


def test_numbers_written_differently_are_not_mixed_up(expert: Expert) -> None:
    answers = Answers(expert, 8)
    whole, broken = (Enquiry(facts=(Fact("self_clean_days", value),)) for value in (1, 1.0))
    assert whole == broken
    answers.triage(whole)
    assert answers.triage(broken).decision_id == triage(expert, broken).decision_id
    assert answers.recalled == 0


def test_the_one_asked_for_longest_ago_goes_first(expert: Expert) -> None:
    answers = Answers(expert, 2)
    one, two, three = (Enquiry(facts=(Fact("display", word),)) for word in ("dark", "lit", "dim"))
    kept = answers.triage(one)
    answers.triage(two)
    assert answers.triage(one) is kept
    answers.triage(three)
    assert answers.triage(one) is kept
    recalled = answers.recalled
    answers.triage(two)
    assert answers.recalled == recalled


def test_none_kept(expert: Expert) -> None:
    answers = Answers(expert, 0)
    first = answers.triage(Enquiry(facts=(DARK,)))
    again = answers.triage(Enquiry(facts=(DARK,)))
    assert again == first
    assert again is not first


def test_what_is_refused_is_refused_again(expert: Expert) -> None:
    answers = Answers(expert, 8)
    for _ in range(2):
        with pytest.raises(InputError, match="missing"):
            answers.triage(Enquiry())


def test_from_many_threads(expert: Expert) -> None:
    answers = Answers(expert, 3)
    asked = [Enquiry(facts=(Fact("display", word),)) for word in ("dark", "lit", "dim", "flickers") if word in
             expert.book.facts["display"].values]  # fmt: skip
    right = {enquiry: triage(expert, enquiry) for enquiry in asked}
    with ThreadPoolExecutor(4) as pool:
        given = list(pool.map(answers.triage, asked * 10))
    assert given == [right[enquiry] for enquiry in asked * 10]


@pytest.mark.parametrize(("said", "most"), [("0", 0), ("12", 12), ("", USUAL), ("many", USUAL), ("-1", USUAL)])
def test_the_environment_says_how_many(said: str, most: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(VARIABLE, said)
    assert most_kept() == most
