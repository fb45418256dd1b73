"""The perturbed world that simulated callers and technicians live in: never the ranker's own table.

Each case is an appliance of its own: the fault's amounts, the supply's volts, each element's watts and every other
resistance are drawn afresh, and the circuit is solved anew for what it shows. What is not electrical is drawn from
jittered ``shows`` tables, and a share of it is another appliance's.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fnmatch import fnmatch

import numpy as np

from rules.appliance import observe_machines
from rules.appliance.injecting import Machine, has_rings, machines
from rules.appliance.tolerances import moved
from rules.belief.signatures import Signatures
from rules.bookkeeping import codes
from rules.bookkeeping.types import Book, Effect, Fault, Rule
from rules.evaluating.grouping import Truth
from rules.evaluating.ranking import possible_words
from rules.evaluating.strain import Strain
from rules.terms import fact_key, fact_of

LEG_LOW, LEG_HIGH = 114.0, 126.0  # ANSI C84.1 service range A
ELEMENT_LOW, ELEMENT_HIGH = 0.90, 1.05
SHOWS_CODE = "display.code"
ODD_OUTSIDE = 0.03  # how often a part is odd that has nothing to do with a cause outside the book


@dataclass(frozen=True)
class Happening:
    """What is wrong with one simulated appliance (nothing of the book: an empty tuple) and what it shows, by key.

    An empty word: the question makes no sense there. ``own`` are the keys at which the fault itself shows something
    odd, before another fault's observations were mixed in.
    """

    truths: tuple[Truth, ...]
    words: dict[str, str]
    own: frozenset[str]


class World:
    """One perturbed world: its own priors, tables and minutes. Draws happenings from it."""

    def __init__(self, book: Book, signatures: Signatures, strain: Strain, rng: np.random.Generator) -> None:
        self.book, self.signatures, self.strain, self.rng = book, signatures, strain, rng
        self.appliance, self.wiring = signatures.appliance, signatures.wiring
        self.faults = [fault for fault in book.faults.values() if fault.exists_on(self.appliance)]
        weights = np.array([fault.weight for fault in self.faults]) * self._factors(strain.prior_sd, len(self.faults))
        self.prior = weights / weights.sum()
        places = self._factors(strain.place_sd, max(len(self.appliance.positions), 1))
        self.places = places / places.sum()
        tests = np.array([card.minutes for card in book.tests.values()])
        spent = tests * self._factors(strain.test_minutes_sd, len(tests))
        self.test_minutes = dict(zip(book.tests, spent.tolist(), strict=True))
        low_high = [fault.minutes for fault in self.faults]
        mended = self._factors(strain.repair_minutes_sd, len(self.faults))
        self.repair_minutes = {
            fault.fault: float(sum(span) / 2 * factor)
            for fault, span, factor in zip(self.faults, low_high, mended, strict=True)
        }
        self.setup_minutes = {
            name: float(setup.minutes * factor)
            for (name, setup), factor in zip(
                book.setups.items(), self._factors(strain.test_minutes_sd, len(book.setups)), strict=True
            )
        }
        self._shows = {fault.fault: self._jittered(fault) for fault in self.faults}

    def _factors(self, sd: float, count: int) -> np.ndarray:
        return np.exp(self.rng.normal(0, sd, count))

    def _jittered(self, fault: Fault) -> dict[str, dict[str, float]]:
        """A fault's ``shows``, each probability moved in logits; certainties become nearly certain."""
        made = {}
        for fact, words in fault.shows.items():
            usual = self.book.facts[fact].usual
            named = {word: share for word, share in words.items() if word != usual}
            moved = {}
            for word, share in named.items():
                p = min(max(share, 0.01), 0.98)
                moved[word] = 1 / (1 + math.exp(-math.log(p / (1 - p)) - self.rng.normal(0, self.strain.shows_sd)))
            over = max(sum(moved.values()), 1.0)
            made[fact] = {word: share / over for word, share in moved.items()}
        return made

    # --- drawing -------------------------------------------------------------------------------------------------
    def happenings(self, count: int, *, faults: int = 1) -> list[Happening]:
        """Draw appliances with so many faults each: 0 is a cause outside the book, 2 a pair."""
        truths = [self._truths(faults) for _ in range(count)]
        return self.of(truths)

    def of(self, truths: Sequence[tuple[Truth, ...]]) -> list[Happening]:
        """Appliances with given faults, everything else drawn."""
        made = [self._machine(entry) for entry in truths]
        seen = observe_machines(self.wiring, made, self.book.facts)
        happened = []
        for row, entry in enumerate(truths):
            words = {key: str(column[row]) for key, column in seen.items()}
            self._add_shown(words, entry)
            odd = self._outside(words) if not entry else self._odd(words)
            happened.append(Happening(entry, words, odd))
        self._mix(happened)
        for happening in happened:
            _any_hazard(happening.words)
            if SHOWS_CODE in happening.words:
                happening.words[codes.FACT] = self._code(happening)
        return happened

    def _code(self, happening: Happening) -> str:
        """The group of the code that a display shows: mostly the fault's own, by odds off those of the book's rules."""
        if happening.words[SHOWS_CODE] != "yes":
            return codes.NO_CODE
        groups = [word for word in self.book.facts[codes.FACT].values if word != codes.NO_CODE]
        odds = self._factors(self.strain.shows_sd, len(groups))
        for rule in self.book.rules.values():
            for condition in rule.alternatives[0] if len(rule.alternatives) == 1 else ():
                if condition.fact == codes.FACT and len(rule.alternatives[0]) == 1:
                    odds *= [self._shift(rule, happening) if group in condition.values else 1.0 for group in groups]
        return str(self.rng.choice(groups, p=odds / odds.sum()))

    @staticmethod
    def _shift(rule: Rule, happening: Happening) -> float:
        """How much likelier a rule makes what is wrong here."""
        named = [s for s in rule.shift for name, _ in happening.truths if any(fnmatch(name, f) for f in s.faults)]
        return max((shift.factor for shift in named), default=1.0)

    def _odd(self, words: dict[str, str]) -> frozenset[str]:
        return frozenset(key for key, word in words.items() if word and word != self.signatures.usual[key])

    def _truths(self, count: int) -> tuple[Truth, ...]:
        chosen: list[Truth] = []
        while len(chosen) < count:
            fault = self.faults[self.rng.choice(len(self.faults), p=self.prior)]
            where = None
            if fault.place == "surface":
                where = self.appliance.positions[self.rng.choice(len(self.places), p=self.places)]
                if not has_rings(self.wiring, fault.effects, where):
                    continue
            if (fault.fault, where) not in chosen and not self._clashes(fault, where, chosen):
                chosen.append((fault.fault, where))
        return tuple(chosen)

    def _clashes(self, fault: Fault, where: str | None, chosen: Sequence[Truth]) -> bool:
        """Whether two faults would put one part into two states."""
        taken = {_part(effect, place) for name, place in chosen for effect in self.book.faults[name].effects}
        return any(_part(effect, where) in taken for effect in fault.effects)

    def _machine(self, truths: tuple[Truth, ...]) -> Machine:
        effects: list[Effect] = []
        for name, where in truths:
            own = self.book.faults[name].effects
            variant = int(self.rng.integers(max((len(e.amounts) for e in own), default=1) or 1))
            for effect in own:
                amounts = (self._amount(effect, variant),) if effect.amounts else ()
                effects.append(Effect(_part(effect, where), effect.mode, amounts))
        machine = machines(self.wiring, effects, None)[0]
        self._vary(machine)
        return machine

    def _amount(self, effect: Effect, variant: int) -> float:
        """A variant's amount, off by a factor."""
        amount = effect.amounts[variant % len(effect.amounts)]
        return moved(effect.mode, amount, float(self.rng.normal(0, self.strain.amounts_sd)))

    def _vary(self, machine: Machine) -> None:
        """Everything about a machine that is not its fault."""
        strain, wiring = self.strain, self.wiring
        halves = {half for ends in wiring.elements.values() for half in ends}
        for near, far in wiring.elements.values():
            watts = np.clip(self.rng.normal(strain.element_mean, strain.element_sd), ELEMENT_LOW, ELEMENT_HIGH)
            for half in (near, far):
                machine.ohms[half] = machine.ohms.get(half, wiring.impedance[half]) / watts
        others = [b for b in wiring.impedance if b not in halves and b not in wiring.normally_open]
        for branch, factor in zip(others, self._factors(strain.parts_sd, len(others)), strict=True):
            machine.ohms[branch] = machine.ohms.get(branch, wiring.impedance[branch]) * factor
        volts = np.clip(self.rng.normal(120.0, strain.supply_volts_sd), LEG_LOW, LEG_HIGH)
        machine.supply_share *= float(volts) / 120.0
        machine.sensor_series += float(self.rng.normal(0, strain.sensor_ohms_sd))
        machine.displaced_f += float(self.rng.normal(0, strain.oven_spread_f_sd))

    def _add_shown(self, words: dict[str, str], truths: tuple[Truth, ...]) -> None:
        """Facts outside the circuit: usual, unless a fault shows another word."""
        for key, usual in self.signatures.usual.items():
            words.setdefault(key, usual)
        for name, where in truths:
            for fact, shares in self._shows[name].items():
                key = fact_key(fact, where if self.book.facts[fact].place == "surface" else None)
                if key not in self.signatures.tables:
                    continue
                draw, total = self.rng.random(), 0.0
                for word, share in shares.items():
                    total += share
                    if draw < total:
                        words[key] = word
                        break
                else:
                    words[key] = str(self.book.facts[fact].usual)

    def _mix(self, happened: Sequence[Happening]) -> None:
        """Of what no circuit predicts, a share of observations is another appliance's."""
        kept = [dict(happening.words) for happening in happened]
        for happening in happened:
            open_keys = [key for key in happening.words if self.book.facts[fact_of(key)].model != "circuit"]
            for key in [key for key in open_keys if self.rng.random() < self.strain.mixed]:
                happening.words[key] = kept[self.rng.integers(len(kept))][key]

    def _outside(self, words: dict[str, str]) -> frozenset[str]:
        """A cause the book does not know: one or two odd things a caller can tell, and seldom anything measured."""
        caller = [key for key in words if self.book.facts[fact_of(key)].told_by != "technician"]
        odd = set(self.rng.choice(caller, size=int(self.rng.integers(1, 3)), replace=False))
        for key, usual in self.signatures.usual.items():
            measured = self.book.facts[fact_of(key)].told_by == "technician"
            if key in odd or (measured and self.rng.random() < ODD_OUTSIDE):
                others = [word for word in possible_words(self.book.facts[fact_of(key)], key) if word != usual]
                words[key] = str(self.rng.choice(others)) if others else usual
        return self._odd(words)


def _part(effect: Effect, where: str | None) -> str:
    return effect.part.replace("{where}", where or "")


def _any_hazard(words: dict[str, str]) -> None:
    """Who is asked for any sign of danger names it if there is one."""
    signs = [word for key, word in words.items() if key.startswith("hazard.") and key != "hazard.any"]
    if "hazard.any" in words and "yes" in signs:
        words["hazard.any"] = "yes"
