"""The engine of one case at a time: experta's, with facts made, declared and fired without what a case never needs.

experta freezes, checks and compares every slot of every fact it is given. Here facts are made by this module alone,
from text and numbers, so those checks are made once, by construction.
"""

from __future__ import annotations

import math
from typing import Any, NoReturn

from rules.chaining.experta_import import Agenda, Fact, FactList, InitialFact, KnowledgeEngine
from rules.chaining.matcher import BookMatcher
from rules.chaining.record import DerivedKey, KnownFact, RawFiring
from rules.chaining.strategy import StableStrategy


class Known(Fact):
    """A fact inside the engine. Slots: id, name, place, state, value, number, by, as in ``KnownFact``.

    ``id`` is the known fact's id, or for a derived fact its key; it keeps facts of equal content apart. ``number`` is
    None, which no premise's number test accepts, where there is none.
    """


def _made(slots: dict[str, Any]) -> Known:
    """A fact of slots that are text, numbers, None or tuples of text: hashable already, and never a constraint."""
    fact = Known.__new__(Known)
    dict.update(fact, slots)
    return fact


def engine_fact(fact: KnownFact) -> Known:
    """A known fact as the engine holds it. A number that is no number (nan) counts as none."""
    number = None if fact.number is None or math.isnan(fact.number) else float(fact.number)
    return _made(
        {
            "id": fact.id,
            "name": fact.name,
            "place": fact.place,
            "state": fact.state,
            "value": fact.value,
            "number": number,
            "by": fact.by,
        }
    )


def _derived(key: DerivedKey) -> Known:
    name, place, state, value = key
    return _made(
        {"id": key, "name": name, "place": place, "state": state, "value": value, "number": None, "by": "rule"}
    )


class CaseFacts(FactList):
    """experta's fact list for facts that are each declared once: no field is validated, no content compared."""

    def declare(self, fact: Fact) -> Fact:
        """Number the fact and keep it as new."""
        number = self.last_index
        dict.__setitem__(fact, "__factid__", number)
        self[number] = fact
        self.last_index = number + 1
        self.added.append(fact)
        return fact


class CaseEngine(KnowledgeEngine):
    """Base of every compiled book: the facts and firings of one case at a time. Not for several threads at once."""

    __matcher__ = BookMatcher
    __strategy__ = StableStrategy

    def __init__(self) -> None:
        super().__init__()
        self.raw: list[RawFiring] = []
        self.concluded: set[DerivedKey] = set()

    def begin(self) -> None:
        """Forget the last case."""
        self.raw, self.concluded = [], set()
        self.reset()

    def reset(self, **_: Any) -> None:
        """Forget everything and hold experta's initial fact, the only one a compiled book begins with."""
        self.agenda, self.facts = Agenda(), CaseFacts()
        self.matcher.reset()
        self.running = False
        self.declare(InitialFact())

    def declare(self, *facts: Fact) -> Fact | None:
        """Take facts in; outside a run the agenda follows at once."""
        last = None
        for fact in facts:
            last = self.facts.declare(fact)
        if not self.running:
            self._follow()
        return last

    def _follow(self) -> None:
        """Bring the agenda up to the facts."""
        if self.facts.added or self.facts.removed:
            added, removed = self.get_activations()
            if added or removed:
                self.strategy.update_agenda(self.agenda, added, removed)

    def run(self, steps: float = math.inf) -> None:
        """Fire what the agenda holds, the last first, until nothing is left or so many steps are done."""
        self.running = True
        while steps > 0 and self.running:
            self._follow()
            activation = self.agenda.get_next()
            if activation is None:
                break
            steps -= 1
            activation.rule(self, **activation.context)
        self.running = False

    def note(self, fired: RawFiring) -> None:
        """Record a firing, and declare what it concludes unless that is already concluded."""
        self.raw.append(fired)
        fresh = [key for key in fired.concludes if key not in self.concluded]
        self.concluded.update(fresh)
        if fresh:
            self.declare(*(_derived(key) for key in fresh))

    def retract(self, idx_or_declared_fact: object) -> NoReturn:  # noqa: ARG002 - experta's own name
        """Refused: a conclusion drawn from a fact would outlive it."""
        raise RuntimeError("a fact is never withdrawn during a case; begin a new case without it")
