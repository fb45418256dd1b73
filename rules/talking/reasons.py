"""WHY a question is asked and HOW the picture came about, in plain words, from the answer itself."""

from __future__ import annotations

from collections.abc import Iterator

from rules.answer import Conclusion, TestAdvice, Triage
from rules.bookkeeping.types import Book
from rules.talking.conversation import OpenQuestion
from rules.talking.wording import conclusion_words, fact_words, fault_titles, term_of, value_meaning

OUTCOMES = 4  # answers whose consequence is told
LEADING = 2  # faults named for each
EXPLAINED = 2  # suspects whose reasons are told
LEAST_BITS = 0.1  # a fact that speaks less for or against a suspect is not named


def why_words(book: Book, answer: Triage, question: OpenQuestion | None) -> list[str]:
    """Why the open question is asked: what each answer to it would point to, what it takes and saves."""
    if answer.stop is not None and question is None:
        return [f"I ask nothing now, because of the danger: {' '.join(answer.stop.because)}"]
    if question is None:
        return [f"No question is open. {answer.next_step.because}"]
    advice = next((each for each in answer.next_tests if each.reads == question.reads), None)
    lines = [f"I ask this because: {question.why}"]
    if advice is None:
        return lines
    lines += _outcomes(book, advice)
    if answer.stop is None and answer.next_step.because not in question.why:
        lines.append(answer.next_step.because)
    return lines


def _outcomes(book: Book, advice: TestAdvice) -> Iterator[str]:
    term = term_of(book, advice.reads)
    likely = sorted(advice.outcomes, key=lambda outcome: -outcome.probability)[:OUTCOMES]
    for outcome in likely:
        if outcome.leads_to:
            said = value_meaning(term, outcome.value)
            pointed = fault_titles(book, outcome.leads_to[:LEADING])
            yield f'If the answer is "{said}" ({outcome.probability:.0%} likely), that would point to: {pointed}.'


def how_words(book: Book, answer: Triage) -> list[str]:
    """What the picture rests on. ``answer`` must have been worked out in full, so that it holds bits."""
    lines = []
    if answer.stop is not None:
        lines.append(f"The stop stands because: {' '.join(answer.stop.because)}")
    if not answer.conclusions:
        return [*lines, "Nothing said so far tells one fault from another, so I know nothing yet."]
    for conclusion in answer.conclusions[:EXPLAINED]:
        lines += _grounds(book, answer, conclusion)
    lines.append(f"That it is something else altogether: {answer.none_of_these:.0%}.")
    lines.append(_surety(answer.conclusions[0]))
    return lines


def _grounds(book: Book, answer: Triage, conclusion: Conclusion) -> Iterator[str]:
    """A suspect's share, the sentences for it, and the facts that speak for and against it."""
    yield f"{conclusion_words(conclusion)}: {conclusion.probability:.0%}."
    for reason in conclusion.because:
        yield f"- {reason.text}"
    ranked = sorted(conclusion.bits, key=lambda entry: -abs(entry.bits))
    for entry in ranked:
        if abs(entry.bits) >= LEAST_BITS:
            words = fact_words(answer.understood[entry.fact], book.facts)
            side = "speaks for it" if entry.bits > 0 else "speaks against it"
            yield f'- "{words}" {side} ({2 ** abs(entry.bits):.1f} to 1).'


def _surety(first: Conclusion) -> str:
    """How sure that is, in words."""
    if first.standing == "established":
        return "A measurement has settled it."
    if first.probability >= 0.9:
        return "That is close to certain, but nothing measured has settled it."
    if first.probability >= 0.5:
        return "It is more likely than all else together, and not settled."
    return "No suspect is more likely than all others together; more answers will tell them apart."
