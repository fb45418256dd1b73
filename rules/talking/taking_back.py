"""``Scrap that``: what was told last is unsaid, but for a danger, which is taken back only by its name or number."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from rules.bookkeeping.types import FactTerm
from rules.talking.conversation import Conversation, Number
from rules.talking.folding import Folded, danger


@dataclass(frozen=True)
class TakenBack:
    """What was unsaid, and the dangers that were told with it and stand."""

    numbers: tuple[Number, ...] = ()
    dangers: tuple[Number, ...] = ()

    def __bool__(self) -> bool:
        return bool(self.numbers or self.dangers)


def taken_back(conversation: Conversation, folded: Folded, terms: Mapping[str, FactTerm]) -> TakenBack:
    """What the last message told; questions back after it are passed over, words nobody could read are not."""
    for heard in reversed(conversation.messages):
        if heard.kind == "not_understood":
            break
        numbers = [number for number in heard.numbers() if number not in conversation.struck]
        if not numbers:
            continue
        dangers = [number for number in numbers if number in folded.standing and danger(folded.standing[number], terms)]
        return TakenBack(tuple(number for number in numbers if number not in dangers), tuple(dangers))
    return TakenBack()
