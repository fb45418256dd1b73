"""What a fault looks like, drawn from the circuit."""

from __future__ import annotations

import pytest

from rules import Expert, InputError
from rules.checking import portrait


def test_a_lost_leg_as_the_circuit_shows_it(expert: Expert) -> None:
    drawn = portrait(expert, "supply.leg_l2_open")
    caller = {sight.key: sight for sight in drawn.caller}
    assert caller["oven.bake.heat"].words == {"none": 1.0}
    assert caller["oven.bake.heat"].usual == "normal"
    assert "display" not in caller  # it runs from the other leg, as on a sound appliance
    assert {sight.key: list(sight.words) for sight in drawn.meter_live}["volts@L1-L2/loaded"] == ["dead"]
    assert [sight.key for sight in drawn.meter_dead] == ["oven.log_mean"]  # no ohmmeter sees it
    assert "one-leg-lost" in {rule.rule for rule in drawn.pointed_at_by}
    assert "volts_l2_n_idle" in {test.test for test in drawn.tests}


def test_a_fault_of_one_unit_is_drawn_there(expert: Expert) -> None:
    coil = expert.book.appliances["coil_range"]
    drawn = portrait(expert, "surface.element_open", "right_rear", coil)
    assert {sight.key for sight in drawn.meter_dead} == {"ohms.element@right_rear", "element.hot@right_rear"}
    assert drawn.parts == ("coil_element",)
    assert drawn.tests[0].test == "ohms_element"
    assert drawn.tests[0].where == "right_rear"
    assert portrait(expert, "surface.element_open").where == "left_front"


def test_every_fault_can_be_drawn_and_differs_from_sound(expert: Expert) -> None:
    for name in expert.book.faults:
        drawn = portrait(expert, name)
        sights = (*drawn.caller, *drawn.meter_dead, *drawn.meter_live)
        assert sights, name
        for sight in sights:
            assert sum(sight.words.values()) == pytest.approx(1, abs=0.03), (name, sight.key)
            assert sight.words != {sight.usual: 1.0}, (name, sight.key)
        assert list(drawn.tests) == sorted(drawn.tests, key=lambda test: -round(test.bits, 3)), name


@pytest.mark.parametrize(
    ("name", "where", "appliance", "told"),
    [
        ("supply.leg_l2_opn", None, None, "did you mean 'supply.leg_l2_open'"),
        ("supply.leg_l2_open", "left_front", None, "belongs to no unit"),
        ("surface.element_open", "middle", None, "write one of left_front"),
        ("surface.element_open", None, "wall_oven", "cannot have"),
    ],
)
def test_what_cannot_be_drawn_is_refused(
    expert: Expert, name: str, where: str | None, appliance: str | None, told: str
) -> None:
    machine = expert.book.appliances[appliance] if appliance else None
    with pytest.raises(InputError, match=told):
        portrait(expert, name, where, machine)
