"""Facts, faults and people in the plain words of a reply."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from rules.answer import Conclusion
from rules.bookkeeping.types import Book, FactTerm
from rules.terms import ALL, OTHERS, UNNAMED, Fact, split_key
from rules.wording import place_words, value_words

WHO = {
    "appliance_technician": "an appliance technician",
    "electrician": "a licensed electrician",
    "utility": "the electric utility",
    "customer": "the customer",
}
_OF = {UNNAMED: "a unit not named yet", ALL: "every unit", OTHERS: "the other units"}


def fact_words(fact: Fact, terms: Mapping[str, FactTerm]) -> str:
    """A fact read back: ``heat of a surface unit on its highest setting, left front: stays cold``."""
    term = terms[fact.fact]
    place = f", {_OF.get(fact.where, place_words(fact.where))}" if fact.where else ""
    points = f", {fact.between}" if fact.between else ""
    during = f", {fact.during}" if fact.during else ""
    doubt = " (not certain)" if fact.certainty == "hedged" else ""
    return f"{term.title}{place}{points}{during}: {said(fact, term, terms)}{doubt}"


def said(fact: Fact, term: FactTerm, terms: Mapping[str, FactTerm]) -> str:
    """A fact's value in words."""
    if fact.told and term.kind == "choice":
        return term.values[str(fact.value)]
    return value_words(fact, terms)


def value_meaning(term: FactTerm, value: str) -> str:
    """What one value or band means."""
    return term.values.get(value, value.replace("_", " "))


def conclusion_words(conclusion: Conclusion) -> str:
    """A suspect with its unit."""
    places = dict.fromkeys([conclusion.where, *(other.where for other in conclusion.also)])
    named = ["unit not named yet" if where == UNNAMED else place_words(where) for where in places if where]
    return ", ".join([conclusion.title, *named])


def fault_titles(book: Book, faults: Iterable[str]) -> str:
    """Faults by their titles."""
    return ", ".join(book.faults[fault].title for fault in faults)


def term_of(book: Book, key: str) -> FactTerm:
    """The vocabulary's term of a key."""
    return book.facts[split_key(key)[0]]


def listed(words: Iterable[str], last: str = "or") -> str:
    """``a, b or c``."""
    *most, end = words
    return f"{', '.join(most)} {last} {end}" if most else end
