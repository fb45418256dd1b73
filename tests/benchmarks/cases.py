"""Distinct cases for the benchmarks: invented facts and invented notes, the same every time."""

from __future__ import annotations

import random
from collections.abc import Sequence

from rules import Enquiry, Expert, Fact, InputError, triage
from rules.bookkeeping.types import Appliance, FactTerm
from rules.enquiry import fact_from_text
from rules.terms import ALL, OTHERS, ROLES, UNNAMED, Role, Source, Value, fact_of
from tests.benchmarks.bench_notes import notes

FEWEST, MOST = 3, 9  # facts of a case


def fact_sets(expert: Expert, count: int, role: Role | None = None, appliance: str | None = "radiant_range",
              chance: int = 1) -> list[Enquiry]:  # fmt: skip
    """Distinct enquiries of facts alone that are answered. ``role``, ``appliance``: None for all of them in turn."""
    dice = random.Random(chance)
    configurations = [expert.book.appliances[appliance]] if appliance else list(expert.book.appliances.values())
    roles: Sequence[Role] = (role,) if role else ROLES
    found: dict[Enquiry, None] = {}
    while len(found) < count:
        made = _enquiry(expert, dice, configurations[len(found) % len(configurations)], roles)
        try:
            triage(expert, made)
        except InputError:
            continue  # a thing this appliance does not have
        found[made] = None
    return list(found)


def likely_sets(expert: Expert, count: int, role: Role, chance: int = 1) -> list[Enquiry]:
    """Distinct enquiries such as faults give: what one fault shows, odd things first, and some that are as usual."""
    dice = random.Random(chance)
    signatures = expert.signatures(expert.book.appliances["radiant_range"])
    facts, found = expert.book.facts, dict[Enquiry, None]()
    while len(found) < count:
        number = dice.randrange(len(signatures.hypotheses) - 1)
        shown = {key: str(list(facts[fact_of(key)].values)[int(table[number].argmax())])
                 for key, table in signatures.tables.items() if facts[fact_of(key)].kind == "choice"}  # fmt: skip
        keys = [key for key in shown if role == "technician" or facts[fact_of(key)].told_by != "technician"]
        odd = [key for key in keys if shown[key] != signatures.usual[key]]
        usual = [key for key in keys if shown[key] == signatures.usual[key]]
        chosen = dice.sample(odd, min(len(odd), dice.randint(1, 5))) + dice.sample(usual, dice.randint(2, 4))
        source: Source = "technician" if role == "technician" else "caller"
        told = [fact_from_text(f"{key}={shown[key]}", facts, source) for key in chosen]
        found[Enquiry(facts=tuple(told), appliance=signatures.appliance, role=role)] = None
    return list(found)


def note_enquiries(count: int) -> list[Enquiry]:
    """Distinct notes, as the desk would send them."""
    return [Enquiry(note) for note in notes(count)]


def _enquiry(expert: Expert, dice: random.Random, appliance: Appliance, roles: Sequence[Role]) -> Enquiry:
    role = dice.choice(roles)
    terms = [term for term in expert.book.facts.values() if not term.derived and term.fact != "cooktop"]
    source: Source = "technician" if role == "technician" else role
    chosen = dice.sample(terms, dice.randint(FEWEST, MOST))
    chosen = [term for term in chosen if role == "technician" or term.told_by != "technician"] or chosen[:1]
    facts = tuple(_fact(term, dice, appliance, source) for term in chosen)
    return Enquiry(facts=facts, appliance=appliance, role=role, explain=dice.choice(("brief", "brief", "full", "off")))


def _fact(term: FactTerm, dice: random.Random, appliance: Appliance, source: Source) -> Fact:
    where = between = during = None
    if term.place == "surface":
        where = dice.choice((*appliance.positions, ALL, OTHERS, UNNAMED)) if appliance.positions else ALL
    if term.place == "meter":
        between, during = dice.choice(term.between), dice.choice(term.states) if term.states else None
    elif term.states:
        during = dice.choice(term.states)
    value: Value = dice.choice(list(term.values))
    if term.kind == "number":
        ranges = term.bands_at(between)
        low, high = dice.choice(list(ranges.ranges.values()))
        value = low if high == float("inf") else round(dice.uniform(max(low, -1e4), high), 2)
    if dice.random() < 0.05:
        value = "unknown"
    certainty = "measured" if source == "technician" and term.told_by == "technician" else "said"
    if certainty == "said" and dice.random() < 0.2:
        certainty = "hedged"
    return Fact(term.fact, value, where, between, during, source, certainty)
