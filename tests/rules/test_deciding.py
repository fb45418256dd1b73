"""The next step: ask while it pays, then send, settle, repair or refer; always with a reason."""

from __future__ import annotations

import pytest

from rules import Enquiry, Expert, InputError, triage
from rules.answer import Triage
from rules.terms import Role
from tests.conftest import Asker

LAMP = ("oven.lamp=dark", "display=lit", "surface.heat@all=normal", "oven.bake.heat=normal", "hazard.any=no")
OVEN = ("oven.bake.heat=none", "display=lit", "hazard.any=no")


def test_danger_first_then_what_pays(ask: Asker) -> None:
    step = ask("the oven is cold").next_step
    assert (step.do, step.test) == ("ask", "ask_hazard")
    answer = ask(None, *OVEN)
    assert (answer.next_step.do, answer.next_step.test) == ("ask", answer.next_tests[0].test)
    assert answer.next_tests[0].saves_minutes is not None
    assert answer.next_tests[0].saves_minutes > 0


def answered(ask: Asker, said: list[str], role: str, steps: tuple[str, ...]) -> Triage:
    """Answer what is asked or to be measured with its likeliest answer, until the step is another."""
    for _ in range(30):
        answer = ask(None, *said, role=role)
        if answer.next_step.do not in steps:
            break
        test = next(t for t in answer.next_tests if t.test == answer.next_step.test)
        likeliest = max(test.outcomes, key=lambda outcome: outcome.probability, default=None)
        said = [*said, f"{test.reads}={likeliest.value if likeliest else 'proved'}"]
    return answer


def test_sure_on_the_telephone_sends(ask: Asker) -> None:
    answer = answered(ask, list(LAMP), "caller", ("ask",))
    assert (answer.next_step.do, answer.next_step.who) == ("send", "appliance_technician")


def test_a_setting_is_settled_without_a_visit(ask: Asker) -> None:
    answer = ask(None, *OVEN, "symbols=lock", "oven.keys=locked", "surface.heat@all=normal")
    assert answer.conclusions[0].fault == "settings.control_lock"
    assert (answer.next_step.do, answer.next_step.who) == ("settle", "customer")
    assert answer.visit.needed is False
    assert (answer.visit.load_parts, answer.visit.first_visit_fix) == ((), 0.0)


def test_asking_ends(ask: Asker) -> None:
    """Answer every question with its likeliest answer: within a dozen it is time to send or to settle."""
    said = list(OVEN)
    for _ in range(12):
        answer = ask(None, *said)
        if answer.next_step.do != "ask":
            break
        best = max(answer.next_tests[0].outcomes, key=lambda outcome: outcome.probability)
        test = answer.next_tests[0]
        assert test.test == answer.next_step.test
        said.append(f"{test.reads}={best.value}")
    assert answer.next_step.do in ("send", "settle")


def test_a_don_t_know_ends_too(ask: Asker) -> None:
    said = list(OVEN)
    for _ in range(40):
        answer = ask(None, *said)
        if answer.next_step.do != "ask":
            break
        said.append(f"{answer.next_tests[0].reads}=unknown")
    assert answer.next_step.do == "send"


def test_on_site_a_part_is_proved_bad_before_it_is_changed(ask: Asker) -> None:
    facts = ("oven.preheat=slow", "oven.glow=upper_only", "display=lit", "surface.heat@all=normal")
    step = ask(None, *facts, role="technician").next_step
    assert (step.do, step.test) == ("measure", "verify_dead")
    first = ask("oven cold, display lit", role="technician").next_tests
    assert first[0].test == "verify_dead"


@pytest.mark.parametrize("role", ["caller", "desk", "technician"])
def test_the_step_is_one_of_the_tests_and_pays(ask: Asker, role: Role) -> None:
    cases = [OVEN, LAMP, OVEN[:1], ("surface.heat@left_front=none",), ("breaker=trips_at_once",), ("display=dark",)]
    verbs = set()
    for facts in cases:
        for more in (
            (),
            ("dead_check=proved", "ohms.bake=23 ohm") if role == "technician" else ("house.lights=steady",),
        ):
            answer = ask(None, *facts, *more, role=role)
            step = answer.next_step
            verbs.add(step.do)
            assert step.because
            if step.do not in ("ask", "measure"):
                assert step.test is None
                continue
            test = next(t for t in answer.next_tests if (t.test, t.where) == (step.test, step.where))
            measured = any(fact.certainty == "measured" for fact in answer.understood)
            pays = test.saves_minutes is not None and test.saves_minutes > -0.05
            assert pays or step.test == "ask_hazard" or (role == "technician" and not measured)
    assert verbs & {"ask", "measure"}
    assert verbs - {"ask", "measure"}


