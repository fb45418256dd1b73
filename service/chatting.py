"""A conversation as ``coldleg chat`` holds it: with the book here, or with a case of a running service.

Both sides of :class:`Call` take the same words and give the same replies.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Protocol

from rules import Expert, InputError, Problem
from rules.bookkeeping.types import Appliance
from rules.talking import (
    Conversation,
    Message,
    Number,
    Turn,
    change_role,
    hear,
    look,
    restore,
    strike,
    summary,
)
from rules.talking.summing_up import Form
from rules.terms import Role
from service.client import Client, ProblemError

CHANGED = 412  # Precondition Failed, RFC 9110: the case is no longer what it was
SERVER = 500  # from here on it is the service that failed, and the call ends


class Call(Protocol):
    """A call under way. Each step gives the reply in plain words, and raises InputError or ServiceError."""

    @property
    def role(self) -> Role:
        """Who speaks."""

    def begin(self) -> str:
        """What is said first."""

    def say(self, text: str) -> str:
        """Say something."""

    def strike(self, message: int, index: int | None) -> str:
        """Unsay one fact of a message, or all of them."""

    def restore(self, message: int, index: int | None) -> str:
        """Take :meth:`strike` back."""

    def speak_as(self, role: Role) -> str:
        """Another role speaks from now on."""

    def facts(self) -> list[str]:
        """Every fact so far, with its number and what became of it."""

    def summary(self, form: Form) -> str:
        """The case for the ticket."""


class LocalCall:
    """A call with the book of this machine; nothing of it is kept."""

    def __init__(self, expert: Expert, appliance: Appliance | None, role: Role) -> None:
        self.expert = expert
        self.conversation = Conversation(appliance, role)

    @property
    def role(self) -> Role:
        return self.conversation.role

    def begin(self) -> str:
        return self._taken(look(self.expert, self.conversation))

    def say(self, text: str) -> str:
        number = len(self.conversation.messages)
        return self._taken(hear(self.expert, self.conversation, Message(number, self.role, text)))

    def strike(self, message: int, index: int | None) -> str:
        self.conversation = strike(self.conversation, *self._numbers(message, index))
        return self.begin()

    def restore(self, message: int, index: int | None) -> str:
        self.conversation = restore(self.conversation, *self._numbers(message, index))
        return self.begin()

    def speak_as(self, role: Role) -> str:
        self.conversation = change_role(self.conversation, role)
        return self.begin()

    def facts(self) -> list[str]:
        told = look(self.expert, self.conversation).facts
        return [_line(f"{fact.number[0]}.{fact.number[1]}", fact.words, fact.fate) for fact in told]

    def summary(self, form: Form) -> str:
        return summary(self.expert, self.conversation, form)

    def _taken(self, turn: Turn) -> str:
        self.conversation = turn.conversation
        return turn.reply

    def _numbers(self, message: int, index: int | None) -> list[Number]:
        known = [number for number in self.conversation.numbers() if number[0] == message]
        chosen = known if index is None else [(message, index)]
        if not chosen:
            raise InputError([Problem("strike", f"message {message} has no fact; write facts to see them all")])
        return chosen


def _line(number: str, words: str, fate: str) -> str:
    """``[2.0] clock or display: dim (replaced)``."""
    return f"[{number}] {words}" + ("" if fate == "stands" else f" ({fate.replace('_', ' ')})")


class ServedCall:
    """A call kept by a running service as a case."""

    def __init__(self, client: Client, appliance: Any, role: Role) -> None:
        self.client, self.appliance, self._role = client, appliance, role
        self.case, self.tag = "", ""

    @property
    def role(self) -> Role:
        return self._role

    def begin(self) -> str:
        body = {"role": self.role} | ({} if self.appliance is None else {"appliance": self.appliance})
        reply = self._taken(*self.client.open_case(body))
        return f"(case {self.case})\n{reply}"

    def say(self, text: str) -> str:
        return self._step(lambda: self.client.say(self.case, self.tag, {"text": text}))

    def strike(self, message: int, index: int | None) -> str:
        return self._step(lambda: self.client.strike(self.case, self.tag, message, index))

    def restore(self, message: int, index: int | None) -> str:
        told = "a service keeps what was struck as struck; say it again instead"
        raise InputError([Problem("restore", f"{message}{'' if index is None else f'.{index}'}: {told}")])

    def speak_as(self, role: Role) -> str:
        reply = self._step(lambda: self.client.say(self.case, self.tag, {"role": role}))
        self._role = role
        return reply

    def facts(self) -> list[str]:
        told, self.tag = self.client.case(self.case)
        return [_line(fact["number"], fact["words"], fact["fate"]) for fact in told["facts"]]

    def summary(self, form: Form) -> str:
        return self.client.case_summary(self.case, form)

    def _step(self, act: Callable[[], tuple[dict[str, Any], str]]) -> str:
        """A step. After a refusal the call goes on; if the case was changed meanwhile, it is looked at anew first."""
        try:
            return self._taken(*act())
        except ProblemError as refused:
            if refused.status == CHANGED:
                _, self.tag = self.client.case(self.case)
                told = [Problem("", "somebody else has changed the case meanwhile; say it again")]
                raise InputError(told) from refused
            if refused.status >= SERVER:
                raise
            raise InputError(refused.problems or [Problem("", str(refused))]) from refused

    def _taken(self, told: dict[str, Any], tag: str) -> str:
        self.case, self.tag = str(told["case"]["id"]), tag
        return str(told["reply"])
