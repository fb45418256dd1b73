"""Signs of danger: every phrasing of a fixed list must stop, every denial must be read as one, no look-alike may."""

from __future__ import annotations

from collections.abc import Callable

import pytest

Said = Callable[[str], dict[str, object]]

DANGERS: dict[str, list[str]] = {
    "hazard.sparks": [
        "It sparked when I plugged it in",
        "I saw blue sparks",
        "Arcing at the burner receptacle",
        "loud bang from the oven then nothing",
        "oven element popped",
        "big flash and the breaker tripped",
        "popping and sparking from the left front burner",
    ],
    "hazard.smoke": [
        "smoke is pouring from the control panel",
        "is smoking",
        "oven smokes when preheating",
        "possibly a little smoke",
        "smoke from under the burner",
    ],
    "hazard.flame": [
        "oven caught on fire",
        "flames coming from the element",
        "the outlet caught fire",
        "grease caught fire in the oven",
    ],
    "hazard.burning_smell": [
        "It smells fishy",
        "smelled burning rubber",
        "getting a burning smell",
        "it smells like something is burning",
        "there's a strong smell of burning electrical",
        "weird electrical smell",
        "Every time I use the front burner there's a burning smell.",
    ],
    "hazard.shock": [
        "I get shocked every time I touch the burner",
        "stove zaps me",
        "tingling sensation on the metal",
        "slight electrical tingle when touching stove and faucet",
        "my wife got a shock from the oven door",
        "if I touch the oven and the sink it shocks me",
    ],
    "hazard.hot_plug": [
        "the plug is hot to the touch",
        "cord melted at the plug",
        "outlet is scorched",
        "the receptacle turned black",
        "ever since the outlet gets hot",
        "one of the prongs is burnt",
    ],
    "hazard.glass_cracked": [
        "glass cooktop shattered",
        "there's a big crack in the glass top",
        "the cooktop is cracked",
    ],
    "hazard.breaker_trips_again": [
        "breaker keeps tripping",
        "breaker won't stay on",
        "Breaker tripped, I reset it and it tripped again",
        "breaker trips every time I use the oven",
        "breaker won't reset",
    ],
    "hazard.heat_when_off": [
        "burner stays hot after being turned off",
        "oven won't shut off",
        "left front comes on by itself",
        "right rear is hot even though the knob is off",
        "burner came on when all the knobs were off",
        "can't turn the burner off",
        "the element is glowing and the oven is off",
        "I turned the burner off but it kept glowing so I unplugged it.",
        "stove stays on even when turned off",
    ],
}

DENIALS: dict[str, list[str]] = {
    "hazard.sparks": ["no sparks", "hasn't sparked", "nothing sparked", "there are no sparks or smoke"],
    "hazard.smoke": ["there was no smoke", "never smoked", "no signs of smoke, fire or sparks", "No sparks or smoke."],
    "hazard.flame": ["it's not on fire", "without smoke or flames"],
    "hazard.burning_smell": [
        "doesn't smell like burning",
        "no burning smells",
        "there's no smoke, no sparks, and no burning smell",
    ],
    "hazard.shock": ["never tingles", "no one got shocked", "nobody felt a shock", "no sparks or tingling"],
    "hazard.hot_plug": ["the plug isn't hot", "plug and outlet look fine"],
    "hazard.glass_cracked": ["glass isn't cracked", "no cracks in the glass"],
    "hazard.breaker_trips_again": ["breaker hasn't tripped again", "breaker didn't trip"],
    "hazard.heat_when_off": ["no heat with the knobs off", "nothing glows when it's off"],
    "hazard.any": ["no hazards"],
}

LOOKALIKES = [
    "smoke detector in the hall",
    "smoked salmon for dinner",
    "we don't smoke",
    "spark plug",
    "a spark of hope",
    "fire department said it's ok",
    "fired up the oven",
    "I fired the last repair guy",
    "glass of water",
    "I dropped a glass and it broke",
    "shocked by the estimate",
    "sticker shock",
    "flash drive",
    "popcorn burned",
    "burnt toast",
    "the pizza burned",
    "the burner is burned out",
    "crack of dawn",
    "hot pan",
    "plug in the mixer",
    "smoke from spilled cheese",
    "afraid it will catch fire",
    "the clock is flashing",
    "the burners are hot",
    "indicator stays on with all knobs off",
    "hot light stays on with the burners off",
]


def _cases(table: dict[str, list[str]]) -> list[tuple[str, str]]:
    return [(fact, note) for fact, notes in table.items() for note in notes]


@pytest.mark.parametrize(("fact", "note"), _cases(DANGERS))
def test_a_danger_is_read(fact: str, note: str, said: Said) -> None:
    assert said(note)[fact] == "yes"


@pytest.mark.parametrize(("fact", "note"), _cases(DENIALS))
def test_a_denied_danger_is_read_as_denied(fact: str, note: str, said: Said) -> None:
    found = said(note)
    assert found[fact] == "no"
    assert "yes" not in found.values()


@pytest.mark.parametrize("note", LOOKALIKES)
def test_a_look_alike_is_no_danger(note: str, said: Said) -> None:
    assert not [fact for fact, value in said(note).items() if fact.startswith("hazard.") and value == "yes"]


def test_heat_with_the_control_off_is_also_a_symptom(said: Said) -> None:
    assert said("Left rear burner glows with the knob off")["surface.off_heat@left_rear"] == "some"
    assert said("oven keeps heating even when turned off")["oven.off_heat"] == "some"


def test_a_no_before_one_sign_does_not_reach_the_next_clause(said: Said) -> None:
    assert said("no smoke but sparks") == {"hazard.smoke": "no", "hazard.sparks": "yes"}
    assert said("no smoke, sparks everywhere") == {"hazard.smoke": "no", "hazard.sparks": "yes"}


def test_at_once_and_later(said: Said) -> None:
    assert said("breaker trips immediately")["breaker"] == "trips_at_once"
    assert said("breaker trips after ten minutes of baking")["breaker"] == "trips_later"
