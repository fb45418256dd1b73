"""Every shape of a premise, compiled and run: when it holds, at which places, and on which facts it then rests."""

from __future__ import annotations

from collections.abc import Sequence
from math import inf, nan
from typing import Any

import pytest

from rules.bookkeeping.types import Condition, Derivation, Rule
from rules.chaining import Chainer, KnownFact
from rules.chaining.caseengine import CaseEngine, Known, engine_fact
from rules.chaining.compiler import bands_of, compile_book
from rules.chaining.experta_import import NOT, Fact, InitialFact, KnowledgeEngine, L, P, W
from rules.chaining.experta_import import Rule as ExpertaRule
from rules.terms import BookError
from tests.rules.chaining.casegen import facts, random_rules, rule

C = Condition
LF, LR, RF = "left_front", "left_rear", "right_front"
Found = dict[str | None, tuple[int, ...]]


def firings(premises: Sequence[Condition], known: Sequence[KnownFact]) -> Found:
    """Place (None without ``same``) to the ids it rests on, for one rule with these premises."""
    record = Chainer([rule("r", premises)]).run(known)
    return {firing.where: firing.supports for firing in record.firings}


def reading(number: float | None, *, between: str = "L1-L2", during: str = "idle", id_: int = 0) -> KnownFact:
    return KnownFact(id_, "volts", between, during, "", number, "technician")


@pytest.mark.parametrize(
    ("premise", "holding"),
    [
        (C("display", values=("lit",)), {"lit"}),
        (C("display", values=("lit", "dim")), {"lit", "dim"}),
        (C("display", not_values=("lit",)), {"dim", "dark"}),
        (C("display", not_values=("lit", "dim")), {"dark"}),
    ],
)
def test_values(premise: Condition, holding: set[str]) -> None:
    for value in ("lit", "dim", "dark"):
        assert firings([premise], facts(("display", "", value))) == ({None: (0,)} if value in holding else {})
        absent = C(premise.fact, values=premise.values, not_values=premise.not_values, negated=True)
        assert firings([absent], facts(("display", "", value))) == ({} if value in holding else {None: ()})
    assert firings([premise], facts(("oven.lamp", "", "lit"))) == {}
    assert firings([premise], []) == {}


@pytest.mark.parametrize(
    ("at_least", "below", "holding"),
    [
        (20.0, None, {20.0, 110.0, inf}),
        (None, 20.0, {0.0, 1.0}),
        (1.0, 110.0, {1.0, 20.0}),
    ],
)
def test_numbers(at_least: float | None, below: float | None, holding: set[float]) -> None:
    premise = C("volts", at_least=at_least, below=below)
    absent = C("volts", at_least=at_least, below=below, negated=True)
    for number in (None, nan, 0.0, 1.0, 20.0, 110.0, inf):
        assert firings([premise], [reading(number)]) == ({None: (0,)} if number in holding else {})
        assert firings([absent], [reading(number)]) == ({} if number in holding else {None: ()})


def test_one_true_and_one_point_nought_are_kept_apart_by_their_ids() -> None:
    """experta takes facts that differ only in 1, True and 1.0 for one; ids make them three."""
    known = [reading(1, id_=5), reading(True, id_=6), reading(1.0, id_=7)]
    assert firings([C("volts", at_least=1.0, below=2.0)], known) == {None: (5, 6, 7)}


def test_between_and_during_are_constants_and_left_out_they_are_open() -> None:
    known = [
        reading(5.0, id_=0),
        reading(5.0, during="loaded", id_=1),
        reading(5.0, between="L1-N", id_=2),
        reading(5.0, between="L1-N", during="loaded", id_=3),
    ]
    assert firings([C("volts", between="L1-L2", during="loaded", at_least=1.0)], known) == {None: (1,)}
    assert firings([C("volts", between="L1-N", at_least=1.0)], known) == {None: (2, 3)}
    assert firings([C("volts", during="idle", at_least=1.0)], known) == {None: (0, 2)}
    assert firings([C("volts", at_least=1.0)], known) == {None: (0, 1, 2, 3)}
    assert firings([C("volts", between="L2-N", at_least=1.0, negated=True)], known) == {None: ()}


