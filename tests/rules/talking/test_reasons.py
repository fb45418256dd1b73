"""WHY, HOW, and what cannot be read."""

from __future__ import annotations

import pytest

from rules import Expert, InputError
from rules.talking import Conversation, Message, hear, look
from tests.rules.talking.calling import Call, told

DEAD = "none of the burners heat and the oven is dead"


@pytest.mark.parametrize("text", ["why do you ask?", "Why?", "what for?", "what difference does that make?"])
def test_why_is_answered_from_the_question_and_changes_nothing(expert: Expert, text: str) -> None:
    call = Call(expert)
    call.say(DEAD)
    before = call.say("no")
    turn = call.say(text)
    assert turn.kind == "why" and not turn.facts and not turn.unread
    assert turn.asks == before.asks and before.asks is not None
    assert before.asks.why in turn.reply and before.asks.ask in turn.reply
    advice = turn.answer.next_tests[0]
    for outcome in advice.outcomes:
        titles = [expert.book.faults[fault].title for fault in outcome.leads_to[:2]]
        assert all(title in turn.reply for title in titles)
    assert turn.answer.conclusions == before.answer.conclusions


@pytest.mark.parametrize(
    "text", ["how do you know?", "How sure are you?", "why do you think so?", "what makes you think that?"]
)
def test_how_is_answered_from_reasons_and_bits(expert: Expert, text: str) -> None:
    call = Call(expert)
    call.say(DEAD)
    before = call.say("no")
    turn = call.say(text)
    assert turn.kind == "how" and not turn.facts
    assert turn.asks == before.asks
    first = turn.answer.conclusions[0]
    assert first.bits  # worked out in full
    assert first.title in turn.reply and f"{first.probability:.0%}" in turn.reply
    assert all(reason.text in turn.reply for reason in first.because)
    assert "speaks for it" in turn.reply


def test_why_in_a_stop_tells_of_the_danger(expert: Expert) -> None:
    call = Call(expert, role="caller")
    stop = call.say("sparks from the oven").answer.stop
    turn = call.say("why?")
    assert stop is not None and stop.because[0] in turn.reply and turn.asks is None


def test_a_question_back_and_an_answer_in_one_breath(expert: Expert) -> None:
    call = Call(expert)
    call.say(DEAD)
    call.say("no")
    turn = call.say("Yes. Why do you ask?")
    assert told(turn) == [("display", "lit")] and turn.kind == "answer"
    assert "I ask" in turn.reply


@pytest.mark.parametrize(
    "text", ["blah blub", "?", "42", "my dog is called Rex", "¿qué?", "🔥", "%s{}", "zyx; drop table"]
)
def test_nonsense_is_said_to_be_so_and_the_question_comes_in_other_words(expert: Expert, text: str) -> None:
    call = Call(expert)
    call.say(DEAD)
    before = call.say("no")
    turn = call.say(text)
    assert turn.kind == "not_understood" and not turn.facts
    assert turn.asks == before.asks and before.asks is not None
    assert before.asks.ask in turn.reply and "In other words" in turn.reply
    assert turn.answer.conclusions == before.answer.conclusions


def test_nonsense_at_the_very_beginning(expert: Expert) -> None:
    turn = Call(expert).say("lorem ipsum")
    assert turn.kind == "not_understood" and turn.answer.understood == ()


def test_an_answer_where_none_is_open(expert: Expert) -> None:
    call = Call(expert)
    turn = call.say("the hot surface light of the left front stays on all day")
    while turn.asks is not None:
        turn = call.say("no")
    assert "No question is open" in call.say("yes").reply


def test_the_opening_asks_what_is_wrong(expert: Expert) -> None:
    turn = look(expert, Conversation())
    assert turn.kind == "look" and "What is wrong" in turn.reply and turn.asks is None


@pytest.mark.parametrize(
    ("message", "field"),
    [
        (Message(0, "desk", ""), "text"),
        (Message(0, "desk", "   "), "text"),
        (Message(0, "desk", "x" * 4001), "text"),
        (Message(0, "desk", "\ud800"), "text"),
        (Message(0, "desk"), "text"),
        (Message(3, "desk", "the oven is dead"), "number"),
    ],
)
def test_a_message_that_cannot_be_heard_is_refused(expert: Expert, message: Message, field: str) -> None:
    with pytest.raises(InputError) as refused:
        hear(expert, Conversation(), message)
    assert [problem.field for problem in refused.value.problems] == [field]
