"""One broken copy of the book for each kind of finding: the checker sees exactly what was broken."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import pytest

from rules import Expert
from rules.bookkeeping.types import Condition, Derivation, Shift
from rules.chaining import Chainer, ChainRecord, KnownFact
from rules.checking import ACCEPTED, KINDS, check_book, check_shapes, failing, report
from rules.checking.answers import asks_yes_or_no, check_answers
from rules.checking.overlap import implies
from rules.checking.readability import grade, spoken_texts, syllables
from tests.rules.checking.breaking import changed_rule, made, only, opened, with_rules

PAGES = Path(__file__).resolve().parents[3] / "openapi" / "findings"
Found = set[tuple[str, str]]
LIT = Condition("display", values=("lit",))


@pytest.fixture(scope="module")
def shipped(expert: Expert) -> Found:
    return {(finding.kind, finding.subject) for finding in check_book(expert)}


@pytest.fixture(autouse=True)
def in_one_order(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch, shipped: Found) -> None:
    """Most of a check's time goes into orders, which only their own test needs; the shipped book has had them all."""
    if "order" not in request.node.name:
        monkeypatch.setattr("rules.checking.book.check_order", lambda _: iter(()))


def newly(shipped: Found, broken: Expert) -> Found:
    return {(finding.kind, finding.subject) for finding in failing(check_book(broken))} - shipped


# --- pointers ----------------------------------------------------------------------------------------------------
def test_a_pointer_at_a_fault_that_does_not_look_so(expert: Expert, shipped: Found) -> None:
    rule = expert.book.rules["hot-light-over-cold-top"]
    broken = changed_rule(expert, rule.rule, points_to=(*rule.points_to, "surface.element_open"))
    assert newly(shipped, broken) == {("unsound-pointer", f"{rule.rule} -> surface.element_open")}


def test_a_pointer_through_a_derived_fact(expert: Expert, shipped: Found) -> None:
    """Full heat proves both legs; a lost leg gives none, so nothing that rests on them may point at it."""
    rule = expert.book.rules["display-dead-legs-alive"]
    broken = changed_rule(expert, rule.rule, points_to=(*rule.points_to, "supply.leg_l1_open"))
    assert ("unsound-pointer", f"{rule.rule} -> supply.leg_l1_open") in newly(shipped, broken)


def test_premises_at_the_same_unit_are_joined(expert: Expert, shipped: Found) -> None:
    """Cold and lit by its light at one unit is an open element; cold and normal at one unit is nothing."""
    cold = Condition("surface.heat", where="same", values=("none",))
    light = Condition("hot_light.cold", where="same", values=("lit",))
    examples = {
        "fires_on": ({"surface.heat@left_front": "none", "hot_light.cold@left_front": "lit"},),
        "silent_on": ({"surface.heat@left_front": "none", "hot_light.cold@right_rear": "lit"},),
    }
    broken = with_rules(expert, made("both", [cold, light], points_to=("surface.element_open",), **examples))
    assert newly(shipped, broken) == {("unsound-pointer", "both -> surface.element_open")}


def test_a_number_is_compared_with_the_bands(expert: Expert, shipped: Found) -> None:
    rule = expert.book.rules["oven-runs-hot"]
    ((premise,),) = rule.alternatives
    broken = changed_rule(expert, rule.rule, points_to=(*rule.points_to, "settings.user_offset_low"))
    assert premise.at_least == 15
    assert newly(shipped, broken) == {("unsound-pointer", "oven-runs-hot -> settings.user_offset_low")}


def test_a_pointer_that_fails_on_one_appliance_is_a_note(expert: Expert) -> None:
    found = only(check_book(expert), "pointer-not-everywhere")
    assert any("wall_oven" in finding.message for finding in found)
    assert all(finding.level == "note" and finding not in failing(found) for finding in found)


