"""Looks for dangers in sentences that the lexicon's phrases did not read, by the families of words that meet in them.

What is denied, only supposed, asked, told of former times, of another appliance or as put right raises no alarm. A
clear one is said, a doubtful one is asked about: a word of danger that nobody understood is not passed over.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from rules.notes.claims import Said
from rules.notes.entries import Lexicon
from rules.notes.families import DENYING, LIKENED, SUPPOSING, Alarm, Calm, Mark, Marks
from rules.notes.scope import PUT_RIGHT
from rules.notes.told import Told
from rules.terms import Value

_DENIALS = frozenset({"negation", "negation_verb", "absence"})
_LISTED = ("or", "nor")
HAZARD = "hazard."
#: Facts that tell a danger under another name.
_TOLD_BY: dict[tuple[str, Value], str] = {
    ("surface.off_heat", "some"): "hazard.heat_when_off",
    ("oven.off_heat", "some"): "hazard.heat_when_off",
    ("breaker", "trips_at_once"): "hazard.breaker_trips_again",
}
CLOSE = 3  # words between a denial and what it denies, whatever stands between


@dataclass(frozen=True)
class Heard:
    """A sentence: its clauses, what was read of it, where it begins and ends in the note, and whether it only asks."""

    said: Sequence[Said]
    told: Sequence[Told]
    start: int
    end: int
    asked: bool = False


def watched(told: list[Told], heard: Heard, marks: Marks, lexicon: Lexicon) -> list[Told]:
    """What a note tells after one of its sentences was looked at for dangers."""
    kept = calmed(heard, marks, lexicon)
    dropped = {*heard.told} - {*kept}
    if dropped:
        told = [fact for fact in told if fact not in dropped] + [fact for fact in kept if fact not in heard.told]
    if heard.asked:
        return told
    return [*told, *raised(replace(heard, told=kept), marks, lexicon)]


def raised(heard: Heard, marks: Marks, lexicon: Lexicon) -> list[Told]:
    """The dangers of a sentence that its phrases did not tell. Marks the clauses they stand in as understood."""
    here = _within(marks, heard)
    found: dict[str, Told] = {}
    for alarm in lexicon.alarms.alarms:
        if alarm.head not in here or (alarm.fact in found and not _surer(alarm, found[alarm.fact])):
            continue
        if here.keys() & alarm.unless or _told_already(alarm, heard, [*found.values()]):
            continue
        told = _first(alarm, here, heard, lexicon)
        if told is not None and _calm(told.fact, told.start, here, heard, lexicon) is None:
            found[alarm.fact] = told
    return [*found.values()]


def calmed(heard: Heard, marks: Marks, lexicon: Lexicon) -> list[Told]:
    """What was told in a sentence, without the dangers that are none beside its other words."""
    here = _within(marks, heard)
    kept: list[Told] = []
    for fact in heard.told:
        danger = _TOLD_BY.get((fact.fact, fact.value), fact.fact if fact.value == "yes" else "")
        calm = _calm(danger, fact.start, here, heard, lexicon)
        if calm is None:
            kept.append(fact)
        elif calm.doubtful:
            kept.append(fact._replace(certainty="hedged"))
    return kept


def _calm(fact: str, start: int, here: Marks, heard: Heard, lexicon: Lexicon) -> Calm | None:
    """What makes a danger that begins there none, or doubtful."""
    if not fact.startswith(HAZARD):
        return None
    for calm in lexicon.alarms.calms:
        if fact not in calm.facts or here.keys() & calm.unless:
            continue
        own = _clause_of(Mark(start, start, 0, 0), heard) if calm.near else None
        if all(
            any(
                (not calm.near or _clause_of(mark, heard) is own) and (not calm.later or mark.start > start)
                for mark in _of(families, here)
            )
            for families in calm.beside
        ):
            return calm
    return None


def _within(marks: Marks, heard: Heard) -> dict[str, list[Mark]]:
    """The marks that stand in a sentence."""
    here: dict[str, list[Mark]] = {}
    for family, found in marks.items():
        first, last = bisect_left(found, (heard.start,)), bisect_left(found, (heard.end,))
        if first < last:
            here[family] = [*found[first:last]]
    return here


def _surer(alarm: Alarm, told: Told) -> bool:
    return told.certainty == "hedged" and alarm.certainty != "hedged"


def _told_already(alarm: Alarm, heard: Heard, raised_before: Sequence[Told]) -> bool:
    """Whether the sentence told this danger as surely, or denied it, or told any if this is only asked about."""
    for fact in (*heard.told, *raised_before):
        if fact.fact == alarm.fact and (fact.value != "yes" or not _surer(alarm, fact)):
            return True
        if alarm.certainty == "hedged" and fact.fact.startswith(HAZARD) and fact.value == "yes":
            return True
    return False


def _first(alarm: Alarm, here: Marks, heard: Heard, lexicon: Lexicon) -> Told | None:
    """The alarm, if one of its heads has all that it needs around it."""
    for head in here[alarm.head]:
        said = _clause_of(head, heard)
        if said is None or _set_aside(said, here, heard, lexicon) or (alarm.unread and said.used):
            continue
        if not alarm.denial and (_denied(head, heard) or _denied_closely(head, here)):
            continue
        together = [*_around(alarm, head, here, heard)]
        if not together:
            continue
        said.used = True
        doubt = alarm.certainty == "hedged" or said.lately or said.unsure or (said.hedged and not said.opinion)
        start, end = min(mark.start for mark in together), max(mark.end for mark in together)
        return Told(alarm.fact, "yes", None, "hedged" if doubt else "said", start, end)
    return None


def _around(alarm: Alarm, head: Mark, here: Marks, heard: Heard) -> Iterator[Mark]:
    """The marks of an alarm with this head, nothing if one is missing."""
    found = [head]
    last = head
    for families in alarm.then:
        following = [mark for mark in _of(families, here) if last.last < mark.first <= last.last + alarm.reach]
        if not following:
            return
        last = min(following)
        found.append(last)
    if alarm.led_by:
        leading = [mark for mark in _of(alarm.led_by, here) if head.first - alarm.reach <= mark.last < head.first]
        if not leading:
            return
        found.append(max(leading))
    for families in alarm.beside:
        others = [
            mark
            for mark in _of(families, here)
            if not _overlaps(mark, found)
            and (not _denied(mark, heard) or (alarm.denial and _clause_of(mark, heard) is _clause_of(head, heard)))
        ]
        if not others:
            return
        found.append(min(others, key=lambda mark: (abs(mark.first - head.first), mark)))
    yield from found


def _of(families: frozenset[str], here: Marks) -> list[Mark]:
    return [mark for family in families for mark in here.get(family, ())]


def _overlaps(mark: Mark, others: Sequence[Mark]) -> bool:
    return any(mark.first <= other.last and other.first <= mark.last for other in others)


def _clause_of(mark: Mark, heard: Heard) -> Said | None:
    """The clause that a word stands in; a word that was dropped belongs to the clause before it."""
    before = [said for said in heard.said if said.clause.start <= mark.start]
    return before[-1] if before else (heard.said[0] if heard.said else None)


def _set_aside(said: Said, here: Marks, heard: Heard, lexicon: Lexicon) -> bool:
    """Whether a clause tells nothing of this range as it is now."""
    if said.former or said.clause.condition == "if" or PUT_RIGHT in said.contexts:
        return True
    if any(_clause_of(mark, heard) is said for mark in here.get(SUPPOSING, ())):
        return True
    things = {noun.thing for each in heard.said for noun in each.nouns}
    if things.isdisjoint(lexicon.beside):
        return False
    likened = here.get(LIKENED, ())
    own = [noun for noun in said.nouns if not noun.carried and not any(mark.start < noun.start for mark in likened)]
    if likened and not own:
        return False  # "stinks like an overheated hair dryer"
    return not own or own[0].thing in lexicon.beside


def _denied_closely(mark: Mark, here: Marks) -> bool:
    """Whether a denial stands a few words before, even as part of a phrase: "no current through ..."."""
    return any(mark.first - CLOSE <= denying.last < mark.first for denying in here.get(DENYING, ()))


def _denied(mark: Mark, heard: Heard) -> bool:
    """Whether a denial stands before a word in its clause, or its clause goes on with a list of what there is not."""
    said = _clause_of(mark, heard)
    if said is None:
        return False
    if any(
        item.start < mark.start and (item.kind in _DENIALS or (item.denies and item.kind != "state"))
        for item in said.clause.items
    ):
        return True
    return said.clause.link in _LISTED and any(
        fact.fact.startswith(HAZARD) and fact.value == "no" for fact in heard.told
    )
