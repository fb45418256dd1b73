"""Every rule of the book fires on its own examples and stays silent where it says so."""

from __future__ import annotations

import pytest

from rules import Expert
from rules.bookkeeping.loading import load_book
from rules.bookkeeping.types import Rule
from rules.checking.examples import Example, examples_of, fired_on

BOOK = load_book()
EXAMPLES = [
    pytest.param(rule, example, fires, id=f"{rule.rule}-{'fires' if fires else 'silent'}-{number}")
    for rule in BOOK.rules.values()
    for fires, number, example in examples_of(rule)
]


@pytest.mark.parametrize(("rule", "example", "fires"), EXAMPLES)
def test_examples_hold(expert: Expert, rule: Rule, example: Example, fires: bool) -> None:
    assert (rule.rule in fired_on(expert, example)) is fires


def test_every_fault_is_pointed_at_by_a_rule() -> None:
    pointed = {fault for rule in BOOK.rules.values() for fault in (*rule.points_to, *rule.establishes)}
    assert set(BOOK.faults) == pointed


def test_every_sentence_ends_as_one() -> None:
    for rule in BOOK.rules.values():
        assert rule.because.endswith("."), rule.rule
