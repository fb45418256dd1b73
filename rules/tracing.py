"""Which circuits of the appliance the facts prove alive, which dead: what the circuit model leaves no doubt about.

The circuit is worked through sound, with every fault of the book, with each circuit open and with any two open. A fact
proves a circuit *alive* if it works in every machine that shows what the fact tells, and if some machine ceases to show
it as soon as that circuit is opened. It proves a circuit *dead* if it works in none of the machines that show it, among
those in which everything proved alive works. Each fact is taken by itself, so that nothing rests on there being one
fault only. What was told in doubt proves nothing; what a caller told is as good as the caller's word.
"""

from __future__ import annotations

import itertools
import threading
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from rules.appliance import observe_machines
from rules.appliance.injecting import Machine, machines, stack
from rules.appliance.operating import Runs, display_grade
from rules.appliance.seen.common import SOME_HEAT, lamp_lit, share
from rules.appliance.sensing import room_sensor_ohms
from rules.appliance.wiring import Wiring
from rules.belief.signatures import Signatures
from rules.bookkeeping.types import Appliance, Effect
from rules.casefile import CaseFile, lay_out
from rules.terms import UNNAMED, Fact, fact_of
from rules.triage import MOST_APPLIANCES, Expert, expected_at

Standing = Literal["alive", "dead", "unknown"]
Mask = NDArray[np.bool_]

TIED = 30.0  # V across breaker, wire and plug up to which a conductor brings its voltage; a quarter of 120 V
FEEDERS = {"leg_l1": ("L1S", "L1"), "leg_l2": ("L2S", "L2"), "neutral": ("NS", "N")}
_OVEN = {
    "bake_element": "bake",
    "broil_element": "broil",
    "convection_element": "convection",
    "other_element": "other bake",
}


@dataclass(frozen=True)
class Circuit:
    """A circuit as it is drawn: one of the feeders, the control, the oven lamp, or an element with all that feeds it.

    ``part`` is its name in the wiring; ``unit`` its surface unit.
    """

    part: str
    unit: str | None = None


@dataclass(frozen=True)
class Traced:
    """A circuit and what is proved of it. ``facts``: the numbers, among the facts given, of those that prove it."""

    circuit: Circuit
    standing: Standing
    facts: tuple[int, ...]


def circuits_of(wiring: Wiring) -> tuple[Circuit, ...]:
    """The circuits of an appliance, feeders first."""
    found = [Circuit(part) for part in FEEDERS]
    found += [Circuit(part) for part in ("control", "oven_lamp") if part in wiring.impedance]
    for element in wiring.elements:
        unit = element.partition(".")[0]
        found.append(Circuit(element, unit if unit in wiring.appliance.positions else None))
    return tuple(found)


class Tracer:
    """Traces the facts of cases; works an appliance through once. Safe to share between threads."""

    def __init__(self, expert: Expert) -> None:
        self.expert = expert
        self._made: dict[Appliance, _Table] = {}
        self._making = threading.Lock()

    def trace(self, appliance: Appliance, facts: Sequence[Fact]) -> tuple[Traced, ...]:
        """Every circuit of the appliance with what the facts prove of it.

        The facts must fit the appliance, as those of an answer do.
        """
        signatures = self.expert.signatures(appliance)
        case = lay_out(facts, self.expert.book.facts, appliance, lambda fact, at: expected_at(signatures, fact, at))
        numbers = [facts.index(fact) for fact in case.understood]
        return tuple(_renumbered(traced, numbers) for traced in self._table(signatures).trace(case))

    def _table(self, signatures: Signatures) -> _Table:
        appliance = signatures.appliance
        made = self._made.get(appliance)
        if made is not None:
            return made
        with self._making:
            if appliance not in self._made:
                while len(self._made) >= MOST_APPLIANCES:
                    self._made.pop(next(iter(self._made)))
                self._made[appliance] = _Table(signatures)
            return self._made[appliance]


def _renumbered(traced: Traced, numbers: Sequence[int]) -> Traced:
    return Traced(traced.circuit, traced.standing, tuple(sorted(numbers[n] for n in traced.facts)))


