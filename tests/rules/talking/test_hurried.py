"""What an agent in a hurry types: asides, half sentences, other people's answers, words taken back. All invented."""

from __future__ import annotations

import pytest

from rules import Expert
from rules.talking import look
from tests.rules.talking.calling import Call, told

DEAD = "the oven wont heat"
NO_DANGER = [("hazard.any", "no")]


def opened(expert: Expert, first: str = DEAD, *more: str) -> Call:
    call = Call(expert)
    for text in (first, *more):
        call.say(text)
    return call


# --- no answer, and no riddle either ---------------------------------------------------------------------------------
@pytest.mark.parametrize(
    "text", ["what now", "so what's wrong with it?", "what do I tell her", "ok, what next", "what do i do now"]
)
def test_what_now_is_told_again(expert: Expert, text: str) -> None:
    call = opened(expert, DEAD, "no")
    before = call.turns[-1]
    turn = call.say(text)
    assert (turn.kind, turn.unread, turn.facts, turn.asks) == ("look", (), (), before.asks)
    assert turn.message == 2
    assert "Most likely" in turn.reply or "No fault stands out" in turn.reply
    assert turn.asks is not None and turn.asks.ask in turn.reply


def test_what_now_in_a_stop_is_who_must_come(expert: Expert) -> None:
    turn = opened(expert, "the breaker keeps tripping").say("what should I do")
    assert turn.kind == "look" and turn.reply.startswith("WARNING. STOP.")
    assert "must deal with it" in turn.reply and "could not read" not in turn.reply


@pytest.mark.parametrize(
    "text",
    ["one sec", "hang on", "hang on let me go look", "he's gone to look, one sec", "wait a minute", "let me ask her"],
)
def test_who_looks_is_waited_for(expert: Expert, text: str) -> None:
    call = opened(expert, DEAD)
    before = call.turns[-1].asks
    turn = call.say(text)
    assert (turn.kind, turn.facts, turn.unread, turn.asks) == ("look", (), (), before)
    assert before is not None and turn.reply.splitlines() == ["Take your time.", f"Next: {before.ask}"]


def test_what_may_be_used_is_told(expert: Expert) -> None:
    call = opened(expert, "the oven wont heat", "no")
    turn = call.say("can she still use it?")
    assert turn.kind == "look" and turn.answer.visit.tell_customer
    assert all(sentence in turn.reply for sentence in turn.answer.visit.tell_customer)
    stopped = opened(expert, "sparks from the oven").say("is it safe to use?")
    assert "Do not use the range" in stopped.reply.splitlines()[0]


# --- answers in other people's mouths --------------------------------------------------------------------------------
@pytest.mark.parametrize(
    "text",
    ["he says no", "ok he says no", "ok no", "right, no", "customer says no", "I'm back. no", "ok he's back, no"],
)
def test_somebody_s_no_is_a_no(expert: Expert, text: str) -> None:
    assert told(opened(expert).say(text)) == NO_DANGER


@pytest.mark.parametrize(
    "text", ["she doesn't know", "he isn't sure", "they don't know", "i can't check that", "he can't see it"]
)
def test_what_somebody_cannot_tell_is_not_known(expert: Expert, text: str) -> None:
    turn = opened(expert, DEAD, "no").say(text)
    assert turn.kind == "not_known" and turn.facts[0].fact is not None and not turn.facts[0].fact.told


def test_ok_alone_is_a_yes_and_before_more_it_is_none(expert: Expert) -> None:
    lit = opened(expert, "my stove wont turn on at all", "nope")
    assert lit.turns[-1].asks is not None and lit.turns[-1].asks.reads.startswith("indicator.on")
    assert told(lit.say("ok"))[0][1] == "lit"
    dark = opened(expert, "my stove wont turn on at all", "nope")
    assert told(dark.say("ok back. it is dark"))[0][1] == "dark"


def test_yes_before_something_else_is_no_answer(expert: Expert) -> None:
    call = opened(expert, "left front burner is dead")
    turn = call.say("yep all the others work")
    assert told(turn) == [("surface.heat@others", "normal")]
    assert turn.answer.stop is None
    assert turn.asks is not None and turn.asks.reads == "hazard.any", "the question is still open"


@pytest.mark.parametrize("text", ["yes, all the others work", "yes", "yes it does", "yes it sparked"])
def test_yes_to_a_danger_is_never_lost(expert: Expert, text: str) -> None:
    assert opened(expert, "left front burner is dead").say(text).answer.stop is not None


