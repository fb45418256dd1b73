"""How hard the sentences are that a caller hears: the grade formula of Kincaid and others (1975)."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

from rules.bookkeeping.types import Book
from rules.checking.findings import Finding, at
from rules.wording import ask_words

HARDEST = 9.0  # school grade a caller's text may have. Common practice, no source

_WORD = re.compile(r"[A-Za-z]+(?:['-][A-Za-z]+)*|\d[\d.,]*")
_SILENT = re.compile(r"(?:(?<![td])ed|(?<![lsxzgc])es|(?<!l)e|(?<=[aeiouy]l)e)$")


@dataclass(frozen=True)
class Spoken:
    """A text that a caller hears or reads: where it stands, of which test, rule or fault, and its school grade."""

    where: str
    subject: str
    text: str
    grade: float


def grade(text: str) -> float:
    """School grade of a text: 0.39 words a sentence + 11.8 syllables a word - 15.59. 0 for a text without words.

    A colon or semicolon ends a sentence too, as each part can be read by itself. Formula and rule from memory.
    """
    words = _WORD.findall(text)
    sentences = len(re.findall(r"[.!?;:](?=\s|$)", text.strip())) or 1
    if not words:
        return 0.0
    return 0.39 * len(words) / sentences + 11.8 * sum(map(syllables, words)) / len(words) - 15.59


def syllables(word: str) -> int:
    """Groups of vowels, without a silent ending; a number counts as one for each figure."""
    if word[0].isdigit():
        return sum(sign.isdigit() for sign in word)
    stem = _SILENT.sub("", word.lower())
    return max(1, len(re.findall(r"[aeiouy]+", stem)))


def spoken_texts(book: Book) -> list[Spoken]:
    """Every text meant for a caller: questions, what a stop says, what to tell about a fault."""
    texts = []
    for card in book.tests.values():
        if card.who == "caller":
            term = book.facts[card.reads]
            asked = ask_words(card.ask, "left_front" if term.place == "surface" else None, card.between, card.during)
            texts.append((at(term.file, term.line), f"test {card.test}", asked))
    for rule in book.rules.values():
        if rule.stop:
            texts.append((at(rule.file, rule.line), f"rule {rule.rule}, say", rule.stop.say))
        if rule.visit and rule.visit.tell:
            texts.append((at(rule.file, rule.line), f"rule {rule.rule}, tell", rule.visit.tell))
    texts += [(at(f.file, f.line), f"fault {f.fault}, tell", f.tell) for f in book.faults.values()]
    return [Spoken(where, subject, text, grade(text)) for where, subject, text in texts]


def check_reading(book: Book) -> Iterator[Finding]:
    """Findings of kind ``hard-to-read``."""
    for spoken in spoken_texts(book):
        if spoken.grade > HARDEST:
            message = (
                f"reads at grade {spoken.grade:.1f}, the most is {HARDEST:g}; use shorter sentences and words: "
                f"{spoken.text!r}"
            )
            yield Finding("hard-to-read", spoken.where, spoken.subject, message)
