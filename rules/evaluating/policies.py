"""Ways of choosing the next test on site: Coldleg's own, and the fixed orders it is compared with.

All of them obey the same masks: role, what rules allow and forbid, stops, and the dead-check before hands-in tests.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from rules.evaluating.ranking import LEAST_BITS, Ask, Ranker, Weighed
from rules.evaluating.walking import Policy

ORDERS = ("cheapest first", "by prior score", "random")


def coldleg(ranker: Ranker, *, worth_it: bool = True) -> Policy:
    """Coldleg's own next step; with ``worth_it`` off, every test of its list until the list is empty."""

    def policy(weighed: Weighed, asked: frozenset[str], _paid: frozenset[str]) -> Ask | None:
        return ranker.advised(weighed, ranker.gate(weighed, "technician", asked), worth_it=worth_it)

    return policy


def fixed(ranker: Ranker, order: Sequence[Ask]) -> Policy:
    """The first test of a fixed order that may be done now; the dead-check when the next one waits for it."""
    cards = [ask.card for ask in order]
    dead = ranker.dead_check()

    def policy(weighed: Weighed, asked: frozenset[str], _paid: frozenset[str]) -> Ask | None:
        gate = ranker.gate(weighed, "technician", asked)
        for ask, may_come in zip(order, gate.may_come(cards), strict=True):
            if not may_come or ask.key in gate.answered:
                continue
            if not gate.waits(ask.card):
                return replace(ask, from_memory=gate.from_memory(ask.card))
            if dead.key not in gate.answered:
                return dead
        return None

    return policy


def cheapest_useful(ranker: Ranker) -> Policy:
    """The cheapest test that tells anything at the present belief."""
    every = by_minutes(ranker)

    def policy(weighed: Weighed, asked: frozenset[str], paid: frozenset[str]) -> Ask | None:
        gains = ranker.gains(weighed.belief.signatures, weighed.belief.probability)
        useful = [ask for ask in every if ask.key not in asked and gains[ask.key] >= LEAST_BITS]
        useful.sort(key=lambda ask: ranker.price(ask.card, paid))
        return fixed(ranker, useful)(weighed, asked, paid)

    return policy


def every_test(ranker: Ranker) -> list[Ask]:
    """Each test of a technician's at each place of this appliance, but the dead-check."""
    units = ranker.signatures.appliance.positions
    return [
        ask
        for card in ranker.book.tests.values()
        if card.reads != "dead_check"
        for ask in ranker.at_places(card, units)
    ]


def by_minutes(ranker: Ranker) -> list[Ask]:
    """Cheapest first, each with its preparation."""
    return sorted(every_test(ranker), key=lambda ask: ranker.price(ask.card, frozenset()))


def by_prior_score(ranker: Ranker) -> list[Ask]:
    """By bits a minute before anything is known."""
    gains = ranker.gains(ranker.signatures, ranker.signatures.prior)
    return sorted(every_test(ranker), key=lambda ask: -gains[ask.key] / ranker.price(ask.card, frozenset()))


def at_random(ranker: Ranker, rng: np.random.Generator) -> list[Ask]:
    """In any order."""
    every = every_test(ranker)
    return [every[number] for number in rng.permutation(len(every))]
