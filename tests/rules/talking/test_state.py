"""The state is folded from the messages: said again it is the same, struck and restored it is as before."""

from __future__ import annotations

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from rules import Expert, Fact
from rules.talking import Conversation, Message, hear, look, restore, strike, summary
from tests.rules.talking.calling import Call

SAID = [
    "none of the burners heat", "the oven is dead", "the clock is dim", "the clock is dead", "no", "yes", "not sure",
    "left front", "actually it was the right rear", "one burner is dead", "there is a burning smell",
    "no burning smell", "I was wrong, no burning smell", "no wait, no", "why?", "how do you know?", "blah", "all",
    "about 40 low", "the oven light is on", "it is a coil cooktop", "no wait, the clock is on",
]  # fmt: skip
CALLS = st.lists(st.sampled_from(SAID), min_size=1, max_size=6)
FEW = settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


def said(expert: Expert, texts: list[str]) -> Conversation:
    conversation = Conversation()
    for number, text in enumerate(texts):
        conversation = hear(expert, conversation, Message(number, "desk", text)).conversation
    return conversation


@FEW
@given(texts=CALLS)
def test_the_same_messages_give_the_same_state(expert: Expert, texts: list[str]) -> None:
    first, second = said(expert, texts), said(expert, texts)
    assert first == second and first.asks == second.asks
    assert look(expert, first).answer == look(expert, second).answer


@FEW
@given(texts=CALLS, picked=st.data())
def test_strike_then_restore_is_the_identity(expert: Expert, texts: list[str], picked: st.DataObject) -> None:
    conversation = said(expert, texts)
    numbers = conversation.numbers()
    if not numbers:
        return
    number = picked.draw(st.sampled_from(numbers))
    without = strike(conversation, number)
    assert without != conversation and without.messages == conversation.messages
    assert restore(without, number) == conversation
    assert look(expert, restore(without, number)).answer == look(expert, conversation).answer


@FEW
@given(texts=CALLS)
def test_without_its_facts_nothing_is_known(expert: Expert, texts: list[str]) -> None:
    conversation = said(expert, texts)
    if conversation.numbers():
        conversation = strike(conversation, *conversation.numbers())
    assert look(expert, conversation).answer.understood == ()


@FEW
@given(texts=CALLS)
def test_what_stands_is_what_the_answer_understood(expert: Expert, texts: list[str]) -> None:
    turn = look(expert, said(expert, texts))
    standing = {(each.fact.key, each.fact.value) for each in turn.facts if each.fact and each.fate == "stands"}
    assert {(fact.key, fact.value) for fact in turn.answer.understood} == standing
    if turn.answer.stop is not None:
        remembered = {test.reads for test in turn.answer.next_tests if test.from_memory}
        assert turn.asks is None or turn.asks.reads in remembered


def test_facts_and_text_in_one_message(expert: Expert) -> None:
    call = Call(expert)
    turn = call.say("the oven is dead", Fact("display", "lit"))
    assert [each.number for each in turn.facts] == [(0, 0), (0, 1)]
    assert call.standing() == {"display": "lit", "oven.bake.heat": "none"}


def test_a_fact_given_answers_the_open_question(expert: Expert) -> None:
    call = Call(expert)
    call.say("none of the burners heat and the oven is dead")
    turn = call.say(None, Fact("hazard.any", "no"))
    assert turn.kind == "answer" and turn.facts[0].answers


def test_the_summary_holds_what_stands_and_escapes_what_was_written(expert: Expert) -> None:
    call = Call(expert)
    call.say("the oven is dead. <script>alert(1)</script> [x](http://example.org) # *blorp*")
    call.say("no")
    call.strike((1, 0))
    text, markdown = summary(expert, call.conversation), summary(expert, call.conversation, "markdown")
    for made in (text, markdown):
        assert "oven heat in bake: stays cold" in made
        assert "Most likely" in made and "Visit" in made
        assert made.index("Unsaid since") < made.index("any sign of danger")
    assert "<script>" not in markdown and "](http" not in markdown
    assert not any(line.startswith("#") and "blorp" in line for line in markdown.splitlines())
