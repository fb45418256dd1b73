"""Every rule of the book fires on its own examples and stays silent where it says so."""

from __future__ import annotations

from dataclasses import replace

import pytest

from rules import Expert
from rules.appliance.observing import expected_ohms
from rules.bookkeeping.loading import load_book
from rules.bookkeeping.types import Rule
from rules.casefile import lay_out
from rules.enquiry import fact_from_mapping
from rules.terms import Fact, split_key

BOOK = load_book()
EXAMPLES = [
    pytest.param(rule, example, fires, id=f"{rule.rule}-{'fires' if fires else 'silent'}-{number}")
    for rule in BOOK.rules.values()
    for fires, examples in ((True, rule.fires_on), (False, rule.silent_on))
    for number, example in enumerate(examples)
]


def facts_of(expert: Expert, example: dict[str, object]) -> list[Fact]:
    source = str(example.get("by", "caller"))
    facts = []
    for key, value in example.items():
        if key == "by":
            continue
        name, place, during = split_key(key)
        term = expert.book.facts[name]
        if name == "supply.kind":
            continue  # comes from the appliance
        given = {"fact": name, "value": value}
        if place:
            given["between" if term.place == "meter" else "where"] = place
        if during:
            given["while"] = during
        facts.append(fact_from_mapping(given, expert.book.facts, source, field=key, bare_numbers=True))  # type: ignore[arg-type]
    return facts


@pytest.mark.parametrize(("rule", "example", "fires"), EXAMPLES)
def test_examples_hold(expert: Expert, rule: Rule, example: dict[str, object], fires: bool) -> None:
    appliance = expert.book.appliances["radiant_range"]
    if example.get("supply.kind") == "three_phase":
        appliance = replace(appliance, supply="208Y/120")
    wiring = expert.signatures(appliance).wiring

    def expected(fact: str, place: str) -> float:
        part = {"ohms.bake": "bake_element", "ohms.broil": "broil_element"}.get(fact, f"{place}.element")
        return expected_ohms(wiring, part)

    case = lay_out(facts_of(expert, example), expert.book.facts, appliance, expected)
    fired = {firing.rule for firing in expert.chainer.run(case.known).firings}
    assert (rule.rule in fired) is fires


def test_every_fault_is_pointed_at_by_a_rule() -> None:
    pointed = {fault for rule in BOOK.rules.values() for fault in (*rule.points_to, *rule.establishes)}
    assert set(BOOK.faults) - pointed == {"settings.thermometer_misread"}


def test_every_sentence_ends_as_one() -> None:
    for rule in BOOK.rules.values():
        assert rule.because.endswith("."), rule.rule
