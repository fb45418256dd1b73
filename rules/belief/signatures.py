"""What every fault looks like: for each fact key a table of P(word | hypothesis), before anyone's mistakes.

The tables come from the circuit model; a fault's ``shows`` adds only what is not electrical. A hypothesis is a fault
at a place, or *none of these*, which predicts nothing and so never loses by surprise.
"""

from __future__ import annotations

import fnmatch
import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import chain
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from rules.appliance import Words, observe_machines, remembered
from rules.appliance.injecting import Machine
from rules.appliance.tolerances import NODES, machines_off
from rules.appliance.wiring import Wiring, wire
from rules.belief.repairs import Mends, Repair, repairs_of
from rules.belief.stack import Numbers, Stack, Table, stack_up
from rules.bookkeeping.types import Appliance, Book, FactTerm, Fault
from rules.terms import BookError, fact_key, fact_of, split_key

if TYPE_CHECKING:
    from rules.belief.questions import Questions

Flags = NDArray[np.bool_]

NO_NUMBERS = np.empty(0, dtype=np.intp)

#: What faults say beside what they do: who mends it, how soon, what stays off meanwhile; the gravest first.
TRAITS: Mapping[str, tuple[str, ...]] = {
    "skill": ("utility", "electrician", "appliance_technician", "customer"),
    "urgency": ("now", "soon", "routine", "none"),
    "limit": ("range_off", "oven_off", "unit_off", "none"),
}
MOST_PATTERNS = 2000  # lists of patterns of which the matching hypotheses are kept

#: Prior share of everything the book does not know. Common practice, no source.
NONE_OF_THESE_SHARE = 0.03

#: How often a thing is odd without a known cause, told or measured. Common practice, no source.
ODD_IF_TOLD, ODD_IF_MEASURED = 0.02, 0.03


@dataclass(frozen=True)
class Hypothesis:
    """A fault at a place in one of its variants (how much resistance, say), or none of these (``fault`` None).

    Variants are hypotheses of their own, so that what they show together is kept together. Two faults at once have
    ``both``; ``fault`` is then the two as one, with the parts, the minutes and the cautions of each.
    """

    fault: Fault | None
    where: str | None
    variant: int = 0
    both: tuple[Hypothesis, ...] = ()

    @cached_property
    def name(self) -> str:
        return self.fault.fault if self.fault else "none_of_these"

    @cached_property
    def faults(self) -> tuple[str, ...]:
        """The names of its fault, or of both; none of none of these."""
        return tuple(one.name for one in self.both or (self,) if one.fault)


