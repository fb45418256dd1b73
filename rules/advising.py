"""Chosen tests into advice a person can follow: the question in words, why it is asked, and what each answer means."""

from __future__ import annotations

from collections.abc import Sequence

from rules.answer import OutcomeAdvice, TestAdvice
from rules.belief.choosing import NextTest
from rules.belief.signatures import Signatures
from rules.bookkeeping.types import Book
from rules.terms import UNNAMED
from rules.wording import ask_words

DANGER_FIRST = "Danger comes before diagnosis."


def advise(
    book: Book, signatures: Signatures, tests: Sequence[NextTest], stand_in: str | None
) -> tuple[TestAdvice, ...]:
    """Advice for each test, in the order given."""
    return tuple(_advice(book, signatures, test, stand_in) for test in tests)


def _advice(book: Book, signatures: Signatures, test: NextTest, stand_in: str | None) -> TestAdvice:
    card = test.card
    where = UNNAMED if test.where and test.where == stand_in else test.where
    outcomes = tuple(
        [
            OutcomeAdvice(value, round(probability, 4), _names(signatures, leads_to))
            for value, probability, leads_to in test.outcomes
        ]
    )
    return TestAdvice(
        test=card.test,
        where=where,
        reads=test.key.replace(f"@{stand_in}", f"@{UNNAMED}") if stand_in else test.key,
        ask=ask_words(card.recall if test.from_memory and card.recall else card.ask, where, card.between, card.during),
        why=_why(signatures, test, outcomes),
        who=card.who,
        energised=card.energised,
        from_memory=test.from_memory,
        minutes=round(test.minutes, 1),
        tools=card.tools,
        cautions=() if test.from_memory else book.cautions_in_words(card.cautions),
        gain_bits=round(test.gain_bits, 3),
        saves_minutes=None if test.saves is None else round(test.saves, 1) + 0.0,
        outcomes=outcomes,
    )


def _names(signatures: Signatures, members: Sequence[int]) -> tuple[str, ...]:
    """Faults by name; of two at once, both."""
    if len(members) <= 1:  # most answers leave one in front, or none
        return signatures.hypotheses[members[0]].faults if members else ()
    return tuple(dict.fromkeys(name for member in members for name in signatures.hypotheses[member].faults))


def _why(signatures: Signatures, test: NextTest, outcomes: Sequence[OutcomeAdvice]) -> str:
    """One sentence: what the likeliest answers would point to."""
    if test.opens:
        cards = ", ".join(name.replace("_", " ") for name in test.opens)
        return f"No reading with the covers off comes before it; it opens the way to {cards}."
    if test.because:
        return test.because
    if not test.outcomes:
        return DANGER_FIRST
    told = [-outcome.probability for outcome in outcomes]
    likely = [test.outcomes[number] for number in sorted(range(len(told)), key=told.__getitem__)[:3]]
    leading = [(o.value, signatures.hypotheses[o.leads_to[0]].fault) for o in likely if o.leads_to]
    pointed = [(value.replace("_", " "), fault.title) for value, fault in leading if fault is not None]
    if not pointed:
        return f"It narrows {len(test.outcomes)} ways, though no single fault stands out yet."
    title = pointed[0][1]
    if all(other == title for _, other in pointed):
        return f"It checks what is suspected most: {title}."
    return "Each answer points elsewhere: " + "; ".join(f"{value}, {title}" for value, title in pointed) + "."
