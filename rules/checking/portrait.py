"""What a fault looks like: to a caller, on a meter with the power off, on a meter with it on; all from the tables."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from rules.belief.signatures import Signatures
from rules.belief.stack import Table
from rules.bookkeeping.types import Appliance, Book, Fault, Rule, TestCard
from rules.bookkeeping.yamlsource import nearest
from rules.checking.configurations import Looks, fact_of
from rules.checking.coverage import keys_read
from rules.terms import InputError, Problem
from rules.triage import Expert

SHOWN_FROM = 0.005  # probability from which a word is worth a line
MOST_TESTS = 6
LEAST_BITS = 0.01


@dataclass(frozen=True)
class Sight:
    """One thing that looks different from a sound appliance. ``words``: value to probability, likeliest first."""

    key: str
    title: str
    usual: str
    words: Mapping[str, float]


@dataclass(frozen=True)
class Separating:
    """A test with the bits it gives between this fault and all others, at even odds, and its minutes."""

    test: str
    where: str | None
    bits: float
    minutes: float


@dataclass(frozen=True)
class Portrait:
    """A fault on one appliance at one place."""

    fault: Fault
    where: str | None
    appliance: Appliance
    caller: tuple[Sight, ...]
    meter_dead: tuple[Sight, ...]
    meter_live: tuple[Sight, ...]
    parts: tuple[str, ...]
    pointed_at_by: tuple[Rule, ...]
    tests: tuple[Separating, ...]


def portrait(expert: Expert, name: str, where: str | None = None, appliance: Appliance | None = None) -> Portrait:
    """Draw a fault. Without an appliance, on the book's first that can have it; without a place, at its first unit.

    Raises InputError for a fault, place or appliance that does not fit.
    """
    book = expert.book
    fault = book.faults.get(name)
    if fault is None:
        raise InputError([Problem("fault", f"no fault named {name!r}{nearest(name, book.faults)}")])
    chosen = appliance or _first_with(fault, book)
    if not fault.exists_on(chosen):
        raise InputError([Problem("--appliance", f"{chosen.title} cannot have {name}; leave --appliance out")])
    looks = Looks(expert.signatures(chosen), True, book.facts)
    place = _place(fault, where, chosen)
    rows = [row for row in looks.rows_of(name) if looks.signatures.hypotheses[row].where == place]
    sights = _sights(looks, rows, book)
    return Portrait(
        fault=fault,
        where=place,
        appliance=chosen,
        caller=tuple(s for s, kind in sights if kind == "caller"),
        meter_dead=tuple(s for s, kind in sights if kind == "dead"),
        meter_live=tuple(s for s, kind in sights if kind == "live"),
        parts=fault.parts_for(chosen),
        pointed_at_by=tuple(r for r in book.rules.values() if name in (*r.points_to, *r.establishes)),
        tests=_best_tests(looks, rows, book),
    )


def _first_with(fault: Fault, book: Book) -> Appliance:
    for appliance in book.appliances.values():
        if fault.exists_on(appliance):
            return appliance
    message = f"no appliance of the book can have {fault.fault}; give one that can with --appliance"
    raise InputError([Problem("fault", message)])


def _place(fault: Fault, where: str | None, appliance: Appliance) -> str | None:
    if fault.place != "surface":
        if where is not None:
            raise InputError([Problem("--where", f"{fault.fault} belongs to no unit; leave --where out")])
        return None
    if where is None:
        return appliance.positions[0]
    if where not in appliance.positions:
        known = ", ".join(appliance.positions)
        raise InputError([Problem("--where", f"no unit {where!r} on {appliance.title}; write one of {known}")])
    return where


def _mean(looks: Looks, key: str, rows: list[int]) -> Table:
    mean: Table = looks.tables[key][rows].mean(axis=0)
    return mean


def _sights(looks: Looks, rows: list[int], book: Book) -> list[tuple[Sight, str]]:
    """What differs from the sound appliance, with who sees it: ``caller``, or a meter ``dead`` or ``live``."""
    live = {fact for card in book.tests.values() if card.energised for fact in (card.reads,)}
    found = []
    for key in looks.tables:
        mean = _mean(looks, key, rows)
        if np.abs(mean - looks.tables[key][-1]).max() < SHOWN_FROM:
            continue
        term = book.facts[fact_of(key)]
        order = np.argsort(-mean, kind="stable")
        listed = list(term.values)
        words = {listed[column]: float(mean[column]) for column in order if mean[column] >= SHOWN_FROM}
        sight = Sight(key, term.title, looks.signatures.usual[key], words)
        kind = "caller" if term.told_by != "technician" else "live" if term.fact in live else "dead"
        found.append((sight, kind))
    return found


def _best_tests(looks: Looks, rows: list[int], book: Book) -> tuple[Separating, ...]:
    """Tests by the bits they give on whether it is this fault or any other, at even odds."""
    found: dict[str, Separating] = {}
    for card in book.tests.values():
        for key in keys_read(card, book, looks):
            bits = _bits(looks, key, rows)
            best = found.get(card.test)
            if bits >= LEAST_BITS and (best is None or bits > best.bits + 1e-9):
                place = key.partition("@")[2] if book.facts[card.reads].place == "surface" else None
                found[card.test] = Separating(card.test, place, bits, _minutes(card, book))
    ranked = sorted(found.values(), key=lambda entry: (-round(entry.bits, 3), entry.minutes, entry.test))
    return tuple(ranked[:MOST_TESTS])


def _minutes(card: TestCard, book: Book) -> float:
    return card.minutes + (book.setups[card.setup].minutes if card.setup else 0)


def _bits(looks: Looks, key: str, rows: list[int]) -> float:
    """Jensen-Shannon divergence, bits, between this fault's words and those of all other faults by their priors."""
    signatures: Signatures = looks.signatures
    others = signatures.prior.copy()
    others[[*rows, -1]] = 0
    if not others.any():
        return 0.0
    here, rest = _mean(looks, key, rows), others / others.sum() @ looks.tables[key]
    return _entropy((here + rest) / 2) - (_entropy(here) + _entropy(rest)) / 2


def _entropy(p: Table) -> float:
    positive = p[p > 0]
    return float(-(positive * np.log2(positive)).sum())
