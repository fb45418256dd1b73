"""A rule as one plain sentence: every premise and every act of every rule is in it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from rules import Expert
from rules.bookkeeping.types import Condition, Derivation, Shift, Stop, VisitNeed
from rules.checking import rule_sentence
from rules.checking.sentence import condition_sentence
from rules.wording import filled
from tests.rules.checking.breaking import made


def test_every_rule_is_one_sentence_with_all_it_says(expert: Expert) -> None:
    for rule in expert.book.rules.values():
        sentence = rule_sentence(rule, expert.book)
        assert sentence.startswith("If ") and sentence.endswith(".") and "\n" not in sentence
        assert filled(rule.because, {}).rstrip(".")[1:] in sentence
        for premises in rule.alternatives:
            for premise in premises:
                assert expert.book.facts[premise.fact].title in sentence, rule.rule
        for fault in (*rule.points_to, *rule.establishes, *rule.rules_out):
            assert expert.book.faults[fault].title in sentence, rule.rule
        for words in (*rule.allow, *rule.forbid, *([rule.stop.say.rstrip(".")] if rule.stop else [])):
            assert words in sentence, rule.rule


@pytest.mark.parametrize(
    ("condition", "expected"),
    [
        (Condition("display", values=("dark",)), "is dark (nothing at all)"),
        (Condition("display", values=("dim",), negated=True), "is not known to be dim"),
        (Condition("display", not_values=("lit",)), "is known and not lit"),
        (Condition("oven.offset", at_least=-35, below=-15), "is at least -35 F and below -15 F"),
        (Condition("surface.heat", where="every_tried", values=("none",)), "at every unit that was tried is none"),
        (Condition("surface.heat", where="left_front", values=("none",)), "at the left front unit is none"),
        (Condition("hazard.any", values=("yes",)), "the answer to"),
        (
            Condition("volts", between="L1-N", during="idle", values=("norm",), by="technician"),
            "between L1 and N with everything switched off is norm (as it should be), seen by a technician",
        ),
    ],
)
def test_one_premise(expert: Expert, condition: Condition, expected: str) -> None:
    assert expected in condition_sentence(condition, expert.book)


def test_alternatives_and_joins(expert: Expert) -> None:
    cold = Condition("surface.heat", where="same", values=("none",))
    lit = Condition("hot_light.cold", where="same", values=("lit",))
    dark = Condition("display", values=("dark",))
    sentence = rule_sentence(made("r", [cold, lit], [cold, dark], points_to=("supply.breaker_off",)), expert.book)
    assert "at one unit is none (stays cold) and either" in sentence
    assert 'at that unit is lit (stays lit) or "clock or display' in sentence


def test_every_act_is_told(expert: Expert) -> None:
    rule = made("r", [Condition("display", values=("dark",))])
    acts = {
        "it follows that": {"derive": (Derivation("leg.both_alive", "no"),)},
        "5 times likelier": {"shift": (Shift(("supply.*",), 5.0),)},
        "2 times less likely": {"shift": (Shift(("supply.breaker_off",), 0.5),)},
        'stop with DANGER, say "Go out" and send for the utility': {"stop": Stop("DANGER", "Go out.", "utility")},
        "a visit is for an electrician and its urgency is now": {"visit": VisitNeed("electrician", "now")},
    }
    for words, fields in acts.items():
        assert words in rule_sentence(replace(rule, **fields), expert.book)  # type: ignore[arg-type]
