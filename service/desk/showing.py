"""What a page shows of a case, in words and shares; the templates only lay it out."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from rules.answer import Conclusion, TestAdvice, Triage
from rules.bookkeeping.types import Appliance, Book, FactTerm
from rules.talking import OpenQuestion, Turn, TurnFact
from rules.terms import DONT_KNOW, UNNAMED, Fact, fact_of, split_key
from rules.wording import place_words, value_words

WHO = {
    "appliance_technician": "appliance technician",
    "electrician": "licensed electrician",
    "utility": "electric utility",
    "customer": "the customer",
}
SOURCES = {"caller": "caller", "desk": "desk", "technician": "technician", "note": "read from the text", "rule": "rule"}
STEPS = {
    "ask": "Ask the caller",
    "measure": "Measure",
    "send": "Send",
    "settle": "Settle by telephone",
    "repair": "Repair",
    "refer": "Refer",
    "listen": "Listen",
    "stop": "Stop",
    "decline": "Decline",
}
MOST_KEYS = 9  # answers that a key of their own stands for
MOST_OF_IT = 0.9
_BARE = re.compile(r"[-+]?\d+(?:\.\d+)?")
UNITS = {"ohm": "ohm", "delta_degF": "F", "day": "days"}

_ELSEWHERE = re.compile(r"Next(, from memory)?: |[A-Z]+\. STOP\. ")


@dataclass(frozen=True)
class Choice:
    """An answer to be picked. ``key``: the digit that picks it; None beyond the ninth."""

    value: str
    label: str
    means: str
    key: int | None


@dataclass(frozen=True)
class Question:
    """A question with its answers. ``unit`` is set where a number is asked for, ``choices`` are empty then."""

    reads: str
    ask: str
    why: str
    who: str
    choices: tuple[Choice, ...]
    unit: str | None
    energised: bool = False
    tools: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True)
class Suspect:
    """A conclusion with its share in whole percent and its bar's length, 0 to 100."""

    title: str
    ids: tuple[str, ...]
    percent: str
    bar: float
    standing: str
    reasons: tuple[tuple[str | None, str, tuple[str, ...]], ...]  # rule's page or None, sentence, facts in words
    parts: tuple[str, ...]
    not_told_apart: tuple[tuple[str, str], ...]  # id, title


@dataclass(frozen=True)
class Sure:
    """How far the picture has got: the leading share, and how many suspects carry nine tenths of the belief.

    ``beyond``: those that are listed do not carry as much, so it is more of them than ``carrying``.
    """

    leading: float
    carrying: int
    beyond: bool = False

    @property
    def words(self) -> str:
        if not self.carrying:
            return "nothing known yet tells faults apart"
        many = "one suspect carries" if self.carrying == 1 else f"{self.carrying} suspects carry"
        if self.beyond:
            many = f"more than {many}"
        return f"the first stands at {percent(self.leading)}; {many} nine tenths of the belief"


@dataclass(frozen=True)
class FactLine:
    """A fact as it was told. ``number`` names it for striking; ``choices`` or ``unit`` are for correcting it."""

    number: str
    words: str
    source: str
    fate: str
    key: str | None
    value: str
    choices: tuple[Choice, ...]
    unit: str | None


def percent(share: float) -> str:
    """A share as words: never 0 % or 100 % for what is merely near it."""
    if 0 < share < 0.01:
        return "under 1 %"
    if 0.99 < share < 1:
        return "over 99 %"
    return f"{share:.0%}".replace("%", " %")


def fact_words(fact: Fact, terms: Mapping[str, FactTerm]) -> str:
    """A fact with its place, value and source."""
    where = "a unit not named" if fact.where == UNNAMED else place_words(fact.where) if fact.where else ""
    about = [part for part in (where, fact.between or "", fact.during or "") if part]
    value = value_words(fact, terms).replace("_", " ")
    hedge = ", in doubt" if fact.certainty == "hedged" else ""
    place = f" ({', '.join(about)})" if about else ""
    return f"{terms[fact.fact].title}{place}: {value}, by {SOURCES[fact.source]}{hedge}"


# --- the question ----------------------------------------------------------------------------------------------------
def heard_words(reply: str) -> str:
    """A reply without what stands elsewhere on the page: the stop, and the question asked then."""
    return "\n".join(line for line in reply.splitlines() if not _ELSEWHERE.match(line))


def question_of(turn: Turn, tests: Sequence[TestAdvice], book: Book, wanted: str | None) -> Question | None:
    """The question on the page: the one a person chose by what it reads, else the open one."""
    advice = {test.reads: test for test in tests}
    if wanted is not None and wanted in advice:
        return _advised(advice[wanted], book)
    asks = turn.asks
    if asks is None:
        return None
    return _advised(advice[asks.reads], book) if asks.reads in advice else _bare(asks, book)


def _advised(test: TestAdvice, book: Book) -> Question:
    choices, unit = answers_to(test.reads, book.facts)
    return Question(
        reads=test.reads,
        ask=test.ask,
        why=test.why,
        who=test.who,
        choices=choices,
        unit=unit,
        energised=test.energised,
        tools=test.tools,
        cautions=test.cautions,
    )


