"""A decision record asked again under the present book, and what differs in the answer."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from rules import BookError, Enquiry, Expert, Fact, InputError, load_appliance, triage
from rules.bookkeeping.types import Appliance
from rules.bookkeeping.yamlsource import YamlSource
from service.schemas import triage_dump

SHARE = 0.01  # probabilities that differ by less are the same answer


@dataclass(frozen=True)
class Replayed:
    """One record, asked again. ``changes``: part of the answer to what it was and what it is now."""

    line: int
    decision_id: str
    time: str
    masked: bool
    changes: Mapping[str, tuple[Any, Any]]


def replay(expert: Expert, record: Mapping[str, Any], line: int) -> Replayed:
    """Ask again. A question that the present book cannot take is a change of its own.

    A masked note is replaced by the facts that were read from it. Raises KeyError or TypeError for what is no record.
    """
    masked = "/input/note" in record["masked"]
    before = parts(record["result"], record["fired"])
    try:
        answer = triage(expert, _enquiry(expert, record, masked))
        now = parts(triage_dump(expert.book.facts)(answer), list(answer.fired))
    except (InputError, BookError) as error:
        return _replayed(record, line, masked, {"answered": ("yes", f"no: {error}")})
    return _replayed(
        record, line, masked, {name: (was, now[name]) for name, was in before.items() if _differ(was, now[name])}
    )


def _replayed(record: Mapping[str, Any], line: int, masked: bool, changes: Mapping[str, tuple[Any, Any]]) -> Replayed:
    return Replayed(line, record["decision_id"], record["time"], masked, changes)


def parts(result: Mapping[str, Any], fired: list[str]) -> dict[str, Any]:
    """What counts as the answer: the stop, the faults with their probabilities, the tests, the visit, the rules."""
    visit = result["visit"]
    return {
        "in_scope": result["scope"]["in_scope"],
        "stop": result["stop"] and f"{result['stop']['signal']}: {result['stop']['say']}",
        "conclusions": {_named(c["fault"], c["where"]): c["probability"] for c in result["conclusions"]},
        "next_tests": [_named(t["test"], t["where"]) for t in result["next_tests"]],
        "visit": [visit["needed"], visit["urgency"], visit["skill"]],
        "load_parts": sorted(part["part"] for part in visit["load_parts"]),
        "fired": sorted(fired),
    }


def _named(name: str, where: str | None) -> str:
    return f"{name}@{where}" if where else name


def _differ(was: Any, now: Any) -> bool:
    if isinstance(was, dict) and isinstance(now, dict):
        return was.keys() != now.keys() or any(abs(was[name] - now[name]) >= SHARE for name in was)
    return bool(was != now)


def _enquiry(expert: Expert, record: Mapping[str, Any], masked: bool) -> Enquiry:
    given = record["input"]
    facts = [_fact(fact, fact["during"]) for fact in given["facts"]]
    if masked:
        facts += [_fact(fact, fact["while"]) for fact in record["result"]["understood"] if fact["source"] == "note"]
    note = None if masked else given["note"]
    return Enquiry(note, tuple(facts), _appliance(expert, given["appliance"]), given["role"], given["explain"])


def _fact(kept: Mapping[str, Any], during: str | None) -> Fact:
    value = float("inf") if kept["value"] == "OL" else kept["value"]
    return Fact(kept["fact"], value, kept["where"], kept["between"], during, kept["source"], kept["certainty"])


def _appliance(expert: Expert, given: Mapping[str, Any] | None) -> Appliance | None:
    """The appliance as it was; checked by the present book. Raises BookError."""
    if given is None:
        return None
    return load_appliance(YamlSource("appliance", {**given}, {}), expert.book)
