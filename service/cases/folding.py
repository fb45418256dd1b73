"""What entries say, and the state they fold to: the conversation as it stands, the outcome.

An entry's body holds what was heard, not what was concluded from it; the answer is worked out from the facts each time.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any, cast

from rules.talking import (
    Conversation,
    Heard,
    Number,
    Turn,
    change_role,
    from_plain,
    heard_from_plain,
    heard_to_plain,
    question_from_plain,
    question_to_plain,
    strike,
    to_plain,
)
from rules.terms import Role
from service.cases.store import Entry


@dataclass(frozen=True)
class Outcome:
    """What it was. ``fault``, ``where`` and ``parts`` are names of the book; ``found`` is free text."""

    fixed: bool
    fault: str | None = None
    where: str | None = None
    found: str | None = None
    parts: tuple[str, ...] = ()
    minutes: float | None = None
    call_back: bool = False


@dataclass(frozen=True)
class Folded:
    """A case as its entries have it. ``outcome``: the last one that was not taken back."""

    conversation: Conversation
    outcome: Outcome | None = None


# --- bodies ----------------------------------------------------------------------------------------------------------
def opened(conversation: Conversation, reference: str | None) -> dict[str, Any]:
    return {"stands": to_plain(conversation), "reference": reference}


def heard(turn: Turn, before: Conversation) -> dict[str, Any]:
    """A message, and what of the conversation it changed besides."""
    after = turn.conversation
    body: dict[str, Any] = {"heard": heard_to_plain(after.messages[-1]), "reply": turn.reply, "role": after.role}
    body |= {"asks": question_to_plain(after.asks)}
    if after.struck != before.struck:
        body["struck"] = [list(number) for number in sorted(after.struck - before.struck)]
    if after.appliance != before.appliance:
        body["appliance"] = to_plain(replace(after, messages=()))["appliance"]
    return body


def struck(numbers: Iterable[Number], turn: Turn, message: int | None = None) -> dict[str, Any]:
    """Facts unsaid. ``message``: the message that was struck as a whole."""
    body: dict[str, Any] = {"numbers": [list(number) for number in sorted(numbers)], "reply": turn.reply}
    return {**body, "message": message, "asks": question_to_plain(turn.conversation.asks)}


def role_changed(turn: Turn) -> dict[str, Any]:
    after = turn.conversation
    return {"role": after.role, "reply": turn.reply, "asks": question_to_plain(after.asks)}


def settled(outcome: Outcome) -> dict[str, Any]:
    return {**outcome.__dict__, "parts": list(outcome.parts)}


# --- folding ---------------------------------------------------------------------------------------------------------
def fold(entries: Iterable[Entry]) -> Folded:
    """The state after these entries, the first of which opened the case."""
    state = Folded(Conversation())
    for entry in entries:
        body = entry.body
        if entry.kind == "opened":
            state = replace(state, conversation=from_plain(body["stands"]))
        elif entry.kind == "message":
            state = replace(state, conversation=_after_message(state.conversation, body))
        elif entry.kind == "role":
            state = replace(state, conversation=_asking(change_role(state.conversation, body["role"]), body))
        elif entry.kind == "strike":
            numbers = [(message, index) for message, index in body["numbers"]]
            kept = strike(state.conversation, numbers[0], *numbers[1:]) if numbers else state.conversation
            state = replace(state, conversation=_asking(kept, body))
        elif entry.kind == "outcome":
            state = replace(state, outcome=Outcome(**{**body, "parts": tuple(body["parts"])}))
        elif entry.kind == "reopened":
            state = replace(state, outcome=None)
    return state


def _after_message(before: Conversation, body: Mapping[str, Any]) -> Conversation:
    made = replace(before, messages=(*before.messages, heard_from_plain(body["heard"])), role=cast(Role, body["role"]))
    if "struck" in body:
        numbers = frozenset[Number]((message, index) for message, index in body["struck"])
        made = replace(made, struck=made.struck | numbers)
    if "appliance" in body:
        made = replace(
            made, appliance=from_plain({**to_plain(Conversation()), "appliance": body["appliance"]}).appliance
        )
    return _asking(made, body)


def _asking(conversation: Conversation, body: Mapping[str, Any]) -> Conversation:
    """With the question that is open."""
    return replace(conversation, asks=question_from_plain(body["asks"]))


# --- personal data ---------------------------------------------------------------------------------------------------
def without_words(entry: Entry) -> dict[str, Any]:
    """The entry's body without what a person wrote; facts in the book's words, numbers and names of the book stay."""
    body = entry.body
    if entry.kind == "opened":
        return {**body, "reference": None}
    if entry.kind == "outcome":
        return {**body, "found": None}
    if entry.kind != "message":
        return {**body, "reply": None} if "reply" in body else body
    return {**body, "reply": None, "heard": heard_to_plain(_wordless(heard_from_plain(body["heard"])))}


def _wordless(one: Heard) -> Heard:
    facts = tuple(replace(told, fact=replace(told.fact, span=None, text=None)) for told in one.facts)
    sent = tuple(replace(fact, span=None, text=None) for fact in one.message.facts)
    return replace(one, message=replace(one.message, text=None, facts=sent), facts=facts, unread=())
