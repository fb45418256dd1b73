"""Calls as other people word them: the kinds of fact that decide, in sentences the lexicon was not written around."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from rules.notes import NoteReading

Read = Callable[..., NoteReading]
WAKES = {("display", "dark"), ("display.with_burner_on", "lit")}
LOST_LEG = {("volts@L1-N/loaded", 121.0), ("volts@L2-N/loaded", 121.0), ("volts@L1-L2/loaded", 0.0)}
TOO_COLD = {("oven.offset", -40.0), ("oven.glow", "both")}
FULL = "surface.low_heat"


def pairs(read: Read, note: str) -> set[tuple[str, object]]:
    return {(fact.key, fact.value) for fact in read(note).facts}


@pytest.mark.parametrize(
    "note",
    [
        "clk blank unless a burner is on",
        "The screen is black except when I have a burner going",
        "Display dead. Turn on LR burner and display lights.",
        "No display otherwise, but crank a burner to high and the numbers return",
        "The moment a cooktop knob is turned the display powers up, otherwise it's blank",
        "Display out. If she turns the front coil on the display comes back.",
        "Nothing on the panel till I click on one of the surface units, then the time pops back up",
        "As soon as I flip on an eye the clock comes alive, turn the eye off and it goes blank",
    ],
)
def test_a_display_that_wakes_with_a_burner_is_no_contradiction(note: str, read: Read) -> None:
    facts = pairs(read, note)
    assert facts >= WAKES
    assert not facts & {("display", "lit"), ("display.with_burner_on", "dark"), ("hazard.breaker_trips_again", "yes")}


@pytest.mark.parametrize(
    "note",
    [
        "hot light on, nothing's warm",
        "Little red hot surface light won't shut off. Top is cool to the touch, knobs off.",
        "left front hot light stays on all night, top cold",
        "HOT light lit w/ all burners off and cool",
        "it says hot surface but it's cold as ice",
        "Hot indicator never goes out. Everything on the stove is cold.",
    ],
)
def test_a_hot_light_over_a_cold_top_is_no_failure_to_heat(note: str, read: Read) -> None:
    facts = pairs(read, note)
    assert "lit" in {value for key, value in facts if key.startswith("hot_light.cold")}
    assert not {key for key, _ in facts if key.startswith(("surface.heat", "oven.", "hazard", "surface.off"))}


@pytest.mark.parametrize(
    "note",
    [
        "Surface unit signal light stays on with all the knobs turned off",
        "the on-light stays on, nothing is turned on, everything's cool",
        "Burner light on constantly, controls off, glass cold.",
        "Indicator never goes dark even with every knob off; elements operate normally",
        "Light next to the rear knob won't extinguish, knobs off",
    ],
)
def test_a_light_with_the_knobs_off_is_no_heat(note: str, read: Read) -> None:
    facts = pairs(read, note)
    assert ("indicator.off", "lit") in facts
    assert not {(key, value) for key, value in facts if key.startswith("hazard") or value == "none"}


@pytest.mark.parametrize(
    "note",
    [
        "Burner heats w/ control off",
        "The bake element stays orange, I hit cancel ten minutes ago",
        "Even with the dial at off the back burner keeps cooking",
        "element is still red hot and the oven has been off for an hour",
        "The small burner was bright red this morning, nobody had touched the stove and every knob was off",
        "LF stays red w/ knob off",
    ],
)
def test_heat_with_the_control_off_is_a_danger(note: str, read: Read) -> None:
    assert ("hazard.heat_when_off", "yes") in pairs(read, note)


@pytest.mark.parametrize(
    "note",
    [
        "The trim gave me a little buzz",
        "he felt a current when he leaned on the range",
        "It stung my daughter when she touched the handle",
        "touching the oven door gives me an electric tickle",
        "range buzzed my hand when i leaned on it",
        "the stove is electrified",
    ],
)
def test_a_shock_in_other_words(note: str, read: Read) -> None:
    assert ("hazard.shock", "yes") in pairs(read, note)


@pytest.mark.parametrize("note", ["smoke behind the stove, nothing spilled", "Range is smoking. It is not food."])
def test_smoke_that_is_not_from_food(note: str, read: Read) -> None:
    assert ("hazard.smoke", "yes") in pairs(read, note)


@pytest.mark.parametrize(
    "note",
    [
        "L1→N 121 / L2→N 121 / L1→L2 0, bake calling",
        "black-white 121, red-white 121, black-red 0, element on",
        "121 each leg to neutral, nil leg to leg with a burner energized",
        "one twenty one each side to neutral and nothing across the two hots with oven on",
        "121 & 121 to neutral but no 240, LF on hi",
        "outer lugs to center lug 121 each, zero between outer lugs, burner on",
        "121/121/0 with bake on",
        "Coil switched on. Read 121 from L1 to N. Read 121 from L2 to N. Goose egg L1 to L2.",
        "X to W 121, Y to W 121, X to Y zip w/ RR on high",
    ],
)
def test_a_lost_leg_in_every_technician_s_form(note: str, read: Read) -> None:
    assert pairs(read, note) >= LOST_LEG


def test_a_load_that_is_off_is_no_load(read: Read) -> None:
    facts = pairs(read, "L1 to N 121, L2 to N 121, L1 to L2 242, everything off")
    assert ("volts@L1-L2/idle", 242.0) in facts


@pytest.mark.parametrize(
    "note",
    [
        "Set for 350, hits 310, both elements glow",
        "350 on the dial, 310 on my thermometer, both elements come on",
        "oven is about forty degrees shy, top and bottom both heat",
        "runs 40 cool, bake and broil both glow red",
        "Oven temp off approx -40F. Both coils glow.",
        "temp low 40, both elements good",
    ],
)
def test_an_oven_that_runs_cold_with_both_elements_red(note: str, read: Read) -> None:
    facts = pairs(read, note)
    assert facts >= TOO_COLD
    assert ("oven.bake.heat", "none") not in facts


@pytest.mark.parametrize(
    ("note", "where"),
    [
        ("Right front burner is either off or full blast, no in between", "right_front"),
        ("LR elem lo=med=hi, full heat all positions", "left_rear"),
        ("simmer is like high on the right rear", "right_rear"),
        ("My left front goes straight to high even when I set it to 1", "left_front"),
        ("left rear only does high, knob turns fine", "left_rear"),
        ("right rear gets as hot as it can go no matter what number I pick", "right_rear"),
    ],
)
def test_full_heat_on_every_setting(note: str, where: str, read: Read) -> None:
    facts = pairs(read, note)
    assert (f"{FULL}@{where}", "full") in facts
    assert ("hazard.heat_when_off", "yes") not in facts


@pytest.mark.parametrize(
    "note",
    [
        "I can still boil water on the burners, clock is dead",
        "made eggs on the burners this morning no problem",
        "stovetop is usable",
        "We've been living off the stovetop",
        "I've been cooking on the stovetop for weeks",
    ],
)
def test_cooking_on_top_means_the_burners_heat(note: str, read: Read) -> None:
    assert ("surface.heat@all", "normal") in pairs(read, note)


def test_what_is_said_of_that_burner_is_said_of_the_one_named(read: Read) -> None:
    facts = pairs(read, "The left front is dead. I swapped pans but that burner won't heat. Other three work.")
    assert facts >= {("surface.heat@left_front", "none"), ("surface.heat@others", "normal")}
    assert ("surface.heat@unnamed", "none") not in facts


def test_a_bare_nothing_repeats_what_was_said(read: Read) -> None:
    assert ("surface.heat@all", "none") not in pairs(
        read, "right rear burner no heat, tried another coil, still nothing"
    )


@pytest.mark.parametrize("note", ["Dave wants office to call back", "key w/ office", "leave word at the office"])
def test_an_office_is_no_building_of_the_range(note: str, read: Read) -> None:
    assert not read(note).facts


@pytest.mark.parametrize(
    "note",
    ["bottom element stays dark while the top one gets orange", "bottom element doesn't glow, top one does"],
)
def test_the_lower_element_that_stays_dark(note: str, read: Read) -> None:
    assert ("oven.glow", "upper_only") in pairs(read, note)


@pytest.mark.parametrize(
    "note",
    [
        "burners and oven at half power",
        "all burners wimpy, oven too",
        "every burner takes twice as long, so does the oven",
    ],
)
def test_weak_all_over(note: str, read: Read) -> None:
    assert ("surface.heat@all", "weak") in pairs(read, note)


# --- other ways to say the same -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "note",
    [
        "Panel is dead until I crank up one of the eyes, then it boots right up",
        "Screen blank with knobs off. Rotate the left front control and it lights up.",
        "No clock, but flipping on any burner brings it back to life",
        "The readout has no power unless a surface unit is engaged",
        "Display black at rest, wakes when the back left is dialed up",
        "clock is blank, twist any infinite switch and the numbers come up",
    ],
)
def test_a_display_that_a_knob_wakes(note: str, read: Read) -> None:
    assert pairs(read, note) == WAKES


@pytest.mark.parametrize(
    "note",
    [
        "The residual heat indicator hasn't gone out since Friday and the glass is at room temperature",
        "Hot dot never goes away. The ceramic surface is stone cold.",
        "Hot burner lamp lit, glass at ambient",
        "cooktop hot led stays lit day and night, no warmth in the glass",
        "hot indicator won't clear, nothing hot",
    ],
)
def test_a_hot_light_and_no_heat_is_the_light_only(note: str, read: Read) -> None:
    assert pairs(read, note) == {("hot_light.cold@unnamed", "lit")}


@pytest.mark.parametrize(
    "note",
    [
        "Element-on light lit. All controls off.",
        "Signal light on, every infinite switch off, no current through any element.",
        "burner-on indicator won't go out, nothing is hot",
    ],
)
def test_a_burner_on_light_and_no_heat_is_the_light_only(note: str, read: Read) -> None:
    assert pairs(read, note) == {("indicator.off", "lit")}


@pytest.mark.parametrize(
    ("note", "where"),
    [
        ("back right ring boils hard even on simmer", "right_rear"),
        ("RF eye: same heat at every number, no middle ground", "right_front"),
        ("left rear heats at full strength regardless of the position chosen", "left_rear"),
        ("LR either off or on full, nothing in between", "left_rear"),
        ("the dial of the front left has no effect on the heat", "left_front"),
    ],
)
def test_a_burner_that_knows_only_full(note: str, where: str, read: Read) -> None:
    assert pairs(read, note) == {(f"{FULL}@{where}", "full"), (f"surface.heat@{where}", "normal")}


@pytest.mark.parametrize(
    "note",
    [
        "the upper half works great, the lower half is stone cold, clock looks normal",
        "Inside of the oven stays cold, burners and numbers ok",
        "Cavity never got past 80 with a 375 call. Board says preheating. Surface rings normal.",
        "surface rings fine, display fine, cavity cold",
    ],
)
def test_a_cold_oven_under_sound_burners(note: str, read: Read) -> None:
    sound = {("surface.heat@all", "normal"), ("display", "lit")}
    assert pairs(read, note) == {("oven.bake.heat", "none"), *sound}


@pytest.mark.parametrize(
    "note",
    [
        "oven temperature has a shortfall of about 40 degrees, upper and lower coils both red",
        "Set point 375, average 335. Both elements glow.",
        "oven runs roughly 40 below and each element turns red",
        "probe in the middle says 310 on a 350 call, top and bottom elements both glowing",
        "bake temp off abt 40 under, bake and broil red",
    ],
)
def test_too_cold_with_both_elements_red(note: str, read: Read) -> None:
    assert pairs(read, note) == TOO_COLD


@pytest.mark.parametrize(
    "note",
    [
        "leg-to-leg 0V, L1N 121, L2N 121, LF switch closed",
        "hot-to-neut 121 & 121, hot-hot zilch with one burner on",
        "Put the left rear on high: L1-to-N 121, L2-to-N 121, L1-to-L2 0",
        "TB loaded -> L1N 121 / L2N 121 / L1L2 0",
    ],
)
def test_meter_points_in_shorthand(note: str, read: Read) -> None:
    assert pairs(read, note) == LOST_LEG


@pytest.mark.parametrize(
    ("note", "facts"),
    [
        ("rt frt ring nada, others norm", {("surface.heat@right_front", "none"), ("surface.heat@others", "normal")}),
        ("There were no sparks. Nobody's been shocked.", {("hazard.sparks", "no"), ("hazard.shock", "no")}),
        ("Any smoke or sparks? The answer to each was no.", {("hazard.smoke", "no"), ("hazard.sparks", "no")}),
        ("broiling poses no difficulty", {("oven.broil.heat", "normal")}),
        ("Bake element energizes itself", {("oven.off_heat", "some"), ("hazard.heat_when_off", "yes")}),
        ("Spark inside the console", {("hazard.sparks", "yes")}),
    ],
)
def test_shorthand_and_formal_words(note: str, facts: set[tuple[str, object]], read: Read) -> None:
    assert pairs(read, note) == facts


@pytest.mark.parametrize(
    "note",
    [
        "The elevator is out of order, use the stairs.",
        "My name is Ray Sparks.",
        "We live on Coal Fire Road.",
        "Our old stove had a burner that never worked.",
        "The clock is an hour off since daylight saving.",
        "Please put it back in the box.",
        "It takes 25 minutes to get here from the shop.",
        "My other range at the cabin does not heat.",
        "The garage breaker tripped.",
        "I'm 40 and a bit short.",
        "She tested every burner phone.",
        "The internet is so slow today.",
        "We had a storm door installed.",
        "The outage is scheduled for next week.",
    ],
)
def test_everyday_talk_says_nothing_of_the_range(note: str, read: Read) -> None:
    assert not pairs(read, note)