@dataclass(frozen=True)
class Signatures:
    """The signature table of an appliance.

    ``prior``: shape (H,), sums to 1; *none of these* comes last. ``group``: shape (H,), the number of the fault and
    place a hypothesis belongs to; ``first``: the first hypothesis of each group.
    """

    book: Book
    appliance: Appliance
    wiring: Wiring
    hypotheses: tuple[Hypothesis, ...]
    prior: Table
    stack: Stack
    group: NDArray[np.intp]
    first: NDArray[np.intp]
    alone: Signatures | None = None  # the same without pairs, where these have pairs
    asked: dict[str, Questions] = field(default_factory=dict, repr=False)  # by who asks; see questions.py
    joined: dict[tuple[int, int], Hypothesis] = field(default_factory=dict, repr=False)  # pairs met so far
    both: dict[tuple[str, str], Fault] = field(default_factory=dict, repr=False)  # two faults as one, by their names
    mends: Mends = field(default_factory=dict, init=False, repr=False)  # of single faults and of pairs met so far
    _named: dict[tuple[tuple[str, ...], str | None], Numbers] = field(default_factory=dict, repr=False)
    _with: dict[tuple[str, ...], Flags] = field(default_factory=dict, repr=False)
    _errors: dict[tuple[str, str], float | None] = field(default_factory=dict, repr=False)

    @property
    def usual(self) -> Mapping[str, str]:
        """The word a sound appliance of this configuration shows, by key."""
        return self.stack.usual

    @cached_property
    def tables(self) -> Mapping[str, Table]:
        """P(word | hypothesis) by key, shape (H, K); rows sum to 1, columns as the fact's values."""
        return {key: self.stack.true[start:end].T for key, (start, end) in self.stack.spans.items()}

    @cached_property
    def facts(self) -> frozenset[str]:
        """Names of the facts that a table speaks of."""
        return frozenset(fact_of(key) for key in self.stack.spans)

    @cached_property
    def at(self) -> Mapping[str | None, Flags]:
        """Which hypotheses are faults at a unit, by unit; None for those without a place."""
        places = np.array([h.where or "" for h in self.hypotheses])
        return {place or None: places == place for place in ("", *self.appliance.positions)}

    @cached_property
    def at_name(self) -> Mapping[str, Numbers]:
        """The hypotheses of each fault by its name, rising."""
        found: dict[str, list[int]] = {}
        for number, hypothesis in enumerate(self.hypotheses):
            found.setdefault(hypothesis.name, []).append(number)
        return {name: np.array(numbers, dtype=np.intp) for name, numbers in found.items()}

    def named_at(self, patterns: tuple[str, ...], where: str | None) -> Numbers:
        """The hypotheses of a fault that some pattern matches, at a place if one is given.

        A book has few lists of patterns, so they are kept.
        """
        numbers = self._named.get((patterns, where))
        if numbers is None:
            matches = re.compile("|".join(map(fnmatch.translate, patterns))).match
            flags = np.array([h.fault is not None and matches(h.name) is not None for h in self.hypotheses])
            numbers = np.flatnonzero(flags if where is None else flags & self.at.get(where, False))
            if len(self._named) < MOST_PATTERNS:
                self._named[patterns, where] = numbers
        return numbers

    def by_group(self, probability: Table) -> Table:
        """Belief summed over the variants of each fault and place, shape (G,)."""
        return np.asarray(np.bincount(self.group, weights=probability, minlength=len(self.first)), dtype=np.float64)

    @cached_property
    def _faults(self) -> tuple[tuple[Fault, ...], Numbers]:
        known, of = ((), np.empty(0, dtype=np.intp)) if self.alone is None else self.alone._faults
        fresh = self.hypotheses[len(of) : -1]
        order = {name: len(known) + number for number, name in enumerate(dict.fromkeys(h.name for h in fresh))}
        by_name = {h.name: h.fault for h in fresh if h.fault}
        numbers = np.array([order[h.name] for h in fresh], dtype=np.intp)
        return (*known, *(by_name[name] for name in order)), np.concatenate([of, numbers])

    def faults_with(self, names: tuple[str, ...]) -> Flags:
        """Which of :attr:`faults` are one of these, or one of them with another, shape (faults,).

        A book's rules have few lists of names; those of single faults are kept.
        """
        flags = self._with.get(names)
        if flags is None:
            known = np.zeros(0, dtype=bool) if self.alone is None else self.alone.faults_with(names)
            wanted = frozenset(names)
            fresh = [not wanted.isdisjoint(said) for said in self._names[len(known) :]]
            flags = np.concatenate([known, np.array(fresh, dtype=bool)])
            if len(self._with) < MOST_PATTERNS:
                self._with[names] = flags
        return flags

    @cached_property
    def _names(self) -> tuple[tuple[str, ...], ...]:
        known = () if self.alone is None else self.alone._names
        start = 0 if self.alone is None else len(self.alone.hypotheses) - 1
        fresh = {h.name: tuple(one.name for one in h.both or (h,)) for h in self.hypotheses[start:-1]}
        return (*known, *(fresh[fault.fault] for fault in self.faults[len(known) :]))

    @cached_property
    def traits(self) -> Mapping[str, Numbers]:
        """Skill, urgency and limit of each of :attr:`faults` as numbers in :data:`TRAITS`, shape (faults,)."""
        known = {} if self.alone is None else self.alone.traits
        fresh = self.faults[0 if self.alone is None else len(self.alone.faults) :]
        made = {}
        for name, words in TRAITS.items():
            numbers = np.array([words.index(getattr(fault, name)) for fault in fresh], dtype=np.intp)
            made[name] = np.concatenate([known[name], numbers]) if known else numbers
        return made

    @cached_property
    def home(self) -> Flags:
        """Which of :attr:`faults` the customer can mend, shape (faults,)."""
        flags: Flags = self.traits["skill"] == TRAITS["skill"].index("customer")
        return flags

    @cached_property
    def tells(self) -> tuple[tuple[str, ...], Numbers]:
        """What faults say to the customer, each sentence once, and the number of each fault's among them."""
        said, of = ((), NO_NUMBERS) if self.alone is None else self.alone.tells
        known = {tell: number for number, tell in enumerate(said)}
        fresh = [known.setdefault(fault.tell, len(known)) for fault in self.faults[len(of) :]]
        return tuple(known), np.concatenate([of, np.array(fresh, dtype=np.intp)])

    @property
    def faults(self) -> tuple[Fault, ...]:
        """The faults of this appliance, each once, in the book's order."""
        return self._faults[0]

    def by_fault(self, probability: Table) -> Table:
        """Belief in each fault, its places and variants summed, shape (faults,); without *none of these*."""
        return np.asarray(
            np.bincount(self._faults[1], weights=probability[:-1], minlength=len(self.faults)), dtype=np.float64
        )

    @cached_property
    def members(self) -> tuple[tuple[int, ...], ...]:
        """The hypotheses of each group."""
        known: tuple[tuple[int, ...], ...] = () if self.alone is None else self.alone.members[:-1]
        found: list[list[int]] = [[] for _ in self.first[len(known) :]]
        start = sum(map(len, known))
        for number, group in enumerate(self.group[start:].tolist(), start):
            found[group - len(known)].append(number)
        return (*known, *map(tuple, found))

    @cached_property
    def name_of_group(self) -> Numbers:
        """For each group but *none of these* the number of its fault, shape (G - 1,)."""
        return self._faults[1][self.first[:-1]]

    @cached_property
    def most_places(self) -> int:
        """The most places, or pairs of places, that one of :attr:`faults` has."""
        return int(np.bincount(self.name_of_group).max())

    def prior_of(self, members: Sequence[int]) -> float:
        """Prior share of a few hypotheses together."""
        if len(members) == 1:
            return float(self.prior[members[0]])
        return float(self.prior[list(members)].sum())

    @cached_property
    def _repairs(self) -> tuple[tuple[Repair, ...], Numbers]:
        known = None if self.alone is None else self.alone._repairs
        mends = self.mends if self.alone is None else self.alone.mends
        return repairs_of(self.hypotheses, self.prior, self.appliance, self.book, known, mends)

    @property
    def repairs(self) -> tuple[Repair, ...]:
        """What can be done about it: hypotheses with the same parts, place and skill are one repair.

        Nothing is gained by telling those apart. The last is that of *none of these*: somebody else must look.
        """
        return self._repairs[0]

    @cached_property
    def part_sets(self) -> tuple[tuple[frozenset[str], ...], Numbers, Numbers]:
        """The sets of parts that repairs take, the number of each repair's set, and of its skill in TRAITS."""
        sets, of, skills = ((), NO_NUMBERS, NO_NUMBERS) if self.alone is None else self.alone.part_sets
        known = {parts: number for number, parts in enumerate(sets)}
        kept = of[:-1]  # the last is that of none of these
        fresh = self.repairs[len(kept) :]
        numbers = [known.setdefault(frozenset(repair.parts), len(known)) for repair in fresh]
        words = (*TRAITS["skill"], None)
        skilled = np.array([words.index(repair.skill) for repair in fresh], dtype=np.intp)
        of = np.concatenate([kept, np.array(numbers, dtype=np.intp)])
        return tuple(known), of, np.concatenate([skills[: len(kept)], skilled])

    @cached_property
    def repair_costs(self) -> Table:
        """What each repair costs, in minutes, shape (repairs,)."""
        return np.array([repair.cost for repair in self.repairs])

    @property
    def repair(self) -> Numbers:
        """The number of the repair that mends each hypothesis, shape (H,)."""
        return self._repairs[1]

    def by_repair(self, probability: Table) -> Table:
        """Belief summed over what one repair mends, shape (repairs,)."""
        return np.asarray(np.bincount(self.repair, weights=probability, minlength=len(self.repairs)), dtype=np.float64)

    @cached_property
    def can_meet(self) -> Flags:
        """Which two hypotheses can be there at once, shape (H, H): not two of one part, nor two modes of one fault."""
        changed: dict[str, list[int]] = {}
        for number, h in enumerate(self.hypotheses):
            for effect in h.fault.effects if h.fault else ():
                changed.setdefault(effect.part.replace("{where}", h.where or ""), []).append(number)
        meet: Flags = self.group[:, None] != self.group
        for numbers in changed.values():
            meet[np.ix_(numbers, numbers)] = False
        return meet

    @cached_property
    def comes_with(self) -> Table:
        """The book's factor for two of :attr:`faults` that come together, else 1, shape (faults, faults)."""
        number = {fault.fault: number for number, fault in enumerate(self.faults)}
        factors = np.ones((len(number), len(number)))
        for pair in self.book.pairs.values():
            if all(name in number for name in pair.faults):
                one, other = (number[name] for name in pair.faults)
                factors[one, other] = factors[other, one] = pair.factor
        return factors

    @property
    def fault_number(self) -> Numbers:
        """For each hypothesis but *none of these* the number of its fault among :attr:`faults`, shape (H - 1,)."""
        return self._faults[1]

    @cached_property
    def unit(self) -> Numbers:
        """For each hypothesis the number of its unit, -1 for one without a place, shape (H,)."""
        places = self.appliance.positions
        return np.array([places.index(h.where) if h.where else -1 for h in self.hypotheses], dtype=np.intp)

    @cached_property
    def _own_errors(self) -> Mapping[tuple[str, str], float]:
        """Errors that test cards state for themselves, by what they read and who answers; of two the larger."""
        found: dict[tuple[str, str], float] = {}
        for card in self.book.tests.values():
            if card.error is not None:
                entry = (fact_key(card.reads, card.between, card.during), card.who)
                found[entry] = max(card.error, found.get(entry, 0.0))
        return found

    def own_error(self, key: str, who: str) -> float | None:
        """The share of wrong answers that a test card states for this key and whoever answers it, if one does."""
        if not self._own_errors:
            return None
        if (key, who) not in self._errors:
            fact, place, during = split_key(key)
            place = None if self.book.facts[fact].place == "surface" else place
            self._errors[key, who] = self._own_errors.get((fact_key(fact, place, during), who))
        return self._errors[key, who]


