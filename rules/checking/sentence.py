"""A rule as one plain English sentence, in the vocabulary's own words."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from rules.bookkeeping.types import Book, Condition, Derivation, FactTerm, Rule
from rules.chaining.premises import ANY, EVERY_TRIED, SAME
from rules.terms import ALL
from rules.wording import filled, place_words

_UNITS = {"delta_degF": "F", "ohm": "ohm", "V": "V", "day": "days"}
_STATES = {"idle": "with everything switched off", "loaded": "with an element switched on"}
_WHO = {
    "appliance_technician": "an appliance technician",
    "electrician": "an electrician",
    "utility": "the utility",
    "customer": "the customer",
}
_PLACES = {
    ANY: "at some unit",
    EVERY_TRIED: "at every unit that was tried",
    ALL: "at every unit",
}


def rule_sentence(rule: Rule, book: Book) -> str:
    """``If ..., this points to ..., because ....``"""
    because = filled(rule.because, {}).rstrip(".")  # no case, no readings
    return f"If {_premises(rule, book)}, {join_words(_acts(rule, book), 'and')}, because {_lowered(because)}."


def join_words(words: Sequence[str], by: str) -> str:
    """``a``, ``a or b``, ``a, b or c``."""
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} {by} {words[-1]}"


def _lowered(text: str) -> str:
    """A sentence to stand after a comma; abbreviations (``L1 ...``, ``NFPA ...``) keep their capital."""
    first, _, rest = text.partition(" ")
    plain = first.isalpha() and (len(first) == 1 or first[1:].islower())
    return f"{first.lower()} {rest}".strip() if plain else text


# --- premises ----------------------------------------------------------------------------------------------------
def _premises(rule: Rule, book: Book) -> str:
    """The premises all alternatives share, joined by *and*; where they part, the rest by *or*."""
    shared = [p for p in rule.alternatives[0] if all(p in other for other in rule.alternatives)]
    parts = []
    seen_same = False
    for premise in shared:
        parts.append(condition_sentence(premise, book, again=seen_same))
        seen_same = seen_same or premise.where == SAME
    apart = [[p for p in alternative if p not in shared] for alternative in rule.alternatives]
    if len(rule.alternatives) > 1 and all(apart):
        options = [" and ".join(condition_sentence(p, book, again=seen_same) for p in rest) for rest in apart]
        either = join_words(list(dict.fromkeys(options)), "or")
        parts.append(f"either {either}" if parts else either)
    return join_words(parts, "and")


def condition_sentence(condition: Condition, book: Book, *, again: bool = False) -> str:
    """One premise as a clause; ``again``: the unit of ``same`` has been spoken of already."""
    term = book.facts[condition.fact]
    subject = _subject(condition, term, again)
    by = f", seen by a {condition.by}," if condition.by else ""
    if set(term.values) == {"yes", "no"} and len(condition.values) == 1 and not condition.negated:
        return f"the answer to {subject} is {condition.values[0]}{by}".rstrip(",")
    verb = "is not known to be" if condition.negated else "is"
    return f"{subject} {verb} {_comparison(condition, term)}{by}".rstrip(",")


def _subject(condition: Condition, term: FactTerm, again: bool) -> str:
    title = f'"{term.title}"'
    if condition.between:
        title += f" between {condition.between.replace('-', ' and ')}"
    if condition.during:
        title += f" {_STATES.get(condition.during, 'while ' + condition.during)}"
    if condition.where is None:
        return title
    if condition.where == SAME:
        return f"{title} at {'that' if again else 'one'} unit"
    return f"{title} {_PLACES.get(condition.where, f'at the {place_words(condition.where)} unit')}"


def _comparison(condition: Condition, term: FactTerm) -> str:
    if condition.values:
        return join_words([_meaning(term, word) for word in condition.values], "or")
    if condition.not_values:
        return "known and not " + join_words([_meaning(term, word) for word in condition.not_values], "or")
    unit = _UNITS.get(term.unit or "", term.unit or "")
    low = "" if condition.at_least is None else f"at least {condition.at_least:g} {unit}"
    high = "" if condition.below is None else f"below {condition.below:g} {unit}"
    return " and ".join(part for part in (low, high) if part)


def _meaning(term: FactTerm, word: str) -> str:
    """``none (stays cold)``, or the word alone where its meaning adds nothing."""
    meaning = term.values[word]
    return word.replace("_", " ") if meaning == word else f"{word.replace('_', ' ')} ({meaning})"


# --- acts --------------------------------------------------------------------------------------------------------
def _acts(rule: Rule, book: Book) -> list[str]:
    made = []
    if rule.stop:
        say = rule.stop.say.rstrip(".")
        made.append(f'stop with {rule.stop.signal}, say "{say}" and send for {_WHO[rule.stop.refer_to]}')
    for verb, faults in (
        ("this points to", rule.points_to),
        ("this establishes", rule.establishes),
        ("this rules out", rule.rules_out),
    ):
        if faults:
            made.append(f"{verb} {join_words(_titles(faults, book), 'and' if 'out' in verb else 'or')}")
    for shift in rule.shift:
        likelier = "likelier" if shift.factor > 1 else "less likely"
        times = shift.factor if shift.factor > 1 else 1 / shift.factor
        verb = "becomes" if len(shift.faults) == 1 else "become"
        made.append(f"{join_words(_titles(shift.faults, book), 'and')} {verb} {times:.3g} times {likelier}")
    made += [_derived(derivation, book) for derivation in rule.derive]
    if rule.allow:
        made.append(f"these tests may be done: {', '.join(rule.allow)}")
    if rule.forbid:
        made.append(f"these tests may not be done: {', '.join(rule.forbid)}")
    if rule.ask:
        made.append(f"this is asked next: {', '.join(rule.ask)}")
    if rule.visit:
        made.append(_visit(rule))
    return made


def _titles(faults: Iterable[str], book: Book) -> list[str]:
    return [f'"{book.faults[fault].title}"' if fault in book.faults else f"any of {fault}" for fault in faults]


def _derived(derivation: Derivation, book: Book) -> str:
    where = {None: "", SAME: " at that unit"}.get(derivation.where, f" at the {place_words(derivation.where)} unit")
    term = book.facts[derivation.fact]
    return f'it follows that "{term.title}"{where} is {_meaning(term, derivation.value)}'


def _visit(rule: Rule) -> str:
    visit = rule.visit
    wants = []
    if visit and visit.skill:
        wants.append(f"a visit is for {_WHO[visit.skill]}")
    if visit and visit.urgency:
        wants.append(f"its urgency is {visit.urgency}")
    if visit and visit.tell:
        wants.append(f'the customer is told "{visit.tell.rstrip(".")}"')
    return " and ".join(wants)
