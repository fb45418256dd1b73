"""Figures: meter readings, oven temperatures, days; and figures that are none of these."""

from __future__ import annotations

import math
from collections.abc import Callable

import pytest

from rules.notes import NoteReading

Said = Callable[[str], dict[str, object]]
LOADED = {"volts@L1-N/loaded": 121.0, "volts@L2-N/loaded": 121.0, "volts@L1-L2/loaded": 0.0}


@pytest.mark.parametrize(
    "note",
    [
        "L1-N 121, L2-N 121, L1-L2 0 with an element on",
        "L1 to N = 121, L2 to N = 121, L1 to L2 = 0 while element is calling",
        "With a burner on I read 0V L1-L2, 121 L1-N, 121 L2-N",
        "121 V from each leg to neutral. 0 V between legs. Elements on.",
        "leg 1 to neutral 121, leg 2 to neutral 121, leg to leg 0, loaded",
        "both legs 121 to neutral, zero volts leg to leg, left front on",
        "L1/N: 121V L2/N: 121V L1/L2: 0V UNDER LOAD",
    ],
)
def test_the_signature_of_a_lost_leg(note: str, said: Said) -> None:
    assert said(note) == LOADED


@pytest.mark.parametrize(
    ("note", "facts"),
    [
        ("L1 to neutral 121 V", {"volts@L1-N/idle": 121.0}),
        ("hot to hot 240", {"volts@L1-L2/idle": 240.0}),
        ("neutral to ground 0.4V under load", {"volts@N-G/loaded": 0.4}),
        ("120V on L1, nothing on L2", {"volts@L1-N/idle": 120.0, "volts@L2-N/idle": 0.0}),
        ("voltage between line 1 and line 2 is 3 volts with oven on", {"volts@L1-L2/loaded": 3.0}),
        ("240 V leg to leg no load drops to 118 under load", {"volts@L1-L2/idle": 240.0, "volts@L1-L2/loaded": 118.0}),
        ("No load: L1-L2 242. Burner on: L1-L2 3.", {"volts@L1-L2/idle": 242.0, "volts@L1-L2/loaded": 3.0}),
        ("240 at the terminal block", {"volts@L1-L2/idle": 240.0}),
        ("no voltage between L1 and L2", {"volts@L1-L2/idle": 0.0}),
    ],
)
def test_volts(note: str, facts: dict[str, object], said: Said) -> None:
    assert said(note) == facts


@pytest.mark.parametrize(
    ("note", "facts"),
    [
        ("bake element OL", {"ohms.bake": math.inf}),
        ("no continuity on bake element", {"ohms.bake": math.inf}),
        (
            "bake 24 ohms, broil 17 ohms, probe 1100 ohms",
            {"ohms.bake": 24.0, "ohms.broil": 17.0, "ohms.sensor": 1100.0},
        ),
        ("sensor 1.08k", {"ohms.sensor": 1080.0}),
        ("sensor 1,080 Ω", {"ohms.sensor": 1080.0}),
        ("RTD: 1078", {"ohms.sensor": 1078.0}),
        ("LF element open", {"ohms.element@left_front": math.inf}),
        (
            "left rear element 38 ohms, right front OL",
            {"ohms.element@left_rear": 38.0, "ohms.element@right_front": math.inf},
        ),
        ("22 ohms on the bake element", {"ohms.bake": 22.0}),
        ("RR surface element reads 0.0 ohms", {"ohms.element@right_rear": 0.0}),
    ],
)
def test_ohms(note: str, facts: dict[str, object], said: Said, read: Callable[..., NoteReading]) -> None:
    assert said(note) == facts
    assert {fact.certainty for fact in read(note).facts} == {"measured"}


@pytest.mark.parametrize(
    ("note", "facts"),
    [
        ("hot light contact closed on RF limiter, cold", {"contact.hot_light@right_front": "closed"}),
        ("TCO has continuity", {"contact.cutout": "closed"}),
        ("thermal fuse is open", {"contact.cutout": "open"}),
        ("bake relay welded", {"contact.bake_relay": "closed"}),
        ("left front: pilot contact closed at off", {"contact.pilot@left_front": "closed"}),
        ("infinite switch line contact open", {"contact.line@unnamed": "open"}),
        ("live-dead-live done", {"dead_check": "proved"}),
    ],
)
def test_contacts_and_the_dead_check(note: str, facts: dict[str, object], said: Said) -> None:
    assert said(note) == facts


@pytest.mark.parametrize(
    ("note", "offset"),
    [
        ("oven 40 F low", -40),
        ("oven is about 40 degrees too cold", -40),
        ("oven runs 25 hot", 25),
        ("set 350 reads 310", -40),
        ("oven reads 310 at 350", -40),
        ("350 on the display, 310 on the thermometer", -40),
        ("Oven reads 350 but is actually 310", -40),
        ("set 180 C, reads 160 C", -36),
        ("oven is 15 degrees C too cool", -27),
        ("the oven is forty degrees low", -40),
        ("oven is 25 to 30 degrees too hot", 27.5),
        ("Oven is off by -40 degrees", -40),
        ("oven off by 50 degrees on the low side", -50),
        ("oven temp is spot on", 0),
    ],
)
def test_oven_temperature_against_its_setting(note: str, offset: float, said: Said) -> None:
    assert said(note) == {"oven.offset": offset}


@pytest.mark.parametrize(
    ("note", "days"),
    [
        ("ran self clean last night", 1),
        ("self cleaned it this morning", 0),
        ("used the self-clean two weeks ago", 14),
        ("self clean a couple of days ago", 2),
        ("self-cleaning cycle 3 months ago", 90),
    ],
)
def test_days_since_a_self_clean(note: str, days: float, said: Said) -> None:
    assert said(note) == {"self_clean_days": days}


def test_a_self_clean_with_no_day_is_recent_but_doubtful(read: Callable[..., NoteReading]) -> None:
    facts = {fact.key: fact for fact in read("oven quit after self cleaning").facts}
    assert facts["self_clean_days"].certainty == "hedged"
    assert facts["oven.bake.heat"].value == "none"


@pytest.mark.parametrize("note", ["never uses self clean", "we haven't used the self clean", "self clean doesn't work"])
def test_no_self_clean_is_no_day(note: str, said: Said) -> None:
    assert "self_clean_days" not in said(note)


def test_figures_share_the_doubt_and_the_time_of_their_clause(read: Callable[..., NoteReading], said: Said) -> None:
    assert [fact.certainty for fact in read("I think the oven is 40 F low").facts] == ["hedged"]
    assert said("the toaster oven runs 25 degrees hot") == {}
    assert said("last year the oven was 40 degrees low") == {}


def test_a_long_preheat_is_slow_and_a_usual_one_is_not(said: Said) -> None:
    assert said("takes 45 minutes to preheat") == {"oven.preheat": "slow"}
    assert said("oven takes 12 minutes to preheat") == {}


@pytest.mark.parametrize(
    "note",
    [
        "She is 80 years old, the stove is 15 years old and low on the list",
        "paid 310 dollars when it was set up, 350 in 2019",
        "50 amp breaker, 240 volt outlet",
        "call 555-0188 between 9 and 11, code 4512",
        "baked at 350 for 40 minutes on 3/12",
        "unit 310, 2nd floor, 4:30 pm",
        "used 2 burners at 6 and 8",
    ],
)
def test_other_figures_are_no_readings(note: str, said: Said) -> None:
    found = said(note)
    assert not [fact for fact in found if fact.startswith(("volts", "ohms", "oven.offset", "self_clean"))]
