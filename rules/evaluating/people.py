"""Simulated callers and technicians: what they say when asked, what they do not know, what they call about.

Everything a person would answer in a case is drawn before anybody asks, so that every policy meets the same person.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from rules.bookkeeping import codes
from rules.bookkeeping.types import FactTerm
from rules.evaluating.ranking import Ask, Ranker, error_of, meter_points, mistakes, possible_words
from rules.evaluating.world import Happening, World
from rules.terms import ALL, DONT_KNOW, OTHERS, Certainty, Fact, Source, fact_of, split_key

NOT_COMPLAINED_OF = ("hazard.any", codes.FACT)  # nobody rings about these words themselves
SAID_MOST = 3  # separate things a caller tells unasked
ALSO_SAYS = 0.35  # probability of each further one
SPEAKS_OF_ALL = 0.8  # that who sees the same on every unit says so of all of them
SPEAKS_OF_OTHERS = 0.4  # that who names one unit adds how the others do
HEDGES_RIGHT, HEDGES_WRONG = 0.08, 0.20  # how often an answer is hedged


@dataclass(frozen=True)
class Person:
    """What one person answers, by key; keys in ``silent`` get "don't know". ``error``: how often it is mistaken."""

    says: Mapping[str, str]
    hedges: frozenset[str]
    silent: frozenset[str]
    source: Source
    error: float


@dataclass(frozen=True)
class Case:
    """A simulated call: what is wrong, who calls, who goes, what the caller tells unasked, what things take."""

    happening: Happening
    caller: Person
    technician: Person
    complaint: tuple[Fact, ...]
    test_minutes: Mapping[str, float]
    setup_minutes: Mapping[str, float]
    repair_minutes: Mapping[str, float]

    def misreports(self, key: str) -> bool:
        """Whether the caller says of this key what the appliance does not show."""
        shown = self.happening.words.get(key)
        return bool(shown) and self.caller.says.get(key) != shown


def cases(ranker: Ranker, world: World, count: int, *, faults: int = 1) -> tuple[list[Case], int]:
    """So many calls from a world, and how many appliances were drawn that nobody would call about."""
    made: list[Case] = []
    unseen = 0
    asker = _People(ranker, world)
    for _ in range(50):
        if len(made) >= count:
            break
        for happening in world.happenings(max(count - len(made), 8), faults=faults):
            case = asker.case(happening)
            if case is None:
                unseen += 1
            elif len(made) < count:
                made.append(case)
    return made, unseen


class _People:
    """Draws persons in one world; the world's own way of mistaking words stays the same for all of them."""

    def __init__(self, ranker: Ranker, world: World) -> None:
        self.ranker, self.world, self.rng = ranker, world, world.rng
        self.strain = world.strain
        self._wrong: dict[tuple[str, str, str], tuple[float, np.ndarray]] = {}
        self.unsure = {test: float(np.exp(self.rng.normal(0, self.strain.dont_know_sd))) for test in ranker.book.tests}
        self.cards = {card.reads: card for card in ranker.book.tests.values()}

    def case(self, happening: Happening) -> Case | None:
        caller = self._person(happening, "caller")
        technician = self._person(happening, "technician")
        complaint = self._complaint(happening, caller)
        if not complaint:
            return None
        tests = {test: float(f * np.exp(self.rng.normal(0, 0.2))) for test, f in self.world.test_minutes.items()}
        return Case(
            happening, caller, technician, complaint, tests, self.world.setup_minutes, self.world.repair_minutes
        )

    def _usual(self, key: str) -> str:
        return self.ranker.signatures.usual.get(key) or str(self.ranker.book.facts[fact_of(key)].usual)

    # --- answers -------------------------------------------------------------------------------------------------
    def _person(self, happening: Happening, source: Source) -> Person:
        strain = self.strain
        rate = float(np.exp(self.rng.uniform(-1, 1) * np.log(strain.twofold)))
        if source == "caller":
            rate *= strain.bad if self.rng.random() < strain.bad_share else strain.good
        says, hedges, silent = {}, set(), set()
        for key, shown in happening.words.items():
            term = self.ranker.book.facts[fact_of(key)]
            card = self.cards.get(term.fact)
            usual = self._usual(key)
            if source == "caller" and term.told_by == "technician":
                continue
            unsure = (card.dont_know * self.unsure[card.test]) if card else 0.1
            if source == "technician":
                unsure *= 0.5 if term.told_by != "technician" else 1.0
            elif strain.dont_know is not None:
                unsure = strain.dont_know
            word = shown or usual
            if not shown:
                unsure = max(unsure, 0.5)
            if self.rng.random() < min(unsure, 0.95):
                silent.add(key)
            error = self._error(source, term, rate)
            says[key] = said = self._said(key, term, word, error)
            if source == "caller" and self.rng.random() < (HEDGES_RIGHT if said == word else HEDGES_WRONG):
                hedges.add(key)
        error = self._error(source, None, rate)
        return Person(says, frozenset(hedges), frozenset(silent), source, error)

    def _error(self, source: Source, term: FactTerm | None, rate: float) -> float:
        if source == "caller" and self.strain.caller_error is not None:
            return self.strain.caller_error
        return min(error_of(source, certainty_of(term, source) if term else "said") * rate, 0.45)

    def _said(self, key: str, term: FactTerm, word: str, error: float) -> str:
        """The word, or by mistake another. Which one is drawn from the book's named mistakes, moved and flattened."""
        words = list(term.values)
        others = [float(other != word and other in possible_words(term, key)) for other in words]
        if not any(others):
            return word
        entry = (key, self._usual(key), word)
        if entry not in self._wrong:
            self._wrong[entry] = self._mistaken(term, entry[1], words.index(word), np.array(others))
        often, shares = self._wrong[entry]
        if self.rng.random() >= error * often:
            return word
        return words[int(self.rng.choice(len(words), p=shares))]

    def _mistaken(self, term: FactTerm, usual: str, number: int, others: np.ndarray) -> tuple[float, np.ndarray]:
        strain = self.strain
        row = mistakes(term, usual)[number]
        often = min(float(row.sum()) * float(np.exp(self.rng.normal(0, strain.wrong_words_sd))), 1.0)
        shares = row * others * np.exp(self.rng.normal(0, strain.wrong_words_sd, len(row)))
        uniform = strain.wrong_words_uniform
        return often, (1 - uniform) * shares / shares.sum() + uniform * others / others.sum()

    # --- the complaint -------------------------------------------------------------------------------------------
    def _complaint(self, happening: Happening, caller: Person) -> tuple[Fact, ...]:
        """What the caller tells unasked: something odd that the fault itself shows, and perhaps more that seems odd.

        People call about what they see, so the first thing is told as it is. Each further one is as often mistaken as
        an answer: of all that a caller could say a few things are wrong, but nobody goes through them all to tell.
        """
        odd: dict[tuple[str, str], list[str]] = defaultdict(list)
        chief: set[tuple[str, str]] = set()
        seen: set[tuple[str, str]] = set()
        for key, said in caller.says.items():
            fact, place, _ = split_key(key)
            if said == self._usual(key) or not happening.words[key] or fact in NOT_COMPLAINED_OF:
                continue
            odd[fact, said].append(place or "")
            if said == happening.words[key]:
                seen.add((fact, said))
                chief |= {(fact, said)} if key in happening.own else set()
        if not chief:
            return ()
        things = self._drawn([thing for thing in odd if thing in chief], 1)
        for _ in range(int(self.rng.binomial(SAID_MOST - 1, ALSO_SAYS))):
            mistaken = self.rng.random() < caller.error
            left = [thing for thing in odd if thing not in things and (thing in seen) != mistaken]
            things += self._drawn(left, 1)
        return tuple(dict.fromkeys(fact for thing in things for fact in self._told(caller, *thing, odd[thing])))

    def _drawn(self, things: Sequence[tuple[str, str]], most: int) -> list[tuple[str, str]]:
        """Some of these things, the more striking the likelier."""
        count = min(most, len(things))
        if not count:
            return []
        weights = np.array([self._striking(fact) for fact, _ in things])
        chosen = self.rng.choice(len(things), size=count, replace=False, p=weights / weights.sum())
        return [things[number] for number in chosen]

    def _striking(self, fact: str) -> float:
        card = self.cards.get(fact)
        return 1 - card.dont_know if card else 1.0

    def _told(self, caller: Person, fact: str, word: str, places: Sequence[str]) -> list[Fact]:
        term = self.ranker.book.facts[fact]
        units = self.ranker.signatures.appliance.positions
        if term.place != "surface":
            key = next(key for key, said in caller.says.items() if fact_of(key) == fact and said == word)
            return [told(self.ranker, key, caller)]
        if len(places) == len(units) > 1 and self.rng.random() < SPEAKS_OF_ALL:
            return [replace(told(self.ranker, f"{fact}@{units[0]}", caller), where=ALL)]
        named = [told(self.ranker, f"{fact}@{place}", caller) for place in places[:2]]
        known = self.ranker.signatures.usual
        rest = [key for unit in units if unit not in places and (key := f"{fact}@{unit}") in known]
        usual = [known[key] for key in rest]
        fine = rest and [caller.says[key] for key in rest] == usual and len(set(usual)) == 1
        if fine and len(places) <= 2 and self.rng.random() < SPEAKS_OF_OTHERS:
            named.append(replace(told(self.ranker, rest[0], caller), where=OTHERS))
        return named


