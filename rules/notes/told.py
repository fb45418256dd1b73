"""A fact as a clause tells it, before the note as a whole is taken into account."""

from __future__ import annotations

from typing import NamedTuple

from rules.terms import Certainty, Value, fact_key


class Told(NamedTuple):
    """``implied``: it was said of the whole and yields to what is said of the part. Offsets are the note's."""

    fact: str
    value: Value
    where: str | None
    certainty: Certainty
    start: int
    end: int
    implied: bool = False
    between: str | None = None
    during: str | None = None
    conditioned: bool = False  # said under a condition
    unless: frozenset[str] = frozenset()  # it yields to a complaint told with one of these facts

    @property
    def key(self) -> str:
        """Name, place and state in one string, as :attr:`rules.terms.Fact.key`."""
        return fact_key(self.fact, self.where or self.between, self.during)
