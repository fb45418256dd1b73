"""A day's calls share one van; calls that are not its own ask for nothing."""

from __future__ import annotations

import pytest

from rules import Enquiry, Expert, InputError, plan_day
from rules.dayplan import van_of

CALLS = {
    "a": Enquiry(note="slow to preheat, pale on the bottom, broil works fine"),
    "b": Enquiry(note="slow to preheat and pale below, broiler is fine"),
    "c": Enquiry(note="nothing heats, no burner and no oven, but the clock is lit"),
    "d": Enquiry(note="the weather is fine"),
}


def test_two_calls_for_one_part_need_two_of_it(expert: Expert) -> None:
    plan = plan_day(expert, CALLS)
    units = {row.part: row.units for row in plan.stock}
    assert units["bake_element"] == 2
    assert [call.ours for call in plan.calls] == [True, True, False, False]
    assert plan.calls[2].visit.skill == "electrician"
    assert plan.expected_fixes == pytest.approx(sum(call.fix for call in plan.calls), abs=1e-3)
    assert plan.space <= plan.van.space
    assert plan.value <= plan.van.value


def test_room_for_one_serves_the_first(expert: Expert) -> None:
    plan = plan_day(expert, CALLS, van_of(expert, space=9.5))
    assert {row.part: row.units for row in plan.stock} == {"bake_element": 1, "element_terminal": 1}
    assert plan.calls[0].fix > plan.calls[1].fix


def test_what_cannot_be_used_is_named_by_call(expert: Expert) -> None:
    with pytest.raises(InputError, match="late/note"):
        plan_day(expert, {"late": Enquiry(note=" ")})
    with pytest.raises(InputError, match="no van 'lorry'"):
        van_of(expert, "lorry")
    with pytest.raises(InputError, match="at most"):
        plan_day(expert, {str(n): Enquiry(note="oven cold") for n in range(41)})
