"""Families of words, and the alarms that are put together from them.

A phrase of the lexicon is read only as it is written in the book. Dangers are told in more words than anybody writes
down, so they are also looked for by composition: something that bites, and somebody whom it bites, beside a part of the
range. A family is a set of words of one sort (and of things and contexts of the lexicon); an alarm says which families
must meet in one sentence for a danger to be read or asked about.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, NamedTuple

from rules.notes.phrases import Words
from rules.terms import Certainty

if TYPE_CHECKING:
    from rules.notes.tagging import Item, Tagged

BLOCKED = "blocked"
SUPPOSING = "supposing"  # the family of words by which something is only thought of
LIKENED = "looks_like"  # the family of words by which something is likened to another
DENYING = "denying"  # the family of words that deny what follows them closely


class Mark(NamedTuple):
    """Where a word of a family stands: offsets in the note, and the numbers of its first and last token."""

    start: int
    end: int
    first: int
    last: int


Marks = Mapping[str, Sequence[Mark]]


@dataclass(frozen=True)
class Family:
    """Words of one sort. ``anywhere``: they count inside phrases that only look like words of ours, too."""

    family: str
    spellings: tuple[Words, ...]
    items: tuple[tuple[str, str], ...] = ()  # kinds and names of the lexicon's things and contexts
    anywhere: bool = False


class Need(NamedTuple):
    """Words of which one must be there, or sets of words of which all must, or one of some things and contexts."""

    single: frozenset[str]
    longer: tuple[frozenset[str], ...]
    items: frozenset[tuple[str, str]]

    @classmethod
    def of(cls, families: Sequence[Family]) -> Need:
        """What a note needs to hold one of these families."""
        spellings = [words for family in families for words in family.spellings]
        return cls(
            frozenset(words[0] for words in spellings if len(words) == 1),
            tuple(frozenset(words) for words in spellings if len(words) > 1),
            frozenset(item for family in families for item in family.items),
        )

    def met(self, tagged: Tagged) -> bool:
        """Whether a note may hold one of the families."""
        named = tagged.named
        if not self.single.isdisjoint(named):
            return True
        for words in self.longer:
            if words <= named:
                return True
        if self.items:
            for item in tagged.items:
                if item[:2] in self.items:
                    return True
        return False


@dataclass(frozen=True)
class Alarm:
    """Families that tell a danger together. Each choice is a set of families of which one is enough.

    ``led_by`` stands at most ``reach`` tokens before the head, and each of ``then`` as near behind what stands before
    it; ``beside`` stand anywhere in the sentence, and one of ``unless`` takes the alarm back.
    """

    alarm: str
    fact: str
    head: str
    led_by: frozenset[str]
    then: tuple[frozenset[str], ...]
    beside: tuple[frozenset[str], ...]
    unless: frozenset[str]
    certainty: Certainty
    reach: int
    unread: bool  # counts only where nothing of the clause was understood
    denial: bool  # the head is a denial itself: "nobody"


@dataclass(frozen=True)
class Calm:
    """Families beside which a danger is none, or in doubt.

    ``near``: they must stand in the danger's own clause. ``later``: they must stand after it.
    """

    calm: str
    facts: frozenset[str]
    beside: tuple[frozenset[str], ...]
    unless: frozenset[str]
    doubtful: bool
    near: bool
    later: bool


@dataclass(frozen=True, eq=False)
class Alarms:
    """All families, alarms and calms of a book, ready for looking."""

    families: tuple[Family, ...]
    alarms: tuple[Alarm, ...]
    calms: tuple[Calm, ...]
    single: dict[str, list[Family]] = field(default_factory=dict)  # by the one word of a spelling
    longer: dict[str, list[tuple[Words, Family]]] = field(default_factory=dict)  # by the first word of several
    by_item: dict[tuple[str, str], list[Family]] = field(default_factory=dict)
    words: set[str] = field(default_factory=set)
    heads: set[str] = field(default_factory=set)  # words of the families that are heads of an alarm
    leads: dict[str, list[tuple[frozenset[str], tuple[Need, ...], str]]] = field(default_factory=dict)
    leading: set[str] = field(default_factory=set)  # the words of ``leads``
    murmurs: set[str] = field(default_factory=set)  # words that raise an alarm where nothing was understood
    soothing: dict[str, list[frozenset[str]]] = field(
        default_factory=dict
    )  # what a calm needs first, by its rarest word

    def __post_init__(self) -> None:
        named = {family.family: family for family in self.families}
        for family in self.families:
            for spelling in family.spellings:
                self.words.update(spelling)
                if len(spelling) == 1:
                    self.single.setdefault(spelling[0], []).append(family)
                else:
                    self.longer.setdefault(spelling[0], []).append((spelling, family))
            for item in family.items:
                self.by_item.setdefault(item, []).append(family)
        for alarm in self.alarms:
            needed = (alarm.led_by, *alarm.then, *alarm.beside)
            needs = tuple(Need.of([named[name] for name in names]) for names in needed if names)
            for words in named[alarm.head].spellings:
                self.heads.update(words)
                if alarm.unread:
                    self.murmurs.add(_rarest(words))
                else:
                    self.leads.setdefault(_rarest(words), []).append((frozenset(words), needs, alarm.fact))
        self.leading.update(self.leads)
        for calm in self.calms:
            for words in [each for name in calm.beside[0] for each in named[name].spellings]:
                self.soothing.setdefault(_rarest(words), []).append(frozenset(words))

    def possible(self, tagged: Tagged) -> set[str]:
        """The dangers that a note may raise an alarm of. Cheap: it spares most notes the looking."""
        named = tagged.named
        facts: set[str] = set()
        for word in named & self.leading:
            for head, needs, fact in self.leads[word]:
                if fact in facts or not head <= named:
                    continue
                for need in needs:
                    if not need.met(tagged):
                        break
                else:
                    facts.add(fact)
        return facts

    def may_calm(self, tagged: Tagged) -> bool:
        """Whether a note has words beside which a danger may be none."""
        named = tagged.named
        return bool([words for word in named & self.soothing.keys() for words in self.soothing[word] if words <= named])

    def marks(self, tagged: Tagged) -> Marks:
        """Where the families stand in a note."""
        found: dict[str, list[Mark]] = {}
        starts = [token.start for token in tagged.tokens]
        blocked = _tokens_of([item for item in tagged.items if item.kind == BLOCKED], starts)
        for at, word in enumerate(tagged.words):
            for family in self.single.get(word, ()):
                if family.anywhere or at not in blocked:
                    mark = Mark(starts[at], tagged.tokens[at].end, at, at)
                    found.setdefault(family.family, []).append(mark)
            for spelling, family in self.longer.get(word, ()):
                last = at + len(spelling) - 1
                if tuple(tagged.words[at : last + 1]) == spelling and (family.anywhere or at not in blocked):
                    mark = Mark(starts[at], tagged.tokens[last].end, at, last)
                    found.setdefault(family.family, []).append(mark)
        for item in tagged.items:
            for family in self.by_item.get((item.kind, item.name), ()):
                first, last = bisect_left(starts, item.start), bisect_left(starts, item.end) - 1
                found.setdefault(family.family, []).append(Mark(item.start, item.end, first, last))
        return {name: sorted(each) for name, each in found.items()}


def _rarest(words: Words) -> str:
    """The word of a spelling that is likely the rarest in notes: the longest."""
    return max(words, key=len)


def _tokens_of(items: Sequence[Item], starts: Sequence[int]) -> set[int]:
    """The numbers of the tokens that items are made of."""
    return {at for item in items for at in range(bisect_left(starts, item.start), bisect_left(starts, item.end))}