def test_by_asks_for_the_source() -> None:
    known = facts(
        ("display", "", "lit", "caller"), ("display", "", "lit", "technician"), ("display", "", "dim", "desk")
    )
    assert firings([C("display", values=("lit",), by="technician")], known) == {None: (1,)}
    assert firings([C("display", values=("lit",))], known) == {None: (0, 1)}
    assert firings([C("display", values=("dim",), by="technician")], known) == {}
    assert firings([C("display", values=("dim",), by="technician", negated=True)], known) == {None: ()}
    assert firings([C("display", values=("dim",), by="desk", negated=True)], known) == {}


def heat(where: str | None, *values: str, negated: bool = False) -> Condition:
    return C("heat", where=where, values=values, negated=negated)


def light(where: str, *, negated: bool = False) -> Condition:
    return C("light", where=where, values=("on",), negated=negated)


HEATS = facts(
    ("heat", LF, "none"), ("heat", LR, "none"), ("heat", RF, "normal"), ("light", LR, "on"), ("light", RF, "on")
)


@pytest.mark.parametrize(
    ("premises", "expected"),
    [
        ([heat(LR, "none")], {None: (1,)}),
        ([heat(RF, "none")], {}),
        ([heat("any", "none")], {None: (0, 1)}),
        ([heat(None, "none")], {None: (0, 1)}),
        ([heat("same", "none")], {LF: (0,), LR: (1,)}),
        ([heat("same", "none"), light("same")], {LR: (1, 3)}),
        ([heat("any", "none"), light("same")], {LR: (0, 1, 3), RF: (0, 1, 4)}),
        ([heat("same", "none"), light("same", negated=True)], {LF: (0,)}),
        ([light("same", negated=True), heat("same", "none")], {LF: (0,)}),
        ([heat("same", "none"), light("any", negated=True)], {}),
        ([heat("same", "none"), light(LF, negated=True)], {LF: (0,), LR: (1,)}),
        ([heat("same", "none"), heat("same", "normal")], {}),
        ([heat("any", "none"), heat("any", "normal")], {None: (0, 1, 2)}),
        ([heat("any", "normal", negated=True)], {}),
        ([heat(LF, "normal", negated=True)], {None: ()}),
    ],
)
def test_places(premises: list[Condition], expected: Found) -> None:
    assert firings(premises, HEATS) == expected


@pytest.mark.parametrize(
    ("rows", "expected"),
    [
        ([], {}),
        ([("heat", LF, "none")], {None: (0,)}),
        ([("heat", LF, "none"), ("heat", LR, "none")], {None: (0, 1)}),
        ([("heat", LF, "none"), ("heat", LR, "normal")], {}),
        ([("heat", LF, "normal"), ("heat", LR, "none")], {}),
        ([("heat", LF, "normal")], {}),
        ([("heat", LF, "none"), ("heat", LF, "none", "technician")], {None: (0, 1)}),
        ([("heat", LF, "none"), ("heat", LF, "weak", "technician")], {}),
        ([("heat", LF, "none"), ("low_heat", LR, "normal")], {None: (0,)}),
    ],
)
def test_every_tried(rows: list[Any], expected: Found) -> None:
    assert firings([heat("every_tried", "none")], facts(*rows)) == expected


def test_every_tried_with_each_way_of_comparing() -> None:
    two = facts(("heat", LF, "none"), ("heat", LR, "weak"))
    assert firings([heat("every_tried", "none", "weak")], two) == {None: (0, 1)}
    assert firings([C("heat", where="every_tried", not_values=("normal",))], two) == {None: (0, 1)}
    assert firings([C("heat", where="every_tried", not_values=("weak",))], two) == {}
    technicians = C("heat", where="every_tried", values=("none",), by="technician")
    assert firings([technicians], two[:1]) == {}
    seen = facts(("heat", LF, "none", "technician"), ("heat", LR, "normal", "caller"))
    assert firings([technicians], seen) == {}  # what anybody else saw counts against it
    assert firings([technicians], seen[:1]) == {None: (0,)}
    low, high, unread = reading(5.0), reading(50.0, between="L1-N", id_=1), reading(None, between="L2-N", id_=2)
    premise = C("volts", where="every_tried", below=20.0)
    assert firings([premise], [low]) == {None: (0,)}
    assert firings([premise], [low, high]) == {}
    assert firings([premise], [low, unread]) == {}
    idle = C("volts", where="every_tried", during="idle", below=20.0)
    assert firings([idle], [low, reading(50.0, during="loaded", id_=1)]) == {None: (0,)}


