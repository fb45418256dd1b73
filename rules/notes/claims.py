"""From clauses to claims: which state is said of which thing, denied or not, under which conditions, how surely.

One pass over the note. What was spoken of last is remembered for pronouns and for clauses without a subject.
:mod:`rules.notes.leaning` then lets clauses borrow from each other.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import NamedTuple

from rules.notes.clauses import Clause
from rules.notes.entries import Lexicon
from rules.notes.nouns import PART, Noun, NounReader, subject
from rules.notes.tagging import Item

WORKS, DEAD, FINE = "works", "dead", "fine"
HEATS, SLOW, WEAK = "heats", "slow", "weak"
ELEMENT, _ELEMENT_OF = "element", {"bake": "bake_element", "broil": "broil_element"}
GLOWS_PART = "glows_part"
_LIGHTS_UP = ("heats", "glows", "lit", "hot", "works", "comes_on", "dark", "dead", "cold", "stays_cold")
RANGE = "range"
CODE = "code"
RUNS_ON = ("by_itself", "stays_on", "turn_off")  # of whatever heats, if nothing was spoken of
AT_HIGH, ON_HIGH = "at_high", "on_high"
ONLY = "only"
_ASIDE = ("when", "with", "if", "until", "unless")
_DENIALS = frozenset({"negation", "negation_verb", "stopping"})
_TELLING = frozenset({"state", "absence", *_DENIALS})


class Claim(NamedTuple):
    """A state said of nouns (none: of nothing that was named)."""

    nouns: tuple[Noun, ...]
    others: tuple[Noun, ...]  # named after the state; they are meant if the state cannot be said of ``nouns``
    state: str
    denied: bool
    start: int
    end: int
    contexts: frozenset[str] = frozenset()
    hedged: bool = False
    opinion: bool = False  # doubtful only as somebody's impression
    implied: bool = False
    conditioned: bool = False  # said under a condition that no context stands for
    done_to: bool = False  # the nouns stand after the state: it is done to them ("turn on a burner")

    @property
    def denies(self) -> bool:
        """Whether it is denied, by the clause or by the thing ("no display")."""
        return self.denied or any(noun.denied for noun in self.nouns)

    def turned(self) -> Claim:
        """The same, with yes and no exchanged."""
        return self._replace(nouns=tuple(noun._replace(denied=False) for noun in self.nouns), denied=not self.denies)


@dataclass
class Said:
    """A clause and what it claims. ``used``: something in it was understood."""

    clause: Clause
    claims: list[Claim] = field(default_factory=list)
    nouns: list[Noun] = field(default_factory=list)
    contexts: set[str] = field(default_factory=set)
    hedged: bool = False
    opinion: bool = False
    former: bool = False  # tells of former times
    lately: bool = False  # of some weeks ago
    unsure: bool = False
    fragment: bool = False  # no state of its own
    used: bool = False

    @property
    def span(self) -> tuple[int, int]:
        """Its range of characters in the note."""
        return self.clause.start, self.clause.end


class Memory:
    """What the note has spoken of so far."""

    def __init__(self) -> None:
        self.topic: list[Noun] = []
        self.aside: list[Noun] = []  # spoken of in a condition only
        self.earlier: list[Noun] = []  # what was spoken of before the topic
        self.last: Claim | None = None
        self.listing = False  # the clause before only named things


def read_clause(clause: Clause, lexicon: Lexicon, memory: Memory) -> Said:
    """Read one clause by itself: its nouns, its states, its marks of doubt and time."""
    reader = NounReader(lexicon, memory.topic or memory.aside)
    nouns = reader.read(clause.items)
    said = Said(clause, nouns=nouns)
    kinds = {item.kind for item in clause.items}
    said.contexts = {item.name for item in clause.items if item.kind == "context"} if "context" in kinds else set()
    said.opinion = "opinion" in kinds and "hedge" not in kinds
    said.hedged = said.opinion or "hedge" in kinds
    said.former = "history" in kinds
    said.lately = "lately" in kinds and "now" not in kinds
    said.unsure = "unsure" in kinds
    if ONLY in kinds:
        said.contexts.add(ONLY)
    if not _TELLING.isdisjoint(kinds):
        said.claims = list(_claims(clause, nouns, lexicon, memory))
    if AT_HIGH in said.contexts and not said.claims:
        said.claims = list(_at_high(said, lexicon))
    said.fragment = not said.claims
    _remember(said, lexicon, memory)
    return said


def _at_high(said: Said, lexicon: Lexicon) -> Iterable[Claim]:
    """``the burner is on high``: no state by itself, but one if that is so on every setting."""
    nouns = tuple(noun for noun in subject(said.nouns, lexicon) if lexicon.things[noun.thing].placed)
    if nouns and said.clause.condition is None:
        yield Claim(nouns, (), ON_HIGH, False, said.clause.start, said.clause.end)


def _remember(said: Said, lexicon: Lexicon, memory: Memory) -> None:
    named = said.claims[-1].nouns if said.claims and said.claims[0].nouns else subject(said.nouns, lexicon)
    spoken = [noun for noun in named if not noun.carried]
    bare = [
        noun._replace(denied=False, only=False) if noun.denied or noun.only else noun
        for noun in spoken
        if _stays_topic(noun, lexicon)
    ]
    if said.clause.link == "except":
        bare = []  # "aside from the oven not heating it is fine": it is not the oven
    if not bare and any(noun.thing == CODE for noun in spoken):
        bare = _shower(said.clause)  # "the oven shows a code and won't heat"
    if bare and said.clause.condition in _ASIDE:
        memory.aside = bare
    elif bare:
        memory.earlier = memory.topic or memory.earlier
        listed = memory.listing and said.clause.link in ("and", "or", "nor")
        memory.topic, memory.aside = [*memory.topic, *bare] if listed else bare, []
        memory.listing = said.fragment
    if said.claims:
        memory.last = said.claims[-1]


def _stays_topic(noun: Noun, lexicon: Lexicon) -> bool:
    """After ``self-cleaned it and it has not come on since`` the talk is still of the range."""
    return noun.thing not in ("anything", CODE) and not lexicon.things[noun.thing].event


def _shower(clause: Clause) -> list[Noun]:
    """What shows a code, if the clause names it."""
    things = [(at, item) for at, item in enumerate(clause.items) if item.kind == "thing" and item.name != CODE]
    return [Noun(item.name, at, item.start, item.end) for at, item in things[-1:]]


def _claims(clause: Clause, nouns: list[Noun], lexicon: Lexicon, memory: Memory) -> Iterable[Claim]:
    """A claim for every state of a clause; a denial reaches the next state only."""
    denial: Item | None = None
    before: list[Noun] = []
    used = 0
    stopped: Item | None = None
    for at, item in enumerate(clause.items):
        if item.kind in _DENIALS or (item.kind == "absence" and not _denies_noun(nouns, at)):
            if stopped is not None:  # "quit without smoke": it quit, and that is all
                yield _stopped(stopped, [noun for noun in nouns[used:] if noun.at < at] or before, lexicon, memory)
                denial = stopped = None
            denial = denial or item
            stopped = item if item.kind == "stopping" and _stops(clause.items, at) else stopped
        elif item.kind == "state" and denial is not None and _up_to_a_figure(clause.items, at):
            denial = stopped = None
        elif item.kind == "state" and not _of_another_state(clause.items, at):
            fresh = [noun for noun in nouns[used:] if noun.at < at]
            used += len(fresh)
            before = fresh or before
            described = nouns[used : used + 1] if item.describes and nouns[used:] else []
            after = described or _objects(clause.items, nouns[used:])
            claim = _of_a_part(_claim(item, denial, [] if described else before, after, lexicon, memory), lexicon)
            yield _left_running(claim, clause.items[:at], memory)
            denial = stopped = None
    if stopped is not None:
        yield _stopped(stopped, nouns[used:] or before, lexicon, memory)


def _objects(items: list[Item], nouns: list[Noun]) -> list[Noun]:
    """Nouns after a state up to the next verb: what the only way to stop the left front *is* is no object."""
    if len(nouns) < 2:
        return nouns
    verb = next((at for at in range(nouns[0].at, len(items)) if items[at].kind == "verb"), len(items))
    return [noun for noun in nouns if noun.at < verb]


def _of_a_part(claim: Claim, lexicon: Lexicon) -> Claim:
    """``only half of the coil glows``, ``half of the coil stays dark``: a part of it glows."""
    halves = [noun for noun in claim.nouns if noun.quantity == PART and not noun.plural]
    if not halves or claim.state not in _LIGHTS_UP or not all(lexicon.things[noun.thing].ohms for noun in halves):
        return claim
    return claim._replace(state=GLOWS_PART, denied=False)


def _left_running(claim: Claim, before: list[Item], memory: Memory) -> Claim:
    """``it turned itself on``, ``won't shut off``: of the range, in doubt if not even an ``it`` is there.

    Not if something that nobody knows stands before it.
    """
    if claim.nouns or claim.state not in RUNS_ON or memory.topic or any(item.kind == "word" for item in before):
        return claim
    doubtful = not any(item.kind == "pronoun" for item in before)
    return claim._replace(nouns=(Noun(RANGE, -1, claim.start, claim.end, carried=True),), hedged=doubtful)


def _stops(items: list[Item], at: int) -> bool:
    """Whether it stops altogether: not ``it stops at 250``, nor ``it quits climbing``."""
    following = items[at + 1 : at + 3]
    if [item.kind for item in following] == ["preposition", "number"]:
        return False
    return not (following and following[0].kind == "word" and following[0].name.endswith("ing"))


def _up_to_a_figure(items: list[Item], at: int) -> bool:
    """``it stops heating at 250``: it heats, up to there."""
    kinds = [item.kind for item in items[at + 1 : at + 3]]
    return items[at].name == HEATS and kinds == ["preposition", "number"] and len(items[at + 2].name) > 2


def _stopped(item: Item, nouns: list[Noun], lexicon: Lexicon, memory: Memory) -> Claim:
    """``the oven quit``, with nothing after it that it quit doing."""
    claim = _claim(item._replace(kind="state", name=DEAD), None, nouns, [], lexicon, memory)
    unsaid = not memory.topic and memory.last is not None
    return claim._replace(nouns=()) if unsaid and all(noun.carried for noun in claim.nouns) else claim


def _of_another_state(items: list[Item], at: int) -> bool:
    """``slow to heat up`` is slow and ``works fine`` works; the second state only says at what, or how well."""
    if at >= 2 and items[at - 1].kind == "to" and items[at - 2].kind == "state":
        return True
    if at >= 1 and items[at].name == "cold" and items[at].after and items[at - 1].kind == "state":
        return True  # "works fine cold"
    following = items[at + 1] if at + 1 < len(items) else None
    if items[at].name in (HEATS, WORKS, "on") and following and following.after and following.name in (SLOW, WEAK):
        return True  # "heats slowly" is slow, and says no more
    adverb = items[at].name == FINE and items[at].after
    return at >= 1 and adverb and items[at - 1].kind == "state" and items[at - 1].name not in ("on", "off", "out")


def _denies_noun(nouns: list[Noun], at: int) -> bool:
    """A 'no' that stands before a thing denies the thing, not the next state."""
    return any(noun.denied and at < noun.at <= at + 3 for noun in nouns)


def _claim(
    item: Item, denial: Item | None, before: list[Noun], after: list[Noun], lexicon: Lexicon, memory: Memory
) -> Claim:
    """The claim of one state: said of what stands before it, else after it, else of what was spoken of last."""
    denied = item.denies != (denial is not None)
    speaks_of = subject(before, lexicon) if before else []
    objects = subject(after, lexicon) if after else []
    if speaks_of and objects:
        speaks_of = _refined(speaks_of, objects, lexicon)
    done_to = not speaks_of and bool(objects)
    if done_to:
        speaks_of, objects = objects, []
    if not speaks_of and not lexicon.states[item.name].needs_thing:
        speaks_of = [noun._replace(carried=True) for noun in memory.topic or memory.aside]
        if not speaks_of and (denied or item.name == DEAD):
            speaks_of = _unsaid(item, memory)
    own = [noun for noun in speaks_of if not noun.carried]
    if speaks_of and not own:
        objects = [*objects, *[noun._replace(carried=True) for noun in (*memory.aside, *memory.earlier)]]
    start = item.start if denial is None else min(item.start, denial.start)
    end = item.end
    for noun in (*own, *objects):
        if not noun.carried:
            start, end = min(start, noun.start), max(end, noun.end)
    return Claim(tuple(speaks_of), tuple(objects), item.name, denied, start, end, done_to=done_to)


def _unsaid(item: Item, memory: Memory) -> list[Noun]:
    """Nothing was spoken of yet: "completely dead" is said of the range."""
    first = memory.last is None or item.name == DEAD
    return [Noun(RANGE, -1, item.start, item.end, carried=True)] if first and not memory.topic else []


def _refined(speaks_of: list[Noun], objects: list[Noun], lexicon: Lexicon) -> list[Noun]:
    """``the oven does not heat on broil`` speaks of broil; ``the stove is cold on the left`` of that burner."""
    refined = [*speaks_of]
    for noun in objects:
        part = lexicon.things[noun.thing]
        for number, head in enumerate(refined):
            whole = lexicon.things[head.thing]
            if head.thing == ELEMENT and noun.led and noun.thing in _ELEMENT_OF and not head.places:
                refined[number] = head._replace(thing=_ELEMENT_OF[noun.thing])  # "the element glows on broil"
                break
            if part.part_of == head.thing or (noun.led and whole.generic and not part.generic):
                refined[number] = noun._replace(denied=head.denied or noun.denied, carried=False)
                break
            if noun.led and noun.places and whole.placed and not head.places:
                refined[number] = head._replace(places=noun.places)
                break
    return refined