def test_a_likelier_fault_left_out(expert: Expert, shipped: Found) -> None:
    """An open line through the lifted bake element: with the element left out, a rarer fault stands for it."""
    broken = changed_rule(expert, "pale-below", points_to=("oven.bake_relay_open",))
    assert newly(shipped, broken) == {("unlisted-rival", "pale-below -> oven.bake_element_open")}


# --- faults ------------------------------------------------------------------------------------------------------
def test_a_fault_no_rule_points_at(expert: Expert, shipped: Found) -> None:
    broken = changed_rule(
        expert, "lamp-by-its-switch-only", points_to=(), shift=(Shift(("oven.door_switch_open",), 2.0),)
    )
    assert newly(shipped, broken) == {("fault-not-pointed-at", "oven.door_switch_open")}


def test_a_fault_no_test_tells_from_a_sound_machine(expert: Expert, shipped: Found) -> None:
    tests = {name: card for name, card in expert.book.tests.items() if card.reads != "oven.fan_noise"}
    assert len(tests) < len(expert.book.tests)
    fan = ("fault-without-test", "oven.convection_fan_worn")
    assert newly(shipped, opened(expert, replace(expert.book, tests=tests))) == {fan}


# --- examples ----------------------------------------------------------------------------------------------------
def test_examples_that_do_not_hold(expert: Expert, shipped: Found) -> None:
    rule = expert.book.rules["lock-symbol"]
    wrong = ("example-does-not-hold", rule.rule)
    for fields in ({"fires_on": ({"symbols": "demo"},)}, {"silent_on": ({"symbols": "lock"},)}, {"silent_on": ()}):
        assert newly(shipped, changed_rule(expert, rule.rule, **fields)) == {wrong}


def test_an_example_that_cannot_be_read(expert: Expert, shipped: Found) -> None:
    broken = changed_rule(expert, "lock-symbol", fires_on=({"symbols": "padlock"},))
    assert newly(shipped, broken) == {("example-does-not-hold", "lock-symbol")}


# --- overlap -----------------------------------------------------------------------------------------------------
def test_a_rule_written_twice(expert: Expert, shipped: Found) -> None:
    rule = expert.book.rules["lock-symbol"]
    again = replace(rule, rule="lock-again", alternatives=rule.alternatives[::-1])
    assert newly(shipped, with_rules(expert, again)) == {("duplicate-rule", "lock-again")}


def test_a_rule_that_adds_nothing(expert: Expert, shipped: Found) -> None:
    rule = expert.book.rules["demo-symbol"]
    narrow = replace(
        rule,
        rule="demo-and-lit",
        alternatives=(((*rule.alternatives[0], LIT)),),
        fires_on=({"symbols": "demo", "display": "lit"},),
    )
    assert newly(shipped, with_rules(expert, narrow)) == {("subsumed-rule", "demo-and-lit")}
    other = replace(narrow, points_to=("settings.demo_mode", "settings.control_lock"))
    assert ("subsumed-rule", "demo-and-lit") not in newly(shipped, with_rules(expert, other))


def heat(**fields: object) -> Condition:
    return replace(Condition("surface.heat", values=("none",)), **fields)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("narrow", "wide", "expected"),
    [
        (heat(where="same"), heat(where="any"), True),
        (heat(where="any"), heat(where="same"), False),
        (heat(where="left_front"), heat(where="any"), True),
        (heat(where="all"), heat(where="any"), False),
        (heat(where="any"), heat(where="any", values=("none", "weak")), True),
        (heat(where="any", values=("none", "weak")), heat(where="any"), False),
        (heat(where="any", by="technician"), heat(where="any"), True),
        (heat(where="any"), heat(where="any", by="technician"), False),
        (heat(values=("none", "weak"), negated=True), heat(negated=True), True),
        (heat(negated=True), heat(values=("none", "weak"), negated=True), False),
        (heat(negated=True), heat(), False),
        (heat(), heat(values=(), not_values=("normal",)), True),
        (heat(values=("normal",)), heat(values=(), not_values=("normal",)), False),
        (Condition("oven.offset", at_least=35), Condition("oven.offset", at_least=15), True),
        (Condition("oven.offset", at_least=35, below=50), Condition("oven.offset", below=40), False),
    ],
)
def test_one_premise_within_another(narrow: Condition, wide: Condition, expected: bool) -> None:
    assert implies(narrow, wide) is expected


