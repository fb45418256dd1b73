"""Belief: exact, order-free, never zero."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from rules import Enquiry, Expert, triage
from rules.belief.posterior import believe, error_for, error_of, heard, likelihood
from rules.belief.questions import questions
from rules.belief.signatures import build
from rules.belief.stack import mistakes
from rules.bookkeeping.types import FactTerm
from rules.casefile import Statement
from rules.enquiry import fact_from_text
from rules.terms import fact_of
from tests.conftest import Asker


def statement(number: int, key: str, word: str, source: str = "caller") -> Statement:
    return Statement(number, ((key, word),), source, "said")


def test_bayes_by_hand(expert: Expert) -> None:
    """Two statements; the posterior equals prior times likelihoods worked out here term by term."""
    signatures = expert.signatures(expert.book.appliances["coil_range"])
    said = [statement(0, "display", "dark"), statement(1, "oven.lamp", "dark")]
    belief = believe(signatures, signatures.prior, np.ones(len(signatures.prior)), said)
    weights = []
    for number, prior in enumerate(signatures.prior):
        weight = float(prior)
        for key, word in (("display", "dark"), ("oven.lamp", "dark")):
            term = expert.book.facts[key]
            wrong = mistakes(term, signatures.usual[key])
            row = signatures.tables[key][number]
            words = list(term.values)
            column = words.index(word)
            by_mistake = sum(row[u] * wrong[u][column] for u in range(len(words)))
            weight *= row[column] * (1 - 0.08 * wrong[column].sum()) + 0.08 * by_mistake + 1e-9
        weights.append(weight)
    assert belief.probability == pytest.approx(np.array(weights) / sum(weights), rel=1e-9)


def test_rows_of_what_is_heard_sum_to_one(expert: Expert) -> None:
    signatures = expert.signatures(expert.book.appliances["radiant_range"])
    for key, table in signatures.tables.items():
        term: FactTerm = expert.book.facts[fact_of(key)]
        assert table.sum(axis=1) == pytest.approx(1)
        assert heard(table, term, signatures.usual[key], 0.08).sum(axis=1) == pytest.approx(1)
        assert (heard(table, term, signatures.usual[key], 0.08) >= 0).all()


def test_nothing_is_ever_impossible(expert: Expert) -> None:
    signatures = expert.signatures(expert.book.appliances["radiant_range"])
    for key, table in signatures.tables.items():
        term = expert.book.facts[fact_of(key)]
        for word in term.values:
            assert (likelihood(signatures, statement(0, key, word, "technician")) > 0).all()
        assert table.shape[1] == len(term.values)


def test_prior_sums_to_one_and_places_share_a_fault_s_weight(expert: Expert) -> None:
    signatures = expert.signatures(expert.book.appliances["radiant_range"])
    assert signatures.prior.sum() == pytest.approx(1)
    share = {}
    for hypothesis, prior in zip(signatures.hypotheses, signatures.prior, strict=True):
        share[hypothesis.name] = share.get(hypothesis.name, 0) + prior
    ratio = share["surface.element_open"] / share["oven.bake_element_open"]
    assert ratio == pytest.approx(5 / 5)


def test_errors_are_never_zero_and_grow_with_doubt() -> None:
    for source in ("caller", "desk", "note", "technician"):
        assert 0 < error_of(source, "measured") <= error_of(source, "said") < error_of(source, "hedged") < 0.5


def test_a_test_may_state_an_error_of_its_own(expert: Expert) -> None:
    """A question that callers get wrong more often weighs less, and only theirs; a note is worse in proportion."""
    plain = expert.signatures(expert.book.appliances["coil_range"])
    cards = dict(expert.book.tests)
    cards["ask_display"] = replace(cards["ask_display"], error=0.3)
    shaky = build(replace(expert.book, tests=cards), plain.appliance)
    assert error_for(plain, "display", "caller", "said") == 0.08
    assert error_for(shaky, "display", "caller", "said") == 0.3
    assert error_for(shaky, "display", "note", "said") == pytest.approx(0.45)
    assert error_for(shaky, "display", "technician", "said") == error_for(plain, "display", "technician", "said")
    assert error_for(shaky, "oven.lamp", "caller", "said") == 0.08
    said = [statement(0, "display", "dark")]
    ones = np.ones(len(plain.prior))
    top = [believe(s, s.prior, ones, said).probability.max() for s in (plain, shaky)]
    assert top[1] < top[0]
    asked, sure = (questions(s, "caller") for s in (shaky, plain))
    number = [q.card.test for q in asked.asked].index("ask_display")
    assert asked.gains(plain.prior, plain.repair)[number] < sure.gains(plain.prior, plain.repair)[number]


def test_bits_are_what_a_fact_adds_to_the_odds(ask: Asker) -> None:
    """Odds with and without one fact, asked twice, differ by the bits shown for it."""
    facts = ("oven.bake.heat=none", "display=lit", "oven.broil.heat=none", "surface.heat@left_front=normal")
    whole = ask(None, *facts, explain="full")
    for left_out, text in enumerate(facts):
        rest = ask(None, *(f for f in facts if f != text), explain="full")
        number = next(n for n, fact in enumerate(whole.understood) if text == f"{fact.key}={fact.value}")
        before = {(c.fault, c.where): c.probability for c in rest.conclusions}
        for c in whole.conclusions:
            bits = {entry.fact: entry.bits for entry in c.bits}
            p, q = c.probability, before.get((c.fault, c.where))
            if q is not None and left_out != 3 and min(p, q) > 0.03:  # the last fact also moves the prior of its unit
                moved = np.log2(p / (1 - p)) - np.log2(q / (1 - q))
                assert bits[number] == pytest.approx(moved, abs=0.06)


def test_a_fault_outlives_one_wrong_answer(ask: Asker) -> None:
    """The true fault stays in the list after one answer that contradicts it."""
    answer = ask(None, "display=lit", "surface.heat@all=none", "oven.bake.heat=none", "oven.broil.heat=normal")
    assert "supply.leg_l2_open" in [c.fault for c in answer.conclusions]


def test_a_shift_moves_the_odds_by_its_factor(expert: Expert, ask: Asker) -> None:
    def odds(*facts: str) -> float:
        answer = ask(None, "oven.bake.heat=none", "display=lit", *facts)
        p = {c.fault: c.probability for c in answer.conclusions}
        return p["oven.thermal_cutout_open"] / p["oven.sensor_open"]

    assert odds("self_clean_days=1 day") / odds() == pytest.approx(5, rel=0.02)


def test_unnamed_speaks_for_whichever_unit_it_is(ask: Asker) -> None:
    """One burner among equals: the unnamed unit weighs what a fault weighs on all of them together."""
    answer = ask(None, "surface.heat@unnamed=none", "surface.heat@others=normal")
    assert {c.where for c in answer.conclusions} == {"unnamed"}
    assert sum(c.probability for c in answer.conclusions) > 0.9


def test_every_single_fault_is_believed_when_it_shows_itself(expert: Expert) -> None:
    """Feed each fault's own commonest words back as a technician's: it ends in front, or beside its equals."""
    signatures = expert.signatures(expert.book.appliances["radiant_range"])
    misses = []
    for number, hypothesis in enumerate(signatures.hypotheses[:-1]):
        facts = []
        for key, table in signatures.tables.items():
            term = expert.book.facts[fact_of(key)]
            if term.kind == "choice" and table[number].max() > 0.9:
                facts.append(f"{key}={list(term.values)[int(table[number].argmax())]}")
        read = tuple(fact_from_text(fact, expert.book.facts, "technician") for fact in facts)
        answer = triage(expert, Enquiry(facts=read, role="technician"))
        named = {(c.fault, c.where) for c in answer.conclusions} | {(c.fault, None) for c in answer.conclusions}
        if (hypothesis.name, hypothesis.where) not in named:
            misses.append(hypothesis.name)
    # These differ from a sound range only in a number, or not at all; numbers are left out above.
    unseen = {"settings.user_offset_low", "settings.user_offset_high", "settings.thermometer_misread"}
    unseen |= {"oven.sensor_reads_high", "oven.sensor_reads_low", "supply.voltage_208", "oven.bake_element_grounded"}
    unseen |= {"oven.sensor_drifted", "oven.sensor_other_curve"}
    unseen |= {f"oven.{element}_element_partly_shorted" for element in ("bake", "broil", "convection")}
    unseen |= {
        "surface.glass_cracked",
        "supply.leg_l1_joint_burnt",
        "supply.leg_l2_joint_burnt",
        "supply.neutral_loose",
        # insulation, bond and sag are numbers; a worn ground-fault breaker shows itself only more often than not
        "supply.surface_element_leaks",
        "supply.bake_element_leaks",
        "supply.broil_element_leaks",
        "supply.ground_open_cord",
        "supply.sags_with_other_loads",
        "supply.gfci_worn",
        # at the edge of its size a wet keypad is no key held down, and a low supply is no weak heat
        "control.keypad_wet",
        "supply.voltage_low",
    }
    assert set(misses) <= unseen
