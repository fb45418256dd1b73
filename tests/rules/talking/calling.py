"""A call for tests: says things one after another and keeps every turn."""

from __future__ import annotations

import json

from rules import Expert, Fact
from rules.talking import (
    Conversation,
    Message,
    Number,
    Turn,
    change_role,
    from_plain,
    hear,
    look,
    restore,
    strike,
    to_plain,
)
from rules.terms import Role


class Call:
    """Every turn goes through JSON and back, as it does in storage."""

    def __init__(self, expert: Expert, role: Role = "desk", appliance: str | None = None) -> None:
        self.expert = expert
        self.conversation = Conversation(expert.book.appliances[appliance] if appliance else None, role)
        self.turns: list[Turn] = []

    def say(self, text: str | None, *facts: Fact) -> Turn:
        message = Message(len(self.conversation.messages), self.conversation.role, text, facts)
        return self._keep(hear(self.expert, self.conversation, message))

    def strike(self, *numbers: Number) -> Turn:
        self.conversation = strike(self.conversation, *numbers)
        return self._keep(look(self.expert, self.conversation))

    def restore(self, *numbers: Number) -> Turn:
        self.conversation = restore(self.conversation, *numbers)
        return self._keep(look(self.expert, self.conversation))

    def become(self, role: Role) -> Turn:
        self.conversation = change_role(self.conversation, role)
        return self._keep(look(self.expert, self.conversation))

    def standing(self) -> dict[str, object]:
        """Key to value of what stands."""
        told = look(self.expert, self.conversation).facts
        return {each.fact.key: each.fact.value for each in told if each.fact is not None and each.fate == "stands"}

    def answer_until(self, test: str, answers: dict[str, str], most: int = 12) -> Turn:
        """Answer the open questions by their test's name, the others by "not sure", until ``test`` is asked."""
        for _ in range(most):
            asks = self.turns[-1].asks
            if asks is None or asks.test == test:
                break
            self.say(answers.get(asks.test, "not sure"))
        return self.turns[-1]

    def _keep(self, turn: Turn) -> Turn:
        self.conversation = from_plain(json.loads(json.dumps(to_plain(turn.conversation))))
        assert self.conversation == turn.conversation
        assert self.conversation.asks == turn.asks
        self.turns.append(turn)
        return turn


def told(turn: Turn) -> list[tuple[str, object]]:
    """Key and value of a turn's facts."""
    return [(each.fact.key, each.fact.value) for each in turn.facts if each.fact is not None]
