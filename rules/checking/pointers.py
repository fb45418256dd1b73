"""Do the faults a rule names look as the rule says, and does a likelier fault that it does not name look so too?"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from rules.bookkeeping.types import Book, Rule
from rules.checking.configurations import Looks, Rows
from rules.checking.conjunctions import Conjunction, satisfied, unfold
from rules.checking.findings import Finding, at


def check_pointers(book: Book, configurations: Sequence[Looks]) -> Iterator[Finding]:
    """Findings of kind ``unsound-pointer``, ``pointer-not-everywhere`` and ``unlisted-rival``."""
    for rule in book.rules.values():
        named = tuple(dict.fromkeys((*rule.points_to, *rule.establishes)))
        if not named:
            continue
        yield from _unsound(rule, named, ways_of(rule, book), configurations)
        if _rests_on_circuit(rule, book):
            yield from _rivals(rule, named, book, configurations)


def check_ruling_out(book: Book, configurations: Sequence[Looks]) -> Iterator[Finding]:
    """Findings of kind ``unsound-ruling-out``: a rule that would rule out a fault that shows what the rule asks for.

    Where there is none, no true answer in any order ever rules out the fault that is there.
    """
    for rule in book.rules.values():
        ways = ways_of(rule, book) if rule.rules_out else []
        wrong: dict[str, list[str]] = {}
        for looks in configurations:
            rows = fitting(ways, looks, certain=False)
            for fault in rule.rules_out:
                if rows[looks.rows_of(fault)].any():
                    wrong.setdefault(fault, []).append(looks.appliance.appliance)
        for fault, appliances in wrong.items():
            message = (
                f"{fault} shows what the rule asks for on {' and '.join(dict.fromkeys(appliances))}, so the rule would "
                "rule it out while it is there; take it out of rules_out, or add a premise that it does not meet"
            )
            yield Finding("unsound-ruling-out", at(rule.file, rule.line), f"{rule.rule} -> {fault}", message)


def ways_of(rule: Rule, book: Book) -> list[Conjunction]:
    """Every way in which a rule can come to fire, told in facts that are observed."""
    return [way for alternative in rule.alternatives for way in unfold(alternative, book)]


# --- unsound pointers --------------------------------------------------------------------------------------------
def _unsound(
    rule: Rule, named: Sequence[str], ways: Sequence[Conjunction], configurations: Sequence[Looks]
) -> Iterator[Finding]:
    """Faults that nowhere look as the rule says are errors; those that do so on some appliances only, notes."""
    fits = dict.fromkeys(named, False)
    failing: dict[str, list[str]] = {fault: [] for fault in named}
    for looks in configurations:
        here = [fault for fault in named if looks.rows_of(fault)]
        waiting = [fault for fault in here if looks.shipped or not fits[fault]]
        if not waiting or not any(satisfied(way, looks) for way in ways):
            continue
        rows = fitting(ways, looks, certain=False)
        for fault in waiting:
            if rows[looks.rows_of(fault)].any():
                fits[fault] = True
            elif looks.shipped:
                failing[fault].append(looks.appliance.appliance)
    where = at(rule.file, rule.line)
    for fault in named:
        if not fits[fault]:
            act = "points_to" if fault in rule.points_to else "establishes"
            exists = any(looks.rows_of(fault) for looks in configurations)
            why = "on no appliance shows what the rule asks for" if exists else "exists on no appliance"
            message = f"{fault} {why}; take it out of {act}, or change the premises or the fault's effects and shows"
            yield Finding("unsound-pointer", where, f"{rule.rule} -> {fault}", message)
    partly = [f"{fault} on {' and '.join(failing[fault])}" for fault in named if fits[fault] and failing[fault]]
    if partly:
        message = (
            f"never shows what the rule asks for, though it does elsewhere: {'; '.join(partly)}; "
            "leave it if the trade knows the difference, else add a premise"
        )
        yield Finding("pointer-not-everywhere", where, rule.rule, message)


def fitting(ways: Sequence[Conjunction], looks: Looks, *, certain: bool) -> Rows:
    """Machines that satisfy one of the ways where they are: a fault of a unit only by what that unit shows."""
    fit = np.zeros(len(looks.signatures.hypotheses), dtype=bool)
    for way in ways:
        for place, rows in satisfied(way, looks, certain=certain).items():
            fit |= rows & _belongs(looks, place)
    return fit


def _belongs(looks: Looks, place: str | None) -> Rows:
    """Machines whose fault a rule that fired at ``place`` may speak of."""
    return np.array([place is None or h.where in (None, place) for h in looks.signatures.hypotheses])


# --- rivals ------------------------------------------------------------------------------------------------------
def _rests_on_circuit(rule: Rule, book: Book) -> bool:
    """Whether the circuit alone decides; where context or a noise speaks too, priors say little about rivals."""
    facts = {condition.fact for alternative in rule.alternatives for condition in alternative if not condition.negated}
    return all(book.facts[fact].model == "circuit" or book.facts[fact].derived for fact in facts)


def _rivals(rule: Rule, named: Sequence[str], book: Book, configurations: Sequence[Looks]) -> Iterator[Finding]:
    """Faults not named that always show what the rule asks for, and are likelier than every named one."""
    found: dict[str, tuple[float, float, str]] = {}
    for looks in (looks for looks in configurations if looks.shipped):
        for alternative in rule.alternatives:
            ways = unfold(alternative, book)
            surely = fitting(ways, looks, certain=True)
            if surely[-1]:
                continue  # the sound machine shows it too; then nearly every fault does
            best = max((_weight(looks, fault, fitting(ways, looks, certain=False)) for fault in named), default=0.0)
            for fault in {h.name for h in looks.signatures.hypotheses[:-1]} - set(named):
                weight = _weight(looks, fault, surely)
                if weight > best and weight > found.get(fault, (0.0,))[0]:
                    found[fault] = weight, best, looks.appliance.appliance
    for fault, (weight, best, appliance) in sorted(found.items(), key=lambda item: (-item[1][0], item[0])):
        message = (
            f"{fault} always shows this on {appliance}; its weight there, {weight:.1f}, is above the best named one's, "
            f"{best:.1f}; add it to points_to, or add a premise that it does not meet"
        )
        yield Finding("unlisted-rival", at(rule.file, rule.line), f"{rule.rule} -> {fault}", message)


def _weight(looks: Looks, fault: str, rows: Rows) -> float:
    """The fault's weight at its likeliest place, over the variants marked."""
    by_place: dict[str | None, float] = {}
    listed = looks.rows_of(fault)
    for row in listed:
        hypothesis = looks.signatures.hypotheses[row]
        if rows[row] and hypothesis.fault:
            variants = sum(looks.signatures.hypotheses[other].where == hypothesis.where for other in listed)
            here = by_place.get(hypothesis.where, 0.0)
            by_place[hypothesis.where] = here + hypothesis.fault.weight / variants / _places(looks, hypothesis.where)
    return max(by_place.values(), default=0.0)


def _places(looks: Looks, where: str | None) -> int:
    return len(looks.appliance.positions) if where else 1
