"""How much work a case is, counted and not timed: calls of functions are the same on every machine."""

from __future__ import annotations

import cProfile
import pstats
from collections.abc import Callable

import pytest

from rules import Enquiry, Expert, triage
from rules.chaining import Chainer
from tests.benchmarks.bench_chaining import invented_case, invented_rules
from tests.benchmarks.cases import likely_sets, note_enquiries

CASES = 30
MOST_CALLS = {"facts": 4_700, "notes": 8_700}  # calls of functions a case; half as many again as when it was written
MOST_GROWTH = 2.5  # from 200 rules to 2,000, at the same facts


def calls(work: Callable[[], object]) -> int:
    profile = cProfile.Profile()
    profile.runcall(work)
    return int(pstats.Stats(profile).total_calls)  # type: ignore[attr-defined]


@pytest.mark.parametrize("kind", list(MOST_CALLS))
def test_a_triage_takes_no_more_calls_than_it_did(expert: Expert, kind: str) -> None:
    enquiries = likely_sets(expert, CASES, "desk") if kind == "facts" else note_enquiries(CASES)
    for enquiry in enquiries:
        triage(expert, enquiry)  # whatever is worked out once is worked out now
    assert calls(lambda: [triage(expert, enquiry) for enquiry in enquiries]) / CASES < MOST_CALLS[kind]


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
    from rules.triage import consider

    contradicting = Enquiry(note="the display is dark, the oven is far too hot and left front stays on high")
    belief = consider(expert, contradicting).belief
    alone = belief.signatures.alone
    if alone is None:
        pytest.skip("one fault explains it in this book")
    assert questions(belief.signatures, "caller").alone is questions(alone, "caller").alone
    assert "true" not in vars(belief.signatures.stack)