def build(book: Book, appliance: Appliance) -> Signatures:
    """Simulate every fault of the book at every place of the appliance.

    Raises BookError, naming file and line, for an effect that the appliance's circuit does not have.
    """
    wiring = wire(appliance)
    sound = Machine()  # comes first; then every hypothesis at each node of the tolerances
    rows: list[list[Machine]] = [[] for _ in NODES]
    hypotheses: list[Hypothesis] = []
    for fault in book.faults.values():
        if fault.exists_on(appliance):
            for where in appliance.positions if fault.place == "surface" else (None,):
                made = [_machines(wiring, fault, where, node) for node, _ in NODES]
                hypotheses += [Hypothesis(fault, where, variant) for variant in range(len(made[0]))]
                for at_node, more in zip(rows, made, strict=True):
                    at_node.extend(more)
    every = [sound, *chain.from_iterable(rows)]
    seen = remembered(appliance, every, book.facts, lambda: observe_machines(wiring, every, book.facts))
    usual = {key: str(words[0]) for key, words in seen.items()}
    count = len(hypotheses)
    tables = {key: _shown(words[1:], count, _term(book.facts, key), usual[key]) for key, words in seen.items()}
    hypotheses.append(Hypothesis(None, None))
    usual |= _add_shown(book, appliance, hypotheses, tables)
    names = [(h.name, h.where) for h in hypotheses]
    order = list(dict.fromkeys(names))
    group = np.array([order.index(name) for name in names], dtype=np.intp)
    first = np.array([names.index(name) for name in order], dtype=np.intp)
    stack = stack_up(tables, book.facts, usual)
    return Signatures(book, appliance, wiring, tuple(hypotheses), _prior(hypotheses, appliance), stack, group, first)


