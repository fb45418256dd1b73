"""Is every fault named by a rule, and can a test tell it from a sound machine?"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from rules.belief.stack import Table
from rules.bookkeeping.types import Book, FactTerm, TestCard
from rules.checking.configurations import Looks
from rules.checking.findings import Finding, at
from rules.terms import fact_key, fact_of

AT_TOLERANCES = 0.35  # two of six sixths: a sound machine, too, may be taken for another at both ends of a tolerance


def check_faults(book: Book, configurations: Sequence[Looks]) -> Iterator[Finding]:
    """Findings of kind ``fault-not-pointed-at`` and ``fault-without-test``."""
    named = {fault for rule in book.rules.values() for fault in (*rule.points_to, *rule.establishes)}
    for fault in book.faults.values():
        if fault.fault not in named:
            message = "no rule points at it; write a rule with what it shows and this fault under points_to"
            yield Finding("fault-not-pointed-at", at(fault.file, fault.line), fault.fault, message)
        if not any(_told_from_sound(fault.fault, book, looks) for looks in configurations):
            exists = any(looks.rows_of(fault.fault) for looks in configurations)
            why = "no test tells it from a sound appliance" if exists else "it exists on no appliance"
            message = f"{why}; add a test that reads what it shows, or mend its effects, shows or only"
            yield Finding("fault-without-test", at(fault.file, fault.line), fault.fault, message)


def keys_read(card: TestCard, book: Book, looks: Looks) -> list[str]:
    """The keys a test can read on this appliance: one, or one for each unit."""
    if book.facts[card.reads].place == "surface":
        keys = [fact_key(card.reads, unit) for unit in looks.appliance.positions]
    else:
        keys = [fact_key(card.reads, card.between, card.during)]
    return [key for key in keys if key in looks.tables]


def _told_from_sound(fault: str, book: Book, looks: Looks) -> bool:
    rows = looks.rows_of(fault)
    keys = {key for card in book.tests.values() for key in keys_read(card, book, looks)} if rows else set()
    return any(_differ(looks.tables[key][rows], looks.tables[key][-1], book.facts[fact_of(key)]) for key in keys)


def _differ(tables: Table, sound: Table, term: FactTerm) -> bool:
    """Whether some machine shows a thing otherwise than a sound one, by more than a sound one may at its tolerances."""
    least = AT_TOLERANCES if term.model == "circuit" else 1e-9
    return bool((np.abs(tables - sound) > least).any())
