"""Scores the reader on labelled phrases: precision, recall, wrong polarity, dangers missed and false stops.

A phrase file maps a category to its phrases; a phrase has ``note`` and, as needed, ``facts`` (key: value, all of which
must be read), ``may`` (no mistake if read), ``never`` (facts, or ``fact: value``, that must not be read), ``hedged``
(keys of ``facts`` that must be read as doubtful) and ``hazard`` (stop, ask, none, or any: not judged). The section
``not_judged`` lists facts of which the file's labels say nothing, because the vocabulary got them later: reading one is
neither right nor wrong there, unless a phrase of the file wants it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from typing import Any, Literal

from rules.bookkeeping.types import FactTerm
from rules.bookkeeping.yamlsource import Path, YamlSource, nearest
from rules.notes import NoteReading
from rules.terms import BookError, Value, split_key

Hazard = Literal["stop", "ask", "none", "any"]
HAZARDS: tuple[Hazard, ...] = ("stop", "ask", "none", "any")
_NOT_JUDGED = "not_judged"
_FIELDS = ("note", "facts", "may", "never", "hedged", "hazard")
_STOPPING = {"surface.off_heat": "some", "oven.off_heat": "some", "house.lights": "uneven", "breaker": "trips_at_once"}

Pairs = Mapping[str, Value]


@dataclass(frozen=True)
class Phrase:
    """One labelled phrase."""

    category: str
    note: str
    facts: Pairs
    may: Pairs
    never: tuple[str, ...]
    hedged: tuple[str, ...]
    hazard: Hazard
    not_judged: frozenset[str] = frozenset()  # facts of which the labels say nothing


@dataclass
class Score:
    """Counts over phrases; every ratio is 1 (or 0 for errors) where there is nothing to count."""

    phrases: int = 0
    right: int = 0
    wrong: int = 0
    missed: int = 0
    polarity: int = 0  # a wanted fact read with another value
    forbidden: int = 0
    certainty: int = 0  # read rightly, but not as surely or as doubtfully as it was said
    dangers: int = 0  # phrases that must stop
    missed_dangers: int = 0  # of these, how many neither stop nor ask
    unstopped: int = 0  # of these, how many only ask
    calm: int = 0  # phrases that must not stop
    false_stops: int = 0

    def add(self, other: Score) -> None:
        """Add another score's counts."""
        for each in fields(self):
            setattr(self, each.name, getattr(self, each.name) + getattr(other, each.name))

    @property
    def precision(self) -> float:
        """Share of facts read that were said."""
        return _ratio(self.right, self.right + self.wrong, 1.0)

    @property
    def recall(self) -> float:
        """Share of facts said that were read."""
        return _ratio(self.right, self.right + self.missed, 1.0)

    @property
    def polarity_errors(self) -> float:
        """Share of facts said that were read with another value."""
        return _ratio(self.polarity, self.right + self.missed, 0.0)

    @property
    def false_stop_share(self) -> float:
        """Share of phrases without a clear danger that stop."""
        return _ratio(self.false_stops, self.calm, 0.0)


def _ratio(part: int, whole: int, empty: float) -> float:
    return part / whole if whole else empty


@dataclass(frozen=True)
class Miss:
    """A phrase that was not read as labelled, and in which way."""

    phrase: Phrase
    wrong: tuple[str, ...]
    missed: tuple[str, ...]
    hazard: Hazard  # what it did


@dataclass
class Report:
    """The scores of a phrase file by category, in its order, and what went wrong."""

    by_category: dict[str, Score] = field(default_factory=dict)
    misses: list[Miss] = field(default_factory=list)

    @property
    def total(self) -> Score:
        """All categories together."""
        whole = Score()
        for score in self.by_category.values():
            whole.add(score)
        return whole


def load_phrases(source: YamlSource, terms: Mapping[str, FactTerm]) -> list[Phrase]:
    """The phrases of a file. Raises BookError listing every label that is no word of the vocabulary, with its line."""
    problems: list[str] = []
    phrases: list[Phrase] = []
    if not isinstance(source.data, dict):
        raise BookError([source.problem((), "write categories, each with a list of phrases")])
    not_judged = _not_judged(source, terms, problems)
    for category, rows in source.data.items():
        if category == _NOT_JUDGED:
            continue
        if not isinstance(rows, list):
            problems.append(source.problem((category,), "write a list of phrases"))
            continue
        for number, row in enumerate(rows):
            phrase = _phrase(source, (category, number), category, row, terms, problems)
            if phrase is not None:
                phrases.append(replace(phrase, not_judged=not_judged))
    if problems:
        raise BookError(problems)
    return phrases


def _not_judged(source: YamlSource, terms: Mapping[str, FactTerm], problems: list[str]) -> frozenset[str]:
    names = source.data.get(_NOT_JUDGED) or []
    if not isinstance(names, list):
        problems.append(source.problem((_NOT_JUDGED,), "write a list of facts"))
        return frozenset()
    problems.extend(
        source.problem((_NOT_JUDGED,), f"{name!r} is no fact of the vocabulary{nearest(str(name), terms)}")
        for name in names
        if name not in terms
    )
    return frozenset(map(str, names))


