"""What must hold of belief and of tests in every model: order, don't know, information, and what it costs."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules import Enquiry, Expert, open_book, triage
from rules.belief.choosing import Gate, Savings, choose, in_play
from rules.belief.pairs import believe_all, contradicted
from rules.belief.posterior import believe
from rules.belief.questions import information, questions
from rules.belief.signatures import Signatures
from rules.casefile import Statement
from rules.enquiry import fact_from_text
from rules.terms import Fact
from tests.rules.belief.models import invented

EXPERT: Expert = open_book()
CALLER = Gate("caller", frozenset(), frozenset(), False, frozenset({"hazard.any"}))
FACTS = (
    "display=lit",
    "display=dark",
    "oven.bake.heat=none",
    "oven.bake.heat=weak",
    "oven.broil.heat=normal",
    "surface.heat@left_front=none",
    "surface.heat@others=normal",
    "surface.heat@all=none",
    "oven.glow=upper_only",
    "symbols=lock",
    "oven.lamp=dark",
    "hot_light.cold@right_rear=lit",
)
NOT_TOLD = ("ohms.bake=unknown", "surface.heat@left_rear=unknown", "breaker=don't know", "surface.low_heat@all=unknown")

seeds = st.integers(0, 2**32 - 1)


def facts(texts: tuple[str, ...]) -> tuple[Fact, ...]:
    return tuple(fact_from_text(text, EXPERT.book.facts, "caller") for text in texts)


def model(seed: int, size: int = 30, tests: int = 12) -> Signatures:
    return invented(EXPERT, np.random.default_rng(seed), size, tests)


@settings(max_examples=40, deadline=None)
@given(st.permutations(FACTS), st.integers(1, len(FACTS)))
def test_the_order_of_facts_changes_nothing(order: list[str], count: int) -> None:
    given_order, book_order = tuple(order[:count]), tuple(text for text in FACTS if text in order[:count])
    assert triage(EXPERT, Enquiry(facts=facts(given_order))) == triage(EXPERT, Enquiry(facts=facts(book_order)))


@settings(max_examples=30, deadline=None)
@given(st.sets(st.sampled_from(FACTS), min_size=1), st.sets(st.sampled_from(NOT_TOLD), min_size=1))
def test_a_don_t_know_leaves_belief_as_it_is_and_is_not_asked_again(said: set[str], not_told: set[str]) -> None:
    plain = triage(EXPERT, Enquiry(facts=facts(tuple(said))))
    more = triage(EXPERT, Enquiry(facts=facts((*said, *not_told))))

    def shown(answer: object) -> list[tuple[str, str | None, float, str]]:
        return [(c.fault, c.where, c.probability, c.standing) for c in answer.conclusions]  # type: ignore[attr-defined]

    assert shown(more) == shown(plain)
    assert more.none_of_these == plain.none_of_these
    assert (more.visit, more.stop, more.repair_order) == (plain.visit, plain.stop, plain.repair_order)
    assert len(more.understood) == len(plain.understood) + len(not_told)
    asked = {test.reads for test in more.next_tests}
    assert not asked & {text.partition("=")[0] for text in not_told}
    assert not any(key.startswith("surface.low_heat") for key in asked if "surface.low_heat@all=unknown" in not_told)


@settings(max_examples=30, deadline=None)
@given(st.lists(st.sampled_from(FACTS), min_size=1, unique=True), st.data())
def test_an_answer_given_again_counts_once(said: list[str], data: st.DataObject) -> None:
    again = data.draw(st.lists(st.sampled_from(said)))
    once, twice = (triage(EXPERT, Enquiry(facts=facts(texts))) for texts in (tuple(said), (*said, *again)))
    assert once == twice


@settings(max_examples=60, deadline=None)
@given(seeds)
def test_gains_are_the_exact_fall_in_entropy_of_what_must_be_done(seed: int) -> None:
    """Against the definition, repair by repair, for each question by itself."""
    signatures = model(seed)
    asked = questions(signatures, "caller")
    rng = np.random.default_rng(seed)
    p = rng.dirichlet(np.full(len(signatures.hypotheses), 0.5))
    p[rng.random(len(p)) < 0.3] = 0
    p /= p.sum()
    gains = asked.gains(p, signatures.repair)
    assert (gains >= 0).all()
    shares = signatures.by_repair(p)
    for number, columns in enumerate(asked.columns):
        table = asked.heard[:, columns]
        mixed = np.array([p[signatures.repair == r] @ table[signatures.repair == r] for r in range(len(shares))])
        told = shares > 0
        exact = information(mixed[told] / shares[told, None], shares[told]) * asked.know[number]
        assert gains[number] == pytest.approx(exact, abs=1e-9)
    each = asked.gains(p, np.arange(len(p)))
    assert (each >= gains - 1e-9).all()  # telling more apart never needs less information


@settings(max_examples=30, deadline=None)
@given(seeds)
def test_expected_entropy_is_the_mean_over_real_updates(seed: int) -> None:
    """Entropy now less the gain equals the mean entropy after each answer, each taken in by Bayes' rule."""
    signatures = model(seed, 15, 5)
    asked, p = questions(signatures, "caller"), signatures.prior

    def entropy(q: np.ndarray) -> float:
        return float(-(q[q > 0] * np.log2(q[q > 0])).sum())

    gains = asked.gains(p, np.arange(len(p)))
    for number, question in enumerate(asked.asked):
        mean = 0.0
        for column, word in enumerate(signatures.book.facts[question.card.reads].values):
            said = [Statement(0, ((question.key, word),), "caller", "said")]
            after = believe(signatures, p, np.ones(len(p)), said).probability
            mean += float(p @ asked.heard[:, asked.columns[number]][:, column]) * entropy(after)
        assert entropy(p) - mean == pytest.approx(gains[number] / asked.know[number], abs=1e-5)


