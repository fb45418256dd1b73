"""A day's calls on one van: what it carries, and each call's chance of being mended at the first visit."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from rules.answer import VisitPlan
from rules.bookkeeping.types import Van
from rules.terms import InputError, Problem
from rules.triage import Enquiry, Expert, consider
from rules.visit import Needs, load_for_day, needs_of

OURS = "appliance_technician"  # who drives the van
MOST_CALLS = 40


@dataclass(frozen=True)
class DayCall:
    """One call of the day. ``ours`` tells whether the van goes there at all; if not, ``fix`` is 0."""

    name: str
    visit: VisitPlan
    ours: bool
    fix: float


@dataclass(frozen=True)
class StockPart:
    """Units of a part aboard, and how many are expected to be asked for."""

    part: str
    title: str
    units: int
    expected: float


@dataclass(frozen=True)
class DayPlan:
    """The stock of a van for a day. ``space`` in litres, ``value`` in dollars, of the van's own limits ``van``.

    ``expected_fixes``: of the calls that are the van's, how many are expected to be mended at the first visit.
    """

    van: Van
    stock: tuple[StockPart, ...]
    space: float
    value: float
    calls: tuple[DayCall, ...]
    expected_fixes: float


def van_of(expert: Expert, name: str | None = None, space: float | None = None, value: float | None = None) -> Van:
    """The book's van by name, or its first, with other limits where given (litres, dollars). Raises InputError."""
    vans = expert.book.vans
    if name is not None and name not in vans:
        raise InputError([Problem("van", f"no van {name!r}; write one of {', '.join(vans)}")])
    van = vans[name] if name is not None else next(iter(vans.values()))
    return replace(van, space=van.space if space is None else space, value=van.value if value is None else value)


def plan_day(expert: Expert, calls: Mapping[str, Enquiry], van: Van | None = None) -> DayPlan:
    """Load one van for calls by name, in the order in which they are driven to.

    Calls that need no visit, or somebody else's, ask for nothing. Raises InputError naming the call.
    """
    if len(calls) > MOST_CALLS:
        raise InputError([Problem("calls", f"has {len(calls)} entries; a day's list has at most {MOST_CALLS}")])
    van = van or van_of(expert)
    visits, needs = {}, {}
    for name, enquiry in calls.items():
        visits[name], needs[name] = _needs(expert, name, enquiry)
    ours = [name for name in calls if visits[name].needed and visits[name].skill == OURS]
    day = load_for_day([needs[name] for name in ours], expert.book.parts, van)
    fixes = dict(zip(ours, day.fix, strict=True))
    made = tuple(DayCall(name, visits[name], name in fixes, round(fixes.get(name, 0.0), 4)) for name in calls)
    stock = _stock(expert, [needs[name] for name in ours], day.units)
    return DayPlan(van, stock, round(day.space, 2), round(day.value, 2), made, round(sum(day.fix), 4))


def _needs(expert: Expert, name: str, enquiry: Enquiry) -> tuple[VisitPlan, Needs]:
    try:
        seen = consider(expert, enquiry)
    except InputError as error:
        raise InputError([Problem(f"{name}/{p.field}", p.message) for p in error.problems]) from error
    if not seen.informed:
        return seen.visit, {}
    return seen.visit, needs_of(seen.belief.signatures, seen.belief.probability, OURS)


def _stock(expert: Expert, needs: Sequence[Needs], units: Mapping[str, int]) -> tuple[StockPart, ...]:
    def expected(part: str) -> float:
        return sum(share for call in needs for needed, share in call.items() if part in needed)

    rows = [StockPart(p, expert.book.parts[p].title, count, round(expected(p), 2)) for p, count in units.items()]
    return tuple(sorted(rows, key=lambda row: (-row.units, -row.expected, row.part)))
