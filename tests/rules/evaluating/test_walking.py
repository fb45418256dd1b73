"""Walks through a case obey what the answer obeys, and count what they spend."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from rules import Enquiry, Expert, triage
from rules.answer import NextStep, TestAdvice
from rules.evaluating.people import Case, reply
from rules.evaluating.policies import at_random, by_minutes, by_prior_score, cheapest_useful, coldleg, fixed
from rules.evaluating.ranking import Ask, Ranker, Weighed
from rules.evaluating.walking import MOST_QUESTIONS, Judge, Policy, on_site, spent, telephone
from rules.terms import Fact


def watched(policy: Policy, seen: list[tuple[Weighed, Ask | None]]) -> Policy:
    """The policy, noting what it was shown and what it asked."""

    def watching(weighed: Weighed, asked: frozenset[str], paid: frozenset[str]) -> Ask | None:
        ask = policy(weighed, asked, paid)
        seen.append((weighed, ask))
        return ask

    return watching


ORDERS: dict[str, Callable[[Ranker], Policy]] = {
    "coldleg": coldleg,
    "to the end of the list": lambda ranker: coldleg(ranker, worth_it=False),
    "cheapest": lambda ranker: fixed(ranker, by_minutes(ranker)),
    "prior": lambda ranker: fixed(ranker, by_prior_score(ranker)),
    "random": lambda ranker: fixed(ranker, at_random(ranker, np.random.default_rng(1))),
    "useful": cheapest_useful,
}


@pytest.mark.parametrize("name", ORDERS)
def test_every_way_of_working_obeys_the_masks(ranker: Ranker, judge: Judge, drawn: list[Case], name: str) -> None:
    seen: list[tuple[Weighed, Ask | None]] = []
    for case in drawn[:6]:
        on_site(ranker, judge, case, case.complaint, watched(ORDERS[name](ranker), seen), until_sure=True)
    asked = [(weighed, ask) for weighed, ask in seen if ask is not None]
    assert asked
    for weighed, ask in asked:
        words = weighed.case.words()
        if ask.card.hands_in:
            assert words.get("dead_check") == "proved"
        if weighed.stop is not None:
            assert ask.card.who == "technician" or ask.from_memory
            assert not ask.card.energised
            assert not ask.card.runs_appliance


def test_a_call_follows_the_answer_step_by_step(
    expert: Expert, ranker: Ranker, judge: Judge, drawn: list[Case]
) -> None:
    """What the walk asks is what the front door advises for the same facts."""
    followed = 0
    for case in drawn[:8]:
        call = telephone(ranker, judge, case)
        facts: list[Fact] = list(case.complaint)
        for _ in range(MOST_QUESTIONS):
            enquiry = Enquiry(facts=tuple(facts), appliance=ranker.signatures.appliance, role="desk")
            answer = triage(expert, enquiry)
            step: NextStep | TestAdvice = answer.next_step
            if answer.stop is not None:
                pays = [test for test in answer.next_tests if test.from_memory and (test.saves_minutes or 0) > 0]
                if not pays:
                    break
                step = pays[0]
            elif answer.next_step.do != "ask":
                break
            card = ranker.book.tests[str(step.test)]
            places = ranker.at_places(card, ranker.signatures.appliance.positions) or [Ask(card, None, card.reads)]
            ask = next(a for a in places if a.where == step.where)
            facts += reply(ranker, ask, case.caller)
            followed += 1
        assert facts == call.facts
    assert followed > 8


def test_nothing_but_memory_is_asked_while_a_stop_stands(ranker: Ranker, judge: Judge, drawn: list[Case]) -> None:
    for case in drawn:
        call = telephone(ranker, judge, case, worth_it=False)
        for number in range(len(case.complaint), len(call.facts)):
            stop, fact = ranker.weigh(call.facts[:number]).stop, call.facts[number]
            if stop is None or fact.fact.startswith("hazard."):
                continue  # which danger it is belongs to the answer that there is one
            assert stop.signal == "WARNING"
            assert ranker.book.test_reading[fact.fact].recall


def test_calls_keep_to_the_most_questions(ranker: Ranker, judge: Judge, drawn: list[Case]) -> None:
    calls = [telephone(ranker, judge, case, worth_it=False, most=3) for case in drawn]
    assert max(call.questions for call in calls) == 3
    assert all(len(call.at) == call.questions + 1 for call in calls)
    assert all(call.after(8) is call.at[-1] for call in calls)


def test_set_ups_are_paid_once(ranker: Ranker, judge: Judge, drawn: list[Case]) -> None:
    for case in drawn[:8]:
        seen: list[tuple[Weighed, Ask | None]] = []
        visit = on_site(ranker, judge, case, case.complaint, watched(coldleg(ranker, worth_it=False), seen))
        asks = [ask for _, ask in seen if ask is not None]
        setups = {ask.card.setup for ask in asks if ask.card.setup}
        tests = sum(case.test_minutes[ask.card.test] for ask in asks)
        assert visit.tests == len(asks)
        assert visit.test_minutes == pytest.approx(tests + sum(case.setup_minutes[name] for name in setups))


def test_what_is_prepared_costs_no_more(ranker: Ranker, drawn: list[Case]) -> None:
    card = next(card for card in ranker.book.tests.values() if card.setup)
    ask = Ask(card, None, "any")
    before, after = (spent(drawn[0], ask, paid) for paid in (frozenset[str](), frozenset({str(card.setup)})))
    assert before - after == pytest.approx(drawn[0].setup_minutes[str(card.setup)])


def test_a_visit_ends_mended_or_given_up(ranker: Ranker, judge: Judge, drawn: list[Case]) -> None:
    for case in drawn:
        visit = on_site(ranker, judge, case, case.complaint, coldleg(ranker))
        assert visit.given_up or visit.repair_minutes >= 0.99 * visit.own_repair
        assert visit.fixed == visit.test_minutes + visit.repair_minutes
        assert visit.isolated <= visit.test_minutes


def test_a_snapshot_of_a_certain_belief(ranker: Ranker, judge: Judge) -> None:
    signatures = ranker.signatures
    number = next(n for n, h in enumerate(signatures.hypotheses) if h.fault and h.where)
    certain = np.zeros(len(signatures.hypotheses))
    certain[number] = 1
    grounds = judge.grounds(signatures)
    truth = (signatures.hypotheses[number].name, signatures.hypotheses[number].where)
    right = grounds.snapshot(certain, [truth])
    assert (right.part_rank, right.fault_rank, right.same_part, right.first) == (0, 0, True, True)
    assert (right.stated, right.p_true, right.entropy, right.brier) == (1, 1, 0, 0)
    other = next((h.name, h.where) for h in signatures.hypotheses if h.fault and not h.where)
    wrong = grounds.snapshot(certain, [other])
    assert not wrong.first
    assert (wrong.p_true, wrong.brier) == (0, 2)


def test_places_that_nothing_tells_apart_are_one_line(ranker: Ranker, judge: Judge) -> None:
    fault = judge.grounds(ranker.signatures).fault
    lines = fault.ranked(fault.shares(ranker.signatures.prior))
    placed = [line for line in lines if len(line.groups) > 1]
    assert placed
    assert all(len(line.groups) == len(ranker.signatures.appliance.positions) for line in placed)
