"""Two faults at once: thought of only when no single fault fits, and then named with both."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from rules import Expert
from rules.belief.pairs import MOST_THOUGHT_OF, _best_of_each, with_pairs
from tests.conftest import Asker


def test_two_measured_faults_are_named_together(ask: Asker) -> None:
    answer = ask(None, "ohms.bake=OL", "ohms.sensor=OL", "dead_check=proved", role="technician", explain="full")
    top = answer.conclusions[0]
    assert {top.fault, *(other.fault for other in top.also)} == {"oven.bake_element_open", "oven.sensor_open"}
    assert top.probability > 0.8
    assert set(top.parts) == {"bake_element", "oven_sensor"}
    assert [bits.bits > 3 for bits in top.bits[:2]] == [True, True]
    assert {part.part for part in answer.visit.load_parts} >= {"bake_element", "oven_sensor"}


def test_two_complaints_that_no_fault_explains(ask: Asker) -> None:
    answer = ask(
        None,
        "surface.heat@left_front=none",
        "surface.heat@others=normal",
        "oven.lamp=dark",
        "display=lit",
        "oven.bake.heat=normal",
    )
    top = answer.conclusions[0]
    assert top.also
    assert "oven.lamp_dead" in {top.fault, top.also[0].fault}
    place = {at.fault: at.where for at in top.also} | {top.fault: top.where}
    assert place["oven.lamp_dead"] is None
    assert next(where for fault, where in place.items() if fault.startswith("surface.")) == "left_front"


def test_one_fault_that_fits_needs_no_second(ask: Asker) -> None:
    for facts in (
        ("oven.bake.heat=none", "display=lit"),
        ("display=lit", "surface.heat@all=none", "oven.bake.heat=none"),
        ("oven.lamp=dark",),
    ):
        assert not [c for c in ask(None, *facts).conclusions if c.also]


def test_a_fault_is_not_paired_with_another_mode_of_the_same_part(ask: Asker) -> None:
    """An element cannot be open and grounded at once; whatever is said, these are never listed together."""
    answer = ask(None, "ohms.bake=OL", "breaker=trips_at_once", "dead_check=proved", role="technician")
    for c in answer.conclusions:
        named = {c.fault, *(other.fault for other in c.also)}
        assert not named >= {"oven.bake_element_open", "oven.bake_element_grounded"}


def test_the_worse_word_of_two_is_shown(expert: Expert) -> None:
    signatures = expert.signatures(expert.book.appliances["coil_range"])
    names = [h.name for h in signatures.hypotheses]
    dead, lamp = names.index("oven.control_dead"), names.index("oven.lamp_dead")
    wider = with_pairs(signatures, [(dead, lamp)], signatures.prior[:1] * 0 + 1)
    assert len(wider.hypotheses) == len(signatures.hypotheses) + 1
    assert wider.hypotheses[-1].fault is None
    both = wider.hypotheses[-2]
    assert [one.name for one in both.both] == ["oven.control_dead", "oven.lamp_dead"]
    row = len(wider.hypotheses) - 2
    words = list(expert.book.facts["display"].values)
    assert wider.tables["display"][row][words.index("dark")] == signatures.tables["display"][dead][words.index("dark")]
    lamp_words = list(expert.book.facts["oven.lamp"].values)
    assert wider.tables["oven.lamp"][row][lamp_words.index("dark")] == 1
    assert both.fault is not None
    assert both.fault.parts_for(signatures.appliance) == ("control_board", "oven_lamp")


def test_a_pair_of_the_book_comes_before_one_of_chance(ask: Asker) -> None:
    """A burnt block takes the coil with it; the same readings from two other parts are rarer."""
    answer = ask(
        None,
        "cooktop=coil",
        "ohms.element@left_front=OL",
        "surface.wiggle@left_front=yes",
        "hazard.any=no",
        "dead_check=proved",
        role="technician",
    )
    pairs = [{c.fault, *(a.fault for a in c.also)} for c in answer.conclusions if c.also]
    assert pairs
    assert pairs[0] == {"surface.receptacle_burnt", "surface.element_open"}


def test_what_a_caller_can_tell_is_the_same_apart_and_in_the_whole(expert: Expert) -> None:
    stack = expert.signatures(expert.book.appliances["radiant_range"]).stack
    dice = np.random.default_rng(5)
    first, second = dice.integers(0, stack.width - 1, (2, 20))
    told = np.concatenate([np.arange(*stack.spans[key]) for key in sorted(stack.told)])
    measured = np.arange(*next(span for key, span in stack.spans.items() if key not in stack.told))
    apart, whole = stack.together(first, second), stack.worse_of(first, second)
    assert np.array_equal(apart.heard(told, 0.1), whole.heard(told, 0.1))
    assert np.array_equal(apart.said(told[:2], 0.1), whole.said(told[:2], 0.1))
    assert np.array_equal(apart.shown(told[:3].tolist()), whole.shown(told[:3].tolist()))
    assert "_whole" not in vars(apart)
    assert np.array_equal(apart.heard(measured, 0.1), whole.heard(measured, 0.1))


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 10_000), st.integers(1, 5), st.integers(1, 40))
def test_the_best_of_each_are_those_a_stable_sort_puts_first(seed: int, rows: int, width: int) -> None:
    fits = np.random.default_rng(seed).integers(0, 6, (rows, width)) / 7  # with many equals
    first = np.argsort(-fits, axis=1, kind="stable")[:, :MOST_THOUGHT_OF]
    chosen = _best_of_each(fits)
    assert [set(np.flatnonzero(row).tolist()) for row in chosen] == [set(row) for row in first.tolist()]
