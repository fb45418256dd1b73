"""Weighs what stands in a conversation: the facts that fit its appliance, and the whole answer to them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import cast

from rules.answer import TestAdvice, Triage
from rules.bookkeeping.types import Appliance
from rules.enquiry import check_places
from rules.talking.conversation import Conversation, Number, OpenQuestion
from rules.talking.folding import Folded, fold
from rules.terms import Fact, InputError, Problem, Role
from rules.triage import Enquiry, Expert, Explain, appliance_of, foreign_to, triage

#: A note that says nothing: a case that holds no fact yet is answered all the same.
NOTHING_SAID = "..."


@dataclass(frozen=True)
class Weighed:
    """What stands, for which appliance, and the answer to it."""

    folded: Folded
    appliance: Appliance
    answer: Triage


def stand(expert: Expert, conversation: Conversation) -> tuple[Folded, Appliance]:
    """Fold the conversation. Facts that its appliance cannot have are left out and marked."""
    folded = fold(conversation, expert.book.facts)
    appliance, _ = appliance_of(expert.book, conversation.appliance, folded.facts)
    misfits = set(unfit(expert, appliance, folded.facts))
    left_out = [number for number, fact in folded.standing.items() if fact in misfits]
    for number in left_out:
        _leave_out(folded, number)
    return folded, appliance


def weigh(expert: Expert, conversation: Conversation, explain: Explain = "brief") -> Weighed:
    """What stands in the conversation, answered."""
    folded, appliance = stand(expert, conversation)
    note = None if folded.standing else NOTHING_SAID
    enquiry = Enquiry(note, folded.facts, conversation.appliance, conversation.role, explain)
    return Weighed(folded, appliance, triage(expert, enquiry))


def _leave_out(folded: Folded, number: Number) -> None:
    del folded.standing[number]
    folded.fates[number] = "does_not_fit"


def unfit(expert: Expert, appliance: Appliance, facts: Sequence[Fact]) -> list[Fact]:
    """Facts about units or parts that this appliance does not have."""
    misplaced = [fact for fact in facts if check_places([fact], appliance)]
    return [*misplaced, *foreign_to(expert.signatures(appliance), expert.book, facts)]


def refuse_unfit(expert: Expert, appliance: Appliance, facts: Sequence[Fact]) -> None:
    """Raises InputError for facts, given as such, about what this appliance does not have."""
    problems = check_places(facts, appliance)
    problems += [
        Problem(fact.key, f"{appliance.title} has nothing this is about; leave it out")
        for fact in foreign_to(expert.signatures(appliance), expert.book, facts)
    ]
    if problems:
        raise InputError(problems)


def question_in(answer: Triage, role: Role) -> OpenQuestion | None:
    """The question that an answer asks: that of its next step. None where nothing is worth asking.

    In a stop whoever takes the call is given what is worth asking from memory; nobody else is asked anything.
    """
    if answer.stop is not None:
        return _remembered(answer) if role == "desk" else None
    step = answer.next_step
    if step.do not in ("ask", "measure"):
        return None
    for advice in answer.next_tests:
        if advice.test == step.test and advice.where == step.where:
            return _opened(advice)
    return None


def _remembered(answer: Triage) -> OpenQuestion | None:
    """The first question to memory that is worth its minutes."""
    worth = (advice for advice in answer.next_tests if advice.from_memory and (advice.saves_minutes or 0) > 0)
    advice = next(worth, None)
    return _opened(advice) if advice is not None else None


def _opened(advice: TestAdvice) -> OpenQuestion:
    return OpenQuestion(advice.test, advice.reads, advice.ask, advice.why, cast(Role, advice.who))
