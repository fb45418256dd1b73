"""Three whole calls from the first sentence to the end, in words no phrase list was made from."""

from __future__ import annotations

from rules import Expert
from tests.rules.talking.calling import Call, told


def test_a_lost_leg_ends_with_an_electrician(expert: Expert) -> None:
    call = Call(expert)
    first = call.say("No burner heats and the oven stays cold, but the clock is on.")
    assert first.kind == "told"
    assert ("surface.heat@all", "none") in told(first)
    assert first.asks is not None and first.asks.test == "ask_hazard"  # danger comes before diagnosis
    assert told(call.say("nope, nothing like that")) == [("hazard.any", "no")]
    yes_no = {"ask_house_lights": "as always", "ask_oven_lamp": "yes", "ask_keys": "all of them", "ask_clock": "no"}
    last = call.answer_until("", yes_no)
    assert last.asks is None
    assert last.answer.next_step.do == "send" and last.answer.next_step.who == "electrician"
    assert "Send a licensed electrician" in last.reply
    assert last.answer.conclusions[0].fault.startswith("supply.")
    assert last.answer.visit.skill == "electrician"


def test_a_hot_light_that_never_goes_out_is_the_limiter(expert: Expert) -> None:
    call = Call(expert, role="caller", appliance="radiant_range")
    first = call.say("The hot surface light stays on all day even when it is stone cold")
    assert told(first) == [("hot_light.cold@unnamed", "lit")]
    call.say("no")
    named = call.say("it's the left front one")
    assert named.kind == "place" and "left front" in named.reply
    assert call.standing()["hot_light.cold@left_front"] == "lit"
    assert "hot_light.cold@unnamed" not in call.standing()
    last = call.answer_until("", {"ask_burner_heat": "yes it heats"})
    first_suspect = last.answer.conclusions[0]
    assert (first_suspect.fault, first_suspect.where) == ("surface.limiter_hot_contact_stuck", "left_front")
    assert last.asks is None and last.answer.visit.needed


def test_an_oven_sensor_found_on_site(expert: Expert) -> None:
    call = Call(expert)
    call.say("The oven takes forever to preheat and runs about 60 low")
    call.say("no")
    before = call.turns[-1].answer
    site = call.become("technician")
    assert site.answer.conclusions == before.conclusions  # the belief carries over
    assert site.asks is not None
    assert call.standing()["oven.offset"] == -60.0
    read = call.say("dead check proved. Sensor reads 1390 ohms at room temperature")
    assert ("dead_check", "proved") in told(read) and ("ohms.sensor", 1390.0) in told(read)
    sources = {fact.key: fact.source for fact in read.answer.understood}
    assert sources["ohms.sensor"] == "technician"
    assert sources["oven.offset"] == "note"  # as the caller told it
    assert read.answer.conclusions[0].fault.startswith("oven.sensor")
    assert read.answer.conclusions[0].standing == "established"


def test_in_a_stop_a_caller_is_asked_nothing(expert: Expert) -> None:
    call = Call(expert, role="caller")
    turn = call.say("the left front burner sparks and smells of burning plastic")
    assert turn.answer.stop is not None and turn.asks is None
    first, *rest = turn.reply.splitlines()
    assert turn.answer.stop.say in first  # the sentence to say comes before all else
    assert not any("?" in line for line in rest)
    assert call.say("and the clock is dead").asks is None
    assert turn.answer.stop.say in call.turns[-1].reply.splitlines()[0]


def test_a_gas_range_is_declined(expert: Expert) -> None:
    turn = Call(expert).say("my gas stove will not light")
    assert turn.asks is None and turn.answer.scope.reason is not None
    assert turn.answer.scope.reason in turn.reply
