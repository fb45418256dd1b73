"""How much work a case is, counted and not timed: calls of functions are the same on every machine."""

from __future__ import annotations

import cProfile
import pstats
from collections.abc import Callable

import pytest

from rules import Enquiry, Expert, triage
from rules.belief.choosing import Gate, choose
from rules.chaining import Chainer
from rules.notes import read_note
from rules.triage import consider
from service.dumping import json_line
from service.schemas import triage_wire
from tests.benchmarks import bench_stages
from tests.benchmarks.bench_chaining import invented_case, invented_rules
from tests.benchmarks.cases import likely_sets, note_enquiries

CASES = 30
#: Calls of functions a case, half as many again as when it was written.
MOST_CALLS = {"facts": 2900, "measured": 3400, "notes": 6500, "choosing": 580, "reading": 2100, "the wire": 60}
MOST_GROWTH = 2.5  # from 200 rules to 2,000, at the same facts


def calls(work: Callable[[], object]) -> int:
    profile = cProfile.Profile()
    profile.runcall(work)
    return int(pstats.Stats(profile).total_calls)  # type: ignore[attr-defined]


def works(expert: Expert) -> dict[str, Callable[[], object]]:
    """What is counted, each for so many cases, by name."""
    told, measured = (likely_sets(expert, CASES, role) for role in ("desk", "technician"))
    notes = note_enquiries(CASES)
    answers = [triage(expert, enquiry) for enquiry in told]
    beliefs = [consider(expert, enquiry).belief for enquiry in told]
    places = expert.book.appliances["radiant_range"].positions
    gate = Gate("desk", frozenset(), frozenset(), False, frozenset({"hazard.any"}))
    wire = triage_wire(expert.book.facts)
    return {
        "facts": lambda: [triage(expert, enquiry) for enquiry in told],
        "measured": lambda: [triage(expert, enquiry) for enquiry in measured],
        "notes": lambda: [triage(expert, enquiry) for enquiry in notes],
        "choosing": lambda: [choose(b.signatures, b.probability, gate, places) for b in beliefs],
        "reading": lambda: [read_note(str(enquiry.note), expert.lexicon, places) for enquiry in notes],
        "the wire": lambda: [json_line(wire(answer)) for answer in answers],
    }


@pytest.mark.parametrize("kind", list(MOST_CALLS))
def test_a_case_takes_no_more_calls_than_it_did(expert: Expert, kind: str) -> None:
    work = works(expert)[kind]
    work()  # whatever is worked out once is worked out now
    assert calls(work) / CASES < MOST_CALLS[kind]


def test_a_case_grows_little_with_the_rules() -> None:
    import random

    spent = []
    for size in (200, 2000):
        dice = random.Random(3)
        rules = invented_rules(size, dice)
        chainer, cases = Chainer(rules), [invented_case(rules, dice, 15) for _ in range(CASES)]
        chainer.run(cases[0])
        spent.append(calls(lambda chainer=chainer, cases=cases: [chainer.run(case) for case in cases]))  # type: ignore[misc]
    assert spent[1] / spent[0] < MOST_GROWTH


def test_spellings_share_their_words(expert: Expert) -> None:
    seen, waiting = set(), list(expert.lexicon.index._first.values())
    while waiting:
        branch = waiting.pop()
        if id(branch) not in seen:
            seen.add(id(branch))
            waiting += branch.following.values()
    assert len(seen) < 5 * len(expert.lexicon.index.words) + 10_000


def test_pairs_are_put_beside_what_is_there(expert: Expert) -> None:
    from rules.belief.questions import questions

    contradicting = Enquiry(note="the display is dark, the oven is far too hot and left front stays on high")
    belief = consider(expert, contradicting).belief
    alone = belief.signatures.alone
    if alone is None:
        pytest.skip("one fault explains it in this book")
    assert questions(belief.signatures, "caller").alone is questions(alone, "caller").alone
    assert "true" not in vars(belief.signatures.stack)


def test_every_stage_is_met_and_charged(expert: Expert) -> None:
    found = bench_stages.measured(expert, CASES, 1)
    assert len(found) == 3
    facts = [spent for name, spent in found.items() if name.startswith("facts")]
    assert not any(spent["reading the note"] for spent in facts)
    charged = {stage for spent in found.values() for stage, took in spent.items() if took > 0}
    assert charged == {*bench_stages.STAGES, bench_stages.AROUND}
