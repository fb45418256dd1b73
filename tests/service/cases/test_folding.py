"""The entries fold to exactly what the expert made of the call, step by step. All callers are invented."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import event

from rules import Expert
from rules.enquiry import fact_from_text
from rules.talking import Turn, look
from service.cases.calls import Calls, Said, Saying, Step
from service.cases.folding import Outcome, fold, without_words
from tests.service.databases import new_store

#: A step: text that is said, or @ and something done.
CALLS = {
    "lost_leg": """no burner heats but the clock is on; no; not sure; @technician; @fact volts@L1-L2/loaded=1.2 V;
        how do you know?; @strike 0.0; @outcome""",
    "correction": """left front is dead; yes; no wait, it is the right rear; no wait, the clock is dead;
        why do you ask?; @strike 2.0; @forget 0; the oven is cold; @caller; about 40 low""",
    "open_line": "@technician; @fact dead_check=proved; @fact ohms.bake=OL; @outcome; @reopen; hm",
    "scrapped": "the oven is dead; no; the clock is dead; scrap that; why; what now; one sec; forget that; it sparked",
    "by_hand": "sparks from the oven; @correct 0.0 hazard.sparks=no; the clock is on; @correct 2.0 display=dark",
    "coils": "the coil burner left front is dead; yes; left rear; gas range; sparks from the oven; no wait, no sparks",
}


def steps_of(name: str) -> list[str]:
    return [" ".join(step.split()) for step in CALLS[name].split(";")]


@pytest.fixture
def calls(expert: Expert, tmp_path: Path) -> Calls:
    return Calls(expert, new_store(tmp_path))


def does(calls: Calls, number: str, what: str) -> Step:
    word, _, rest = what.partition(" ")
    if word == "@strike":
        message, index = map(int, rest.split("."))
        return calls.strike_fact("a", number, None, (message, index))
    if word == "@correct":
        old, told = rest.split()
        message, index = map(int, old.split("."))
        return calls.correct("a", number, None, (message, index), saying(calls, f"@caller_fact {told}"))
    if word == "@forget":
        return calls.strike_message("a", number, None, int(rest))
    if word == "@outcome":
        return calls.settle("a", number, None, Outcome(fixed=True, found="x", parts=("cord_set",), minutes=3))
    if word == "@reopen":
        return calls.reopen("a", number, None)
    return calls.hear("a", number, None, saying(calls, what))


def saying(calls: Calls, what: str) -> Saying:
    if what.startswith(("@fact ", "@caller_fact ")):
        who, told = what.split(" ", 1)
        fact = fact_from_text(told, calls.expert.book.facts, "technician" if who == "@fact" else "caller")
        return lambda _: Said(facts=(fact,))
    if what == "@technician":
        return lambda _: Said(role="technician")
    if what == "@caller":
        return lambda _: Said(role="caller")
    return lambda _: Said(what)


def believed(turn: Turn) -> Any:
    """What an answer says at every level of explanation."""
    answer = turn.answer
    return [(c.fault, c.where, c.probability) for c in answer.conclusions], answer.stop, answer.next_step, answer.visit


@pytest.mark.parametrize("name", CALLS)
def test_entries_fold_to_what_was_made_of_the_call(calls: Calls, name: str) -> None:
    step = calls.open("a", None, None, Said())
    for what in [None, *steps_of(name)]:
        if what is not None:
            step = does(calls, step.case.id, what)
        whole = calls.store.whole("a", step.case.id)
        state = fold(whole.entries)
        assert state.conversation == step.turn.conversation
        assert state.conversation.asks == step.turn.asks
        assert state.outcome == step.outcome
        assert whole.case == step.case
        _, seen = calls.seen("a", step.case.id)
        assert believed(seen.turn) == believed(step.turn)
        assert seen.turn.asks == step.turn.asks


def test_a_danger_corrected_by_hand_is_one_write(calls: Calls) -> None:
    commits = list[Any]()
    event.listen(calls.store.database.engine, "commit", commits.append)
    step = calls.open("a", None, None, Said("sparks from the oven"))
    assert step.turn.answer.stop is not None
    commits.clear()
    after = does(calls, step.case.id, "@correct 0.0 hazard.sparks=no")
    assert after.turn.answer.stop is None
    assert len(commits) == 1
    whole = calls.store.whole("a", step.case.id)
    assert [entry.kind for entry in whole.entries] == ["opened", "message", "message", "strike"]


@pytest.mark.parametrize("name", CALLS)
def test_without_its_words_a_case_still_stands_as_it_was(calls: Calls, name: str) -> None:
    step = calls.open("a", None, None, Said())
    for what in steps_of(name):
        step = does(calls, step.case.id, what)
    entries = calls.store.whole("a", step.case.id).entries
    erased = fold([type(entry)(entry.number, entry.kind, entry.at, without_words(entry)) for entry in entries])
    kept = fold(entries)
    assert [len(heard.facts) for heard in erased.conversation.messages] == [
        len(heard.facts) for heard in kept.conversation.messages
    ]
    assert all(heard.message.text is None and not heard.unread for heard in erased.conversation.messages)
    before, after = (look(calls.expert, state.conversation) for state in (kept, erased))
    assert believed(before) == believed(after)
