"""Next tests: information over minutes, allowed ones only."""

from __future__ import annotations

import numpy as np
import pytest

from rules import Expert
from rules.belief.choosing import MOST_TESTS, MOST_WEIGHED, Gate, choose
from rules.belief.questions import information
from rules.triage import consider, gate_of
from tests.benchmarks.cases import likely_sets
from tests.conftest import Asker


def test_information_of_a_certain_split_and_of_none() -> None:
    perfect = np.array([[1.0, 0.0], [0.0, 1.0]])
    useless = np.array([[0.5, 0.5], [0.5, 0.5]])
    even = np.array([0.5, 0.5])
    assert information(perfect, even) == pytest.approx(1)
    assert information(useless, even) == pytest.approx(0)
    assert information(perfect, np.array([1.0, 0.0])) == pytest.approx(0)


def test_information_golden_row_one() -> None:
    """Priors and test matrix of Pattipati and Alexandridis (from memory); gains as in method G1."""
    prior = np.array([0.70, 0.01, 0.02, 0.10, 0.05, 0.12])
    matrix = ["00000", "01001", "00110", "10011", "11000", "11110"]
    gains = []
    for test in range(5):
        positive = np.array([float(row[test]) for row in matrix])
        gains.append(information(np.stack([1 - positive, positive], axis=1), prior))
    assert gains == pytest.approx([0.8415, 0.6801, 0.5842, 0.7950, 0.4999], abs=5e-5)


def test_outcomes_are_a_distribution_and_lead_somewhere(ask: Asker) -> None:
    answer = ask(None, "oven.bake.heat=none", "display=lit", "hazard.any=no")
    assert answer.next_tests
    for test in answer.next_tests:
        assert sum(outcome.probability for outcome in test.outcomes) == pytest.approx(1, abs=0.001)
        assert test.gain_bits > 0
    symbols = next(test for test in answer.next_tests if test.test == "ask_symbols")
    leads = {outcome.value: outcome.leads_to for outcome in symbols.outcomes}
    assert leads["lock"][0] == "settings.control_lock"
    assert leads["timer"][0] == "settings.delayed_start"


def test_what_is_known_is_not_asked(ask: Asker) -> None:
    answer = ask(None, "oven.bake.heat=none", "display=lit", "symbols=none", "hazard.any=no")
    asked = {test.reads for test in answer.next_tests}
    assert not asked & {"symbols", "display", "oven.bake.heat", "hazard.any"}


def test_asking_stops_when_it_is_as_good_as_certain(ask: Asker) -> None:
    seen = ("oven.lamp=dark", "oven.lamp_door=dark", "display=lit", "oven.bake.heat=normal", "winding.lamp=open")
    answer = ask(None, *seen, role="technician")
    assert answer.conclusions[0].fault == "oven.lamp_dead"
    assert answer.conclusions[0].probability > 0.9
    assert answer.next_tests == ()


def test_more_information_a_minute_comes_first(ask: Asker) -> None:
    tests = ask(None, "oven.bake.heat=none", "display=lit", "hazard.any=no").next_tests
    rates = [test.gain_bits / test.minutes for test in tests]
    assert rates == sorted(rates, reverse=True)


def test_a_gate_that_forbids_something_lets_nothing_out_of_nothing(expert: Expert) -> None:
    gate = Gate("technician", frozenset(), frozenset(expert.book.tests), True, frozenset(), tools=frozenset())
    assert gate.may_come([]).tolist() == []


def test_the_few_that_are_listed_are_the_first_of_all(expert: Expert) -> None:
    """What is not worked out because enough others pay changes neither their order nor what they save."""
    saved_work = 0
    for enquiry in (*likely_sets(expert, 60, "desk", chance=9), *likely_sets(expert, 60, "technician", chance=9)):
        seen = consider(expert, enquiry)
        signatures, probability = seen.belief.signatures, seen.belief.probability
        gate = gate_of(expert.book, enquiry.role, seen.case, seen.fired, stop=seen.stop)
        places = signatures.appliance.positions
        few, every = (choose(signatures, probability, gate, places, most) for most in (MOST_TESTS, None))
        assert [(t.key, t.card.test, t.outcomes, t.pays) for t in few] == [
            (t.key, t.card.test, t.outcomes, t.pays) for t in every[: len(few)]
        ]
        assert [t.saves for t in few] == [
            t.saves if t.saves is None else pytest.approx(t.saves) for t in every[: len(few)]
        ]
        saved_work += sum(t.pays for t in every) > MOST_TESTS and len(every) <= MOST_WEIGHED
    assert saved_work  # in some cases there was something to leave out
