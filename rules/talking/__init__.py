"""A call as a conversation: each message is heard, read, weighed with all that stands, and answered in plain words.

A :class:`Conversation` is frozen. What was said is only ever added to; a fact that is struck stays in it and is left
out of account. What stands is folded anew from the messages each time, so the same messages give the same state.

The front door: :func:`hear` for each message, :func:`strike`, :func:`restore` and :func:`change_role` between them,
:func:`look` for the state without a new message, :func:`summary` for the ticket.
"""

from __future__ import annotations

from rules.talking.conversation import (
    KINDS,
    Conversation,
    Fate,
    Heard,
    HeardFact,
    Kind,
    Message,
    Number,
    OpenQuestion,
    TurnFact,
    change_role,
    restore,
    strike,
)
from rules.talking.hearing import Turn, hear, look
from rules.talking.plain import (
    from_plain,
    heard_from_plain,
    heard_to_plain,
    question_from_plain,
    question_to_plain,
    to_plain,
)
from rules.talking.summing_up import FORMS, summary

__all__ = [
    "FORMS",
    "KINDS",
    "Conversation",
    "Fate",
    "Heard",
    "HeardFact",
    "Kind",
    "Message",
    "Number",
    "OpenQuestion",
    "Turn",
    "TurnFact",
    "change_role",
    "from_plain",
    "hear",
    "heard_from_plain",
    "heard_to_plain",
    "look",
    "question_from_plain",
    "question_to_plain",
    "restore",
    "strike",
    "summary",
    "to_plain",
]
