"""The perturbed world: what it keeps of the book and what it changes; the people in it."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import numpy as np
import pytest

from rules.evaluating.people import Case, answer, cases, number_in, possible_words, reply
from rules.evaluating.ranking import Ask, Ranker
from rules.evaluating.strain import PERTURBED, Strain
from rules.evaluating.world import World
from rules.terms import ALL, DONT_KNOW, fact_of

STILL = Strain(
    prior_sd=0,
    place_sd=0,
    amounts_sd=0,
    parts_sd=0,
    shows_sd=0,
    supply_volts_sd=0,
    element_mean=1,
    element_sd=0,
    sensor_ohms_sd=0,
    oven_spread_f_sd=0,
    mixed=0,
)

NOMINAL = 4 / 6  # weight of what is seen at the figures of the book, all tolerances in their middle


def world_of(ranker: Ranker, strain: Strain = PERTURBED, start: int = 5) -> World:
    return World(ranker.book, ranker.signatures, strain, np.random.default_rng(start))


def test_without_strain_the_circuit_shows_what_the_table_says(ranker: Ranker) -> None:
    signatures = ranker.signatures
    world = world_of(ranker, STILL)
    rows = [n for n, h in enumerate(signatures.hypotheses) if h.fault]
    happened = world.of([((signatures.hypotheses[n].name, signatures.hypotheses[n].where),) for n in rows])
    for number, happening in zip(rows, happened, strict=True):
        name, where = signatures.hypotheses[number].name, signatures.hypotheses[number].where
        same = [n for n, h in enumerate(signatures.hypotheses) if (h.name, h.where) == (name, where)]
        for key, word in happening.words.items():
            if ranker.book.facts[fact_of(key)].model == "circuit" and word and not ranker.book.faults[name].shows:
                column = list(ranker.book.facts[fact_of(key)].values).index(word)
                assert signatures.tables[key][same, column].max() >= NOMINAL, (name, where, key, word)


def test_strain_makes_appliances_that_the_table_does_not_hold(ranker: Ranker) -> None:
    """Else the ranker would be tested on its own table; and yet it is the same fault that is seen."""
    signatures = ranker.signatures
    tables = {key: table.argmax(axis=1) for key, table in signatures.tables.items()}
    apart = []  # share of what is seen that the nearest row of the table has otherwise
    for happening in world_of(ranker).happenings(150):
        (truth,) = happening.truths
        same = [n for n, h in enumerate(signatures.hypotheses) if (h.name, h.where) == truth]
        shown = {
            key: list(ranker.book.facts[fact_of(key)].values).index(word)
            for key, word in happening.words.items()
            if word and key in tables
        }
        apart.append(min(np.mean([tables[key][n] != column for key, column in shown.items()]) for n in same))
    assert sum(share > 0 for share in apart) >= 10
    assert np.mean(apart) < 0.05


def test_worlds_differ_in_priors_and_minutes_and_repeat_by_their_start(ranker: Ranker) -> None:
    one, again, other = world_of(ranker), world_of(ranker), world_of(ranker, start=6)
    assert np.array_equal(one.prior, again.prior)
    assert not np.allclose(one.prior, other.prior)
    assert one.test_minutes != other.test_minutes
    assert [h.words for h in one.happenings(5)] == [h.words for h in again.happenings(5)]


def test_any_hazard_follows_the_hazards(ranker: Ranker) -> None:
    for happening in world_of(ranker).happenings(100):
        signs = [w for k, w in happening.words.items() if k.startswith("hazard.") and k != "hazard.any"]
        assert "yes" not in signs or happening.words["hazard.any"] == "yes"


def test_two_faults_never_share_a_part_and_none_is_outside(ranker: Ranker) -> None:
    world = world_of(ranker)
    for happening in world.happenings(40, faults=2):
        first, second = (
            {e.part.replace("{where}", w or "") for e in ranker.book.faults[n].effects} for n, w in happening.truths
        )
        assert not first & second
    assert all(not happening.truths and happening.own for happening in world.happenings(20, faults=0))


# --- people --------------------------------------------------------------------------------------------------------
def test_callers_complain_of_what_is_there(ranker: Ranker, drawn: list[Case]) -> None:
    for case in drawn:
        chief = case.complaint[0]
        key = chief.key.replace(f"@{ALL}", f"@{ranker.signatures.appliance.positions[0]}")
        assert key in case.happening.own
        assert case.caller.says[key] == case.happening.words[key] != ranker.signatures.usual[key]


def test_callers_know_no_readings(ranker: Ranker, drawn: list[Case]) -> None:
    told = {fact_of(key) for case in drawn for key in case.caller.says}
    assert told
    assert all(ranker.book.facts[fact].told_by != "technician" for fact in told)


@pytest.mark.parametrize("error", [0.0, 0.2])
def test_odd_things_are_misnamed_as_often_as_asked_for(ranker: Ranker, error: float) -> None:
    world = world_of(ranker, replace(PERTURBED, caller_error=error, wrong_words_sd=0))
    wrong: Counter[bool] = Counter()
    for case in cases(ranker, world, 150)[0]:
        first = case.complaint[0].fact
        for key in case.happening.own:
            if key in case.caller.says and fact_of(key) != first and case.happening.words[key]:
                wrong[case.caller.says[key] != case.happening.words[key]] += 1
    share = wrong[True] / wrong.total()
    assert share == pytest.approx(error, abs=0.05)


def test_dont_know_is_an_answer_of_its_own(ranker: Ranker) -> None:
    world = world_of(ranker, replace(PERTURBED, dont_know=0.5))
    silent = [key in case.caller.silent for case in cases(ranker, world, 20)[0] for key in case.caller.says]
    assert 0.45 < np.mean(silent) < 0.6
    case = cases(ranker, world, 1)[0][0]
    key = next(iter(case.caller.silent))
    assert answer(ranker, key, case.caller).value == DONT_KNOW


def test_numbers_fall_into_the_band_they_stand_for(ranker: Ranker) -> None:
    numbers = 0
    for key in ranker.signatures.tables:
        term = ranker.book.facts[fact_of(key)]
        if term.kind == "number":
            for word in possible_words(term, key):
                numbers += 1
                bands = term.bands_at(key.partition("@")[2].partition("/")[0] if term.place == "meter" else None)
                number = number_in(ranker, key, word)
                scale = ranker.expected(term.fact, key.partition("@")[2]) if bands.relative else 1.0
                assert bands.name_of(number / scale) == word
    assert numbers > 10


def test_who_says_yes_to_any_danger_says_which(ranker: Ranker, drawn: list[Case]) -> None:
    card = next(card for card in ranker.book.tests.values() if card.reads == "hazard.any")
    for case in drawn:
        facts = reply(ranker, Ask(card, None, "hazard.any"), case.caller)
        if facts[0].value == "yes":
            named = {fact.fact for fact in facts[1:]}
            said = {k for k, w in case.caller.says.items() if k.startswith("hazard.") and w == "yes"}
            assert named == said - {"hazard.any"}
