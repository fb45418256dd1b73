"""Compiles the rows of a words file that tell of families of words and of alarms."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rules.bookkeeping.yamlsource import nearest
from rules.notes.families import Alarm, Calm, Family
from rules.notes.phrases import GAP, PhraseError, Words, spellings

if TYPE_CHECKING:
    from rules.notes.lexicon import Row

REACH = 4  # tokens
_ITEMS = {"things": "thing", "contexts": "context"}
_HAZARD = "hazard."


def family(at: Row) -> Family | None:
    """A set of words of one sort. Reports what is wrong with the row."""
    name = at.row.get("family")
    if not isinstance(name, str):
        return None
    items = tuple(
        (kind, item) for field, kind in _ITEMS.items() for item in at.names(field, at.compiler.names[field], kind)
    )
    return Family(name, tuple(_spelled(at)), items, at.flag("anywhere"))


def _spelled(at: Row) -> list[Words]:
    found: list[Words] = []
    for phrase in at.texts("words"):
        try:
            spelled = spellings(phrase)
        except PhraseError as error:
            at.problem("words", str(error))
            continue
        if any(GAP in words for words in spelled):
            at.problem("words", f"{phrase!r} has a gap; write the words of a family without gaps")
            continue
        found += spelled
    return found


def alarm(at: Row) -> Alarm | None:
    """Families that tell a danger together. Reports what is wrong with the row."""
    name, head = at.row.get("alarm"), _choice(at, "head")
    fact = at.row.get("says")
    facts = at.compiler.facts
    if not isinstance(fact, str) or not fact.startswith(_HAZARD) or fact not in facts:
        hazards = [known for known in facts if known.startswith(_HAZARD)]
        at.problem("says", f"{fact!r} is no danger; write one of {', '.join(hazards)}{nearest(str(fact), hazards)}")
        return None
    if len(head) != 1:
        at.problem("head", "write the one family without which there is no alarm")
        return None
    certainty = at.row.get("certainty", "said")
    if certainty not in ("said", "hedged"):
        at.problem("certainty", f"{certainty!r} is not known; write said or hedged")
    reach = at.row.get("reach", REACH)
    if not isinstance(reach, int) or reach < 1:
        at.problem("reach", f"{reach!r} is no number of words; write a whole number from 1")
        return None
    return Alarm(
        str(name),
        fact,
        next(iter(head)),
        _choice(at, "led_by"),
        tuple(_choices(at, "then")),
        tuple(_choices(at, "beside")),
        frozenset(at.names("unless", at.compiler.names["families"], "family")),
        "hedged" if certainty == "hedged" else "said",
        reach,
        at.flag("unread"),
        at.flag("denial"),
    )


def calm(at: Row) -> Calm | None:
    """Families beside which a danger is none, or in doubt. Reports what is wrong with the row."""
    facts = at.known(at.texts("of"), [fact for fact in at.compiler.facts if fact.startswith(_HAZARD)], "danger", "of")
    beside = tuple(choice for choice in _choices(at, "beside") if choice)
    leaves = at.row.get("leaves")
    if leaves not in ("doubt", "nothing"):
        at.problem("leaves", f"{leaves!r} is not known; write doubt or nothing")
    if not beside:
        at.problem("beside", "write the families that must stand in the sentence")
        return None
    unless = frozenset(at.names("unless", at.compiler.names["families"], "family"))
    return Calm(str(at.row.get("calm")), frozenset(facts), beside, unless, leaves == "doubt",
                at.flag("near"), at.flag("later"))  # fmt: skip


def _choice(at: Row, field: str) -> frozenset[str]:
    return frozenset().union(*_choices(at, field))


def _choices(at: Row, field: str) -> list[frozenset[str]]:
    """Each one family, or several of which one is enough: ``touch/metal``."""
    known = at.compiler.names["families"]
    return [frozenset(at.known(text.split("/"), known, "family", field)) for text in at.texts(field)]
