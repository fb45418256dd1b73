"""What ``it`` stands for in a call, and what was told only of times long past."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from rules.bookkeeping.types import FactTerm
from rules.notes.normalise import normalise
from rules.talking.folding import Folded
from rules.terms import ALL, OTHERS, UNNAMED, Fact
from rules.wording import place_words

_PRONOUN = re.compile(r"\W*(?:(?:and|but|so|well|then|now|no|yes)\W+)?(it|that one|this one)(?=\s+\w)")
_LONG_AGO = re.compile(
    r"(?:,|\bbut\b|\bthough\b|\bonly\b)\W*(?:that|it|this|which)(?:\s+(?:was|happened|is))?(?:\s+\w+){0,3}?\s+"
    r"(?:(?:years?|decades?)\s+(?:ago|back)|(?:long|ages)\s+ago|(?:long|some)\s+time\s+ago|last\s+year)\b"
)
_THE_LIKE = re.compile(
    r"\b(?:or|and|nor) (?:anything|nothing)\b|\b(?:anything|nothing|none) (?:like|of) (?:that|the kind|the sort)\b"
)
_THE_REST = re.compile(r"\b(?:everything|all|anything) else\b|\bthe rest\b|\bother than that\b|\bapart from that\b")
_CLAUSE_BEGINS = re.compile(r"[,.;!?\n]|\band\b")


@dataclass(frozen=True)
class SpelledOut:
    """A text with its subject put before it. ``lead``: the characters put there."""

    text: str
    lead: int

    def unread(self, clauses: Sequence[str]) -> list[str]:
        """Clauses nobody could read, without the subject that was put there."""
        subject = self.text[: self.lead].strip()
        left = (clause.removeprefix(subject).strip() for clause in clauses)
        return [clause for clause in left if any(sign.isalnum() for sign in clause)]

    def placed(self, fact: Fact, said: str) -> Fact | None:
        """A fact read from it, at its place in what was said; None for one read from the lead alone."""
        if fact.span is None or fact.span[1] <= self.lead:
            return None
        span = (max(fact.span[0] - self.lead, 0), fact.span[1] - self.lead)
        return replace(fact, span=span, text=said[slice(*span)])


def spelled_out(text: str, folded: Folded, terms: Mapping[str, FactTerm]) -> SpelledOut | None:
    """``it never gets hot`` of the burner that was spoken of.

    None where no ``it`` opens the text, or nothing, or more than one thing, was spoken of.
    """
    found = _PRONOUN.match(normalise(text))
    subject = _subject(folded, terms) if found is not None else None
    if found is None or subject is None:
        return None
    lead = subject + " "
    return SpelledOut(lead + " " * found.end(1) + text[found.end(1) :], len(lead))


def _subject(folded: Folded, terms: Mapping[str, FactTerm]) -> str | None:
    """What was spoken of last, if it was one thing: a unit or the oven.

    Dangers, told or denied, and what was said of all or of the other units are passed over.
    """
    messages: dict[int, list[Fact]] = {}
    for (message, _), fact in folded.standing.items():
        if not terms[fact.fact].hazard and fact.where not in (ALL, OTHERS):
            messages.setdefault(message, []).append(fact)
    told = messages[max(messages)] if messages else []
    places = {fact.where for fact in told}
    if len(places) != 1:
        return None
    place = places.pop()
    if place is None:
        return "the oven" if all(fact.fact.startswith("oven.") for fact in told) else None
    return "one burner" if place == UNNAMED else f"the {place_words(place)} burner"


def long_ago(text: str) -> Sequence[tuple[int, int]]:
    """Where a clause tells what happened years ago: ``it sparked but that was years ago``. Spans in the text."""
    plain = normalise(text)
    spans = []
    for found in _LONG_AGO.finditer(plain):
        clause = len(plain[: found.start()].rstrip(" ,"))
        before = [mark.end() for mark in _CLAUSE_BEGINS.finditer(plain, 0, clause)]
        spans.append((before[-1] if before else 0, found.end()))
    return spans


def denies_the_like(text: str, facts: Sequence[Fact], terms: Mapping[str, FactTerm]) -> bool:
    """``no smoke or anything``, ``no sparks, nothing like that``: a danger denied, and all others with it."""
    denied = [fact for fact in facts if terms[fact.fact].hazard]
    if not denied or any(fact.value != terms[fact.fact].usual or not fact.told for fact in denied):
        return False
    return _THE_LIKE.search(normalise(text)) is not None


def beside_the_rest(text: str, facts: Sequence[Fact], folded: Folded, terms: Mapping[str, FactTerm]) -> Sequence[Fact]:
    """``everything else works`` says nothing of what was told to be wrong before."""
    if _THE_REST.search(normalise(text)) is None:
        return facts
    wrong = {fact.key for fact in folded.facts if fact.value != terms[fact.fact].usual}
    return [fact for fact in facts if fact.key not in wrong or fact.value != terms[fact.fact].usual]
