"""From items to clauses: sentences, and in each the stretches that say one thing.

A stretch ends at a comma, an ``and``, a ``but``, a condition word, and, since many notes have no punctuation at all,
where a new thing with its own state begins.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from rules.notes.entries import Lexicon
from rules.notes.tagging import Item

_SEPARATORS = frozenset({"comma", "then", "colon", "and", "or", "nor", "but", "except"})
_CONDITIONS = frozenset({"when", "with", "if", "until", "unless"})
_ASIDE = ("when", "if")  # "when it is set for 350 both glow"
_PREDICATES = frozenset({"state", "negation_verb", "verb", "stopping"})
_SUBJECTS = frozenset({"thing", "place", "quantity", "pronoun", "person"})
_DENIALS = frozenset({"negation", "negation_verb", "absence"})
_NAMES = ("thing", "place", "quantity", "preposition")
_MODIFIERS = frozenset({"negation", "absence", "quantity", "place", "only", "hedge", "opinion"})
LONGEST_SENTENCE = 150  # items; a note without a full stop is cut there, so that reading stays linear
#: Which of two links that meet (", and") names the joint.
_STRENGTH = {"comma": 0, "then": 1, "colon": 1, "and": 2, "or": 2, "nor": 3, "but": 3, "except": 4}


@dataclass
class Clause:
    """A stretch of a sentence. ``link`` is what joins it to the stretch before it, ``condition`` what opens it."""

    items: list[Item] = field(default_factory=list)
    link: str = "start"
    condition: str | None = None

    def has(self, *kinds: str) -> bool:
        """Whether an item of one of these kinds is in it."""
        for item in self.items:  # noqa: SIM110  a generator costs twice as much
            if item.kind in kinds:
                return True
        return False

    @property
    def start(self) -> int:
        return min([item.start for item in self.items])  # what a correction put in stands where it was written

    @property
    def end(self) -> int:
        return max([item.end for item in self.items])


@dataclass
class Sentence:
    """Clauses up to a full stop. ``question``: it asks instead of telling."""

    clauses: list[Clause]
    asked: bool
    things: frozenset[str] = frozenset()  # the names of all things in it
    kinds: frozenset[str] = frozenset()  # the kinds of all its items

    def __post_init__(self) -> None:
        things: set[str] = set()
        kinds: set[str] = set()
        for clause in self.clauses:
            for item in clause.items:
                kinds.add(item.kind)
                if item.kind == "thing":
                    things.add(item.name)
        self.things, self.kinds = frozenset(things), frozenset(kinds)

    @property
    def denied(self) -> set[str]:
        """The names of things that a denial stands before: "I didn't spill anything"."""
        found: set[str] = set()
        for clause in self.clauses:
            denied = False
            for item in clause.items:
                denied = denied or item.kind in _DENIALS
                if denied and item.kind == "thing":
                    found.add(item.name)
        return found


def split(items: list[Item], lexicon: Lexicon, *, talk: bool = False) -> list[Sentence]:
    """Cut the items of a note into sentences and clauses. In ``talk`` between two every question asks."""
    sentences: list[Sentence] = []
    begun: list[Item] = []
    for item in [*items, Item("stop", ".", 0, 0)]:
        if item.kind != "stop":
            begun.append(item)
        if begun and (item.kind == "stop" or len(begun) >= LONGEST_SENTENCE):
            clauses = _Cutter(begun, lexicon).cut()
            asked = item.name == "?" and (talk or _asks(begun))
            if item.name == "?" and not asked and len(clauses) > 1 and _asks_at_last(clauses[-1]):
                clauses.pop()
            sentences.append(Sentence(clauses, asked))
            begun = []
    return sentences


def _asks(items: list[Item]) -> bool:
    """A yes-or-no question opens with its verb or with 'any'; asking why takes it for granted."""
    if any(item.kind == "word" and item.name == "why" for item in items):
        return False
    return (
        items[0].kind == "verb" or (items[0].kind == "quantity" and items[0].name in ("some", "any")) or len(items) <= 2
    )


def _asks_at_last(clause: Clause) -> bool:
    """``..., is it broken?``"""
    return [item.kind for item in clause.items[:2]] == ["verb", "pronoun"]


class _Cutter:
    """Cuts one sentence."""

    def __init__(self, items: list[Item], lexicon: Lexicon) -> None:
        self.items = items
        self.lexicon = lexicon
        self.done: list[Clause] = []
        self.open = Clause()
        self.predicate_ahead = _predicates_ahead(items)

    def cut(self) -> list[Clause]:
        """The clauses of the sentence, none of them empty."""
        for number, item in enumerate(self.items):
            if item.kind in _SEPARATORS:
                self._joint("except" if self._excepts(item) or self._leaves_out(number) else item.kind)
            elif item.kind in _CONDITIONS:
                self._close("none")
                self.open.condition = item.kind
                self.open.items.append(item)
            elif item.kind == "now" and self.open.has("history") and self.open.has("state"):
                self._close("none")  # "used to boil in five minutes now takes ten"
                self.open.items.append(item)
            elif item.kind == "makes" and self.open.has("state", "context") and self.predicate_ahead[number]:
                self.open.condition = self.open.condition or "when"  # "turning a burner on makes the clock come on"
                self._close("none")
            elif item.kind == "state" and item.name == "revives" and self.open.has("state", "context", "thing"):
                self.open.condition = self.open.condition or "when"  # "any knob brings it back"
                self._close("none")
                self.open.items.append(item._replace(name="comes_on"))
            else:
                if item.kind in _SUBJECTS and self._opens_a_clause(number):
                    self._break_before_modifiers()
                self.open.items.append(item)
        self._close("none")
        return self.done

    def _joint(self, link: str) -> None:
        if self.open.items:
            self._close(link)
        elif self.done or link == "except":
            self.open.link = max(self.open.link, link, key=lambda name: _STRENGTH.get(name, -1))

    def _close(self, link: str) -> None:
        if self.open.items:
            self.done.append(self.open)
            self.open = Clause(link=link)

    def _generic(self, item: Item) -> bool:
        return item.kind == "thing" and self.lexicon.things[item.name].generic

    def _event(self, item: Item) -> bool:
        return item.kind == "thing" and self.lexicon.things[item.name].event

    def _excepts(self, item: Item) -> bool:
        """``everything but the oven``: the 'but' follows a whole with nothing said of it yet."""
        if item.kind != "but" or not self.open.items or self.open.has("state"):
            return False
        last = self.open.items[-1]
        led = len(self.open.items) > 1 and self.open.items[-2].kind == "preposition"
        counted = (
            len(self.open.items) > 1 and self.open.items[-2].kind == "quantity" and self.open.items[-2].name == "all"
        )
        return last.kind == "quantity" or (counted and last.kind == "thing") or (self._generic(last) and not led)

    def _leaves_out(self, number: int) -> bool:
        """``everything is dead but the left rear``: a bare name after what was said of the whole."""
        if self.items[number].kind != "but" or not self.open.has("state"):
            return False
        whole = any(self._generic(item) or (item.kind == "quantity" and item.name == "all") for item in self.open.items)
        named = False
        for item in self.items[number + 1 :]:
            if item.kind in _SEPARATORS:
                break
            if item.kind not in _NAMES:
                return False
            named = named or item.kind in ("thing", "place")
        return whole and named

    def _opens_a_clause(self, number: int) -> bool:
        item = self.items[number]
        if not self.open.items or self.open.items[-1].kind in ("preposition", "to"):
            return False
        if item.name == "oven_ends" and self.open.items[-1].kind == "state" and self._subject_follows(number):
            return False  # "everything is cold top and bottom the clock is lit"
        return self.predicate_ahead[number] and self._complete(number)

    def _subject_follows(self, number: int) -> bool:
        following = self.items[number + 1] if number + 1 < len(self.items) else None
        return following is not None and following.kind in _SUBJECTS

    def _complete(self, number: int) -> bool:
        """The open clause says something already: a thing and its state, or a condition in full."""
        core = Clause([*self.open.items])
        while self.open.link != "except" and core.items and core.items[-1].kind in _MODIFIERS:
            core.items.pop()  # they belong to the thing that comes
        if not core.items:
            return False
        told = ("state", "context", "number") if self.open.condition in _ASIDE else ("state", "context")
        said = core.has(*told) or (self.open.condition is not None and any(map(self._event, core.items)))
        named = core.has("thing", "place", "pronoun", "quantity", "context")
        last = core.items[-1]
        if self.open.condition:
            subject = any(item.kind in ("thing", "place", "pronoun") for item in core.items[:-1])
            awaits = last.kind == "state" and self.lexicon.states[last.name].takes_object and not subject
            return (said or self._tells_of_somebody(number)) and not awaits and last.kind != "verb"
        if self.open.link == "except" and named and not said:
            whole = self.items[number].kind == "quantity" and self.items[number].name == "all"
            return whole or any(map(self._generic, self.items[number : number + 2]))
        return said and named

    def _tells_of_somebody(self, number: int) -> bool:
        """``when I came home the display ...``, but not ``when I turn it off`` or ``when I turn the burner on``."""
        following = self.items[number + 1] if number + 1 < len(self.items) else None
        object_of = following is not None and (following.kind == "context" or following.name in ("on", "off"))
        told = self.open.has("person") and self.open.has("word", "thing")
        return told and self.items[number].kind in ("thing", "person") and not object_of

    def _break_before_modifiers(self) -> None:
        """Start a clause here; a 'no', 'all' or 'left' directly before belongs to it."""
        moved: list[Item] = []
        while len(self.open.items) > 1 and self.open.items[-1].kind in _MODIFIERS:
            moved.insert(0, self.open.items.pop())
        self._close("none")
        self.open.items.extend(moved)


def _predicates_ahead(items: list[Item]) -> list[bool]:
    """For every item, whether something is said after it and before the next joint."""
    ahead = [False] * len(items)
    seen = False
    for number in range(len(items) - 1, -1, -1):
        ahead[number] = seen
        kind = items[number].kind
        if kind in _SEPARATORS or kind in _CONDITIONS:
            seen = False
        elif kind in _PREDICATES:
            seen = True
    return ahead
