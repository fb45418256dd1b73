"""Near misses: exactly one premise short, found without experta, and true: with the premise met the rule fires."""

from __future__ import annotations

from dataclasses import replace

import pytest

from rules.bookkeeping.types import Condition, Derivation, Rule
from rules.chaining import Chainer, KnownFact, NearMiss, near_misses
from rules.chaining.nearly import holds
from tests.rules.chaining.casegen import facts, random_facts, random_rules, rule

LIT, COLD = Condition("display", values=("lit",)), Condition("heat", where="same", values=("none",))
LAMP = Condition("light", where="same", values=("on",))
NO_LAMP = replace(LAMP, negated=True)
NO_LAMP_ANYWHERE = replace(NO_LAMP, where="any")


def misses(rules: list[Rule], known: list[KnownFact]) -> list[tuple[str, str | None, Condition]]:
    found = near_misses(rules, Chainer(rules).run(known), known)
    return [(miss.rule, miss.where, miss.missing) for miss in found]


def test_one_premise_short_is_told_two_short_is_not() -> None:
    rules = [rule("r", [LIT, COLD])]
    assert misses(rules, facts(("display", "", "lit"))) == [("r", None, COLD)]
    assert misses(rules, facts(("heat", "lf", "none"))) == [("r", "lf", LIT)]
    assert misses(rules, facts(("heat", "lf", "normal"))) == []
    assert misses(rules, []) == []


def test_a_rule_that_fired_is_no_near_miss_even_at_another_place() -> None:
    rules = [rule("r", [COLD, LAMP])]
    assert misses(rules, facts(("heat", "lf", "none"), ("light", "lf", "on"), ("heat", "rf", "none"))) == []


def test_the_joined_premises_must_hold_at_one_place() -> None:
    rules = [rule("r", [LIT, COLD, LAMP])]
    apart = facts(("heat", "lf", "none"), ("light", "rf", "on"), ("display", "", "lit"))
    assert misses(rules, apart) == [("r", "rf", COLD), ("r", "lf", LAMP)]
    together = facts(("heat", "lf", "none"), ("light", "lf", "on"), ("heat", "rf", "none"))
    assert misses(rules, together) == [("r", "lf", LIT)]


def test_a_fact_in_the_way_is_told_as_the_negated_premise() -> None:
    rules = [rule("r", [COLD, NO_LAMP])]
    assert misses(rules, facts(("heat", "lf", "none"), ("light", "lf", "on"))) == [("r", "lf", NO_LAMP)]
    assert misses(rules, facts(("light", "lf", "on"))) == []
    lit = [rule("r", [LIT, COLD, NO_LAMP])]
    assert misses(lit, facts(("display", "", "lit"), ("light", "lf", "on"))) == [("r", None, COLD)]


def test_every_tried_is_missing_when_nothing_was_tried_and_when_one_differs() -> None:
    tried = Condition("heat", where="every_tried", values=("none",))
    rules = [rule("r", [LIT, tried])]
    assert misses(rules, facts(("display", "", "lit"))) == [("r", None, tried)]
    mixed = facts(("display", "", "lit"), ("heat", "lf", "none"), ("heat", "rf", "normal"))
    assert misses(rules, mixed) == [("r", None, tried)]
    assert misses(rules, mixed[1:]) == []


def test_derived_facts_count_as_known() -> None:
    rules = [
        rule("a", [LIT], derive=[Derivation("awake", "yes")]),
        rule("b", [Condition("awake", values=("yes",)), COLD]),
    ]
    assert misses(rules, facts(("display", "", "lit"))) == [("b", None, COLD)]


def test_each_alternative_tells_what_it_lacks_once() -> None:
    rules = [rule("r", [LIT, COLD], [LIT, COLD, NO_LAMP], [LAMP, COLD])]
    assert misses(rules, []) == []
    assert misses(rules, facts(("heat", "lf", "none"))) == [("r", "lf", LIT), ("r", "lf", LAMP)]


def test_a_rule_of_which_nothing_is_known_yet_is_not_near() -> None:
    rules = [rule("r", [LIT]), rule("s", [LIT, NO_LAMP_ANYWHERE]), rule("t", [NO_LAMP_ANYWHERE])]
    assert misses(rules[:2], []) == []
    assert misses(rules, facts(("light", "lf", "on"))) == []


@pytest.mark.parametrize(("source", "short"), [("caller", True), ("technician", False)])
def test_the_source_is_part_of_the_premise(source: str, short: bool) -> None:
    rules = [rule("r", [replace(LIT, by="technician"), COLD])]
    assert bool(misses(rules, facts(("display", "", "lit", source), ("heat", "lf", "none")))) is short


def without(trade_rule: Rule, missing: Condition) -> Rule:
    """The alternatives that hold ``missing``, without it, as far as a positive premise is left."""
    kept = [[p for p in premises if p != missing] for premises in trade_rule.alternatives if missing in premises]
    return rule("short", *(premises for premises in kept if any(not p.negated for p in premises)))


def is_chainable(trade_rule: Rule) -> bool:
    return bool(trade_rule.alternatives) and all(
        all(p.where != "same" for p in premises) or any(p.where == "same" and not p.negated for p in premises)
        for premises in trade_rule.alternatives
    )


def test_without_the_missing_premise_the_rule_fires_and_without_another_it_does_not() -> None:
    """Against the engine, on random rules: taking one premise out makes a rule fire exactly if that is a near miss."""
    told = untold = 0
    for number in range(60):
        rules, known = random_rules(number), random_facts(number)
        record = Chainer(rules).run(known)
        found = near_misses(rules, record, known)
        assert not {miss.rule for miss in found} & {firing.rule for firing in record.firings}
        everything = [
            *known,
            *(KnownFact(d.id, d.name, d.place, d.state, d.value, None, "rule") for d in record.derived),
        ]
        for trade_rule in rules:
            if any(firing.rule == trade_rule.rule for firing in record.firings):
                continue
            for premise in dict.fromkeys(p for premises in trade_rule.alternatives for p in premises):
                shortened = without(trade_rule, premise)
                if not is_chainable(shortened):
                    continue
                places = {firing.where for firing in Chainer([shortened]).run(everything).firings}
                mine = [miss for miss in found if (miss.rule, miss.missing) == (trade_rule.rule, premise)]
                assert {miss.where for miss in mine} - {None} <= places
                assert bool(mine) == bool(places)
                told, untold = told + bool(mine), untold + (not mine)
    assert told > 30 and untold > 30


def test_a_premise_holds_plainly() -> None:
    known = [
        *facts(("heat", "lf", "none"), ("heat", "rf", "normal")),
        KnownFact(2, "volts", "L1-N", "idle", "", 5.0, "desk"),
    ]
    assert holds(COLD, known, "lf") and not holds(COLD, known, "rf") and holds(COLD, known, None)
    assert holds(Condition("volts", between="L1-N", at_least=5.0), known, None)
    assert not holds(Condition("volts", during="loaded", at_least=5.0), known, None)
    assert not holds(Condition("volts", below=5.0), known, None)
    assert NearMiss("r", None, COLD) == NearMiss("r", None, COLD)
