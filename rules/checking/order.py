"""Does a case come out the same whatever the order of its facts and of the book's rules?"""

from __future__ import annotations

import random
from collections.abc import Iterator, Sequence

from rules.chaining import Chainer, ChainRecord, KnownFact
from rules.checking.examples import Example, case_of, examples_of
from rules.checking.findings import Finding, at
from rules.terms import InputError
from rules.triage import Expert

SHUFFLES = 2
START = 20  # of the dice; any number, the same on every run, so that a finding can be seen again


def check_order(expert: Expert) -> Iterator[Finding]:
    """Findings of kind ``order-dependent``: the examples of every rule, with facts and with rules in other orders."""
    dice = random.Random(START)
    rules = list(expert.book.rules.values())
    dice.shuffle(rules)
    turned = Chainer(rules)
    for rule in expert.book.rules.values():
        cases = list(_cases(expert, [example for _, _, example in examples_of(rule)]))
        what = _differs(expert.chainer, turned, cases, dice)
        if what:
            message = f"on its examples another order of the {what} gives other firings; see its negated premises"
            yield Finding("order-dependent", at(rule.file, rule.line), rule.rule, message)


def _cases(expert: Expert, examples: Sequence[Example]) -> Iterator[tuple[KnownFact, ...]]:
    for example in examples:
        try:
            yield case_of(expert, example).known
        except InputError:
            continue  # a finding of its own, as an example that does not hold


def _differs(chainer: Chainer, turned: Chainer, cases: Sequence[tuple[KnownFact, ...]], dice: random.Random) -> str:
    for known in cases:
        expected = chainer.run(known)
        if content(turned.run(known)) != content(expected):
            return "rules"
        for _ in range(SHUFFLES):
            if chainer.run(dice.sample(known, len(known))) != expected:
                return "facts"
    return ""


def content(record: ChainRecord) -> tuple[frozenset[object], frozenset[object]]:
    """Firings and derived facts without the order that the book's own order gives them."""
    firings = frozenset(record.firings)
    derived = frozenset((d.name, d.place, d.state, d.value, frozenset(d.rules), d.supports) for d in record.derived)
    return firings, derived