def told(ranker: Ranker, key: str, person: Person) -> Fact:
    """What a person tells about a key, unasked."""
    term, fact = _about(ranker, key, person.source)
    value = person.says[key] if term.kind == "choice" else number_in(ranker, key, person.says[key])
    return replace(fact, value=value, certainty="hedged" if key in person.hedges else fact.certainty)


def answer(ranker: Ranker, key: str, person: Person) -> Fact:
    """What a person answers about a key; ``unknown`` for "don't know"."""
    if key in person.silent or key not in person.says:
        return _about(ranker, key, person.source)[1]
    return told(ranker, key, person)


def _about(ranker: Ranker, key: str, source: Source) -> tuple[FactTerm, Fact]:
    """The term of a key, and a fact of it without a value."""
    name, place, during = split_key(key)
    term = ranker.book.facts[name]
    where, between = (None, place) if term.place == "meter" else (place, None)
    return term, Fact(name, DONT_KNOW, where, between, during, source, certainty_of(term, source))


def certainty_of(term: FactTerm, source: Source) -> Certainty:
    """How sure a person of this kind is of such a fact."""
    return "measured" if source == "technician" and term.told_by == "technician" else "said"


def number_in(ranker: Ranker, key: str, word: str) -> float:
    """A number in the middle of a named band, in the vocabulary's unit; an open line is endless."""
    name, place, _ = split_key(key)
    term = ranker.book.facts[name]
    bands = term.bands_at(meter_points(term, key))
    low, high = bands.ranges[word]
    middle = (low + high) / 2
    return middle * ranker.expected(name, place or "") if bands.relative and np.isfinite(middle) else middle


def reply(ranker: Ranker, ask: Ask, person: Person) -> list[Fact]:
    """A person's answer to a test. Who says yes to any danger says which."""
    if ask.card.reads == "dead_check":
        return [Fact("dead_check", "proved", source="technician", certainty="measured")]
    facts = [answer(ranker, ask.key, person)]
    if ask.key == "hazard.any" and facts[0].value == "yes":
        signs = [k for k, said in person.says.items() if k.startswith("hazard.") and k != ask.key and said == "yes"]
        facts += [told(ranker, key, person) for key in signs]
    return facts
