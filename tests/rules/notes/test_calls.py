"""The calls a dispatcher must get right, each in several wordings (invented)."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from rules.notes import NoteReading

Said = Callable[[str], dict[str, object]]

COLD: dict[str, object] = {"surface.heat@all": "none", "oven.bake.heat": "none"}
DEAD: dict[str, object] = {"display": "dark", **COLD}
WAKES: dict[str, object] = {"display": "dark", "display.with_burner_on": "lit"}
FULL: dict[str, object] = {"surface.low_heat@unnamed": "full", "surface.heat@unnamed": "normal"}
OVEN_COLD: dict[str, object] = {"oven.bake.heat": "none", "surface.heat@all": "normal", "display": "lit"}

CALLS: list[tuple[dict[str, object], list[str]]] = [
    (
        {**COLD, "display": "lit"},
        [
            "Stove turns on and the clock works but no burners or oven get hot.",
            "Burners don't heat and neither does the oven, but the display is lit up",
            "the clock is working, nothing else is",
            "All the burners quit and the oven quit too, yet the clock still runs",
            "no burners, no oven, clock ok",
            "I turn the burners on and nothing gets hot. Oven is the same. The clock is fine though.",
            "lights and clock work, no heating at all",
            "All of the top elements and the oven fail to heat; control panel remains lit.",
        ],
    ),
    (
        WAKES,
        [
            "The display is off until you turn one of the burners on",
            "display only lights when a surface burner is on",
            "When I turn on a burner, the oven display lights up. Otherwise it's dead.",
            "no clock unless a burner is on",
            "The oven clock is dead. Turning on the left front burner makes the clock come on.",
            "Nothing on the display, but it lights up once I turn a burner on",
            "The clock turns on only when you use the stove top",
            "clock is out; if a burner is switched to high it comes on",
        ],
    ),
    (
        {"surface.heat@all": "normal", "display": "dark"},
        [
            "Stovetop heats fine, no display",
            "burners are hot but the display is black",
            "No lights on the control panel. All burners heat.",
            "The screen is dead but I'm able to use the burners",
            "display blk, burners ht ok",
        ],
    ),
    (
        {"hot_light.cold@unnamed": "lit"},
        [
            "The hot surface indicator won't shut off even though stove is cold",
            "hot indicator lamp doesn't go out with the glass cold",
            "the hot burner light stays lit after the stove has cooled down",
            "glass is cold but the hot light is still on",
            "cooktop hot light on when cold",
            "The light that says hot surface never turns off.",
        ],
    ),
    (
        {"indicator.off": "lit", "surface.heat@all": "normal"},
        [
            "The burner on light stays on all the time. All burners work.",
            "The light that tells you a burner is on never goes out. The burners are all fine.",
            "red indicator light won't go out, cooktop heats normally",
            "The burner indicator never turns off but all the burners heat and turn off like they should",
            "light stays on even though no burners are on. Burners work fine",
        ],
    ),
    (
        FULL,
        [
            "One burner gets red hot on every setting",
            "burner is either full on or off",
            "one of the burners will not turn down",
            "burner heats full on regardless of the knob position",
            "knob makes no difference, one burner is always full blast",
            "burner won't go low",
        ],
    ),
    (
        {"oven.preheat": "slow", "oven.browning": "pale_below", "oven.broil.heat": "normal"},
        [
            "Oven takes over an hour to preheat, bottoms don't brown, broil is OK",
            "Cakes are raw at the bottom. Oven preheats slow. Broil fine.",
            "oven slow, food raw on bottom, top browns fine, broil works",
            "slow preheat, pale bottoms, broil good",
        ],
    ),
    (
        OVEN_COLD,
        [
            "Oven is not heating. Stove burners work. Display works.",
            "Oven quit heating, stovetop and display are ok",
            "I set the oven to 400 and nothing happens, burners work fine and the display is on",
            "The oven stays stone cold while the burners and the display work normally",
            "Oven's out. Burners all work. Panel lit.",
        ],
    ),
    (
        {"oven.glow": "both", "oven.offset": -40.0},
        [
            "both elements glow red but the oven is 40 degrees too cool",
            "oven temp 40 degrees F below setting, both elements working",
            "Oven thermometer reads 310 when set to 350. Both elements turn red.",
            "runs about 40 F cool, top and bottom elements both glow",
        ],
    ),
    ({"oven.bake.heat": "none", "display": "lit"}, ["the oven is dead but the clock is on", "clock is lit, oven dead"]),
    (
        {"surface.heat@unnamed": "none", "surface.heat@others": "normal"},
        [
            "One of my burners isn't heating up, the other three are fine",
            "only one burner doesn't work",
            "all but one burner work",
            "3 burners fine, 1 dead",
            "big burner won't heat, smaller ones do",
        ],
    ),
    (
        {"surface.heat@all": "weak", "oven.bake.heat": "weak"},
        ["everything gets warm but not hot", "the whole stove heats poorly", "All burners and the oven are weak"],
    ),
    (
        {"self_clean_days": 1.0, "oven.bake.heat": "none"},
        [
            "Did a self clean yesterday and now the oven is dead",
            "We ran self-clean yesterday, oven has been dead ever since",
            "Yesterday I used the self clean feature, today the oven doesn't come on",
        ],
    ),
    ({"symbols": "lock"}, ["There's a lock icon on the display", "Panel says locked", "shows a padlock"]),
    (
        DEAD,
        [
            "Whole stove is dead",
            "no power to stove",
            "Our stove just quit. Nothing comes on.",
            "completely dead",
            "Entire range is dead, no clock, no burners, no oven",
        ],
    ),
    ({**DEAD, "breaker": "tripped"}, ["No power at all, breaker tripped", "everything's dead, breaker had tripped"]),
]


@pytest.mark.parametrize(("facts", "note"), [(facts, note) for facts, notes in CALLS for note in notes])
def test_the_call_is_read_whole_and_nothing_else(facts: dict[str, object], note: str, said: Said) -> None:
    assert said(note) == facts


@pytest.mark.parametrize(
    ("note", "facts"),
    [
        (
            "Left front is always on high heat",
            {"surface.low_heat@left_front": "full", "surface.heat@left_front": "normal"},
        ),
        (
            "left front dead, right front fine",
            {"surface.heat@left_front": "none", "surface.heat@right_front": "normal"},
        ),
        ("The burner on the left in front is not heating", {"surface.heat@left_front": "none"}),
        ("Burner doesn't heat (left front)", {"surface.heat@left_front": "none"}),
        ("left rear: dead. Others: fine.", {"surface.heat@left_rear": "none", "surface.heat@others": "normal"}),
        ("Neither front burner works", {"surface.heat@left_front": "none", "surface.heat@right_front": "none"}),
        ("only the left front works", {"surface.heat@left_front": "normal", "surface.heat@others": "none"}),
        ("the front burner is cold", {"surface.heat@unnamed": "none"}),
        ("RF won't heat", {"surface.heat@right_front": "none"}),
        ("all burners work", {"surface.heat@all": "normal"}),
    ],
)
def test_places(note: str, facts: dict[str, object], said: Said) -> None:
    assert said(note) == facts


def test_a_place_the_appliance_lacks_is_unnamed(read: Callable[..., NoteReading]) -> None:
    assert read("center burner dead").facts[0].where == "unnamed"
    assert read("center burner dead", positions=("center", "left_front")).facts[0].where == "center"
    assert read("center burner dead", positions=()).facts[0].where == "center"


def test_one_axis_is_enough_where_only_one_unit_is(read: Callable[..., NoteReading]) -> None:
    assert read("front burner dead", positions=("left_front", "left_rear")).facts[0].where == "left_front"


@pytest.mark.parametrize(
    ("note", "facts"),
    [
        ("The oven works, just not the broiler", {"oven.bake.heat": "normal", "oven.broil.heat": "none"}),
        ("Burners work; oven does not.", {"surface.heat@all": "normal", "oven.bake.heat": "none"}),
        ("Oven: no. Burners: yes.", {"oven.bake.heat": "none", "surface.heat@all": "normal"}),
        ("None of it works apart from the clock", {**COLD, "display": "lit"}),
        ("Nothing but the clock works", {**COLD, "display": "lit"}),
        ("Every burner works bar one", {"surface.heat@others": "normal", "surface.heat@unnamed": "none"}),
        ("won't bake but will broil", {"oven.bake.heat": "none", "oven.broil.heat": "normal"}),
        ("no bake no broil", {"oven.bake.heat": "none", "oven.broil.heat": "none"}),
        ("The display is not dark", {"display": "lit"}),
        (
            "Left front doesn't heat, nor does the right rear",
            {"surface.heat@left_front": "none", "surface.heat@right_rear": "none"},
        ),
    ],
)
def test_denial_exception_and_ellipsis(note: str, facts: dict[str, object], said: Said) -> None:
    assert said(note) == facts


@pytest.mark.parametrize(
    ("note", "facts"),
    [
        ("I think the left rear is dead", {"surface.heat@left_rear": "none"}),
        ("He thinks there was smoke", {"hazard.smoke": "yes"}),
        ("I'm not sure if it sparked", {"hazard.sparks": "yes"}),
        ("The display might be dark", {"display": "dark"}),
    ],
)
def test_doubt_is_kept(note: str, facts: dict[str, object], read: Callable[..., NoteReading]) -> None:
    found = read(note).facts
    assert {fact.key: fact.value for fact in found} == facts
    assert {fact.certainty for fact in found} == {"hedged"}


@pytest.mark.parametrize(
    "note",
    [
        "I don't know if the burners work",
        "not sure if the display is lit",
        "haven't tried the oven",
        "The oven was replaced last year",
        "It used to trip the breaker",
        "years ago we had a fire",
        "two years ago the glass cracked and was replaced",
        "Can I still use the burners?",
        "if it starts smoking I'll call back",
        "the hot water heater is dead",
        "The dishwasher tripped the breaker.",
        "Dryer plug melted",
        "our old stove sparked",
    ],
)
def test_former_times_other_appliances_questions_and_ignorance_say_nothing(note: str, said: Said) -> None:
    assert said(note) == {}


def test_contradictions_are_both_kept(read: Callable[..., NoteReading]) -> None:
    assert [fact.value for fact in read("The oven heats. The oven does not heat.").facts] == ["normal", "none"]
    assert [fact.value for fact in read("display is lit, display is dark").facts] == ["lit", "dark"]


def test_the_same_thing_twice_is_one_fact(read: Callable[..., NoteReading]) -> None:
    facts = read("The oven is cold. I say again: the oven is cold!").facts
    assert [(fact.key, fact.value) for fact in facts] == [("oven.bake.heat", "none")]


def test_the_source_is_the_role_of_the_writer(read: Callable[..., NoteReading]) -> None:
    assert {fact.source for fact in read("oven cold").facts} == {"note"}
    assert {fact.source for fact in read("oven cold", role="technician").facts} == {"technician"}


def test_what_nobody_can_read_is_given_back_as_written(read: Callable[..., NoteReading]) -> None:
    reading = read("Hello, the Oven is cold. The drawer squeaks like a Mouse! Thank you.")
    assert reading.unread == ("drawer squeaks like a Mouse",)
    assert [fact.key for fact in reading.facts] == ["oven.bake.heat"]


def test_courtesy_is_not_reported(read: Callable[..., NoteReading]) -> None:
    reading = read("Good morning, thank you for taking my call. Please call me back.")
    assert reading == NoteReading((), ())


def test_a_question_and_its_answer_are_read_together(said: Said) -> None:
    assert said("Any burning smell? yes. Any smoke? no") == {"hazard.burning_smell": "yes", "hazard.smoke": "no"}
    assert said("Has it sparked? Yes.") == {"hazard.sparks": "yes"}
    assert said("Is the display lit?") == {}
