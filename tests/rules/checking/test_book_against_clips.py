"""The shipped book through experta and through CLIPS on thousands of random cases: facts and firings agree."""

from __future__ import annotations

import random
from collections import Counter

from rules import Expert
from rules.bookkeeping.types import Condition, FactTerm
from rules.chaining import KnownFact
from tests.rules.chaining.clipsback import ClipsBook
from tests.rules.chaining.plainly import as_refs

CASES = 4000
SOURCES = ("caller", "desk", "note", "technician")
Row = tuple[str, str, str, str, float | None, str]


class Dealer:
    """Random facts of the book's own vocabulary, half of them such as some rule asks for."""

    def __init__(self, expert: Expert, number: int) -> None:
        self.dice = random.Random(number)
        self.terms = list(expert.book.facts.values())
        self.by_name = expert.book.facts
        self.units = sorted({unit for a in expert.book.appliances.values() for unit in a.positions})
        self.rules = list(expert.book.rules.values())

    def case(self, number: int) -> list[KnownFact]:
        """The premises of one rule after the other, or most of them, among up to twelve facts of any kind."""
        unit = self.dice.choice(self.units)
        premises = self.dice.choice(self.rules[number % len(self.rules)].alternatives)
        rows = {self.asked(premise, unit) for premise in premises if self.dice.random() < 0.9}
        rows |= {self.told(self.dice.choice(self.terms)) for _ in range(self.dice.randint(0, 12))}
        ordered = sorted(rows, key=lambda row: (*row[:4], row[4] is not None, row[4] or 0.0, row[5]))
        return [KnownFact(index, *row) for index, row in enumerate(ordered)]

    def told(self, term: FactTerm, unit: str | None = None) -> Row:
        """Any value of a term, at any place, from anyone."""
        place = {
            "surface": lambda: unit or self.dice.choice((*self.units, "all")),
            "meter": lambda: self.dice.choice(term.between),
            "none": lambda: "",
        }[term.place]()
        state = self.dice.choice(term.states) if term.states else ""
        number = self.number(term) if term.kind == "number" else None
        return (term.fact, place, state, self.dice.choice(list(term.values)), number, self.dice.choice(SOURCES))

    def number(self, term: FactTerm) -> float:
        edges = [edge for bands in term.bands for pair in bands.ranges.values() for edge in pair]
        return float(self.dice.choice(edges)) + self.dice.choice((-0.5, 0.0, 0.5))

    def asked(self, premise: Condition, unit: str) -> Row:
        """A fact that meets a premise, or for a negated one breaks it."""
        fact, place, state, _, number, by = self.told(self.by_name[premise.fact], unit)
        values = premise.values or [v for v in self.by_name[premise.fact].values if v not in premise.not_values]
        if premise.where not in (None, "same", "any", "every_tried"):
            place = str(premise.where)
        if premise.at_least is not None or premise.below is not None:
            limit = premise.at_least if premise.at_least is not None else (premise.below or 0.0) - 1
            number = self.dice.choice((limit, limit, limit - 1))
        return (
            fact,
            premise.between or place,
            premise.during or state,
            self.dice.choice(list(values)),
            number,
            premise.by or by,
        )


def test_the_book_gives_the_same_in_clips(expert: Expert) -> None:
    other = ClipsBook(list(expert.book.rules.values()))
    dealer = Dealer(expert, 2026)
    fired: Counter[str] = Counter()
    derived = joined = 0
    for number in range(CASES):
        known = dealer.case(number)
        ours, theirs = as_refs(expert.chainer.run(known)), other.run(known)
        assert ours == theirs, (number, known)
        fired.update({rule for rule, _ in ours[1]})
        derived += len(ours[0])
        joined += sum(place is not None for _, place in ours[1])
    # the cases are worth comparing: every rule has fired, and rules have chained and joined
    assert not set(expert.book.rules) - set(fired)
    assert min(derived, joined) > 100


def test_a_changed_rule_is_noticed(expert: Expert) -> None:
    """The comparison can fail: a book without one rule gives other firings on some of the same cases."""
    rules = [rule for rule in expert.book.rules.values() if rule.rule != "heat-proves-both-legs"]
    other = ClipsBook(rules)
    dealer = Dealer(expert, 2026)
    cases = [dealer.case(number) for number in range(200)]
    assert any(as_refs(expert.chainer.run(known)) != other.run(known) for known in cases)
