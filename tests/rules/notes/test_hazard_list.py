"""Dangers through the whole triage: a clear one stops, a doubtful one is asked about first, and talk does neither."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from rules import Enquiry, Expert, Fact, triage
from rules.bookkeeping.yamlsource import parse
from rules.notes.scoring import Hazard
from service.notes_cli import hazard_of
from tests.rules.notes.conftest import PHRASES

LISTED: dict[str, Any] = parse("hazards.yaml", (PHRASES.parent / "hazards.yaml").read_text(encoding="utf-8")).data
STOPS = [note for notes in LISTED["stops"].values() for note in notes]


@pytest.fixture(scope="module")
def does(expert: Expert) -> Callable[[str], Hazard]:
    return hazard_of(expert)


def test_the_list_is_long_enough() -> None:
    assert len(set(STOPS)) >= 120
    assert len(set(LISTED["calm"]) | set(LISTED["asks"])) >= 60


@pytest.mark.parametrize("note", STOPS)
def test_a_clear_danger_stops(note: str, does: Callable[[str], Hazard]) -> None:
    assert does(note) == "stop"


@pytest.mark.parametrize("note", LISTED["asks"])
def test_a_doubtful_danger_is_asked_about_first(note: str, expert: Expert, does: Callable[[str], Hazard]) -> None:
    assert does(note) == "ask"
    assert triage(expert, Enquiry(note)).next_tests[0].test == "ask_hazard"


@pytest.mark.parametrize("note", LISTED["calm"])
def test_denied_past_or_figurative_danger_does_not_stop(note: str, does: Callable[[str], Hazard]) -> None:
    assert does(note) == "none"


def test_a_doubtful_danger_beside_a_clear_one_stops(expert: Expert) -> None:
    assert triage(expert, Enquiry("maybe a little smoke, and the plug is melted")).stop is not None


def test_a_danger_given_as_doubtful_fact_asks_and_as_said_stops(expert: Expert) -> None:
    doubtful = Fact("hazard.smoke", "yes", certainty="hedged")
    assert triage(expert, Enquiry(facts=(doubtful,))).stop is None
    assert triage(expert, Enquiry(facts=(Fact("hazard.smoke", "yes"),))).stop is not None
