"""The words every other module shares: a fact, who saw it, and how surely.

One name for one thing: these classes are what the book, the engine, the ranking, the HTTP answer and the command
line all speak of. Nothing here imports anything else of the project.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

Source = Literal["caller", "desk", "technician", "note", "rule"]
Role = Literal["caller", "desk", "technician"]
Certainty = Literal["said", "hedged", "measured"]
Value = str | float

ROLES: tuple[Role, ...] = ("caller", "desk", "technician")
SOURCES: tuple[Source, ...] = ("caller", "desk", "technician", "note", "rule")

#: How far a source is trusted when two of them say different things about one key; higher wins.
TRUST: dict[Source, int] = {"rule": 0, "note": 1, "caller": 2, "desk": 2, "technician": 3}

#: The value of a fact that was asked about and that nobody could tell: it is kept, weighs nothing, is not asked again.
DONT_KNOW = "unknown"

#: Places that stand for several units, or for one the caller did not name.
ALL, OTHERS, UNNAMED = "all", "others", "unnamed"


@dataclass(frozen=True)
class Fact:
    """One observed value.

    ``value`` is one of the vocabulary's words for a choice, or a number in the vocabulary's own unit (``inf`` for an
    open-line meter reading), or ``unknown`` where nobody could tell.
    ``where`` names a unit (``left_front``), or ``all``, ``others``, ``unnamed``.
    ``between`` and ``during`` (written ``while`` in JSON and YAML) belong to meter readings only. ``span`` is the
    half-open character range of the note the fact was read from, and ``text`` the words found there.
    """

    fact: str
    value: Value
    where: str | None = None
    between: str | None = None
    during: str | None = None
    source: Source = "caller"
    certainty: Certainty = "said"
    span: tuple[int, int] | None = None
    text: str | None = None

    @property
    def told(self) -> bool:
        """Whether a value was given at all, and not that nobody could tell."""
        return self.value != DONT_KNOW

    @property
    def key(self) -> str:
        """Name, place and state in one string: ``volts@L1-L2/loaded``, ``surface.heat@left_front``, ``display``."""
        return fact_key(self.fact, self.where or self.between, self.during)

    def at(self, where: str) -> Fact:
        """The same observation, at another unit."""
        return replace(self, where=where)


def fact_key(fact: str, place: str | None = None, during: str | None = None) -> str:
    """Write a key as the command line and the examples in the book do."""
    return fact + (f"@{place}" if place else "") + (f"/{during}" if during else "")


def split_key(key: str) -> tuple[str, str | None, str | None]:
    """Undo :func:`fact_key`: ``volts@L1-L2/loaded`` gives ``("volts", "L1-L2", "loaded")``."""
    head, _, during = key.partition("/")
    fact, _, place = head.partition("@")
    return fact, place or None, during or None


def fact_of(key: str) -> str:
    """The fact's name in a key: ``volts@L1-L2/loaded`` gives ``volts``."""
    return key.partition("/")[0].partition("@")[0]


@dataclass(frozen=True)
class Problem:
    """One thing wrong with an input: the field, what is wrong with it, and what to write instead."""

    field: str
    message: str

    def __str__(self) -> str:
        return f"{self.field}: {self.message}" if self.field else self.message


class InputError(ValueError):
    """The caller's input cannot be used. ``problems`` names every wrong field and what to write instead."""

    def __init__(self, problems: list[Problem]) -> None:
        super().__init__("; ".join(map(str, problems)))
        self.problems = problems


class BookError(Exception):
    """The book cannot be used. ``problems`` is a list of ``file:line: field: what to write instead``."""

    def __init__(self, problems: list[str]) -> None:
        super().__init__("\n".join(problems))
        self.problems = problems
