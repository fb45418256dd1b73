"""Short answers, read against the question that is open."""

from __future__ import annotations

from math import inf

import pytest

from rules import Expert
from rules.talking import Message, OpenQuestion
from rules.talking.folding import Folded
from rules.talking.reading import Read, read_message
from rules.terms import Role

POSITIONS = ("left_front", "right_front", "left_rear", "right_rear")


def read(expert: Expert, reads: str, text: str, role: Role = "desk") -> Read:
    question = OpenQuestion("a_test", reads, "?", "", "caller")
    return read_message(expert, Message(0, role, text), question, None, Folded(), POSITIONS)


def answered(expert: Expert, reads: str, text: str, role: Role = "desk") -> object:
    """The value that answers the question; None if nothing does."""
    answers = [each.fact for each in read(expert, reads, text, role).facts if each.answers]
    assert len(answers) <= 1
    return answers[0].value if answers else None


@pytest.mark.parametrize(
    ("reads", "text", "value"),
    [
        ("display", "yes", "lit"),
        ("display", "YES!!", "lit"),
        ("display", "yep it is", "lit"),
        ("display", "it does", "lit"),
        ("display", "nope", "dark"),
        ("display", "it doesn't", "dark"),
        ("display", "not lit", "dark"),
        ("display", "no, it stays dark", "dark"),
        ("display", "yes but very dim", "dim"),
        ("display", "lit but dim", "dim"),
        ("display", "it's flickering on and off", "flickering"),
        ("display", "blank as a board", "dark"),
        ("display", "the clock is dead", "dark"),
        ("display", "no display", "dark"),
        ("hazard.any", "nothing", "no"),
        ("hazard.any", "none of that", "no"),
        ("hazard.any", "not that I know of", "no"),
        ("oven.keys", "all of them", "respond"),
        ("oven.keys", "none", "dead"),
        ("oven.glow", "just the top one", "upper_only"),
        ("breaker", "it's half way", "tripped"),
        ("breaker", "looks fully on", "on"),
        ("symbols", "no", "none"),
        ("symbols", "yes, a padlock", "lock"),
        ("cord.kind", "4 prongs", "four_prong"),
        ("error_code", "ZS-11", "sensor"),
        ("error_code", "it says zs 11", "sensor"),
        ("surface.heat@left_front", "nope, stone cold", "none"),
        ("surface.heat@left_front", "it gets warm", "weak"),
        ("surface.heat@left_front", "barely", "weak"),
        ("surface.on_high@left_front", "it goes off and on after some minutes", "cycles"),
    ],
)
def test_words(expert: Expert, reads: str, text: str, value: str) -> None:
    assert answered(expert, reads, text) == value


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("about 40 low", -40),
        ("forty low", -40),
        ("it's 25 degrees under", -25),
        ("40 too hot", 40),
        ("-35", -35),
        ("+20", 20),
        ("spot on", 0),
        ("20 C low", -36),
    ],
)
def test_degrees_off(expert: Expert, text: str, value: float) -> None:
    assert answered(expert, "oven.offset", text) == pytest.approx(value)


@pytest.mark.parametrize("text", ["40", "it is off by 30"])
def test_which_way_it_is_off_is_never_guessed(expert: Expert, text: str) -> None:
    heard = read(expert, "oven.offset", text)
    assert not heard.facts and "too cold or" in heard.lacking


@pytest.mark.parametrize(
    ("reads", "text", "value"),
    [
        ("ohms.sensor", "1080", 1080),
        ("ohms.sensor", "1.08k", 1080),
        ("ohms.sensor", "about 1.1 k", 1100),
        ("ohms.sensor", "1,080 ohms", 1080),
        ("ohms.sensor", "OL", inf),
        ("ohms.element@left_front", "open line", inf),
        ("volts@L1-L2/loaded", "1.2", 1.2),
        ("volts@L1-L2/loaded", "about 120 volts", 120),
        ("contact.line@left_front", "not closed", "open"),
        ("dead_check", "done", "proved"),
    ],
)
def test_a_technician_s_readings(expert: Expert, reads: str, text: str, value: object) -> None:
    heard = read(expert, reads, text, "technician")
    (fact,) = [each.fact for each in heard.facts if each.answers]
    assert (fact.value, fact.source, fact.certainty) == (value, "technician", "measured")