def _bare(asks: OpenQuestion, book: Book) -> Question:
    choices, unit = answers_to(asks.reads, book.facts)
    return Question(asks.reads, asks.ask, asks.why, asks.who, choices, unit)


def answers_to(reads: str, terms: Mapping[str, FactTerm]) -> tuple[tuple[Choice, ...], str | None]:
    """The answers to pick from, or the unit of the number that is asked for."""
    term = terms[split_key(reads)[0]]
    if term.kind == "number":
        return (), UNITS.get(str(term.unit), term.unit)
    made = [
        Choice(value, value.replace("_", " "), means, n if n <= MOST_KEYS else None)
        for n, (value, means) in enumerate(term.values.items(), start=1)
    ]
    return tuple(made), None


def with_unit(reads: str, text: str, terms: Mapping[str, FactTerm]) -> str:
    """A bare number with the unit that the page asks for beside the field; anything else as it was typed."""
    term = terms.get(fact_of(reads))
    if term is None or term.kind != "number" or not _BARE.fullmatch(text):
        return text
    return f"{text} {UNITS.get(str(term.unit), term.unit)}"


def picked(text: str, choices: Sequence[Choice]) -> str | None:
    """The value that a typed digit stands for: 1 to 9 picks an answer, 0 is not sure; None for any other text."""
    if not choices or len(text) != 1 or text not in "0123456789":
        return None
    if text == "0":
        return DONT_KNOW
    return next((choice.value for choice in choices if choice.key == int(text)), None)


# --- suspects --------------------------------------------------------------------------------------------------------
def suspects_of(answer: Triage, book: Book) -> tuple[Suspect, ...]:
    return tuple(_suspect(conclusion, answer, book) for conclusion in answer.conclusions)


def _suspect(conclusion: Conclusion, answer: Triage, book: Book) -> Suspect:
    places = dict.fromkeys([conclusion.where, *(other.where for other in conclusion.also)])
    named = ["the unit not named" if where == UNNAMED else place_words(where) for where in places if where]
    reasons = tuple(
        (
            reason.rule if reason.rule in book.rules else None,
            reason.text,
            tuple(fact_words(answer.understood[number], book.facts) for number in reason.facts),
        )
        for reason in conclusion.because
    )
    return Suspect(
        title=", ".join([conclusion.title, *named]),
        ids=(conclusion.fault, *(other.fault for other in conclusion.also)),
        percent=percent(conclusion.probability),
        bar=round(100 * conclusion.probability, 1),
        standing=conclusion.standing.replace("_", " "),
        reasons=reasons,
        parts=tuple(part_title(part, book) for part in conclusion.parts),
        not_told_apart=tuple((f, book.faults[f].title) for f in conclusion.not_told_apart if f in book.faults),
    )


def part_title(part: str, book: Book) -> str:
    return book.parts[part].title if part in book.parts else part


def sureness(answer: Triage) -> Sure:
    """From the conclusions as they are ranked; what is none of the book's faults counts as one suspect."""
    if not answer.conclusions:
        return Sure(0.0, 0)
    shares = sorted([*(c.probability for c in answer.conclusions), answer.none_of_these], reverse=True)
    leading, carried = answer.conclusions[0].probability, 0.0
    for count, share in enumerate(shares, start=1):
        carried += share
        if carried >= MOST_OF_IT:
            return Sure(leading, count)
    return Sure(leading, len(shares), beyond=True)


# --- facts -----------------------------------------------------------------------------------------------------------
def fact_lines(facts: Sequence[TurnFact], terms: Mapping[str, FactTerm]) -> Iterator[FactLine]:
    """Every fact told, those that stand first, in the order they were told."""
    for told in sorted(facts, key=lambda told: told.fate != "stands"):
        number = f"{told.number[0]}.{told.number[1]}"
        if told.fact is None:
            yield FactLine(number, told.words, "", told.fate.replace("_", " "), None, "", (), None)
            continue
        fact = told.fact
        choices, unit = answers_to(fact.key, terms)
        source = SOURCES[fact.source] + (", in doubt" if fact.certainty == "hedged" else "")
        shown = value_words(fact, terms) if fact.told else DONT_KNOW
        yield FactLine(number, told.words, source, told.fate.replace("_", " "), fact.key, shown, choices, unit)


def appliance_in(book: Book, answer: Triage, own: Appliance | None) -> Appliance:
    """The configuration that an answer is for: the case's own, else the book's by name."""
    if own is not None:
        return own
    return book.appliances[answer.appliance.appliance]


def amount(number: float, unit: str) -> str:
    """A reading with its unit; an open line as meters show it."""
    if math.isinf(number):
        return "OL (open line)"
    return f"{figure(number)} {unit}"


def figure(number: float) -> str:
    """Three figures, as a meter shows them."""
    return f"{number:.3g}" if abs(number) < 100 else f"{number:.0f}"


def question_where(where: str | None) -> str | None:
    """A unit's name, None for a word that stands for several or for one that was not named."""
    return None if where in (None, UNNAMED, "all", "others") else where
