"""A conversation as plain values (dict, list, str, int, float, bool, None) that JSON can hold, and back again.

An open-line reading is ``{"open_line": true}``, since JSON has no infinity. Storage keeps each :class:`Heard` as one
record that is never changed, and the struck numbers beside them.
"""

from __future__ import annotations

from collections.abc import Mapping
from math import inf
from typing import Any, cast

from rules.bookkeeping.building import appliance, appliance_record
from rules.talking.conversation import Conversation, Heard, HeardFact, Kind, Message, OpenQuestion
from rules.terms import Fact, Role

_OPEN_LINE = {"open_line": True}


def to_plain(conversation: Conversation) -> dict[str, Any]:
    """The whole conversation."""
    own = conversation.appliance
    return {
        "appliance": None if own is None else appliance_record(own),
        "role": conversation.role,
        "messages": [heard_to_plain(heard) for heard in conversation.messages],
        "struck": [list(number) for number in sorted(conversation.struck)],
        "asks": question_to_plain(conversation.asks),
    }


def from_plain(plain: Mapping[str, Any]) -> Conversation:
    """Undo :func:`to_plain`. For what this program wrote itself: nothing is checked."""
    own = plain["appliance"]
    return Conversation(
        appliance=None if own is None else appliance(_tupled_units(own)),
        role=cast(Role, plain["role"]),
        messages=tuple(heard_from_plain(heard) for heard in plain["messages"]),
        struck=frozenset((int(message), int(index)) for message, index in plain["struck"]),
        asks=question_from_plain(plain["asks"]),
    )


def _tupled_units(record: Mapping[str, Any]) -> dict[str, Any]:
    return {**record, "units": [{**unit, "watts": tuple(unit["watts"])} for unit in record["units"]]}


def heard_to_plain(heard: Heard) -> dict[str, Any]:
    """One message as it was heard: one record of storage."""
    message = heard.message
    return {
        "message": {
            "number": message.number,
            "role": message.role,
            "text": message.text,
            "facts": [fact_to_plain(fact) for fact in message.facts],
        },
        "asked": question_to_plain(heard.asked),
        "kind": heard.kind,
        "facts": [
            {"fact": fact_to_plain(told.fact), "answers": told.answers, "corrects": told.corrects}
            for told in heard.facts
        ],
        "place": None if heard.place is None else list(heard.place),
        "unread": list(heard.unread),
    }


def heard_from_plain(plain: Mapping[str, Any]) -> Heard:
    """Undo :func:`heard_to_plain`."""
    sent, place = plain["message"], plain["place"]
    return Heard(
        message=Message(
            int(sent["number"]),
            cast(Role, sent["role"]),
            sent["text"],
            tuple(fact_from_plain(fact) for fact in sent["facts"]),
        ),
        asked=question_from_plain(plain["asked"]),
        kind=cast(Kind, plain["kind"]),
        facts=tuple(
            HeardFact(fact_from_plain(told["fact"]), told["answers"], told["corrects"]) for told in plain["facts"]
        ),
        place=None if place is None else (place[0], place[1]),
        unread=tuple(plain["unread"]),
    )


def fact_to_plain(fact: Fact) -> dict[str, Any]:
    """A fact's fields, the open line as ``{"open_line": true}``."""
    record = {name: getattr(fact, name) for name in Fact.__dataclass_fields__}
    record["span"] = None if fact.span is None else list(fact.span)
    if fact.value == inf:
        record["value"] = dict(_OPEN_LINE)
    return record


def fact_from_plain(plain: Mapping[str, Any]) -> Fact:
    """Undo :func:`fact_to_plain`."""
    value, span = plain["value"], plain["span"]
    opened = value == _OPEN_LINE
    number = float(value) if isinstance(value, int) and not isinstance(value, bool) else value
    return Fact(**{**plain, "value": inf if opened else number, "span": None if span is None else tuple(span)})


def question_to_plain(question: OpenQuestion | None) -> dict[str, Any] | None:
    """The open question."""
    return None if question is None else dict(question.__dict__)


def question_from_plain(plain: Mapping[str, Any] | None) -> OpenQuestion | None:
    """The open question as :func:`to_plain` wrote it."""
    return None if plain is None else OpenQuestion(**plain)