class _Table:
    """For one appliance: which machines show which word, and in which of them each circuit works."""

    def __init__(self, signatures: Signatures) -> None:
        wiring = signatures.wiring
        self.circuits = circuits_of(wiring)
        breaks = [_break(circuit) for circuit in self.circuits]
        opened = [(), *((one,) for one in breaks), *itertools.combinations(breaks, 2)]
        taken = [machines(wiring, effects, None)[0] if effects else Machine() for effects in opened]
        seen = observe_machines(wiring, taken, signatures.book.facts)
        number = {frozenset(effects): n for n, effects in enumerate(opened)}
        #: For each circuit, the machines with one break more than each of the first ones: none, then one each.
        self.further = [[number[frozenset({*o, b})] for o in opened[: len(breaks) + 1]] for b in breaks]
        self.usual = signatures.usual
        self.shown = {key: np.where(words == "", self.usual[key], words) for key, words in seen.items()}
        self.known = {key: signatures.book.facts[fact_of(key)] for key in seen}
        self.tables = {key: signatures.tables[key][:-1] > 0.5 for key in seen}  # at the figures of the book
        faulty = [_machine(signatures, number) for number in range(len(signatures.hypotheses) - 1)]
        runs = Runs(stack(wiring, [*faulty, *taken]), room_sensor_ohms(wiring) if wiring.appliance.oven else 0.0)
        #: Shape (circuits, machines). A bad joint lets voltage through and no load: neither alive under load nor dead.
        self.works = np.array([_works(runs, circuit, "idle") for circuit in self.circuits])
        self.carries = np.array([_works(runs, circuit, "loaded") for circuit in self.circuits])

    def showing(self, key: str, word: str) -> Mask | None:
        """The machines that show a word; None for a key that the circuit says nothing about."""
        if key not in self.shown:
            return None
        column = list(self.known[key].values).index(word)
        return np.concatenate([self.tables[key][:, column], self.shown[key] == word])

    def trace(self, case: CaseFile) -> Iterator[Traced]:
        rows = [(told, self.showing(told.key, told.word)) for told in _told(case)]
        # A word that no machine here shows is not understood by the circuit, and proves nothing.
        proofs = [(told, mask) for told, mask in rows if mask is not None and mask.any()]
        alive = [self._alive(number, proofs) for number in range(len(self.circuits))]
        possible = self.works[[number for number, facts in enumerate(alive) if facts]].all(axis=0)
        left = [(told, mask & possible) for told, mask in proofs if (mask & possible).any()]
        for number, circuit in enumerate(self.circuits):
            dead = () if alive[number] else self._dead(number, left)
            standing: Standing = "alive" if alive[number] else "dead" if dead else "unknown"
            yield Traced(circuit, standing, alive[number] or dead)

    def _alive(self, circuit: int, proofs: Sequence[tuple[_Told, Mask]]) -> tuple[int, ...]:
        found = (
            told.number
            for told, mask in proofs
            if self._about(told, circuit) and self.works[circuit, mask].all() and self._ceases(told, circuit)
        )
        return tuple(dict.fromkeys(found))

    def _ceases(self, told: _Told, circuit: int) -> bool:
        """Whether a machine that shows it shows it no more once the circuit is opened as well."""
        shown = self.shown[told.key] == told.word
        return any(shown[number] and not shown[then] for number, then in enumerate(self.further[circuit]))

    def _dead(self, circuit: int, proofs: Sequence[tuple[_Told, Mask]]) -> tuple[int, ...]:
        found = (n.number for n, mask in proofs if self._about(n, circuit) and not self.carries[circuit, mask].any())
        return tuple(dict.fromkeys(found))

    def _about(self, told: _Told, circuit: int) -> bool:
        """What is told of a unit nobody named proves nothing of the one that stands in for it."""
        return told.stand_in is None or told.stand_in != self.circuits[circuit].unit


@dataclass(frozen=True)
class _Told:
    """What stands and was told for sure: a fact's number, a key and the word it gives it; the unit standing in."""

    number: int
    key: str
    word: str
    stand_in: str | None


def _told(case: CaseFile) -> Iterator[_Told]:
    standing = case.words()
    for statement in case.statements:
        fact = case.understood[statement.number]
        for key, word in statement.says if statement.certainty != "hedged" else ():
            if standing.get(key) == word:
                yield _Told(statement.number, key, word, case.unnamed_at if fact.where == UNNAMED else None)


def _break(circuit: Circuit) -> Effect:
    """What opens a circuit and no other."""
    return Effect("control_supply" if circuit.part == "control" else circuit.part, "open")


def _machine(signatures: Signatures, number: int) -> Machine:
    """The machine of a hypothesis; a sound one for a fault that is not electrical."""
    hypothesis = signatures.hypotheses[number]
    effects = hypothesis.fault.effects if hypothesis.fault else ()
    return machines(signatures.wiring, effects, hypothesis.where)[hypothesis.variant]


def _works(runs: Runs, circuit: Circuit, load: str) -> Mask:
    """Machines in which a circuit works: heats, lights, or for a feeder, brings its voltage with this load."""
    if circuit.part in FEEDERS:
        source, end = FEEDERS[circuit.part]
        crossed = runs.fleet.miswired != ""  # an exchanged conductor is joined to the other one's source
        others = [_tied(runs, load, other, end) & crossed for other, _ in FEEDERS.values()]
        joined: Mask = np.logical_or.reduce([_tied(runs, load, source, end), *others])
        return joined
    if circuit.part == "control":
        lit: Mask = display_grade(runs.fleet, runs.at["idle"]) <= 1
        return lit
    if circuit.part == "oven_lamp":
        return lamp_lit(runs, "lamp", "oven_lamp")
    state = f"high {circuit.unit}" if circuit.unit else _OVEN[circuit.part]
    heats: Mask = share(runs, state, [circuit.part]) > SOME_HEAT
    return heats


def _tied(runs: Runs, load: str, source: str, end: str) -> Mask:
    volts = np.abs(runs.at[load].node(source) - runs.at[load].node(end))
    tied: Mask = np.nan_to_num(volts, nan=np.inf) < TIED
    return tied