def _term(terms: Mapping[str, FactTerm], key: str) -> FactTerm:
    return terms[fact_of(key)]


def _machines(wiring: Wiring, fault: Fault, where: str | None, node: float) -> list[Machine]:
    try:
        return machines_off(wiring, fault.effects, where, node)
    except BookError as error:
        place = f"{fault.file}:{fault.line}: effects: {fault.fault}: "
        raise BookError([place + problem for problem in error.problems]) from error


def _shown(words: Words, count: int, term: FactTerm, usual: str) -> Table:
    """How often each of ``count`` hypotheses shows each word, and last what is seen when none of them is the cause.

    ``words``: of every hypothesis at one node of the tolerances after the other.
    Where the question makes no sense (how food browns in a dead oven) nobody answers it with anything odd.
    """
    column = {word: number for number, word in enumerate(term.values)}
    table = np.zeros((count + 1, len(column)))
    numbers = np.array([column[word or usual] for word in words.tolist()], dtype=np.intp).reshape(len(NODES), count)
    for at_node, (_, sixths) in zip(numbers, NODES, strict=True):
        table[np.arange(count), at_node] += sixths
    table /= sum(sixths for _, sixths in NODES)
    table[-1] = _unexplained(term, usual)
    return table


def _unexplained(term: FactTerm, usual: str) -> Table:
    """What is seen where none of the book's faults is the cause: mostly the usual, anything else in equal shares.

    A measured part is odd less often for no known reason than a thing described over the telephone.
    """
    odd = ODD_IF_MEASURED if term.told_by == "technician" else ODD_IF_TOLD
    others = max(len(term.values) - 1, 1)
    return np.array([1 - odd if word == usual else odd / others for word in term.values])


