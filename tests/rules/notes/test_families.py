"""Families of danger crossed with the things they are told of, and harmless talk that sounds like them."""

from __future__ import annotations

from collections.abc import Callable
from itertools import product
from typing import Any

import pytest

from rules.bookkeeping.yamlsource import parse
from rules.notes import NoteReading
from rules.notes.scoring import stops
from tests.rules.notes.conftest import PHRASES

LISTED: dict[str, Any] = parse("families.yaml", (PHRASES.parent / "families.yaml").read_text(encoding="utf-8")).data
Dangerous = Callable[[str], bool]


@pytest.fixture(scope="module")
def dangerous(read: Callable[..., NoteReading]) -> Dangerous:
    return lambda note: any(stops(fact.key, fact.value) for fact in read(note).facts)


@pytest.mark.parametrize("family", LISTED["families"])
def test_no_member_of_a_family_is_passed_over(family: str, dangerous: Dangerous) -> None:
    beginnings, ends = LISTED["families"][family]
    notes = [f"{beginning} {end}" for beginning, end in product(beginnings, ends)]
    assert [note for note in notes if not dangerous(note)] == []


def test_dangers_in_many_registers_are_read(dangerous: Dangerous) -> None:
    assert len(LISTED["told"]) >= 500
    assert [note for note in LISTED["told"] if not dangerous(note)] == []


def test_what_only_sounds_like_them_is_none(dangerous: Dangerous) -> None:
    assert len(LISTED["calm"]) >= 180
    assert [note for note in LISTED["calm"] if dangerous(note)] == []
