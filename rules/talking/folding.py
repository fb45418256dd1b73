"""Folds a conversation's messages into what stands: later over earlier, struck left out, named units put in place.

Nothing is remembered between folds, so the same messages and strikes always give the same state.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from rules.bookkeeping.types import FactTerm
from rules.talking.conversation import Conversation, Fate, Heard, HeardFact, Number
from rules.terms import ALL, OTHERS, UNNAMED, Fact


@dataclass
class Folded:
    """What stands, by number in the order it was told, and what became of the rest.

    ``replaced``: for a fact, the earlier ones it replaced. ``kept``: dangers that it denied and that stand all the
    same. ``outranked``: facts of a more trusted source that it spoke against. All by number. ``last_place``: the unit
    named last.
    """

    standing: dict[Number, Fact] = field(default_factory=dict)
    told: dict[Number, Fact] = field(default_factory=dict)  # every fact, whatever became of it
    fates: dict[Number, Fate] = field(default_factory=dict)
    replaced: dict[Number, tuple[Number, ...]] = field(default_factory=dict)
    kept: dict[Number, tuple[Number, ...]] = field(default_factory=dict)
    outranked: dict[Number, tuple[Number, ...]] = field(default_factory=dict)
    last_place: str | None = None

    @property
    def facts(self) -> tuple[Fact, ...]:
        """The facts that stand."""
        return tuple(self.standing.values())


def fold(conversation: Conversation, terms: Mapping[str, FactTerm]) -> Folded:
    """Go through the messages once, from the first to the last."""
    folded = Folded()
    for heard in conversation.messages:
        _take(folded, heard, conversation.struck, terms)
    return folded


def _take(folded: Folded, heard: Heard, struck: frozenset[Number], terms: Mapping[str, FactTerm]) -> None:
    """One message: the unit it names first, then its facts. Facts of one message never replace each other."""
    number = heard.message.number
    if heard.place is not None:
        at = (number, len(heard.facts))
        folded.fates[at] = "struck" if at in struck else "stands"
        if at not in struck:
            _put(folded, at, *heard.place)
    earlier = dict(folded.standing)
    for index, told in enumerate(heard.facts):
        at = (number, index)
        folded.told[at] = told.fact
        if at in struck:
            folded.fates[at] = "struck"
            continue
        _weigh_against(folded, at, told, earlier, terms)
        folded.standing[at] = told.fact
        folded.fates[at] = "stands"
        if told.fact.where not in (None, ALL, OTHERS, UNNAMED):
            folded.last_place = told.fact.where


def _put(folded: Folded, at: Number, old: str, new: str) -> None:
    """What was told of one unit is told of another; what was known of that one before it replaces."""
    moved = {number: fact.at(new) for number, fact in folded.standing.items() if fact.where == old}
    keys = {fact.key for fact in moved.values()}
    gone = [number for number, fact in folded.standing.items() if number not in moved and fact.key in keys]
    _drop(folded, at, gone)
    folded.standing.update(moved)
    folded.told.update(moved)
    folded.last_place = new


def _weigh_against(
    folded: Folded, at: Number, told: HeardFact, earlier: Mapping[Number, Fact], terms: Mapping[str, FactTerm]
) -> None:
    """Which of the earlier facts a new one replaces: those on the same key, said by one no more trusted than it is.

    A danger is not undone by a denial alone: it stays until it is struck, or taken back in so many words.
    """
    gone, kept, outranked = [], [], []
    for number, fact in earlier.items():
        if number not in folded.standing or not _same_subject(told, fact) or fact.value == told.fact.value:
            continue
        if rank(fact) > rank(told.fact):
            outranked.append(number)
        elif danger(fact, terms) and not danger(told.fact, terms) and not (told.corrects and told.fact.told):
            kept.append(number)
        else:
            gone.append(number)
    _drop(folded, at, gone)
    if kept:
        folded.kept[at] = tuple(kept)
    if outranked:
        folded.outranked[at] = tuple(outranked)


def _drop(folded: Folded, by: Number, gone: Iterable[Number]) -> None:
    numbers = tuple(gone)
    for number in numbers:
        del folded.standing[number]
        folded.fates[number] = "replaced"
    if numbers:
        folded.replaced[by] = (*folded.replaced.get(by, ()), *numbers)


def _same_subject(told: HeardFact, earlier: Fact) -> bool:
    """Whether two facts speak of the same thing. ``all`` and ``others`` take each other's place.

    A correction about all units also speaks of each; without one, a unit named apart is the exception to the rest.
    """
    new = told.fact
    if new.key == earlier.key:
        return True
    if new.fact != earlier.fact or new.where is None or earlier.where is None:
        return False
    if new.where in (ALL, OTHERS) and earlier.where in (ALL, OTHERS):
        return True
    return told.corrects and new.where == ALL


def rank(fact: Fact) -> int:
    """Who is trusted more in a conversation. What a speaker says in words and by choice counts the same."""
    return 1 if fact.source == "technician" else 0


def danger(fact: Fact, terms: Mapping[str, FactTerm]) -> bool:
    """Whether a fact tells of a danger."""
    term = terms[fact.fact]
    return term.hazard and fact.told and fact.value != term.usual
