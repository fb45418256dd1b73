"""Does one piece of the work; runs in a process of its own or in the caller's."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from rules.evaluating.people import Case, cases
from rules.evaluating.plan import Cell, Piece
from rules.evaluating.policies import at_random, by_minutes, by_prior_score, cheapest_useful, coldleg, every_test, fixed
from rules.evaluating.ranking import Ranker, assuming, misled, ranker_for
from rules.evaluating.soundness import Sound, examine
from rules.evaluating.strain import PERTURBED, Strain
from rules.evaluating.submodels import Ratios, cut, ratios
from rules.evaluating.walking import (
    Judge,
    Phone,
    Policy,
    Snapshot,
    Visit,
    everything_measured,
    everything_told,
    family_of,
    on_site,
    telephone,
)
from rules.evaluating.world import World
from rules.terms import Fact, fact_of
from rules.triage import Expert

COLDLEG = "coldleg"
CHEAPEST, BY_PRIOR, RANDOM, USEFUL = "cheapest first", "by score at the prior", "random order", "cheapest useful"


@dataclass(frozen=True)
class Call:
    """One simulated call with what came of it.

    ``phone`` and ``visit`` go on while Coldleg lists any test; ``brief`` and ``short`` stop where its next step stops,
    as nothing listed is worth its minutes. ``orders``: the visit from the complaint, by way of working.
    """

    family: str
    phone: Phone
    visit: Visit
    brief: Phone
    short: Visit
    orders: dict[str, Visit]
    all_told: Snapshot | None = None  # if the caller were asked everything
    all_known: Snapshot | None = None  # if everything were measured besides


@dataclass(frozen=True)
class Done:
    """What a piece gave; which fields are filled depends on its kind."""

    piece: Piece
    calls: tuple[Call, ...] = ()
    unseen: int = 0
    ratios: tuple[Ratios, ...] = ()
    sounds: tuple[Sound, ...] = ()


_expert: Expert | None = None


def open_here(book: Path | None) -> None:
    """Open the book in this process, once."""
    global _expert  # noqa: PLW0603 - a process has one
    from rules import open_book

    _expert = open_book(book)


def work_here(piece: Piece) -> Done:
    """Do a piece with the book this process has open."""
    assert _expert is not None, "open_here comes first"
    return work(_expert, piece)


def work(expert: Expert, piece: Piece) -> Done:
    """Do a piece."""
    ranker = ranker_for(expert, piece.configuration)
    judge = Judge()
    rng = np.random.default_rng(piece.start)
    if piece.kind == "ratios":
        cuts = [small for _ in range(piece.count) if (small := cut(ranker, rng)) is not None]
        return Done(piece, ratios=tuple(ratios(ranker, small) for small in cuts))
    if piece.kind == "soundness":
        return Done(piece, sounds=tuple(examine(ranker, judge, n, piece.probe, rng) for n in piece.members))
    if piece.cell is not None:
        return _grid(ranker, piece, piece.cell, rng)
    world = World(ranker.book, ranker.signatures, PERTURBED, rng)
    drawn, unseen = cases(ranker, world, piece.count, faults={"calls": 1, "pairs": 2, "outside": 0}[piece.kind])
    order = _orders(ranker, rng) if piece.orders else {}
    calls = [_call(ranker, judge, case, order if n < piece.orders else {}) for n, case in enumerate(drawn)]
    return Done(piece, tuple(calls), unseen)


def _orders(ranker: Ranker, rng: np.random.Generator) -> dict[str, Policy]:
    return {
        COLDLEG: coldleg(ranker),
        CHEAPEST: fixed(ranker, by_minutes(ranker)),
        BY_PRIOR: fixed(ranker, by_prior_score(ranker)),
        RANDOM: fixed(ranker, at_random(ranker, rng)),
        USEFUL: cheapest_useful(ranker),
    }


def _call(ranker: Ranker, judge: Judge, case: Case, orders: dict[str, Policy]) -> Call:
    phone = telephone(ranker, judge, case, worth_it=False)
    visit = on_site(ranker, judge, case, phone.facts, coldleg(ranker, worth_it=False))
    brief = telephone(ranker, judge, case)
    short = on_site(ranker, judge, case, brief.facts, coldleg(ranker))
    worked = {
        name: on_site(ranker, judge, case, case.complaint, policy, until_sure=name != COLDLEG)
        for name, policy in orders.items()
    }
    tests = every_test(ranker)
    told = everything_told(ranker, case, [ask for ask in tests if ask.card.who != "technician"])
    measured = everything_measured(ranker, case, told, tests)
    truths = case.happening.truths
    ceilings = [judge.snapshot(ranker.weigh(facts), truths) for facts in (told, measured)]
    return Call(family_of(case), phone, visit, brief, short, worked, *ceilings)


# --- robustness ---------------------------------------------------------------------------------------------------
def _grid(ranker: Ranker, piece: Piece, cell: Cell, rng: np.random.Generator) -> Done:
    """Calls in a disturbed world, or by a ranker with wrong inputs; people and costs are the true book's."""
    judge = Judge()
    strain: Strain = replace(PERTURBED, caller_error=cell.true_error, dont_know=cell.dont_know)
    drawn: list[Case] = []
    start = 0
    while len(drawn) < piece.count and start < piece.count:
        world = World(ranker.book, ranker.signatures, strain, np.random.default_rng((*piece.start, start)))
        drawn += cases(ranker, world, min(10, piece.count - len(drawn)))[0]
        start += 1
    calls = []
    with assuming(cell.assumed):
        fooled = _fooled(ranker, cell, rng)
        for case in drawn:
            phone = telephone(fooled, judge, case, worth_it=False)
            facts = phone.facts + (_contradicting(fooled, phone.facts, rng) if cell.contradiction else [])
            visit = on_site(fooled, judge, case, facts, coldleg(fooled, worth_it=False))
            short = on_site(fooled, judge, case, facts, coldleg(fooled))
            calls.append(Call(family_of(case), phone, visit, phone, short, {}))
    return Done(piece, tuple(calls))


def _fooled(ranker: Ranker, cell: Cell, rng: np.random.Generator) -> Ranker:
    """The ranker with each fault's prior, or each test's minutes, multiplied or divided by a factor at random."""
    prior, book = None, None
    if cell.priors_off:
        signatures = ranker.signatures
        factor = cell.priors_off ** rng.choice([-1.0, 1.0], size=len(signatures.first))
        prior = signatures.prior * factor[signatures.group]
        prior /= prior.sum()
    if cell.minutes_off:
        tests = {
            name: replace(card, minutes=card.minutes * cell.minutes_off ** float(rng.choice([-1.0, 1.0])))
            for name, card in ranker.book.tests.items()
        }
        book = replace(ranker.book, tests=tests)
    return misled(ranker, prior, book)


def _contradicting(ranker: Ranker, facts: Sequence[Fact], rng: np.random.Generator) -> list[Fact]:
    """One thing the caller said, said otherwise."""
    said = [f for f in facts if f.told and f.source == "caller" and isinstance(f.value, str) and f.where != "others"]
    if not said:
        return []
    fact = said[int(rng.integers(len(said)))]
    others = [word for word in ranker.book.facts[fact_of(fact.key)].values if word != fact.value]
    return [replace(fact, value=str(rng.choice(others)), certainty="said")] if others else []
