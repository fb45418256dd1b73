"""The same rules and cases through CLIPS, an engine of another make: derived facts, firings and supports agree."""

from __future__ import annotations

from rules.bookkeeping.types import Condition
from rules.chaining import Chainer
from tests.rules.chaining.casegen import facts, random_facts, random_rules, rule
from tests.rules.chaining.clipsback import ClipsBook
from tests.rules.chaining.plainly import as_refs


def test_random_rules_and_cases_give_the_same_in_clips() -> None:
    cases = fired = derived = joined = waiting = 0
    for number in range(110):
        rules = random_rules(number, most=10)
        chainer, other = Chainer(rules), ClipsBook(rules)
        waiting += sum(premise.negated for rule in rules for premises in rule.alternatives for premise in premises)
        for case in range(3):
            known = random_facts(10_000 + 3 * number + case)
            ours, theirs = as_refs(chainer.run(known)), other.run(known)
            assert ours == theirs, (number, case)
            cases += 1
            derived += len(ours[0])
            fired += len(ours[1])
            joined += sum(place is not None for _, place in ours[1])
    # the cases are worth comparing: rules fire, chain, join and wait
    assert cases >= 300
    assert min(fired, derived, joined, waiting) > 100


def test_the_comparison_can_tell_a_difference() -> None:
    """A rule changed by one word is noticed, so agreement above means something."""
    known = facts(("heat", "left_front", "none"), ("light", "left_front", "on"))
    cold = Condition("heat", where="same", values=("none",))
    plain, negated = Condition("light", where="same", values=("on",)), Condition("light", values=("on",), negated=True)
    ours = as_refs(Chainer([rule("r", [cold, plain])]).run(known))
    assert ClipsBook([rule("r", [cold, plain])]).run(known) == ours
    assert ClipsBook([rule("r", [cold, negated])]).run(known) != ours
    assert ClipsBook([rule("r", [cold])]).run(known) != ours