def _phrase(
    source: YamlSource, path: Path, category: str, row: Any, terms: Mapping[str, FactTerm], problems: list[str]
) -> Phrase | None:
    if not isinstance(row, dict) or not isinstance(row.get("note"), str):
        problems.append(source.problem(path, "write 'note: the words', and 'facts: {key: value}' if any must be read"))
        return None
    for name in row:
        if name not in _FIELDS:
            message = f"unknown field; write {', '.join(_FIELDS)}{nearest(name, _FIELDS)}"
            problems.append(source.problem((*path, name), message))
    for name in ("facts", "may"):
        for key, value in (row.get(name) or {}).items():
            wrong = _wrong_label(key, value, terms)
            if wrong:
                problems.append(source.problem((*path, name), wrong))
    facts = _pairs(row.get("facts") or {})
    hazard = row.get("hazard", _told_hazard(facts, _pairs(row.get("may") or {})))
    if hazard not in HAZARDS:
        problems.append(
            source.problem((*path, "hazard"), f"{hazard!r} is not known; write one of {', '.join(HAZARDS)}")
        )
        return None
    never, hedged = (tuple(map(str, row.get(name) or ())) for name in ("never", "hedged"))
    return Phrase(category, row["note"], facts, _pairs(row.get("may") or {}), never, hedged, hazard)


def _wrong_label(key: str, value: Any, terms: Mapping[str, FactTerm]) -> str | None:
    term = terms.get(split_key(key)[0])
    if term is None:
        return f"{key!r} is no fact of the vocabulary{nearest(key, terms)}"
    if term.kind != "number" and value not in term.values:
        return f"{value!r} is no value of {key!r}; write one of {', '.join(term.values)}"
    return None


def _pairs(facts: Mapping[str, Any]) -> dict[str, Value]:
    return {key: float(value) if isinstance(value, int | float) else str(value) for key, value in facts.items()}


def _told_hazard(facts: Pairs, may: Pairs) -> Hazard:
    if any(stops(key, value) for key, value in facts.items()):
        return "stop"
    return "any" if any(stops(key, value) for key, value in may.items()) else "none"


def stops(key: str, value: Value) -> bool:
    """Whether a fact said outright is a danger that stops."""
    fact = split_key(key)[0]
    return (fact.startswith("hazard.") and value == "yes") or _STOPPING.get(fact) == value


def score(phrases: Iterable[Phrase], read: Callable[[str], NoteReading], hazard_of: Callable[[str], Hazard]) -> Report:
    """Score a reader. ``hazard_of`` tells what a whole triage of a note does about danger."""
    report = Report()
    for phrase in phrases:
        facts = read(phrase.note).facts
        found = _judged(phrase, [(fact.key, fact.value, fact.certainty == "hedged") for fact in facts])
        did = hazard_of(phrase.note)
        _judge_hazard(found, phrase.hazard, did)
        report.by_category.setdefault(phrase.category, Score()).add(found)
        got = {(fact.key, fact.value) for fact in facts}
        want = set(phrase.facts.items())
        wrong = _shown(_unwanted(phrase, got))
        missed = _shown(want - got)
        danger = found.missed_dangers or found.unstopped or found.false_stops
        if wrong or missed or found.forbidden or found.certainty or danger:
            report.misses.append(Miss(phrase, wrong, missed, did))
    return report


def _unwanted(phrase: Phrase, got: set[tuple[str, Value]]) -> set[tuple[str, Value]]:
    """What was read and not said."""
    unwanted = got - set(phrase.facts.items()) - set(phrase.may.items())
    return {pair for pair in unwanted if split_key(pair[0])[0] not in phrase.not_judged}


def _shown(pairs: Iterable[tuple[str, Value]]) -> tuple[str, ...]:
    return tuple(sorted(f"{key}={value}" for key, value in pairs))


def _judged(phrase: Phrase, facts: Sequence[tuple[str, Value, bool]]) -> Score:
    got = {(key, value) for key, value, _ in facts}
    want = set(phrase.facts.items())
    found = Score(phrases=1, right=len(got & want), missed=len(want - got))
    found.wrong = len(_unwanted(phrase, got))
    read = {key for key, _ in got - want}
    found.polarity = sum(key in read for key, _ in want - got)
    found.forbidden = sum(f"{key}: {value}" in phrase.never or split_key(key)[0] in phrase.never for key, value in got)
    found.certainty = sum((key, value) in want and doubt != (key in phrase.hedged) for key, value, doubt in facts)
    return found


def _judge_hazard(found: Score, wanted: Hazard, did: Hazard) -> None:
    if wanted == "stop":
        found.dangers = 1
        found.missed_dangers = int(did == "none")
        found.unstopped = int(did == "ask")
    elif wanted != "any":
        found.calm = 1
        found.false_stops = int(did == "stop")
        found.missed_dangers = int(wanted == "ask" and did == "none")
