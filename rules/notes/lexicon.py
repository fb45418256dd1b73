"""Compiles the book's words (``rules/book/words/*.yaml``) into a :class:`~rules.notes.entries.Lexicon`.

Everything is checked against the closed vocabulary first: a fact, value or place that is not in it, a field that does
not exist, a word that stands for two things, a meaning of an unknown thing or state. Every problem names file, line and
what to write instead.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from rules.bookkeeping.codes import FACT
from rules.bookkeeping.types import FactTerm
from rules.bookkeeping.yamlsource import Path, YamlSource, nearest
from rules.notes import alarmrows
from rules.notes.codetable import CodeTable
from rules.notes.entries import (
    ANY_THING,
    AXES,
    MARKERS,
    QUANTITIES,
    TURNS,
    UNITS,
    Lexicon,
    Meaning,
    Rest,
    Sense,
    State,
    Telling,
    Thing,
)
from rules.notes.families import Alarm, Alarms, Calm, Family
from rules.notes.normalise import phrase_words
from rules.notes.phrases import Entry, PhraseError, PhraseIndex
from rules.terms import ALL, OTHERS, UNNAMED, BookError, Certainty, split_key

__all__ = ["Lexicon", "compile_lexicon"]

_FIELDS: dict[str, tuple[str, ...]] = {
    "things": (
        "thing", "title", "words", "plural", "denied", "placed", "generic", "elsewhere", "part_of", "mentions",
        "stands_for", "ohms", "event",
    ),
    "states": ("state", "words", "denied", "needs_thing", "object"),
    "contexts": ("context", "words"),
    "places": ("place", "words", "plural"),
    "quantities": ("quantity", "words", "denied"),
    "markers": ("marker", "words"),
    "meanings": ("of", "is", "while", "near", "says", "denied", "sets", "denied_sets", "implied", "certainty", "half",
                 "unless"),
    "rests": ("only", "leaves"),
    "spelling": ("typos", "ordinary"),
    "turns": ("turn", "words"),
    "families": ("family", "words", "things", "contexts", "anywhere"),
    "alarms": ("alarm", "head", "led_by", "then", "beside", "unless", "says", "certainty", "reach", "unread", "denial"),
    "calms": ("calm", "of", "beside", "unless", "leaves", "near", "later"),
}  # fmt: skip
_NAMING = {"things": "thing", "states": "state", "contexts": "context", "places": "place",
           "quantities": "quantity", "markers": "marker", "turns": "turn",
           "families": "family", "alarms": "alarm", "calms": "calm"}  # fmt: skip
_KIND = {"things": "thing", "states": "state", "contexts": "context", "places": "place", "quantities": "quantity"}
_BARRIER_MARKERS = ("negation", "negation_verb", "absence", "stopping", "but", "and", "or", "nor", "except", "until",
                    "unless", "when", "if")  # fmt: skip
_HALVES = ("upper", "lower", "upper_dark", "lower_dark")
_CERTAINTIES: dict[str, Certainty] = {"said": "said", "hedged": "hedged", "measured": "measured"}


def compile_lexicon(sources: Sequence[YamlSource], facts: Mapping[str, FactTerm]) -> Lexicon:
    """Compile the words files. Raises BookError listing every problem as ``file:line: field: what to write``."""
    compiler = _Compiler(facts)
    for source in sources:
        compiler.take(source)
    for section in _FIELDS:
        for source, path, row in compiler.rows[section]:
            compiler.compile(section, source, path, row)
    if compiler.problems:
        raise BookError(compiler.problems)
    return compiler.lexicon()


class _Compiler:
    """Collects the sections of all files, then the entries; ``problems`` grows instead of raising at the first."""

    def __init__(self, facts: Mapping[str, FactTerm]) -> None:
        self.facts = facts
        self.problems: list[str] = []
        self.rows: dict[str, list[tuple[YamlSource, Path, dict[str, Any]]]] = {section: [] for section in _FIELDS}
        self.index = PhraseIndex()
        self.turns = PhraseIndex()
        self.names: dict[str, set[str]] = {section: set() for section in _NAMING}
        self.things: dict[str, Thing] = {}
        self.states: dict[str, State] = {}
        self.meanings: dict[tuple[str, str], list[Meaning]] = {}
        self.seen_meanings: set[tuple[object, ...]] = set()
        self.rests: dict[str, tuple[Rest, ...]] = {}
        self.typos: dict[str, str] = {}
        self.ordinary: set[str] = set()
        self.barriers: set[str] = set()
        self.families: list[Family] = []
        self.alarms: list[Alarm] = []
        self.calms: list[Calm] = []

    # --- collecting ------------------------------------------------------------------------------------------

    def take(self, source: YamlSource) -> None:
        """Sort a file's rows into sections and note the names they define, so that files may refer to each other."""
        if not isinstance(source.data, dict):
            self.problems.append(source.problem((), f"write sections: {', '.join(_FIELDS)}"))
            return
        for section, rows in source.data.items():
            if section not in _FIELDS:
                hint = nearest(section, _FIELDS)
                self.problems.append(source.problem((section,), f"unknown section; write {', '.join(_FIELDS)}{hint}"))
            elif not isinstance(rows, list):
                self.problems.append(source.problem((section,), "write a list of entries, each begun with '- '"))
            else:
                self._take_rows(source, section, rows)

    def _take_rows(self, source: YamlSource, section: str, rows: list[Any]) -> None:
        for number, row in enumerate(rows):
            path: Path = (section, number)
            if not isinstance(row, dict):
                self.problems.append(source.problem(path, f"write fields: {', '.join(_FIELDS[section])}"))
                continue
            for name in row:
                if name not in _FIELDS[section]:
                    known = _FIELDS[section]
                    message = f"unknown field; write {', '.join(known)}{nearest(name, known)}"
                    self.problems.append(source.problem((*path, name), message))
            self._take_name(source, section, path, row)
            self.rows[section].append((source, path, row))

    def _take_name(self, source: YamlSource, section: str, path: Path, row: dict[str, Any]) -> None:
        field = _NAMING.get(section)
        if field is None:
            return
        name = row.get(field)
        if not isinstance(name, str):
            self.problems.append(source.problem((*path, field), f"missing; write '{field}: name'"))
        elif name in self.names[section]:
            self.problems.append(source.problem((*path, field), f"{name!r} is written twice; keep one entry for it"))
        else:
            self.names[section].add(name)

    # --- compiling -------------------------------------------------------------------------------------------

    def compile(self, section: str, source: YamlSource, path: Path, row: dict[str, Any]) -> None:
        """Compile one row of one section."""
        at = Row(self, source, path, row)
        match section:
            case "things":
                self._thing(at)
            case "states":
                self._state(at)
            case "meanings":
                self._meaning(at)
            case "rests":
                self._rest(at)
            case "spelling":
                self._spelling(at)
            case "turns":
                self._turn(at)
            case "families":
                self.families += filter(None, [alarmrows.family(at)])
            case "alarms":
                self.alarms += filter(None, [alarmrows.alarm(at)])
            case "calms":
                self.calms += filter(None, [alarmrows.calm(at)])
            case _:
                self._words_only(section, at)

    def _turn(self, at: Row) -> None:
        name = at.row.get("turn")
        if isinstance(name, str) and at.known([name], TURNS, "kind of turn", "turn"):
            at.store("words", Entry(name, name), self.turns)

    def _words_only(self, section: str, at: Row) -> None:
        field = _NAMING[section]
        name = at.row.get(field)
        known = {"places": (*AXES, *UNITS), "quantities": QUANTITIES, "markers": tuple(MARKERS)}.get(section)
        if not isinstance(name, str):
            return
        if known is not None and name not in known:
            at.problem(field, f"{name!r} is not known; write one of {', '.join(known)}{nearest(name, known)}")
            return
        kind = name if section == "markers" else _KIND[section]
        stored = at.store("words", Entry(kind, name))
        if section == "places":
            stored |= at.store("plural", Entry(kind, name, plural=True))
        if section == "quantities":
            at.store("denied", Entry(kind, name, denies=True))
        if section == "places" or (section == "markers" and name in _BARRIER_MARKERS):
            self.barriers |= stored

    def _thing(self, at: Row) -> None:
        name = at.row.get("thing")
        if not isinstance(name, str):
            return
        stored = at.store("words", Entry("thing", name)) | at.store("plural", Entry("thing", name, plural=True))
        stored |= at.store("denied", Entry("thing", name, denies=True))
        self.barriers |= stored
        self.things[name] = Thing(
            name,
            str(at.row.get("title") or name),
            placed=at.flag("placed"),
            generic=at.flag("generic"),
            elsewhere=at.flag("elsewhere"),
            part_of=at.name("part_of", self.names["things"], "thing"),
            mentions=at.tellings("mentions"),
            senses=at.senses(),
            event=at.flag("event"),
            ohms=at.name("ohms", [fact for fact in self.facts if fact.startswith("ohms.")], "fact"),
        )

    def _state(self, at: Row) -> None:
        name = at.row.get("state")
        if not isinstance(name, str):
            return
        at.store("words", Entry("state", name))
        at.store("denied", Entry("state", name, denies=True))
        self.states[name] = State(name, needs_thing=at.flag("needs_thing"), takes_object=at.flag("object"))

    def _meaning(self, at: Row) -> None:
        things = at.names("of", {*self.names["things"], ANY_THING}, "thing")
        states = at.names("is", self.names["states"], "state")
        if not things or not states:
            for field, found in (("of", things), ("is", states)):
                if not found and field not in at.row:
                    at.problem(field, f"missing; write '{field}: name' or a list of names")
            return
        contexts = tuple(
            frozenset(at.known(text.split("/"), {*self.names["contexts"], "only"}, "context", "while"))
            for text in at.texts("while")
        )
        certainty = at.row.get("certainty")
        if certainty is not None and certainty not in _CERTAINTIES:
            at.problem("certainty", f"{certainty!r} is not known; write said, hedged or measured")
        says = at.tellings("says") if "says" in at.row else None
        denied = at.tellings("denied") if "denied" in at.row else None
        sets = frozenset(at.names("sets", self.names["contexts"], "context"))
        denied_sets = frozenset(at.names("denied_sets", self.names["contexts"], "context"))
        half = at.half()
        unless = frozenset(at.names("unless", self.facts, "fact"))
        if says is None and denied is None and not (sets or denied_sets or half):
            at.problem("says", "missing; write 'says: {fact: value}', 'denied: {fact: value}' or 'sets: context'")
        near = frozenset(at.names("near", self.names["things"], "thing"))
        for thing in things:
            for state in states:
                if (thing, state, contexts, near) in self.seen_meanings:
                    at.problem(
                        "is", f"'{state}' of '{thing}' in this context has a meaning already; keep one of the two"
                    )
                self.seen_meanings.add((thing, state, contexts, near))
                meaning = Meaning(thing, state, contexts, near, says, denied, sets, at.flag("implied"),
                                  _CERTAINTIES.get(str(certainty)), denied_sets, half, unless)  # fmt: skip
                self.meanings.setdefault((thing, state), []).append(meaning)

    def _rest(self, at: Row) -> None:
        only = at.names("only", self.names["things"], "thing")
        rests = []
        for text in at.texts("leaves"):
            thing, _, where = text.partition("@")
            at.known([thing], self.names["things"], "thing", "leaves")
            if where and where not in (ALL, OTHERS):
                at.problem("leaves", f"{where!r} is no place here; write {thing}@all or {thing}@others")
            rests.append(Rest(thing, where or None))
        for thing in only:
            if thing in self.rests:
                at.problem("only", f"{thing!r} is written twice; keep one entry for it")
            self.rests[thing] = tuple(rests)

    def _spelling(self, at: Row) -> None:
        typos = at.row.get("typos") or {}
        if not isinstance(typos, dict) or not all(isinstance(word, str) for word in typos.values()):
            at.problem("typos", "write pairs 'misspelling: word meant'")
            typos = {}
        for wrong, word in typos.items():
            right = " ".join(phrase_words(word))
            if right not in self.index.words:
                at.problem("typos", f"{right!r} is no word of the lexicon{nearest(right, self.index.words)}")
            self.typos[wrong] = right
        self.ordinary.update(at.texts("ordinary"))

    def lexicon(self) -> Lexicon:
        """The finished lexicon; the heaviest meanings stand first."""
        meanings = {
            key: tuple(sorted(found, key=lambda meaning: -meaning.weight)) for key, found in self.meanings.items()
        }
        return Lexicon(
            self.index,
            self.things,
            self.states,
            frozenset(self.names["contexts"]),
            meanings,
            self.rests,
            frozenset(self.barriers),
            CodeTable(self.facts[FACT].codes if FACT in self.facts else {}),
            self.typos,
            frozenset(self.ordinary),
            self.turns,
            Alarms(tuple(self.families), tuple(self.alarms), tuple(self.calms)),
        )