# --- reach -------------------------------------------------------------------------------------------------------
def test_a_derived_value_nobody_derives(expert: Expert, shipped: Found) -> None:
    never = made("never", [Condition("leg.both_alive", values=("no",))], points_to=("supply.leg_l2_open",))
    broken = with_rules(expert, never)
    found = only(check_book(broken), "unreachable-rule")
    assert [(finding.subject, finding.where) for finding in found] == [("never", "trade/test.yaml:7")]
    assert "no rule derives" in found[0].message


def test_a_value_no_machine_shows(expert: Expert) -> None:
    """No fault of a house lifts the volts between two whole legs far above 240."""
    shown = made("shown", [Condition("volts", between="L1-L2", values=("norm",))], shift=(Shift(("oven.*",), 2.0),))
    never = made("never", [Condition("volts", between="L1-L2", values=("high",))], shift=(Shift(("oven.*",), 2.0),))
    found = only(check_book(with_rules(expert, shown, never)), "unreachable-rule")
    assert [finding.subject for finding in found] == ["never"]


def test_premises_that_exclude_each_other(expert: Expert) -> None:
    dark = Condition("display", values=("dark",))
    rule = made("neither", [LIT, dark], shift=(Shift(("oven.*",), 2.0),))
    found = only(check_book(with_rules(expert, rule)), "unreachable-rule")
    assert [finding.subject for finding in found] == ["neither"]
    assert "exclude each other" in found[0].message


# --- chaining ----------------------------------------------------------------------------------------------------
class Forgetful(Chainer):
    """Forgets the last fact it is told, and so depends on their order."""

    def run(self, facts: Sequence[KnownFact]) -> ChainRecord:
        return super().run(facts[:-1] if len(facts) > 2 else facts)


def test_firings_that_depend_on_order(expert: Expert) -> None:
    book = expert.book
    broken = Expert(book, expert.lexicon, Forgetful(list(book.rules.values())))
    found = only(check_book(broken), "order-dependent")
    assert "one-leg-lost" in {finding.subject for finding in found}
    assert not only(check_book(expert), "order-dependent")


def test_negation_in_a_ring(expert: Expert) -> None:
    unless = Condition("leg.both_alive", values=("yes",), negated=True)
    rule = made("ring", [LIT, unless], derive=(Derivation("leg.both_alive", "yes"),))
    found = check_book(with_rules(expert, rule, chained=False))
    assert [(f.kind, f.where, f.subject) for f in found] == [
        ("negation-not-stratified", "trade/test.yaml:7", "ring"),
    ]


def test_a_shape_the_engine_cannot_run(expert: Expert) -> None:
    loose = Condition("surface.heat", where="same", values=("none",), negated=True)
    found = check_book(with_rules(expert, made("loose", [LIT, loose]), chained=False))
    assert {(f.kind, f.subject) for f in found} == {("unsafe-shape", "loose")}
    assert list(check_shapes(list(expert.book.rules.values()))) == []


# --- reading -----------------------------------------------------------------------------------------------------
def test_a_text_too_hard_for_a_caller(expert: Expert, shipped: Found) -> None:
    hard = "Immediately disconnect the appliance's electrical installation, notwithstanding operational considerations."
    fault = replace(expert.book.faults["oven.lamp_dead"], tell=hard)
    book = replace(expert.book, faults={**expert.book.faults, fault.fault: fault})
    assert newly(shipped, opened(expert, book)) == {("hard-to-read", "fault oven.lamp_dead, tell")}


