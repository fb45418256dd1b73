"""Many threads, many cases, one expert: every answer is the one the case gets alone."""

from __future__ import annotations

import itertools
import random
import sys
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor

import pytest

from rules import Enquiry, Expert, Fact, InputError, open_book, triage
from rules.terms import Role

NOTES = (
    "the oven is dead but the clock is on",
    "left front burner is dead",
    "sparks from the oven",
    "no burner heats and the oven is cold, the display is lit",
    "L1-N 121, L2-N 121, L1-L2 0 with an element on",
    "gas range will not light",
)


@pytest.fixture
def often_switched() -> Iterator[None]:
    """Threads take turns a thousand times as often as usual."""
    usual = sys.getswitchinterval()
    sys.setswitchinterval(5e-6)
    yield
    sys.setswitchinterval(usual)


def cases(expert: Expert) -> list[Enquiry]:
    roles: tuple[Role, ...] = ("desk", "technician")
    chance = random.Random(8)
    terms = [t for t in expert.book.facts.values() if t.kind == "choice" and not t.derived and t.place == "none"]
    noted = [Enquiry(note, role=role, explain="full") for note, role in itertools.product(NOTES, roles)]
    told = []
    while len(told) < 24:
        facts = tuple(Fact(t.fact, chance.choice(list(t.values))) for t in chance.sample(terms, 4))
        enquiry = Enquiry(facts=facts, explain="full", appliance=chance.choice(list(expert.book.appliances.values())))
        try:
            triage(expert, enquiry)
        except InputError:
            continue  # a fact this appliance has nothing for
        told.append(enquiry)
    return noted + told


def test_threads_never_mix_cases(expert: Expert, often_switched: None) -> None:
    wanted = [(case, triage(expert, case)) for case in cases(expert)]
    fresh = open_book()  # nothing built yet: the first cases build tables and engines at the same time
    work = [pair for _ in range(4) for pair in random.Random(9).sample(wanted, len(wanted))]
    with ThreadPoolExecutor(8) as pool:
        answers = list(pool.map(lambda pair: triage(fresh, pair[0]), work))
    for (_, alone), together in zip(work, answers, strict=True):
        assert together == alone