def _add_shown(
    book: Book, appliance: Appliance, hypotheses: list[Hypothesis], tables: dict[str, Table]
) -> dict[str, str]:
    """Facts outside the circuit: usual for all, except where a fault says what it shows. Gives the usual words."""
    usual: dict[str, str] = {}
    for term in book.facts.values():
        if term.model != "shows" or term.usual is None:
            continue
        for place in appliance.positions if term.place == "surface" else (None,):
            key = fact_key(term.fact, place)
            usual[key] = term.usual
            tables[key] = np.tile([float(word == term.usual) for word in term.values], (len(hypotheses), 1))
            tables[key][-1] = _unexplained(term, term.usual)
    for number, hypothesis in enumerate(hypotheses):
        for fact, shown in hypothesis.fault.shows.items() if hypothesis.fault else ():
            term = book.facts[fact]
            key = fact_key(fact, hypothesis.where if term.place == "surface" else None)
            if key in tables:
                row = np.array([shown.get(word, 0.0) for word in term.values])
                row[list(term.values).index(str(term.usual))] += 1 - row.sum()
                tables[key][number] = row
    return usual


def _prior(hypotheses: list[Hypothesis], appliance: Appliance) -> Table:
    """The book's weights, shared over the places and variants of a fault; the share of none of these on top."""
    places = max(len(appliance.positions), 1)
    variants = Counter((h.name, h.where) for h in hypotheses)
    weights = [h.fault.weight / (places if h.where else 1) / variants[h.name, h.where] for h in hypotheses if h.fault]
    known = np.array(weights) / sum(weights) * (1 - NONE_OF_THESE_SHARE)
    return np.append(known, NONE_OF_THESE_SHARE)
