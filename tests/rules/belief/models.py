"""Invented models of any size, with the shapes of the book's own: for checks against other programs and for timing."""

from __future__ import annotations

from dataclasses import replace
from types import MappingProxyType

import numpy as np

from rules import Expert
from rules.belief.signatures import Hypothesis, Signatures
from rules.belief.stack import stack_up
from rules.bookkeeping.types import FactTerm, Fault, Part, TestCard

PARTS = MappingProxyType({f"part{n}": Part(f"part{n}", f"part {n}", 1.0, 20.0 + n) for n in range(60)})


def invented(
    expert: Expert, rng: np.random.Generator, hypotheses: int, tests: int, *, most_words: int = 4, sharp: float = 0.4
) -> Signatures:
    """``hypotheses`` with *none of these*, among them faults in two variants and faults that share a part."""
    sizes = rng.integers(2, most_words + 1, size=tests)
    facts = {f"f{n}": _fact(f"f{n}", int(size)) for n, size in enumerate(sizes)}
    cards = {f"t{n}": _card(f"t{n}", f"f{n}", rng) for n in range(tests)}
    listed = [Hypothesis(_fault(f"fault{n}", rng), None) for n in range(max(1, (hypotheses - 1) * 3 // 4))]
    listed += [Hypothesis(h.fault, None, 1) for h in listed[: hypotheses - 1 - len(listed)]]
    listed.sort(key=lambda h: h.name)
    tables = {
        name: rng.dirichlet(np.full(len(term.values), sharp), size=len(listed) + 1) for name, term in facts.items()
    }
    names = list(dict.fromkeys(h.name for h in listed))
    group = np.array([*(names.index(h.name) for h in listed), len(names)], dtype=np.intp)
    first = np.array([*([h.name for h in listed].index(name) for name in names), len(listed)], dtype=np.intp)
    known = expert.signatures(expert.book.appliances["radiant_range"])
    book = replace(expert.book, facts=MappingProxyType(facts), tests=MappingProxyType(cards), parts=PARTS, pairs={})
    usual = dict.fromkeys(facts, "w0")
    everything = (*listed, Hypothesis(None, None))
    prior = rng.dirichlet(np.ones(len(everything)))
    stack = stack_up(tables, facts, usual)
    return Signatures(book, known.appliance, known.wiring, everything, prior, stack, group, first)


def _fact(name: str, size: int) -> FactTerm:
    words = {f"w{n}": f"word {n}" for n in range(size)}
    return FactTerm(name, name, "choice", words, "w0", "caller", "?", "none", mistaken_for={"w1": {"w0": 2.0}})


def _card(name: str, fact: str, rng: np.random.Generator) -> TestCard:
    minutes = float(np.exp(rng.uniform(0, 3)))
    return TestCard(name, fact, "?", "caller", False, minutes, None, (), (), dont_know=float(rng.uniform(0, 0.3)))


def _fault(name: str, rng: np.random.Generator) -> Fault:
    part = f"part{rng.integers(60)}"
    low = int(rng.integers(10, 40))
    return Fault(
        fault=name,
        title=name,
        place="none",
        only={},
        weight=1.0,
        effects=(),
        shows={},
        parts={"": (part,)},
        minutes=(low, low + 20),
        skill="appliance_technician",
        urgency="routine",
        limit="none",
        tell="",
        source="invented",
        because="",
    )
