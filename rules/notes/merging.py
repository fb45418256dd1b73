"""Settles the facts of a whole note: what was said of the whole yields to what was said of a part, once is enough."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import TypeVar

from rules.notes.meaning import GLOW
from rules.notes.nouns import SOME
from rules.notes.told import Told
from rules.terms import ALL, OTHERS, UNNAMED, Certainty

Key = TypeVar("Key")
_SURENESS: dict[Certainty, int] = {"hedged": 0, "said": 1, "measured": 2}
NORMAL, WEAK, NONE = "normal", "weak", "none"
RUNS = "oven.runs"
_HALVES = {
    ("yes", "yes"): "both",
    ("yes", "no"): "upper_only",
    ("no", "yes"): "lower_only",
    ("no", "no"): "neither",
}


def merge(told: Iterable[Told]) -> list[Told]:
    """The facts of a note, in the order they were written. Contradictions between explicit facts are kept."""
    facts = [*told]
    names = {fact.fact for fact in facts}
    if GLOW in names:
        facts = _glow(facts)
    facts = _yielding(facts)
    if "fuel" in names:
        facts = _fuels(facts)
    facts = [*_once(_dangers(_under_conditions(facts)))]
    if "display.with_burner_on" in names:
        facts = _woken(facts)
    by_key = _grouped(facts, _key)
    if len(by_key) < len(facts):
        facts = [fact for fact in facts if len(by_key[_key(fact)]) == 1 or not _overridden(fact, by_key[_key(fact)])]
    places = {fact.where for fact in facts}
    if ALL in places or SOME in places:
        by_fact = _grouped(facts, lambda fact: fact.fact)
        facts = [_placed(fact, by_fact[fact.fact]) for fact in facts]
        facts = _named(facts)
    elif UNNAMED in places:
        facts = _named(facts)
    return sorted(_once(facts), key=lambda fact: (fact.start, fact.end))


def _key(fact: Told) -> tuple[str | None, ...]:
    """What the fact is of, as :attr:`Told.key`, but not put together to one text."""
    return fact.fact, fact.where, fact.between, fact.during


def _yielding(facts: list[Told]) -> list[Told]:
    """A cold top beside a light that stays on is no failure to heat, nor is a "cold" oven with a known offset.

    An oven that "heats but burns everything" is not said to heat as always.
    """
    if [fact for fact in facts if fact.unless]:
        complaints = {fact.fact for fact in facts if fact.value not in ("dark", 0.0)}
        facts = [fact for fact in facts if fact.value == NORMAL or not fact.unless & complaints]
    if [fact for fact in facts if fact.fact == RUNS]:
        facts = [fact for fact in facts if (fact.fact, fact.value) != ("oven.bake.heat", NORMAL)]
    return facts


def _dangers(facts: list[Told]) -> list[Told]:
    """A danger that is told outright is not denied by the same note: ``it shocked her, I felt nothing``."""
    told = {fact.fact for fact in facts if fact.fact.startswith("hazard.") and fact.value == "yes"}
    return [fact for fact in facts if fact.fact not in told or fact.value != "no"] if told else facts


def _under_conditions(facts: list[Told]) -> list[Told]:
    """``works cold but dies when I bake``: what holds under a condition only is not told against another value."""
    if not [fact for fact in facts if fact.conditioned]:
        return facts
    by_key = _grouped(facts, _key)
    return [
        fact
        for fact in facts
        if not fact.conditioned
        or fact.fact.startswith("hazard.")
        or all(other.value == fact.value for other in by_key[_key(fact)])
    ]


def _fuels(facts: list[Told]) -> list[Told]:
    """Gas burners over an electric oven, told in two words."""
    told = {fact.value for fact in facts if fact.fact == "fuel"}
    if not {"gas", "electric"} <= told:
        return facts
    return [fact._replace(value="dual_fuel") if fact.fact == "fuel" else fact for fact in facts]


def _woken(facts: list[Told]) -> list[Told]:
    """``The clock is dead ... now it lights up, a burner is on``: lit is what the burner does, not the clock alone."""
    told = {(fact.fact, fact.value) for fact in facts}
    if {("display", "dark"), ("display.with_burner_on", "lit")} <= told:
        facts = [fact for fact in facts if (fact.fact, fact.value) != ("display", "lit")]
        return [fact for fact in facts if (fact.fact, fact.value) != ("display.with_burner_on", "dark")]
    return facts


def _named(facts: list[Told]) -> list[Told]:
    """``Left front is dead; ... that burner won't heat``: the unit without a name is the one that was named."""
    named = {(fact.fact, fact.value) for fact in facts if fact.where not in (None, ALL, OTHERS, UNNAMED)}
    return [fact for fact in facts if fact.where != UNNAMED or (fact.fact, fact.value) not in named]


