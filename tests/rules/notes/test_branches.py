"""Branches of spellings: joined, they hold what each of them held."""

from __future__ import annotations

import pytest

from rules.notes.branches import Branch, ClashError, Memo, grown, joined


def test_what_was_let_go_is_taken_for_nothing_else() -> None:
    """The same memory is used again and again here; what was joined before must not come back for it."""
    memo: Memo[int] = {}
    ends = [Branch(number, {}) for number in range(500)]
    met = set()
    for number, end in enumerate(ends):
        one, other = Branch(None, {"a": end}), Branch(None, {"b": end})
        met.add((id(one), id(other)))
        assert joined(one, other, memo).at(("a",)) == number
        del one, other
    assert len(met) == len(ends), "what is joined is kept as long as it is remembered"


def test_a_phrase_with_many_choices_keeps_every_spelling() -> None:
    choices = [(f"w{first}", f"v{second}") for first in range(40) for second in range(40)]
    branch = grown([choices, [("end",), ()]], "it")
    assert all(branch.at(words) == "it" and branch.at((*words, "end")) == "it" for words in choices)


def test_one_spelling_of_two_things_is_refused() -> None:
    memo: Memo[str] = {}
    with pytest.raises(ClashError):
        joined(grown([[("a",)]], "one"), grown([[("a",)]], "other"), memo)
