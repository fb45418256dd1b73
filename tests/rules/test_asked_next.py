"""Questions that a rule wants next, and what a technician may look at again."""

from __future__ import annotations

import pytest

from rules import Enquiry, Expert, triage
from rules.enquiry import fact_from_text
from tests.conftest import Asker

SAFE = "hazard.any=no"


def test_a_code_on_the_display_is_read_out_next(ask: Asker) -> None:
    answer = ask(None, "display.code=yes", SAFE)
    assert (answer.next_step.do, answer.next_step.test) == ("ask", "ask_which_code")
    assert "proves nothing" in answer.next_step.because
    assert answer.next_tests[0].why == answer.next_step.because


@pytest.mark.parametrize("told", ["error_code=none", "error_code=sensor", "error_code=unknown"])
def test_it_is_asked_once(ask: Asker, told: str) -> None:
    answer = ask(None, "display.code=yes", told, SAFE)
    assert "ask_which_code" not in {test.test for test in answer.next_tests}


def test_danger_is_asked_about_before_the_code(ask: Asker) -> None:
    answer = ask(None, "display.code=yes")
    assert [test.reads for test in answer.next_tests[:2]] == ["hazard.any", "error_code"]
    assert answer.next_step.test == answer.next_tests[0].test


def test_nothing_is_wanted_while_a_stop_stands(ask: Asker) -> None:
    answer = ask(None, "display.code=yes", "hazard.smoke=yes")
    assert answer.stop is not None
    assert "ask_which_code" not in {test.test for test in answer.next_tests}
    assert all(test.from_memory for test in answer.next_tests)


def asked(expert: Expert, told: str, seen: str | None, test: str) -> bool:
    """Whether a technician is offered a look at what a caller told, with what the technician has seen besides."""
    facts = [fact_from_text(told, expert.book.facts, "caller")]
    facts += [fact_from_text(seen, expert.book.facts, "technician")] if seen else []
    enquiry = Enquiry(facts=tuple(facts), role="technician", explain="full")
    return test in {offered.test for offered in triage(expert, enquiry).next_tests}


def test_a_technician_may_look_at_what_a_caller_told(expert: Expert) -> None:
    assert asked(expert, "display=dark", None, "ask_display")
    assert not asked(expert, "display=dark", "display=dark", "ask_display")
    assert not asked(expert, "display=dark", "display=lit", "ask_display")


def test_a_danger_that_a_caller_told_stands(expert: Expert) -> None:
    facts = [fact_from_text("hazard.sparks=yes", expert.book.facts, "caller")]
    facts.append(fact_from_text("hazard.sparks=no", expert.book.facts, "technician"))
    assert triage(expert, Enquiry(facts=tuple(facts), role="technician")).stop is not None