def test_on_site_the_measured_part_is_repaired(ask: Asker) -> None:
    facts = ("dead_check=proved", "oven.preheat=slow", "oven.glow=upper_only", "ohms.bake=OL")
    answer = ask(None, *facts, role="technician")
    assert answer.next_step.do == "repair"
    assert answer.repair_order[0].parts == ("bake_element",)


def test_the_house_s_side_is_referred(ask: Asker) -> None:
    cold = [
        "display=lit",
        "surface.heat@all=none",
        "oven.bake.heat=none",
        "dead_check=proved",
        "outlet.supply=leg_missing",
    ]
    for panel in ("right", "leg_missing"):
        answer = ask(None, *cold, f"panel.supply={panel}", "house.lights=steady", role="technician")
        assert (answer.next_step.do, answer.next_step.who) == ("refer", "electrician")


def test_a_stop_is_the_step(ask: Asker) -> None:
    answer = ask("sparks from the oven")
    assert answer.stop is not None
    assert (answer.next_step.do, answer.next_step.who) == ("stop", answer.stop.refer_to)


def test_other_fuels_are_declined(ask: Asker) -> None:
    step = ask("my gas stove won't light").next_step
    assert step.do == "decline"
    assert "gas" in step.because


def test_tools_at_hand_mask_tests(ask: Asker) -> None:
    facts = ("dead_check=proved", *OVEN)
    everything = {t.test: t.tools for t in ask(None, *facts, role="technician", explain="full").next_tests}
    with_one = {t.test for t in ask(None, *facts, role="technician", explain="full", tools=("OHMMETER",)).next_tests}
    assert with_one == {test for test, tools in everything.items() if set(tools) <= {"ohmmeter"}}
    assert with_one != set(everything)
    bare = ask(None, *facts, role="technician", tools=()).next_tests
    assert not [t for t in bare if t.tools]
    unproved = ask(None, *OVEN, role="technician", tools=("ohmmeter",)).next_tests
    assert "verify_dead" not in {t.test for t in unproved}  # it needs a meter and something to prove it on
    assert "verify_dead" in {t.test for t in ask(None, *OVEN, role="technician").next_tests}
    with pytest.raises(InputError, match="no test needs 'hammer'"):
        ask(None, *facts, role="technician", tools=("hammer",))


def test_a_set_up_is_paid_once(ask: Asker, expert: Expert) -> None:
    facts = ("dead_check=proved", *OVEN)
    before = {t.test: t.minutes for t in ask(None, *facts, role="technician", explain="full").next_tests}
    paid = ask(None, *facts, "ohms.broil=31 ohm", role="technician", explain="full").next_tests
    cards = expert.book.tests
    seen = 0
    for test in paid:
        setup = cards[test.test].setup
        unpaid = expert.book.setups[setup].minutes if setup and setup != "open_back" else 0
        assert test.minutes == cards[test.test].minutes + unpaid
        if setup == "open_back" and test.test in before:
            assert before[test.test] == cards[test.test].minutes + expert.book.setups["open_back"].minutes
            seen += 1
    assert seen


def test_a_technician_may_look_where_a_caller_could_not_tell(ask: Asker, expert: Expert) -> None:
    from rules.enquiry import fact_from_text

    unknown = fact_from_text("symbols=unknown", expert.book.facts, "caller")
    rest = tuple(fact_from_text(text, expert.book.facts, "caller") for text in OVEN)
    for role, again in (("caller", False), ("desk", False), ("technician", True)):
        answer = triage(expert, Enquiry(facts=(*rest, unknown), role=role, explain="full"))  # type: ignore[arg-type]
        assert ("ask_symbols" in {test.test for test in answer.next_tests}) is again
    own = fact_from_text("symbols=unknown", expert.book.facts, "technician")
    answer = triage(expert, Enquiry(facts=(*rest, own), role="technician", explain="full"))
    assert "ask_symbols" not in {test.test for test in answer.next_tests}


def test_explain_full_lists_every_test(ask: Asker) -> None:
    brief, full = (ask(None, *OVEN, explain=how).next_tests for how in ("brief", "full"))
    assert full[: len(brief)] == brief
    assert len(full) >= len(brief)