@settings(max_examples=30, deadline=None)
@given(seeds)
def test_information_never_costs_more_than_its_price(seed: int) -> None:
    """The expected cost of repair never rises by knowing more: a question saves at least minus its price."""
    signatures = model(seed)
    asked = questions(signatures, "caller")
    price = asked.minutes + asked.setup + asked.surcharge
    numbers = np.arange(len(asked.asked))
    saved = Savings(signatures, signatures.prior, asked, price).of(numbers)
    assert (np.array(saved) >= -price - 1e-6).all()


@settings(max_examples=30, deadline=None)
@given(seeds)
def test_what_pays_comes_first_by_information_a_minute(seed: int) -> None:
    signatures = model(seed)
    tests = choose(signatures, signatures.prior, CALLER, (), most=None)
    assert all(test.gain_bits > 0 for test in tests)
    assert [test.pays for test in tests] == sorted((test.pays for test in tests), reverse=True)
    for some in ([t for t in tests if t.pays], [t for t in tests if not t.pays]):
        rates = [round(t.gain_bits / t.minutes, 9) for t in some]
        assert rates == sorted(rates, reverse=True)
    for test in tests:
        assert sum(outcome.probability for outcome in test.outcomes) == pytest.approx(1)


@settings(max_examples=40, deadline=None)
@given(seeds)
def test_belief_is_never_zero_and_sums_to_one(seed: int) -> None:
    signatures = model(seed, 20, 6)
    rng = np.random.default_rng(seed)
    said = [
        Statement(n, ((key, f"w{rng.integers(table.shape[1])}"),), "technician", "measured")
        for n, (key, table) in enumerate(signatures.tables.items())
    ]
    belief = believe_all(signatures, signatures.prior, np.ones(len(signatures.prior)), said)
    assert belief.probability.sum() == pytest.approx(1)
    assert (belief.probability > 0).all()
    assert in_play(belief.signatures, belief.probability).sum() == pytest.approx(1)
    if len(belief.probability) > len(signatures.prior):
        alone = believe(signatures, signatures.prior, np.ones(len(signatures.prior)), said)
        assert contradicted(alone)
        singles = np.r_[belief.probability[: len(signatures.prior) - 1], belief.probability[-1]]
        assert singles / singles.sum() == pytest.approx(alone.probability)