def _grouped(facts: Iterable[Told], name: Callable[[Told], Key]) -> dict[Key, list[Told]]:
    grouped: dict[Key, list[Told]] = {}
    for fact in facts:
        grouped.setdefault(name(fact), []).append(fact)
    return grouped


def _glow(told: list[Told]) -> list[Told]:
    """Put the halves of the oven's glow together. One dark element leaves the other, in doubt; one lit, nothing."""
    halves = [fact for fact in told if fact.fact == GLOW and fact.implied]
    if not halves:
        return told
    rest = [fact for fact in told if not (fact.fact == GLOW and fact.implied)]
    seen: dict[str, Told] = {}
    for fact in halves:
        seen.setdefault(str(fact.value).split()[0], fact)
    state = {half: str(fact.value).split()[1] for half, fact in seen.items()}
    first, last = halves[0], halves[-1]
    certainty: Certainty = "said" if all(fact.certainty == "said" for fact in halves) else "hedged"
    if len(state) == 2:
        value = _HALVES[state["upper"], state["lower"]]
    elif "no" in state.values():
        value, certainty = ("lower_only" if "upper" in state else "upper_only"), "hedged"
    else:
        return [*rest, *(_heats_if_it_glows(seen[half], half) for half in state)]
    start, end = min(first.start, last.start), max(first.end, last.end)
    return [*rest, Told(GLOW, value, None, certainty, start, end)]


def _heats_if_it_glows(fact: Told, half: str) -> Told:
    """One element seen to glow, the other not spoken of: its mode heats, most likely."""
    heat = "oven.broil.heat" if half == "upper" else "oven.bake.heat"
    return Told(heat, NORMAL, None, fact.certainty, fact.start, fact.end, implied=True)


def _overridden(fact: Told, same: Sequence[Told]) -> bool:
    """Whether more is said of exactly this: outright and not by implication, or that the heat is weak ("heats, but
    weakly"), or by a later implication.
    """
    others = [other for other in same if other is not fact]
    if fact.value == NORMAL and any(other.value == WEAK for other in others):
        return True
    outright = any(not other.implied for other in others)
    later = any(other.start > fact.start and other.value != fact.value for other in others)
    return fact.implied and (outright or later)


def _placed(fact: Told, facts: Sequence[Told]) -> Told:
    """'All' beside an exception are the others; some units are the others if one is told apart, else unnamed."""
    if fact.where not in (ALL, SOME):
        return fact
    apart = any(
        other.where not in (None, ALL, OTHERS, SOME, fact.where) and other.value != fact.value for other in facts
    )
    if apart:
        return fact._replace(where=OTHERS)
    return fact if fact.where == ALL else fact._replace(where=UNNAMED)


def _once(facts: Iterable[Told]) -> Iterable[Told]:
    """Every fact once with each value: said outright rather than implied, then the surest, then the first."""
    kept: dict[tuple[object, object], Told] = {}
    for fact in facts:
        name = _key(fact), fact.value
        held = kept.get(name)
        if held is None or _rank(fact) > _rank(held):
            kept[name] = fact
    return kept.values()


def _rank(fact: Told) -> tuple[bool, int]:
    return not fact.implied, _SURENESS[fact.certainty]
