"""What is said later takes the place of what was said before; a danger stays until it is taken back."""

from __future__ import annotations

import pytest

from rules import Expert, Fact, InputError
from rules.talking import look
from tests.rules.talking.calling import Call, told

DEAD = "none of the burners heat and the oven is dead"


def test_a_later_statement_replaces_the_earlier(expert: Expert) -> None:
    call = Call(expert)
    call.say("the clock is on and the oven is dead")
    turn = call.say("no wait, the clock is dead")
    assert turn.kind == "correction"
    assert told(turn) == [("display", "dark")]
    assert turn.facts[0].replaced == ((0, 0),) or turn.facts[0].replaced == ((0, 1),)
    assert "replaces" in turn.reply
    assert call.standing()["display"] == "dark"
    fates = {each.number: each.fate for each in look(expert, call.conversation).facts}
    assert sorted(fates.values()) == ["replaced", "stands", "stands"]  # kept in the history


def test_without_a_word_of_correction_too(expert: Expert) -> None:
    call = Call(expert)
    call.say("the clock is on and the oven is dead")
    assert call.say("the clock is dead").kind == "correction"
    assert call.standing()["display"] == "dark"


def test_the_unit_is_corrected(expert: Expert) -> None:
    call = Call(expert)
    call.say("the left front burner is dead, all others work")
    turn = call.say("actually it was the right rear")
    assert turn.kind == "correction" and "right rear" in turn.reply
    assert call.standing()["surface.heat@right_rear"] == "none"
    assert "surface.heat@left_front" not in call.standing()
    call.strike((1, 0))  # the naming itself can be unsaid
    assert call.standing()["surface.heat@left_front"] == "none"


def test_a_correction_that_names_nothing_is_of_the_last_answer(expert: Expert) -> None:
    call = Call(expert)
    call.say(DEAD)
    call.say("no")
    asked = call.turns[-1].asks
    assert asked is not None and asked.reads == "display"
    call.say("yes")
    turn = call.say("no wait, it is dark")
    assert turn.kind == "correction" and told(turn) == [("display", "dark")]
    assert turn.facts[0].replaced == ((2, 0),)
    assert turn.conversation.messages[-1].asked == asked


def test_sorry_before_an_answer_is_courtesy(expert: Expert) -> None:
    call = Call(expert)
    call.say(DEAD)
    call.say("no")
    turn = call.say("sorry, yes")
    assert told(turn) == [("display", "lit")]
    assert call.standing()["hazard.any"] == "no"


def test_a_danger_stands_against_a_bare_denial(expert: Expert) -> None:
    call = Call(expert)
    call.say("there is smoke and the oven is dead")
    turn = call.say("no smoke")
    assert turn.answer.stop is not None
    assert "stands" in turn.reply and "0.0" in turn.reply
    assert "Nothing is tried or touched" in turn.reply
    assert turn.asks is not None and f"Next, from memory: {turn.asks.ask}" in turn.reply


@pytest.mark.parametrize(
    "text", ["I was wrong, there is no smoke", "no wait, no smoke", "Sorry, I misspoke: no smoke."]
)
def test_a_danger_is_taken_back_in_so_many_words(expert: Expert, text: str) -> None:
    call = Call(expert)
    call.say("there is smoke and the oven is dead")
    turn = call.say(text)
    assert turn.answer.stop is None and turn.asks is not None
    assert call.standing()["hazard.smoke"] == "no"


def test_a_danger_that_is_struck_stops_no_longer(expert: Expert) -> None:
    call = Call(expert)
    call.say("there is smoke and the oven is dead")
    before = call.conversation
    turn = call.strike((0, 0))
    assert turn.answer.stop is None and turn.asks is not None
    back = call.restore((0, 0))
    assert back.answer.stop is not None
    assert call.conversation == before


def test_not_knowing_takes_no_danger_back(expert: Expert) -> None:
    call = Call(expert)
    call.say(None, Fact("hazard.smoke", "yes"))
    assert call.say(None, Fact("hazard.smoke", "unknown")).answer.stop is not None


def test_a_technician_s_finding_outranks_the_caller(expert: Expert) -> None:
    call = Call(expert)
    call.say("the oven is dead")
    call.become("technician")
    call.say("the display is dark")
    call.become("desk")
    turn = call.say("the clock is lit")
    assert "technician found otherwise" in turn.reply
    assert {key: value for key, value in call.standing().items() if key == "display"} == {"display": "lit"}
    assert turn.answer.contradictions  # both are before the expert, and the technician's word stands
    assert "rules go by dark" in turn.answer.contradictions[0].say


def test_the_last_reading_counts(expert: Expert) -> None:
    call = Call(expert, role="technician")
    call.say("dead check proved, sensor reads 1390 ohms at room temperature")
    turn = call.say("sensor 1080 ohms at room temperature")
    assert turn.kind == "correction"
    assert call.standing()["ohms.sensor"] == 1080.0


def test_striking_what_is_not_there_is_refused(expert: Expert) -> None:
    call = Call(expert)
    call.say("the oven is dead")
    with pytest.raises(InputError, match=r"no fact 0\.7"):
        call.strike((0, 7))


def test_a_coil_top_told_late_leaves_out_what_coils_have_not(expert: Expert) -> None:
    call = Call(expert)
    call.say("the hot surface light of the left front stays on all day")
    assert "hot_light.cold@left_front" in call.standing()
    turn = call.say("it is a coil cooktop")
    assert turn.answer.appliance.appliance == "coil_range"
    assert "hot_light.cold@left_front" not in call.standing()
    fates = {each.fact.key: each.fate for each in look(expert, call.conversation).facts if each.fact}
    assert fates["hot_light.cold@left_front"] == "does_not_fit"
