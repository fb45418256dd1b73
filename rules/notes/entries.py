"""The lexicon's typed, frozen objects. They are made only by :mod:`rules.notes.lexicon`."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

from rules.notes.codetable import CodeTable
from rules.notes.families import Alarms
from rules.notes.phrases import PhraseIndex
from rules.terms import Certainty, Value

ANY_THING = "any"

#: Axes and units that a place word may name, and the units an axis reaches.
AXES: Mapping[str, tuple[str, ...]] = {
    "front": ("left_front", "right_front"),
    "rear": ("left_rear", "right_rear"),
    "left": ("left_front", "left_rear"),
    "right": ("right_front", "right_rear"),
}
UNITS = ("left_front", "right_front", "left_rear", "right_rear", "center")
QUANTITIES = ("all", "any", "others", "some", "part", "one", "both", "sized")

#: Kinds of small words that shape a sentence, and what each does.
MARKERS: Mapping[str, str] = {
    "negation": "denies the next state",
    "negation_verb": "denies the next state; at the end of a clause it denies the state said before",
    "absence": "denies the next thing or state: no display",
    "stopping": "denies the next state; alone it means dead",
    "verb": "do, is, will: at the end of a clause it repeats the state said before",
    "hedge": "the clause is doubtful",
    "opinion": "the clause is somebody's impression; a danger in it counts as said",
    "correction": "takes back what was said before",
    "unsure": "nothing is known of what follows",
    "history": "the clause tells of former times",
    "lately": "some weeks or months ago: a danger is asked about",
    "when": "opens a condition that came true",
    "with": "opens a condition, or adds something that is so",
    "now": "ends what is told of former times",
    "makes": "what stands before it is the condition of what follows: makes, causes",
    "if": "opens a condition that may come true",
    "until": "opens a condition that ends the state",
    "unless": "opens a condition without which the state holds",
    "except": "takes out of what was said",
    "only": "and nothing else",
    "same": "repeats the state said before",
    "but": "opens a new clause that may turn against the last",
    "comma": "opens a new clause, like a comma: because",
    "then": "opens a new clause in which the condition before still holds",
    "and": "joins two things or two clauses",
    "or": "joins two things or two clauses",
    "nor": "joins two things, both denied",
    "pronoun": "stands for the thing said before",
    "person": "somebody, never a part of the range",
    "preposition": "the next thing says where",
    "to": "leads to a place, or to what a state is about: slow to heat",
    "article": "means nothing by itself",
    "filler": "greetings and courtesy; dropped",
    "blocked": "only looks like one of our words; dropped",
    "yes": "answers a question",
    "no": "answers a question",
}

#: By what a message takes part in a conversation, beside what it says of the range.
TURNS = (
    "yes",
    "no",
    "echo",
    "denied_echo",
    "not_known",
    "why",
    "how",
    "what_now",
    "waiting",
    "correction",
    "take_back",
    "instead",
    "perhaps",
    "perhaps_not",
    "aside",
)


@dataclass(frozen=True)
class Sense:
    """A thing that a word may stand for, if one of ``near`` is named in the same sentence (empty: always)."""

    thing: str
    near: frozenset[str]
    placed: bool = False  # only when a place is named with it
    both: bool = False  # only of "both"


@dataclass(frozen=True)
class Telling:
    """A fact a meaning tells; ``where`` overrides the place of the thing it is told of."""

    fact: str
    where: str | None
    value: Value
    surface: bool  # the fact has a place on the cooktop


@dataclass(frozen=True)
class Thing:
    """A part of the range, or something beside it, that a note speaks of."""

    thing: str
    title: str
    placed: bool = False  # may stand at a position
    generic: bool = False  # the range as a whole; yields to a part named with it
    elsewhere: bool = False  # not this range: what is said of it is dropped
    part_of: str | None = None  # yields to the part: "the oven does not heat on broil" speaks of broil
    mentions: tuple[Telling, ...] = ()
    senses: tuple[Sense, ...] = ()
    event: bool = False  # something that happened, complete in itself: "since the self-clean ..."
    ohms: str | None = None  # the fact an ohm reading of it is


@dataclass(frozen=True)
class State:
    """What may be said of a thing. ``needs_thing``: the word is too common to be carried over to a former thing.

    ``takes_object``: a thing right after it is what it is done to ("turn on a burner").
    """

    state: str
    needs_thing: bool = False
    takes_object: bool = False


@dataclass(frozen=True)
class Meaning:
    """What a state of a thing says in the closed vocabulary, if all contexts hold (each any of several)."""

    thing: str
    state: str
    contexts: tuple[frozenset[str], ...]
    near: frozenset[str]
    says: tuple[Telling, ...] | None  # None: it does not tell of the state said; empty: nothing to tell
    denied: tuple[Telling, ...] | None
    sets: frozenset[str]  # contexts that it sets for the clauses around it
    implied: bool  # yields to whatever is said of the part itself
    certainty: Certainty | None
    denied_sets: frozenset[str] = frozenset()  # the same, if it is denied
    half: str | None = None  # upper or lower: one half of what oven.glow puts together; upper_dark: it stays dark
    unless: frozenset[str] = frozenset()  # it yields to these facts, if the note tells them as a complaint

    @property
    def weight(self) -> int:
        """More conditions, more exact: the heaviest meaning that fits is taken."""
        return len(self.contexts) + bool(self.near)

    @cached_property
    def plain(self) -> bool:
        """Whether it holds without any condition."""
        return not self.weight


@dataclass(frozen=True)
class Rest:
    """What 'only' leaves over: of a thing, and where."""

    thing: str
    where: str | None


@dataclass(frozen=True, eq=False)
class Lexicon:
    """The words of the book, ready for reading."""

    index: PhraseIndex
    things: Mapping[str, Thing]
    states: Mapping[str, State]
    contexts: frozenset[str]
    meanings: Mapping[tuple[str, str], tuple[Meaning, ...]]
    rests: Mapping[str, tuple[Rest, ...]]
    barriers: frozenset[str]  # words that a gap in a phrase does not cross
    codes: CodeTable  # codes of the display
    typos: Mapping[str, str]  # a known misspelling and the word meant
    ordinary: frozenset[str]  # words close to ours that are spelled right
    turns: PhraseIndex  # words by which a message takes part in a conversation
    alarms: Alarms  # dangers put together from families of words

    @cached_property
    def setting(self) -> frozenset[str]:
        """The states that set a context for the clauses around them, of some thing."""
        return frozenset(
            state
            for (_, state), meanings in self.meanings.items()
            if any(meaning.sets or meaning.denied_sets for meaning in meanings)
        )

    @cached_property
    def beside(self) -> frozenset[str]:
        """The names of things that are not this range."""
        return frozenset(name for name, thing in self.things.items() if thing.elsewhere)