class Row:
    """One row of a words file: reads its fields and reports what is wrong with them, with the line."""

    def __init__(self, compiler: _Compiler, source: YamlSource, path: Path, row: dict[str, Any]) -> None:
        self.compiler, self.source, self.path, self.row = compiler, source, path, row

    def problem(self, field: str, message: str) -> None:
        """Report a problem with a field."""
        self.compiler.problems.append(self.source.problem((*self.path, field), message))

    def flag(self, field: str) -> bool:
        """A field that is true or left out."""
        value = self.row.get(field, False)
        if not isinstance(value, bool):
            self.problem(field, "write 'true', or leave the field out")
        return value is True

    def half(self) -> str | None:
        """Which oven element's glow a meaning tells."""
        value = self.row.get("half")
        if value is not None and value not in _HALVES:
            self.problem("half", f"{value!r} is not known; write upper or lower, with _dark if it is the dark one")
        return value if value in _HALVES else None

    def texts(self, field: str) -> list[str]:
        """A field that is one text or a list of texts."""
        value = self.row.get(field, [])
        texts = value if isinstance(value, list) else [value]
        if not all(isinstance(text, str) for text in texts):
            wrong = next(text for text in texts if not isinstance(text, str))
            self.problem(field, f"{wrong!r} is not a text; write words, in quotes if they are figures")
            return [text for text in texts if isinstance(text, str)]
        return texts

    def known(self, names: Iterable[str], known: Iterable[str], what: str, field: str) -> list[str]:
        """Those of ``names`` that exist; the others are reported."""
        known = set(known)
        for name in names:
            if name not in known:
                self.problem(field, f"{name!r} is no {what} of the lexicon{nearest(name, known)}")
        return [name for name in names if name in known]

    def names(self, field: str, known: Iterable[str], what: str) -> list[str]:
        """A field that is one name or a list of names."""
        return self.known(self.texts(field), known, what, field)

    def name(self, field: str, known: Iterable[str], what: str) -> str | None:
        """A field that is one name or is left out."""
        found = self.names(field, known, what)
        return found[0] if found else None

    def store(self, field: str, entry: Entry, index: PhraseIndex | None = None) -> set[str]:
        """Add a field's phrases to an index, the notes' own if none is given.

        Gives back those of their spellings that are a single word.
        """
        stored: set[str] = set()
        index = self.compiler.index if index is None else index
        for phrase in self.texts(field):
            try:
                single, clashes = index.add_phrase(phrase, entry)
            except PhraseError as error:
                self.problem(field, str(error))
                continue
            stored |= single
            for words, other in clashes.items():
                named = f"{other.kind} {other.name!r}" if other.kind != other.name else f"marker {other.name!r}"
                spelled = " ".join(words)
                self.problem(field, f"{spelled!r} stands for {named} already; take it out of one of the two")
        return stored

    def senses(self) -> tuple[Sense, ...]:
        """``stands_for``: the things an ambiguous word may mean, first fit first."""
        senses = []
        rows = self.row.get("stands_for", [])
        for row in rows if isinstance(rows, list) else [rows]:
            if not isinstance(row, dict) or not set(row) <= {"thing", "near", "placed", "both"} or "thing" not in row:
                self.problem("stands_for", "write a list of {thing: name, near: [names], placed: true, both: true}")
                continue
            near = row.get("near", [])
            near = near if isinstance(near, list) else [near]
            things = self.compiler.names["things"]
            self.known([str(row["thing"]), *map(str, near)], things, "thing", "stands_for")
            sense = Sense(
                str(row["thing"]), frozenset(map(str, near)), row.get("placed") is True, row.get("both") is True
            )
            senses.append(sense)
        return tuple(senses)

    def tellings(self, field: str) -> tuple[Telling, ...]:
        """``{fact: value}`` or ``{fact@place: value}``, checked against the vocabulary."""
        pairs = self.row.get(field, {})
        if not isinstance(pairs, dict):
            self.problem(field, "write {fact: value}")
            return ()
        return tuple(telling for key, value in pairs.items() if (telling := self._telling(field, str(key), value)))

    def _telling(self, field: str, key: str, value: Any) -> Telling | None:
        fact, place, _ = split_key(key)
        term = self.compiler.facts.get(fact)
        if term is None:
            self.problem(field, f"{fact!r} is no fact of the vocabulary{nearest(fact, self.compiler.facts)}")
            return None
        if term.place == "meter":
            self.problem(field, f"{fact!r} is read from figures only; write another fact")
            return None
        if place is not None and (term.place != "surface" or place not in (*UNITS, ALL, OTHERS, UNNAMED)):
            self.problem(field, f"{place!r} is no place of {fact!r}; write {fact}, {fact}@all or {fact}@left_front")
            return None
        wrong = _wrong_number(term, value) if term.kind == "number" else _wrong_choice(term, value)
        if wrong:
            self.problem(field, wrong)
            return None
        told = float(value) if term.kind == "number" else str(value)
        return Telling(fact, place, told, term.place == "surface")


def _wrong_number(term: FactTerm, value: Any) -> str | None:
    """What is wrong with a number for this fact, or None."""
    if isinstance(value, bool) or not isinstance(value, int | float) or math.isnan(value):
        return f"{value!r} is no number; write the {term.unit or 'number'} of {term.fact!r}"
    least, most = term.least or 0.0, math.inf if term.most is None else term.most
    if not least <= value <= most:
        return f"{value} is out of the range of {term.fact!r}; write a number from {least:g} to {most:g}"
    return None


def _wrong_choice(term: FactTerm, value: Any) -> str | None:
    """What is wrong with a value for this fact, or None."""
    if value in term.values:
        return None
    hint = nearest(str(value), term.values)
    return f"{value!r} is no value of {term.fact!r}; write one of {', '.join(term.values)}{hint}"
