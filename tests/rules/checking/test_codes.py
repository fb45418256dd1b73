"""A rule that decides on a code of the display is a finding, whatever way the code comes in."""

from __future__ import annotations

from dataclasses import replace

import pytest

from rules import Expert
from rules.bookkeeping.types import Condition, Derivation, Rule
from rules.checking import check_book, failing
from rules.checking.codes import check_codes
from tests.rules.checking.breaking import made, with_rules

CODE = Condition("error_code", values=("sensor",), by="technician")
OHMS = Condition("ohms.sensor", values=("open",), by="technician")
ORDERS = Condition("control.takes_orders", values=("no",))


def found(expert: Expert, *rules: Rule) -> list[tuple[str, str]]:
    broken = with_rules(expert, *rules, chained=False)
    return [(finding.kind, finding.subject) for finding in check_codes(broken.book)]


@pytest.mark.parametrize(
    ("premises", "acts"),
    [
        ([CODE], {"establishes": ("oven.sensor_open",)}),
        ([CODE], {"rules_out": ("oven.control_dead",)}),
        ([CODE, OHMS], {"establishes": ("oven.sensor_open",)}),
        ([OHMS, replace(CODE, negated=True)], {"rules_out": ("oven.control_dead",)}),
    ],
)
def test_a_rule_that_decides_on_a_code(
    expert: Expert, premises: list[Condition], acts: dict[str, tuple[str, ...]]
) -> None:
    assert found(expert, made("by-code", premises, **acts)) == [("code-decides", "by-code")]


def test_one_alternative_is_enough(expert: Expert) -> None:
    assert found(expert, made("either", [OHMS], [CODE], establishes=("oven.sensor_open",)))


def test_a_code_comes_through_derived_facts(expert: Expert) -> None:
    """From the code to one derived fact, from there to another, and there a rule decides."""
    first = made("first", [CODE], derive=(Derivation("control.takes_orders", "no"),))
    second = made("second", [ORDERS], derive=(Derivation("lock.side_only", "yes"),))
    last = made("last", [Condition("lock.side_only", values=("yes",)), OHMS], establishes=("oven.sensor_open",))
    assert ("code-decides", "last") in found(expert, first, second, last)
    assert ("code-decides", "last") not in found(expert, second, last)


def test_a_code_may_shift_point_and_forbid(expert: Expert) -> None:
    rule = made("mild", [CODE], points_to=("oven.sensor_open",), forbid=("ask_code",))
    assert found(expert, rule) == []


def test_the_checker_fails_on_it(expert: Expert) -> None:
    fires = {"error_code": "sensor", "by": "technician"}
    rule = made(
        "by-code", [CODE], establishes=("oven.sensor_open",), fires_on=(fires,), silent_on=({"display": "lit"},)
    )
    failed = failing(check_book(with_rules(expert, rule)))
    assert ("code-decides", "by-code") in {(finding.kind, finding.subject) for finding in failed}


def test_no_code_ever_establishes_or_rules_out(expert: Expert) -> None:
    for name, rule in expert.book.rules.items():
        facts = {premise.fact for premises in rule.alternatives for premise in premises}
        if "error_code" in facts:
            assert not rule.establishes and not rule.rules_out, name
