"""The peer durable_rules (a Rete in C), where it is installed: it has no wheels, and needs a C compiler.

It is given rules of plain conjunctions only. An absence means something else there, and a fact that an action asserts
is not matched within the same call.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from importlib.util import find_spec
from typing import Any

from rules.bookkeeping.types import Rule
from rules.chaining import KnownFact

INSTALLED = find_spec("durable") is not None


def plain(rules: Sequence[Rule]) -> list[Rule]:
    """The rules without an absence, without a derived fact, and without a conclusion."""
    return [
        rule
        for rule in rules
        if not rule.derive
        and not any(c.negated or c.fact.startswith("derived") for way in rule.alternatives for c in way)
    ]


def durable(rules: Sequence[Rule]) -> Callable[[Sequence[KnownFact]], set[str]]:
    """A function that runs one case, in a state of its own, and gives the names of the rules that fired."""
    from durable import engine

    host, fired = engine.Host(), set[str]()
    host.register_rulesets({"book": {rule.rule: _definition(rule, fired.add) for rule in rules}})
    count = 0

    def run(case: Sequence[KnownFact]) -> set[str]:
        nonlocal count
        count += 1
        fired.clear()
        for fact in case:
            told = {"sid": str(count), "id": fact.id + 1, "name": fact.name, "place": fact.place, "value": fact.value}
            try:
                host.assert_fact("book", told)
            except engine.MessageNotHandledException:
                continue  # no rule reads it
        found = set(fired)
        host.delete_state("book", str(count))
        return found

    return run


def _definition(rule: Rule, fired: Callable[[str], None]) -> dict[str, Any]:
    (premises,) = rule.alternatives
    every = []
    for number, premise in enumerate(premises):
        terms: list[dict[str, Any]] = [{"name": premise.fact}, {"value": premise.values[0]}]
        if premise.where == "same" and number:
            terms.append({"place": {"m0": "place"}})
        every.append({f"m{number}": {"$and": terms}})

    def act(_: Any) -> None:  # one argument: with two it would have to call back
        fired(rule.rule)

    return {"all": every, "run": act}