@pytest.mark.parametrize(
    ("reads", "text", "told"),
    [("volts@L1-L2/loaded", "2000", "from 0 to 1000"), ("volts@L1-L2/loaded", "-5", "below zero")],
)
def test_a_reading_that_cannot_be_is_said_so(expert: Expert, reads: str, text: str, told: str) -> None:
    heard = read(expert, reads, text, "technician")
    assert not heard.facts and told in heard.lacking


@pytest.mark.parametrize(
    "text", ["not sure", "dunno", "I don't know", "no idea", "skip", "I can't see it from here", "not sure if it's lit"]
)
def test_nobody_can_tell(expert: Expert, text: str) -> None:
    assert answered(expert, "display", text) == "unknown"


def test_not_sure_and_something_else(expert: Expert) -> None:
    heard = read(expert, "oven.preheat", "not sure, but the clock is dead")
    assert [(each.fact.fact, each.fact.value, each.answers) for each in heard.facts] == [
        ("oven.preheat", "unknown", True),
        ("display", "dark", False),
    ]


def test_an_answer_and_something_else(expert: Expert) -> None:
    heard = read(expert, "oven.lamp", "yes, but the clock is dead")
    assert [(each.fact.fact, each.fact.value, each.answers) for each in heard.facts] == [
        ("oven.lamp", "lit", True),
        ("display", "dark", False),
    ]


@pytest.mark.parametrize("text", ["I think so", "probably", "maybe"])
def test_doubt_is_kept_but_never_of_a_danger(expert: Expert, text: str) -> None:
    (doubted,) = read(expert, "display", text).facts
    assert (doubted.fact.value, doubted.fact.certainty) == ("lit", "hedged")
    (danger,) = read(expert, "hazard.any", text).facts
    assert (danger.fact.value, danger.fact.certainty) == ("yes", "said")


@pytest.mark.parametrize(
    ("reads", "text"),
    [
        ("symbols", "yes"),
        ("surface.on_high@left_front", "no"),
        ("oven.offset", "way too cold"),
        ("oven.offset", "between 30 and 40 low"),
        ("self_clean_days", "a month ago"),
        ("display", "my dog is called Rex"),
        ("error_code", "X 99"),
    ],
)
def test_what_does_not_tell_a_value_gives_none(expert: Expert, reads: str, text: str) -> None:
    assert answered(expert, reads, text) is None


def test_words_of_another_thing_do_not_answer(expert: Expert) -> None:
    """The oven light is dim: that says nothing of the display."""
    heard = read(expert, "display", "the oven light is dim")
    assert [(each.fact.fact, each.answers) for each in heard.facts] == [("oven.lamp", False)]
    right_front = read(expert, "surface.heat@left_front", "right front is dead too")
    assert [(each.fact.key, each.answers) for each in right_front.facts] == [("surface.heat@right_front", False)]


def test_a_figure_of_another_thing_does_not_answer(expert: Expert) -> None:
    heard = read(expert, "ohms.bake", "sensor 1080 ohms at room temperature", "technician")
    assert [(each.fact.key, each.answers) for each in heard.facts] == [("ohms.sensor", False)]
    assert answered(expert, "ohms.bake", "the sensor reads 1080", "technician") is None


def test_an_answer_that_names_the_unit(expert: Expert) -> None:
    heard = read(expert, "surface.heat@unnamed", "the left rear stays cold")
    assert [(each.fact.key, each.fact.value, each.answers) for each in heard.facts] == [
        ("surface.heat@left_rear", "none", True)
    ]
    assert heard.place == ("unnamed", "left_rear")


def test_nothing_alone_is_no_news_of_the_range(expert: Expert) -> None:
    """With no question open it must not read as "nothing works"."""
    heard = read_message(expert, Message(0, "desk", "nothing"), None, None, Folded(), POSITIONS)
    assert not heard.facts


def test_every_value_can_be_said_as_the_question_s_own_words(expert: Expert) -> None:
    """Whatever the reply offers ("say lit or dark") is understood when it is said back."""
    for card in expert.book.tests.values():
        term = expert.book.facts[card.reads]
        if term.kind != "choice":
            continue
        place = {"surface": "@left_front", "meter": f"@{card.between}/{card.during}"}.get(term.place, "")
        role: Role = "technician" if card.who == "technician" else "desk"
        for value, meaning in term.values.items():
            for said in (meaning, *term.answers.get(value, ())):
                got = answered(expert, term.fact + place, said, role)
                assert got == value, (term.fact, said)