@pytest.mark.parametrize(
    "text", ["no smoke or anything", "no sparks, nothing like that", "no smoke and nothing of the kind"]
)
def test_one_danger_denied_and_all_the_like(expert: Expert, text: str) -> None:
    turn = opened(expert).say(text)
    assert ("hazard.any", "no") in told(turn)
    assert turn.asks is not None and turn.asks.reads != "hazard.any"


def test_one_danger_denied_is_not_all(expert: Expert) -> None:
    turn = opened(expert).say("no smoke")
    assert turn.asks is not None and turn.asks.reads == "hazard.any"


# --- it --------------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("first", "keys"),
    [
        ("left front burner is dead", ["surface.heat@left_front"]),
        ("the oven is cold", ["oven.bake.heat"]),
    ],
)
def test_it_is_what_was_spoken_of(expert: Expert, first: str, keys: list[str]) -> None:
    call = opened(expert, first, "no smoke or anything", "yep all the others work")
    turn = call.say("it never gets hot")
    assert [key for key, _ in told(turn)] == keys
    assert turn.facts[0].fact is not None and turn.facts[0].fact.text == "it never gets hot"


def test_of_two_things_it_is_neither(expert: Expert) -> None:
    call = opened(expert, "left front burner is dead and the clock is on")
    assert ("surface.heat@left_front", "none") not in told(call.say("it never gets hot"))


def test_everything_else_leaves_what_is_wrong(expert: Expert) -> None:
    call = opened(expert, "the display is blank", "none", "everything else works")
    assert call.standing()["display"] == "dark"
    assert call.standing()["oven.bake.heat"] == "normal"


# --- years ago -------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    "text",
    [
        "he says it sparked but that was years ago",
        "sparks, but that was last year",
        "it smoked once but that was a long time ago",
    ],
)
def test_a_danger_of_years_ago_is_said_to_be_left_out(expert: Expert, text: str) -> None:
    turn = Call(expert).say(text)
    assert turn.answer.stop is None and turn.facts == ()
    assert "long ago is left out" in turn.reply and turn.unread == (text,)


@pytest.mark.parametrize(
    ("text", "key"),
    [
        ("the oven is dead, it sparked but that was years ago. the clock is on", "oven.bake.heat"),
        ("the clock is on and it sparked but that was years ago", "display"),
    ],
)
def test_what_stands_beside_it_is_heard(expert: Expert, text: str, key: str) -> None:
    turn = Call(expert).say(text)
    assert turn.answer.stop is None and key in dict(told(turn))


@pytest.mark.parametrize("text", ["it sparked but that was an hour ago", "sparks, but that was today", "it sparked"])
def test_a_danger_of_today_stops(expert: Expert, text: str) -> None:
    assert Call(expert).say(text).answer.stop is not None


# --- scrap that ------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("text", ["scrap that", "forget that", "never mind", "scratch that", "ignore that please"])
def test_what_was_told_last_is_taken_back(expert: Expert, text: str) -> None:
    call = opened(expert, DEAD, "no", "the clock is dead")
    turn = call.say(text)
    assert turn.kind == "correction" and "Taken back: [2.0] clock" in turn.reply
    assert "display" not in call.standing()
    assert call.standing()["oven.bake.heat"] == "none"
    assert {fact.number: fact.fate for fact in look(expert, call.conversation).facts}[(2, 0)] == "struck"


def test_what_it_had_replaced_stands_again(expert: Expert) -> None:
    call = opened(expert, "the clock is on and the oven is dead", "no wait, the clock is dead", "why?", "forget that")
    assert call.standing()["display"] == "lit"


def test_with_something_after_it_it_is_a_correction(expert: Expert) -> None:
    call = opened(expert, "the clock is on and the oven is dead", "scratch that, the clock is dead")
    assert call.standing() == {"display": "dark", "oven.bake.heat": "none"}


def test_a_danger_is_not_scrapped_with_the_rest(expert: Expert) -> None:
    call = opened(expert, "it sparked and the clock is dead")
    turn = call.say("scrap that")
    assert turn.answer.stop is not None
    assert call.standing() == {"hazard.sparks": "yes"}
    assert 'say "I was wrong"' in turn.reply
    assert call.say("I was wrong, no sparks").answer.stop is None


def test_what_nobody_could_read_is_nothing_to_take_back(expert: Expert) -> None:
    call = opened(expert, DEAD, "no", "xyzzy plugh")
    turn = call.say("scrap that")
    assert "Nothing was told just before" in turn.reply
    assert call.standing() == {"oven.bake.heat": "none", "hazard.any": "no"}
