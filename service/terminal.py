"""The answer on one screen: stop first, then what was understood, suspects with reasons, the next test, the visit."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Mapping

from rules.answer import Conclusion, TestAdvice, Triage
from rules.bookkeeping.types import FactTerm
from rules.terms import UNNAMED, Fact
from rules.wording import place_words, value_words

WIDTH = 92
BAR = 10
SHOWN = 5  # conclusions; the JSON has all
WHO = {
    "appliance_technician": "appliance technician",
    "electrician": "licensed electrician",
    "utility": "electric utility",
    "customer": "the customer alone",
}


def render(answer: Triage, terms: Mapping[str, FactTerm], *, explain: bool) -> str:
    """The whole screen as text. ``explain`` adds every reason, bits for each fact, and rules that nearly fired."""
    lines = [*_stop(answer), *_scope(answer), *_understood(answer, terms)]
    if answer.scope.in_scope:
        lines += [*_conclusions(answer, explain=explain), *_tests(answer), *_visit(answer)]
    if explain:
        lines += _nearly(answer)
    lines += ["", *_wrapped(answer.cautions[-1], "")]
    return "\n".join(lines)


def _wrapped(text: str, indent: str, first: str | None = None) -> list[str]:
    start = indent if first is None else first
    return textwrap.wrap(text, WIDTH, initial_indent=start, subsequent_indent=indent, break_long_words=False)


def _stop(answer: Triage) -> Iterator[str]:
    if answer.stop is None:
        return
    yield f"!! {answer.stop.signal}: STOP"
    yield from _wrapped(answer.stop.say, "   ", "   Say now: ")
    for sentence in answer.stop.because:
        yield from _wrapped(sentence, "   ", "   Because: ")
    yield f"   Who must come: {WHO[answer.stop.refer_to]}"
    yield ""


def _scope(answer: Triage) -> Iterator[str]:
    if answer.scope.reason:
        yield from _wrapped(answer.scope.reason, "   ", "Not for Coldleg: ")
        yield ""
    elif answer.appliance.assumed:
        yield f"Appliance: {answer.appliance.title} (assumed; --appliance names another)"
    else:
        yield f"Appliance: {answer.appliance.title}"


def _fact_words(fact: Fact, terms: Mapping[str, FactTerm]) -> str:
    place = f" @ {place_words(fact.where) if fact.where != UNNAMED else 'a unit not named'}" if fact.where else ""
    points = f" {fact.between}, {fact.during}" if fact.between else ""
    return f"{terms[fact.fact].title}{place}{points}: {value_words(fact, terms)}"


def _understood(answer: Triage, terms: Mapping[str, FactTerm]) -> Iterator[str]:
    yield "Understood"
    for number, fact in enumerate(answer.understood):
        hedge = ", hedged" if fact.certainty == "hedged" else ""
        yield from _wrapped(f"{_fact_words(fact, terms)}  ({fact.source}{hedge})", "      ", f"  [{number}] ")
    if not answer.understood:
        yield "  nothing that bears on the range"
    for clause in answer.unread:
        yield from _wrapped(f'"{clause}"', "      ", "  not read: ")
    for note in answer.contradictions:
        yield from _wrapped(note.say, "      ", "  contradiction: ")


def _name(conclusion: Conclusion) -> str:
    if conclusion.where is None:
        return conclusion.title
    return (
        f"{conclusion.title}, {'the unit not named' if conclusion.where == UNNAMED else place_words(conclusion.where)}"
    )


def _conclusions(answer: Triage, *, explain: bool) -> Iterator[str]:
    yield ""
    yield "Suspects"
    if not answer.conclusions:
        yield "  none yet: nothing known so far tells faults apart"
    shown = answer.conclusions if explain else answer.conclusions[:SHOWN]
    for number, conclusion in enumerate(shown):
        filled = round(conclusion.probability * BAR)
        head = f"  {conclusion.probability:4.0%} {'#' * filled}{'.' * (BAR - filled)} "
        yield from _wrapped(f"{_name(conclusion)} [{conclusion.standing}]  {conclusion.fault}", " " * len(head), head)
        if conclusion.not_told_apart:
            yield from _wrapped("not yet told apart from " + ", ".join(conclusion.not_told_apart), " " * len(head))
        for reason in conclusion.because if explain or number == 0 else conclusion.because[:1]:
            facts = " ".join(f"[{fact}]" for fact in reason.facts)
            yield from _wrapped(f"{reason.text} {facts} ({reason.rule})", " " * (len(head) + 2), " " * len(head) + "- ")
        if explain and conclusion.bits:
            bits = ", ".join(f"[{entry.fact}] {entry.bits:+.1f}" for entry in conclusion.bits)
            yield from _wrapped(f"bits for it, fact by fact: {bits}", " " * len(head))
    hidden = len(answer.conclusions) - len(shown)
    if hidden:
        yield f"       and {hidden} more (--explain)"
    if answer.conclusions:
        yield f"  {answer.none_of_these:4.0%}            something else"


def _tests(answer: Triage) -> Iterator[str]:
    yield ""
    yield "Next"
    if answer.stop is not None and not answer.next_tests:
        yield "  no question while the stop stands"
    elif not answer.next_tests:
        yield "  no further question is worth asking"
    for number, test in enumerate(answer.next_tests[:3], start=1):
        yield from _test(test, number)


def _test(test: TestAdvice, number: int) -> Iterator[str]:
    live = "LIVE, " if test.energised else ""
    cost = f"({test.who}, {live}{test.minutes:g} min, {test.gain_bits:.2f} bit)"
    yield from _wrapped(f"{test.ask} {cost}", "     ", f"  {number}. ")
    if test.tools:
        yield from _wrapped(", ".join(test.tools), "     ", "     With: ")
    if number == 1 or test.energised:
        yield from _wrapped(test.why, "     ", "     Why: ")
        for caution in test.cautions:
            yield from _wrapped(caution, "     ")


def _visit(answer: Triage) -> Iterator[str]:
    visit = answer.visit
    yield ""
    if visit.needed is None:
        yield "Visit: too little is known"
        return
    if not visit.needed:
        yield "Visit: not needed as it looks now"
    else:
        low, high = visit.minutes
        yield f"Visit: {WHO[visit.skill]}, {visit.urgency}, {low}-{high} min on site"
    if visit.load_parts:
        parts = ", ".join(f"{part.part.replace('_', ' ')} {part.probability_used:.0%}" for part in visit.load_parts[:6])
        yield from _wrapped(parts, "    ", "  Load: ")
    for line in visit.tell_customer:
        yield from _wrapped(line, "    ", "  Tell the customer: ")


def _nearly(answer: Triage) -> Iterator[str]:
    if answer.nearly:
        yield ""
        yield "Rules one fact short"
        for miss in answer.nearly:
            yield from _wrapped(f"{miss.rule}: {miss.missing}", "      ", "  - ")