def test_a_fact_that_satisfies_a_premise_and_breaks_another_of_the_same_rule() -> None:
    """One fact feeds a pattern and a negation of one rule, from the front and from behind, and in every order."""
    feeding = [
        C("heat", where="same", values=("none", "weak")),
        C("heat", where="same", values=("weak",), negated=True),
    ]
    known = facts(("heat", LF, "none"), ("heat", LR, "weak"), ("heat", RF, "none"), ("heat", RF, "weak", "desk"))
    for premises in (feeding, feeding[::-1]):
        for order in (known, known[::-1], known[2:] + known[:2]):
            assert firings(premises, order) == {LF: (0,)}


def test_two_equal_premises_are_one_and_two_alike_match_apart() -> None:
    any_cold = heat("any", "none")
    assert firings([any_cold, any_cold], HEATS) == firings([any_cold], HEATS) == {None: (0, 1)}
    known = facts(("heat", LF, "none"), ("heat", LR, "none"))
    for premises, supports in (
        ([any_cold, any_cold], [(0,), (1,)]),
        ([any_cold, heat(None, "none")], [(0, 0), (0, 1), (1, 0), (1, 1)]),
    ):
        engine: Any = compile_book([rule("r", premises)])()
        engine.begin()
        engine.declare(*map(engine_fact, known))
        engine.run()
        assert sorted(fired.supports for fired in engine.raw) == supports


def test_stock_experta_matches_two_identical_patterns_with_one_fact_only() -> None:
    """Why every pattern is bound to a name of its own."""

    def fire(engine: Any, **bound: Any) -> None:
        engine.fired += 1

    def count(*patterns: Fact) -> int:
        engine: Any = type("Two", (KnowledgeEngine,), {"r": ExpertaRule(*patterns)(fire), "fired": 0})()
        engine.reset()
        engine.declare(Known(id=1, name="heat"), Known(id=2, name="heat"))
        engine.run()
        fired: int = engine.fired
        return fired

    assert count(Known(name=L("heat")), Known(name=L("heat"))) == 2
    assert count("f0" << Known(name=L("heat")), "f1" << Known(name=L("heat"))) == 4


def test_alternatives_fire_apart_and_merge() -> None:
    record = Chainer([rule("r", [C("a", values=("x",))], [C("b", values=("x",))], [C("c", values=("x",))])]).run(
        facts(("a", "", "x"), ("b", "", "x"), ("c", "", "y"))
    )
    assert [firing.supports for firing in record.firings] == [(0, 1)]


def test_conclusions_chain_at_the_joined_place_and_carry_what_was_observed() -> None:
    rules = [
        rule("unit", [heat("same", "none")], derive=[Derivation("cold", "yes", "same")]),
        rule(
            "named",
            [C("cold", where=LR, values=("yes",))],
            derive=[Derivation("rear", "yes", LR), Derivation("any", "yes")],
        ),
        rule("again", [C("any", values=("yes",)), light("same")]),
    ]
    record = Chainer(rules).run(HEATS)
    assert [(fact.id, fact.name, fact.place, fact.supports, fact.observed) for fact in record.derived] == [
        (5, "any", "", (7,), (1,)),
        (6, "cold", LF, (0,), (0,)),
        (7, "cold", LR, (1,), (1,)),
        (8, "rear", LR, (7,), (1,)),
    ]
    assert [(firing.rule, firing.where, firing.supports, firing.observed) for firing in record.firings][3:] == [
        ("again", LR, (3, 5), (1, 3)),
        ("again", RF, (4, 5), (1, 4)),
    ]


