"""Hears one message: reads it, weighs it with all that stands, and answers in plain words."""

from __future__ import annotations

from dataclasses import dataclass

from rules.answer import Triage
from rules.talking.conversation import Conversation, Kind, Message, OpenQuestion, TurnFact
from rules.triage import Expert


@dataclass(frozen=True)
class Turn:
    """What came of a message.

    ``conversation`` is the new one; keep it. ``facts`` are those of this message (of :func:`look`: of all), ``unread``
    its clauses nobody could read. ``reply`` is what to say: what was understood, the stop sentence first if there is
    one, what it means, the next question and why. ``asks`` is that question, None where none is open.
    """

    conversation: Conversation
    kind: Kind
    facts: tuple[TurnFact, ...]
    unread: tuple[str, ...]
    reply: str
    asks: OpenQuestion | None
    answer: Triage


def hear(expert: Expert, conversation: Conversation, message: Message) -> Turn:
    """Hear a message of the conversation's role, or of another: the message's counts.

    Raises InputError for text that is empty or too long, for facts that this appliance cannot have, and for a message
    whose number is not the next.
    """
    raise NotImplementedError


def look(expert: Expert, conversation: Conversation) -> Turn:
    """The state without a new message: after something was struck, or to begin with."""
    raise NotImplementedError
