"""The examples that stand beside every rule: where it must fire and where it must stay silent."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any, cast

from rules.bookkeeping.types import Appliance, Rule
from rules.casefile import CaseFile, lay_out
from rules.checking.configurations import fact_of
from rules.checking.findings import Finding, at
from rules.enquiry import check_places, fact_from_mapping
from rules.terms import Fact, InputError, Source, split_key
from rules.triage import DEFAULT_APPLIANCE, Expert, expected_at

SUPPLY = "supply.kind"  # comes from the appliance, not from what is said
Example = Mapping[str, object]


@dataclass(frozen=True)
class Ran:
    """One example that was run. ``fires``: whether the rule should; ``fired``: whether it did."""

    rule: Rule
    fires: bool
    number: int  # position in fires_on or silent_on
    fired: bool

    @property
    def holds(self) -> bool:
        return self.fires is self.fired

    @property
    def name(self) -> str:
        """``rule/fires_on/0``."""
        return f"{self.rule.rule}/{'fires_on' if self.fires else 'silent_on'}/{self.number}"


def examples_of(rule: Rule) -> Iterator[tuple[bool, int, Example]]:
    """Whether the rule should fire, the number and the facts of each example."""
    for fires, examples in ((True, rule.fires_on), (False, rule.silent_on)):
        for number, example in enumerate(examples):
            yield fires, number, example


def facts_of(expert: Expert, example: Example) -> list[Fact]:
    """The facts of an example, all from the source it names with ``by`` (a caller if it names none)."""
    source = cast(Source, str(example.get("by", "caller")))
    return [_fact(expert, key, value, source) for key, value in example.items() if key not in ("by", SUPPLY)]


def _fact(expert: Expert, key: str, value: object, source: Source) -> Fact:
    name, place, during = split_key(key)
    given: dict[str, Any] = {"fact": name, "value": value}
    if place:
        given["between" if expert.book.facts[name].place == "meter" else "where"] = place
    if during:
        given["while"] = during
    return fact_from_mapping(given, expert.book.facts, source, field=key, bare_numbers=True)


def case_of(expert: Expert, example: Example) -> CaseFile:
    """The case file of an example, on the first appliance of the book that has all it speaks of."""
    facts = facts_of(expert, example)
    appliance = _appliance(expert, facts, example)
    signatures = expert.signatures(appliance)
    return lay_out(facts, expert.book.facts, appliance, lambda fact, place: expected_at(signatures, fact, place))


def _appliance(expert: Expert, facts: list[Fact], example: Example) -> Appliance:
    usual = expert.book.appliances[DEFAULT_APPLIANCE]
    listed = [usual, *(a for a in expert.book.appliances.values() if a is not usual)]
    chosen = next((a for a in listed if _has_all(expert, a, facts)), usual)
    return replace(chosen, supply="208Y/120") if example.get(SUPPLY) == "three_phase" else chosen


def _has_all(expert: Expert, appliance: Appliance, facts: list[Fact]) -> bool:
    known = {fact_of(key) for key in expert.signatures(appliance).tables}
    there = all(fact.fact in known or expert.book.facts[fact.fact].model == "context" for fact in facts)
    return there and not check_places(facts, appliance)


def fired_on(expert: Expert, example: Example) -> frozenset[str]:
    """Ids of the rules that fire on an example. Raises InputError for facts that cannot be used."""
    record = expert.chainer.run(case_of(expert, example).known)
    return frozenset(firing.rule for firing in record.firings)


def run_examples(expert: Expert) -> list[Ran]:
    """Run every example of every rule; an example that cannot be read counts as one that does not hold."""
    made = []
    for rule in expert.book.rules.values():
        for fires, number, example in examples_of(rule):
            try:
                fired = rule.rule in fired_on(expert, example)
            except InputError:
                fired = not fires
            made.append(Ran(rule, fires, number, fired))
    return made


def uncovered(ran: list[Ran], expert: Expert) -> list[Rule]:
    """Rules that fired on none of their own ``fires_on`` examples."""
    covered = {entry.rule.rule for entry in ran if entry.fires and entry.fired}
    return [rule for rule in expert.book.rules.values() if rule.rule not in covered]


def check_examples(expert: Expert) -> Iterator[Finding]:
    """Findings of kind ``example-does-not-hold``; a rule without one of the two kinds of example counts too."""
    for entry in run_examples(expert):
        if not entry.holds:
            wanted = "should fire the rule and does not" if entry.fires else "should leave the rule silent and fires it"
            message = f"example {entry.number + 1} of {entry.name.split('/')[1]} {wanted}; mend the example or the rule"
            yield Finding("example-does-not-hold", at(entry.rule.file, entry.rule.line), entry.rule.rule, message)
    for rule in expert.book.rules.values():
        for name in ("fires_on", "silent_on"):
            if not getattr(rule, name):
                message = f"has no {name}; write at least one example"
                yield Finding("example-does-not-hold", at(rule.file, rule.line), rule.rule, message)
