"""What a conversation is: messages as they were heard, facts as they were read, and what of it was struck."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Literal, get_args

from rules.bookkeeping.types import Appliance
from rules.terms import Fact, InputError, Problem, Role

#: A fact's number in a conversation: the number of its message, and its index in that message. Never given anew.
Number = tuple[int, int]

#: What a message was: an answer to the open question, something told, a correction of what was told, a place named,
#: a question back (why, how), "not sure", words nobody could read, or nothing at all (a look at the state).
Kind = Literal["answer", "told", "correction", "place", "why", "how", "not_known", "not_understood", "look"]
KINDS: tuple[Kind, ...] = get_args(Kind)

#: What became of a fact: it stands, a later one replaced it, it was struck, or the appliance has nothing of the kind.
Fate = Literal["stands", "replaced", "struck", "does_not_fit"]


@dataclass(frozen=True)
class Message:
    """A message as it was sent: text, facts, or both. ``number`` counts from 0 in its conversation."""

    number: int
    role: Role
    text: str | None = None
    facts: tuple[Fact, ...] = ()


@dataclass(frozen=True)
class OpenQuestion:
    """The question that waits for an answer: its test, the key it reads (``surface.heat@left_front``), its words."""

    test: str
    reads: str
    ask: str
    why: str
    who: Role


@dataclass(frozen=True)
class HeardFact:
    """A fact as a message told it.

    ``answers``: it answers the open question. ``corrects``: told as a correction, which also takes back a danger.
    """

    fact: Fact
    answers: bool = False
    corrects: bool = False


@dataclass(frozen=True)
class Heard:
    """A message with what was read from it, once and for all.

    ``asked`` is the question it was read against: the one open when it came, or, of a correction, the one answered
    before. ``place`` is set where it said which unit was meant: what was
    told of the first is said of the second. As a thing that can be struck, it is numbered after the last fact.
    """

    message: Message
    asked: OpenQuestion | None
    kind: Kind
    facts: tuple[HeardFact, ...] = ()
    place: tuple[str, str] | None = None
    unread: tuple[str, ...] = ()

    def numbers(self) -> tuple[Number, ...]:
        """The numbers of all that can be struck of it."""
        count = len(self.facts) + (self.place is not None)
        return tuple((self.message.number, index) for index in range(count))


@dataclass(frozen=True)
class Conversation:
    """A case so far. ``appliance``: None until somebody names it (then the answer assumes one).

    ``asks`` is the question that the last answer asked, None where none is open or it has to be worked out anew; it
    is no part of what the case is, so two conversations are equal without it.
    """

    appliance: Appliance | None = None
    role: Role = "desk"
    messages: tuple[Heard, ...] = ()
    struck: frozenset[Number] = frozenset()
    asks: OpenQuestion | None = field(default=None, compare=False)

    def numbers(self) -> tuple[Number, ...]:
        """Everything that can be struck."""
        return tuple(number for heard in self.messages for number in heard.numbers())


@dataclass(frozen=True)
class TurnFact:
    """A fact of the conversation as it stands now.

    ``place_of_unit``: this is no fact but the naming of a unit (``fact`` is None then, ``words`` says which).
    ``replaced``: the numbers of earlier facts that it replaced. ``words``: the fact read back in plain words.
    """

    number: Number
    fact: Fact | None
    words: str
    answers: bool
    fate: Fate
    replaced: tuple[Number, ...] = ()


def strike(conversation: Conversation, number: Number, *more: Number) -> Conversation:
    """Unsay facts: they stay in the history and count no longer. Raises InputError for a number nobody has."""
    numbers = _known(conversation, (number, *more))
    return replace(conversation, struck=conversation.struck | numbers, asks=None)


def restore(conversation: Conversation, number: Number, *more: Number) -> Conversation:
    """Undo :func:`strike`. Raises InputError for a number nobody has."""
    numbers = _known(conversation, (number, *more))
    return replace(conversation, struck=conversation.struck - numbers, asks=None)


def change_role(conversation: Conversation, role: Role) -> Conversation:
    """Let somebody else speak from now on: what was told before keeps its source, and so does the belief."""
    return replace(conversation, role=role, asks=None)


def _known(conversation: Conversation, numbers: tuple[Number, ...]) -> frozenset[Number]:
    """The numbers, if each is one of the conversation's."""
    known = set(conversation.numbers())
    problems = [
        Problem(f"facts/{message}.{index}", f"no fact {message}.{index} in this case; see its list of facts")
        for message, index in numbers
        if (message, index) not in known
    ]
    if problems:
        raise InputError(problems)
    return frozenset(numbers)