def test_a_derived_fact_has_the_source_rule_and_no_number() -> None:
    source = rule("a", [C("display", values=("lit",))], derive=[Derivation("d", "yes")])
    reader = rule("b", [C("d", values=("yes",), by="technician")])
    numeric = rule("c", [C("d", at_least=-1.0)])
    record = Chainer([source, reader, numeric]).run(facts(("display", "", "lit")))
    assert [firing.rule for firing in record.firings] == ["a"]


def test_a_conclusion_that_was_also_observed_is_both() -> None:
    rules = [
        rule("a", [C("display", values=("lit",))], derive=[Derivation("d", "yes")]),
        rule("b", [C("d", values=("yes",))]),
    ]
    record = Chainer(rules).run(facts(("display", "", "lit"), ("d", "", "yes")))
    assert [fact.id for fact in record.derived] == [2]
    assert record.firings[1].supports == (1, 2)
    assert record.firings[1].observed == (0, 1)


def test_bad_rules_are_told_all_at_once_with_their_lines() -> None:
    rules = [
        rule("twice", [C("a", values=("x",))], line=3),
        rule("twice", [C("b", values=("x",))], line=9),
        rule("empty", line=12),
    ]
    with pytest.raises(BookError) as refused:
        compile_book(rules)
    assert refused.value.problems == [
        "trade/test.yaml:12: when: rule 'empty': write at least one premise under all or any",
        "trade/test.yaml:9: rule: 'twice' is taken by trade/test.yaml:3; give it another id",
    ]


def is_safe_field(value: object) -> bool:
    return isinstance(value, (L, P, W, str))


def is_safe_pattern(pattern: Fact) -> bool:
    return type(pattern) in (Known, InitialFact) and all(map(is_safe_field, pattern.values()))


def test_only_safe_shapes_are_compiled() -> None:
    """Positive patterns first, each bound; then negations of one pattern; in the slots constants, tests, variables."""
    seen = 0
    for number in range(100):
        for compiled in vars(compile_book(random_rules(number))).values():
            if not isinstance(compiled, ExpertaRule):
                continue
            kinds = [type(part) is NOT for part in compiled]
            assert kinds == sorted(kinds) and not kinds[0]
            patterns = [part[0] if type(part) is NOT else part for part in compiled]
            assert all(map(is_safe_pattern, patterns))
            names = [pattern["__bind__"] for pattern in patterns]
            assert None not in names and len(set(names)) == len(names)
            bound = {slot for part, is_not in zip(patterns, kinds, strict=True) if not is_not for slot in part.items()}
            free = {slot for part, is_not in zip(patterns, kinds, strict=True) if is_not for slot in part.items()}
            assert {slot for slot in free if isinstance(slot[1], W)} <= bound
            seen += 1
    assert seen > 300


def test_each_alternative_is_one_rule_in_its_band() -> None:
    rules: list[Rule] = [
        rule("late", [C("d", values=("x",), negated=True)], [C("e", values=("x",))]),
        rule("early", [C("a", values=("x",))], derive=[Derivation("d", "x")]),
    ]
    assert bands_of(compile_book(rules)) == {"late/000": -1, "late/001": -1, "early/000": 0}


def test_withdrawing_is_refused_because_experta_loses_count() -> None:
    """experta handles a step's withdrawals before its arrivals: a fact that came and went in one step breaks it."""

    def come_and_go(engine: Any, **bound: Any) -> None:
        engine.retract(engine.declare(Known(id=2, name="passing")))

    def fire(engine: Any, **bound: Any) -> None:
        """Nothing to do."""

    rules = {
        "a": ExpertaRule("f0" << Known(name=L("start")))(come_and_go),
        "b": ExpertaRule("f0" << Known(name=L("passing")))(fire),
    }
    stock: Any = type("Stock", (KnowledgeEngine,), rules)()
    stock.reset()
    stock.declare(Known(id=1, name="start"))
    with pytest.raises(KeyError):
        stock.run()
    ours: Any = type("Ours", (CaseEngine,), rules)()
    ours.begin()
    ours.declare(Known(id=1, name="start"))
    with pytest.raises(RuntimeError, match="never withdrawn"):
        ours.run()
    with pytest.raises(RuntimeError, match="never withdrawn"):
        ours.modify(next(iter(ours.facts.values())), name="other")