def test_the_grade_formula() -> None:
    """Worked by hand: 6 words, 6 syllables, 1 sentence; then 2 words of 1 and 5 syllables."""
    assert grade("The cat sat on the mat.") == pytest.approx(0.39 * 6 + 11.8 - 15.59)
    assert grade("Avoid electricity.") == pytest.approx(0.39 * 2 + 11.8 * 7 / 2 - 15.59)
    assert grade("") == 0
    counted = {"cat": 1, "oven": 2, "baked": 1, "heated": 2, "table": 2, "whole": 1, "breaker": 2, "temperature": 4}
    assert {word: syllables(word) for word in counted} == counted


def test_every_text_a_caller_hears_is_read(expert: Expert) -> None:
    subjects = {spoken.subject for spoken in spoken_texts(expert.book)}
    assert {"test ask_display", "rule stop-flame, say", "fault oven.lamp_dead, tell"} <= subjects
    assert "test ohms_bake" not in subjects


# --- the shipped book and the pages ------------------------------------------------------------------------------
def test_the_shipped_book_holds(expert: Expert) -> None:
    assert failing(check_book(expert)) == []


def test_accepted_findings_are_found_and_do_not_fail(expert: Expert, shipped: Found) -> None:
    assert set(ACCEPTED) <= shipped
    assert not [finding for finding in failing(check_book(expert)) if (finding.kind, finding.subject) in ACCEPTED]


def test_ambiguity_groups_are_real(expert: Expert) -> None:
    groups = report(expert).groups
    assert all(len(group.members) > 1 and group.appliances for group in groups)
    blind = {name: card for name, card in expert.book.tests.items() if card.reads != "feed"}
    by_members = {g.members: g for g in report(opened(expert, replace(expert.book, tests=blind))).groups}
    twins = by_members["oven.control_dead", "oven.control_feed_open"]
    assert twins.shared == ("control_board",)
    assert not any("oven.control_dead" in group.members for group in groups)
    tests = {name: card for name, card in expert.book.tests.items() if "sensor" not in card.reads}
    fewer = report(opened(expert, replace(expert.book, tests=tests))).groups
    assert any({"oven.sensor_open", "oven.sensor_shorted"} <= set(group.members) for group in fewer)
    assert not any({"oven.sensor_open", "oven.sensor_shorted"} <= set(group.members) for group in groups)


def test_every_kind_has_its_page() -> None:
    for kind in (*KINDS, "ambiguity-group"):
        page = (PAGES / f"{kind}.md").read_text(encoding="utf-8")
        assert page.startswith(f"# {kind}\n")
        assert all(f"\n## {part}\n" in page for part in ("What it means", "Example", "How to fix it")), kind


# --- answers -----------------------------------------------------------------------------------------------------
def test_a_question_whose_yes_and_no_stand_for_nothing(expert: Expert) -> None:
    lamp = replace(expert.book.facts["oven.lamp"], yes=None, no=None, answers={})
    book = replace(expert.book, facts={**expert.book.facts, "oven.lamp": lamp})
    found = {(finding.kind, finding.subject) for finding in check_answers(book)}
    assert found == {("answer-without-value", "test ask_oven_lamp")}
    assert not list(check_answers(expert.book))


@pytest.mark.parametrize(
    ("ask", "yes_or_no"),
    [
        ("Does the oven light come on?", True),
        ("With every knob at off, does the burner-on light stay lit?", True),
        ("Look first. Is it lit? Do not touch it.", True),
        ("Which code is on the display?", False),
        ("Is the oven still warm, or has it been cold for an hour?", False),
        ("When self-clean was last tried, what did the door lock do?", False),
    ],
)
def test_which_questions_are_answered_by_yes_or_no(ask: str, yes_or_no: bool) -> None:
    assert asks_yes_or_no(ask) == yes_or_no
