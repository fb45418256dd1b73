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
SHOWN = 4  # conclusions; the JSON has all
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
    places = dict.fromkeys([conclusion.where, *(other.where for other in conclusion.also)])
    named = ["the unit not named" if where == UNNAMED else place_words(where) for where in places if where]
    return ", ".join([conclusion.title, *named])


def _ids(conclusion: Conclusion) -> str:
    return " + ".join([conclusion.fault, *(other.fault for other in conclusion.also)])


def _conclusions(answer: Triage, *, explain: bool) -> Iterator[str]:
    yield ""
    yield "Suspects"
    if not answer.conclusions:
        yield "  none yet: nothing known so far tells faults apart"
    shown = answer.conclusions if explain else answer.conclusions[:SHOWN]
    for number, conclusion in enumerate(shown):
        filled = round(conclusion.probability * BAR)
        head = f"  {conclusion.probability:4.0%} {'#' * filled}{'.' * (BAR - filled)} "
        yield from _wrapped(f"{_name(conclusion)} [{conclusion.standing}]  {_ids(conclusion)}", " " * len(head), head)
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
    elif answer.next_step.do not in ("stop", "ask", "measure"):
        yield from _wrapped(f"{_step_words(answer)} {answer.next_step.because}", "     ", "  -> ")
    shown = 1 if answer.stop is not None and answer.next_tests and answer.next_tests[0].from_memory else 3
    for number, test in enumerate(answer.next_tests[:shown], start=1):
        yield from _test(test, number)
    if answer.next_step.do in ("repair", "refer") or len(answer.repair_order) > 1:
        yield from _repairs(answer)


def _step_words(answer: Triage) -> str:
    step = answer.next_step
    who = WHO.get(step.who or "", "somebody else")
    first = answer.repair_order[0] if answer.repair_order else None
    parts = ", ".join(part.replace("_", " ") for part in first.parts) or ", ".join(first.faults) if first else ""
    words = {
        "send": f"Stop asking and send: {who}.",
        "settle": "Stop asking; no visit.",
        "repair": f"Repair now: {parts}.",
        "refer": f"Hand over: {who}.",
        "listen": "Listen.",
    }
    return words.get(step.do, "")


def _repairs(answer: Triage) -> Iterator[str]:
    """Repairs in the order that costs least, if no further test is made."""
    named = []
    for repair in answer.repair_order[:4]:
        what = ", ".join(part.replace("_", " ") for part in repair.parts) or repair.faults[0]
        place = f" {place_words(repair.where)}" if repair.where and repair.where != UNNAMED else ""
        named.append(f"{what}{place} {repair.probability:.0%} in {repair.minutes} min")
    if named:
        yield from _wrapped("; ".join(named), "     ", "  Repairs in order: ")


def _test(test: TestAdvice, number: int) -> Iterator[str]:
    live = "LIVE, " if test.energised else "from memory only, " if test.from_memory else ""
    saves = f", saves {test.saves_minutes:.0f} min" if test.saves_minutes and test.saves_minutes > 0 else ""
    cost = f"({test.who}, {live}{test.minutes:g} min, {test.gain_bits:.2f} bit{saves})"
    yield from _wrapped(f"{test.ask} {cost}", "     ", f"  {number}. ")
    if test.tools:
        yield from _wrapped(", ".join(test.tools), "     ", "     With: ")
    if (number == 1 and not test.from_memory) or test.energised:
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
        fix = f"  (mended at this visit: {visit.first_visit_fix:.0%})"
        yield from _wrapped(parts + fix, "    ", "  Load: ")
    if visit.no_room_for:
        parts = ", ".join(part.part.replace("_", " ") for part in visit.no_room_for)
        yield from _wrapped(parts, "    ", "  No room for: ")
    for line in visit.tell_customer:
        yield from _wrapped(line, "    ", "  Tell the customer: ")


def _nearly(answer: Triage) -> Iterator[str]:
    if answer.nearly:
        yield ""
        yield "Rules one fact short"
        for miss in answer.nearly:
            yield from _wrapped(f"{miss.rule}: {miss.missing}", "      ", "  - ")
