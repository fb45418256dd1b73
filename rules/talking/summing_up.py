"""The case in few words, for the ticket."""

from __future__ import annotations

from typing import Literal

from rules.talking.conversation import Conversation
from rules.triage import Expert

Form = Literal["text", "markdown"]
FORMS: tuple[Form, ...] = ("text", "markdown")


def summary(expert: Expert, conversation: Conversation, form: Form = "text") -> str:
    """What was told, by whom, what it most likely is, the visit and its parts, as plain text or Markdown.

    Whatever a caller wrote is quoted so that Markdown does not act on it.
    """
    raise NotImplementedError
