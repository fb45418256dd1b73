"""Reads one note from top to bottom: normalise, tag, figures, clauses, claims, scope, meaning, merge."""

from __future__ import annotations

import re
from bisect import bisect_left
from collections import deque
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

from rules.notes import readings
from rules.notes.alarms import HAZARD, Heard, watched
from rules.notes.claims import WEAK, WORKS, Claim, Memory, Said, read_clause
from rules.notes.clauses import Clause, Sentence, split
from rules.notes.corrections import corrected, without_taken_figures
from rules.notes.entries import Lexicon
from rules.notes.leaning import borrow, rest_of, settle_all_that_works, settle_exceptions, spread_denial
from rules.notes.meaning import Meanings
from rules.notes.merging import merge
from rules.notes.normalise import normalise
from rules.notes.nouns import SOME, Noun
from rules.notes.readings.figures import has_any
from rules.notes.scope import settle_scope
from rules.notes.speakers import without_speakers
from rules.notes.tagging import Item, Tagged, settled, tag
from rules.notes.told import Told
from rules.notes.turns import straightened
from rules.notes.typos import Speller
from rules.terms import ALL, UNNAMED, Certainty

Span = tuple[int, int]
SHORTEST_UNREAD = 8  # characters; a lone "off" or "cold" beside clauses that were read is no news
#: Cheap: most sentences hold no figure, in digits or in words, no duration and no self-clean.
_DIGIT = re.compile(r"\d")
_SPELLED = re.compile(r"\b(?:ten|fifteen|(?:twen|thir|for|fif|six|seven|eigh|nine)ty|hundred)\b")
_SPELLINGS = ("ty", "ten", "teen", "hundred")
_MAY_BE_CODE = re.compile(r"\b[a-z](?:[\s.-]?[a-z])?[\s.-]{0,3}\d")
_AGED = (" old", " ago", "yo", "y/o", "age", "brand new")
_RENEWED = ("replaced", "changed", "swapped", "renewed", " new ", "another")
_OF_THE_PAST = frozenset({"age", "replaced_part"})  # true although they tell of former times
_DURATIONS = ("min", "hour", "hr")
_LIGHTS = frozenset({"indicator", "hot_light", "light"})
_KNOBS = frozenset({"knob", "burner_knob"})
_BLAMED = frozenset({"food", "boil_over", "oven_spill"})  # what smoke may be blamed on, unless it is denied
_ANSWERS = frozenset({"yes", "no", "absence", "negation", "negation_verb", "quantity", "thing", "place"})
_SCENE = frozenset({"quantity", "thing", "state", "context", "verb"})
_MASKED = ("state", "context", "quantity")
_SLIGHTLY = ("bit", "slightly", "sometimes", "occasionally", "tad", "faint", "barely", "hardly", "scarcely", "somewhat")
_WARMS = ("heats", "hot", "warm", "works", "comes_on", "hot_enough")
_CONTENT = frozenset({"word", "thing", "state", "context", "place", "stopping"})


@dataclass
class _Read:
    """A sentence, its clauses as they were understood, and the meanings that hold in it."""

    sentence: Sentence
    said: list[Said]
    meanings: Meanings


class NoteReader:
    """Reads one note. ``told`` are its facts, ``unread`` the spans of clauses that nobody could read."""

    def __init__(self, text: str, lexicon: Lexicon, positions: Sequence[str]) -> None:
        plain, self.talk = without_speakers(normalise(text))
        self.plain = without_taken_figures(plain)
        self.figured = _DIGIT.search(self.plain) is not None
        self.lexicon = lexicon
        self.positions = positions
        self.memory = Memory()
        self.asked: _Read | None = None
        self.homeless: set[str] = set()
        tagged = tag(self.plain, lexicon, Speller(lexicon))
        items = settled(straightened(corrected(tagged.items, self.plain), self.plain))
        figures = self._figures(_spans(items, len(text)))
        self.hinted = {"temperature"} if any(fact.fact == "oven.offset" for fact in figures) else set()
        self.sentences = split(_unmasked(items, figures), lexicon, talk=self.talk)
        self.saids: list[Said] = []
        self.told: list[Told] = []
        read: list[tuple[list[Said], list[Told]]] = []
        for number in range(len(self.sentences)):
            before = len(self.saids)
            found = [*self._sentence(number)]
            read.append((self.saids[before:], found))
            self.told += found
        self.told = self._watched(tagged, read)
        told = [*self._in_scope(figures), *self.told]
        self.told = merge(told)
        self.unread = _unread(self.saids, self.told, [(fact.start, fact.end) for fact in told])

    # --- figures ---------------------------------------------------------------------------------------------

    def _figures(self, spans: list[Span]) -> list[Told]:
        """Figures whose unit stands with them. Ohms need the part they belong to and are read with the nouns."""
        told = readings.volts(self.plain, spans)
        taken = sorted(fact.start for fact in told)
        for start, end in spans:
            sentence = self.plain[start:end]
            digits = _DIGIT.search(sentence) is not None
            if digits or (has_any(sentence, _SPELLINGS) and _SPELLED.search(sentence)):
                if bisect_left(taken, start) == bisect_left(taken, end):  # no volts in this sentence
                    told += readings.oven_offsets(self.plain, start, end)
                told += readings.stays_cold(self.plain, start, end)
            if has_any(sentence, _DURATIONS):
                told += readings.preheat_times(self.plain, start, end)
            if "clean" in sentence:
                told += readings.self_clean_days(self.plain, start, end)
            if "code" in sentence or (digits and _MAY_BE_CODE.search(sentence)):
                told += readings.codes(self.plain, start, end, self.lexicon.codes)
            told += self._past(sentence, start, end)
        return told

    def _past(self, sentence: str, start: int, end: int) -> Iterator[Told]:
        """What was done or was so before."""
        if has_any(sentence, _AGED):
            yield from readings.age(self.plain, start, end)
        if has_any(sentence, _RENEWED):
            yield from readings.replaced_parts(self.plain, start, end)
        if "breaker" in sentence:
            yield from readings.breaker_cycled(self.plain, start, end)

    def _in_scope(self, figures: list[Told]) -> Iterator[Told]:
        """Figures as their clauses leave them: dropped if told of former times or another appliance, or in doubt."""
        if not figures:
            return
        former = _Touched([said.span for said in self.saids if said.former or self._elsewhere(said)])
        hedged = _Touched([said.span for said in self.saids if said.hedged])
        for fact in figures:
            if fact.certainty == "measured" or fact.fact in _OF_THE_PAST:
                yield fact
            elif not former.by(fact.start, fact.end):
                yield fact._replace(certainty="hedged") if hedged.by(fact.start, fact.end) else fact

    def _elsewhere(self, said: Said) -> bool:
        return bool(said.nouns) and all(self.lexicon.things[noun.thing].elsewhere for noun in said.nouns)

    def _watched(self, tagged: Tagged, read: Sequence[tuple[list[Said], list[Told]]]) -> list[Told]:
        """What was told, with the dangers that no phrase told and without those that are none."""
        alarms = self.lexicon.alarms
        dangers = [fact for fact in self.told if fact.value == "yes" and fact.fact.startswith(HAZARD)]
        new = alarms.possible(tagged) - {fact.fact for fact in dangers if fact.certainty != "hedged"}
        if not (new or (dangers and alarms.may_calm(tagged)) or self._murmurs(tagged)):
            return self.told
        starts = [each.clauses[0].start if each.clauses else 0 for each in self.sentences]
        edges = [0, *starts[1:], len(self.plain)]
        marks = alarms.marks(tagged)
        told = self.told
        for number, (said, found) in enumerate(read):
            if said:
                heard = Heard(said, found, edges[number], edges[number + 1], self.sentences[number].asked)
                told = watched(told, heard, marks, self.lexicon)
        return told

    def _murmurs(self, tagged: Tagged) -> bool:
        """Whether a clause of which nothing was understood has a word of danger."""
        heads = tagged.named & self.lexicon.alarms.murmurs
        unread = [said for said in self.saids if not said.used] if heads else []
        if not unread:
            return False
        starts = [token.start for token, word in zip(tagged.tokens, tagged.words, strict=True) if word in heads]
        return any(said.clause.start <= start < said.clause.end for said in unread for start in starts)

    # --- sentences -------------------------------------------------------------------------------------------

    def _sentence(self, number: int) -> Iterator[Told]:
        sentence = self.sentences[number]
        around: frozenset[str] = frozenset()
        for beside in self.sentences[max(0, number - 1) : number] + self.sentences[number + 1 : number + 2]:
            around |= beside.things
        things = sentence.things
        if things & _BLAMED:
            things -= sentence.denied & _BLAMED
        meanings = Meanings(self.lexicon, self.positions, things, around, self.hinted)
        before = self.memory.last
        said = [read_clause(clause, self.lexicon, self.memory) for clause in sentence.clauses]
        if not said:
            return
        self.saids += said
        self._let_lean(said, sentence, before)
        if self.homeless:
            said[0].contexts |= self.homeless
        if things & _LIGHTS and number + 1 < len(self.sentences) and _all_off(self.sentences[number + 1]):
            _light_with_knobs_off(said)
        self.homeless = settle_scope(said, meanings)
        read = _Read(sentence, said, meanings)
        if self.asked is not None:
            yield from self._answered(read)
        if sentence.asked:
            self.asked = read
            for each in said:
                each.used = True
            return
        yield from self._told(read)

    def _let_lean(self, said: list[Said], sentence: Sentence, before: Claim | None) -> None:
        """Let the clauses of a sentence borrow from each other; ``before`` is the last claim before it."""
        kinds = sentence.kinds
        if len(said) > 1:
            if kinds & _ANSWERS:
                _settle_answers(said)
            spread_denial(said)
        borrow(said, self.lexicon, self.memory, before)
        if [each for each in said if each.clause.link == "except"]:
            settle_exceptions(said, self.lexicon)
        if "only" in kinds:
            settle_all_that_works(said)

    def _answered(self, read: _Read) -> Iterator[Told]:
        """The facts of a question that this sentence answers with yes or no."""
        asked, self.asked = self.asked, None
        if asked is None:
            return
        answer = _answer(read.said[0].clause) or _short_answer(read.said[0].clause)
        scant = answer == "yes" and _is_scant(read.said[0].clause, ("sized",))
        if answer is None:
            if not self._answers_which(read, asked):
                _answers_with_a_state(read.said[0], asked)
            return
        read.said[0].used, read.said[0].claims = True, []
        for said in asked.said:
            if not said.claims and said.nouns and not said.clause.condition:
                nouns = tuple(noun for noun in said.nouns if not noun.carried)
                said.claims = [Claim(nouns, (), WORKS, False, *said.span)] if nouns else []
            if answer == "no":  # "so it never gets there? no" does not turn it
                said.claims = [claim if claim.denies else claim.turned() for claim in said.claims]
            if scant:
                said.claims = [c._replace(state=WEAK) if c.state in _WARMS else c for c in said.claims]
        yield from self._told(asked)

    def _answers_which(self, read: _Read, asked: _Read) -> bool:
        """``Which burner? Rear left.`` names what was spoken of; ``Which heat? The rear ones.`` says it of them."""
        said = read.said[0]
        if len(read.said) > 1 or not said.nouns or said.clause.has("state", "verb", "negation", "absence"):
            return False
        begin = max(0, asked.sentence.clauses[0].start - len("which of "))
        anything = any(noun.thing == "anything" or noun.quantity == "any" for each in asked.said for noun in each.nouns)
        if not anything and "which" not in self.plain[begin : asked.sentence.clauses[-1].end]:
            return False
        nouns = tuple(said.nouns)
        claims = [claim for each in asked.said for claim in each.claims]
        if claims:
            said.claims = [claim._replace(nouns=nouns, others=(), start=said.clause.start, end=said.clause.end)
                           for claim in claims]  # fmt: skip
            return True
        said.claims, said.used = [], True
        units = [unit for noun in nouns for unit in noun.where(self.positions)]
        if not set(units) & {UNNAMED, ALL, SOME}:
            self.told = [placed for fact in self.told for placed in _at_units(fact, units)]
        return True

    def _told(self, read: _Read) -> Iterator[Told]:
        if self.figured:
            start, end = read.sentence.clauses[0].start, read.sentence.clauses[-1].end
            nouns = [noun for said in read.said for noun in said.nouns]
            yield from readings.ohms(self.plain, start, end, nouns, self.lexicon, self.positions)
        for said in read.said:
            yield from self._mentions(said, read.meanings.things)
            for claim in said.claims:
                for each in (claim, *rest_of(claim, self.lexicon)):
                    yield from read.meanings.facts(each, said)

    def _mentions(self, said: Said, named: frozenset[str]) -> Iterator[Told]:
        """Facts that the name of a thing brings along: a gas stove, a coil; but not "both coils in the oven"."""
        if said.former or said.clause.condition == "if":
            return
        denied = False
        for item in said.clause.items:
            denied = denied or item.kind in ("negation", "absence", "negation_verb")
            mentions = self.lexicon.things[item.name].mentions if item.kind == "thing" and not denied else ()
            if mentions and not self._another_sense(item, said, named):
                for telling in mentions:
                    said.used = True
                    certainty: Certainty = "hedged" if said.hedged else "said"
                    yield Told(telling.fact, telling.value, telling.where, certainty, item.start, item.end)

    def _another_sense(self, item: Item, said: Said, named: frozenset[str]) -> bool:
        senses = self.lexicon.things[item.name].senses
        both = any(item.kind == "quantity" and item.name == "both" for item in said.clause.items)
        return both and any(sense.both and sense.near & named for sense in senses)


def _all_off(sentence: Sentence) -> bool:
    """``Knobs off.``: a sentence that only says so."""
    items = [item for clause in sentence.clauses for item in clause.items]
    off = any((item.kind, item.name) in (("context", "all_off"), ("state", "off")) for item in items)
    knobs = sentence.things <= _KNOBS and (bool(sentence.things) or any(item.kind == "context" for item in items))
    return off and knobs and {item.kind for item in items} <= _SCENE


def _light_with_knobs_off(sentence: Sequence[Said]) -> None:
    """``Indicator lit. Controls off.``: the light is on with the controls off."""
    for said in sentence:
        if said.claims and said.nouns and all(noun.thing in _LIGHTS for noun in said.nouns):
            said.contexts.add("all_off")


def _at_units(fact: Told, units: Sequence[str]) -> list[Told]:
    """A fact told of units without a name, at each of those that were named since."""
    return [fact._replace(where=unit) for unit in units] if fact.where in (UNNAMED, SOME) else [fact]


# --- small helpers ---------------------------------------------------------------------------------------


def _spans(items: Sequence[Item], length: int) -> list[Span]:
    """Start and end of every sentence, from full stop to full stop."""
    stops = [item for item in items if item.kind == "stop"]
    starts = [0, *(stop.end for stop in stops)]
    ends = [*(stop.start for stop in stops), length]
    return [(start, end) for start, end in zip(starts, ends, strict=True) if start < end]


def _unmasked(items: list[Item], figures: Sequence[Told]) -> list[Item]:
    """Items without the states inside figures that were read: the 'hot' of '25 hot', the 'nothing' on L2."""
    if not figures:
        return items
    kept = []
    waiting = deque(sorted((f.start, f.end, f.fact == "volts") for f in figures if f.fact not in _OF_THE_PAST))
    for item in items:
        while waiting and waiting[0][1] <= item.start:
            waiting.popleft()
        inside = bool(waiting) and waiting[0][0] <= item.start and item.end <= waiting[0][1]
        if not (inside and (item.kind in _MASKED or (waiting[0][2] and item.kind == "thing"))):
            kept.append(item)
    return kept


def _answer(clause: Clause) -> str | None:
    """Whether a clause is a bare yes or no. ``Right.`` is a yes, and ``Nothing.`` a no."""
    if len(clause.items) == 1 and (word := clause.items[0]).name in ("right", "everything"):
        return "yes" if word.name == "right" else "no" if word.denies else None
    kinds = {item.kind for item in clause.items}
    if not kinds <= {"yes", "no", "absence", "negation", "negation_verb", "pronoun", "verb", "quantity"}:
        return None
    if any(item.kind == "quantity" and not item.denies for item in clause.items):
        return None
    if kinds & {"no", "absence", "negation", "negation_verb"}:
        return "no"
    if any(item.kind == "quantity" and item.denies for item in clause.items):
        return "no"
    return "yes" if "yes" in kinds else None


def _short_answer(clause: Clause) -> str | None:
    """``they do``, ``a little``: yes, in other words. Only after a question."""
    kinds = {item.kind for item in clause.items}
    if kinds == {"pronoun", "verb"}:
        return "yes"
    return "yes" if _is_scant(clause) else None


def _is_scant(clause: Clause, counts: Sequence[str] = ("sized", "some")) -> bool:
    """``a little``, ``barely``: yes, but not much."""
    return all((item.kind == "quantity" and item.name in counts) or item.name in _SLIGHTLY for item in clause.items)


def _answers_with_a_state(said: Said, asked: _Read) -> None:
    """``Bake? Dead.``: a state alone after a thing alone."""
    nouns = tuple(noun for each in asked.said for noun in each.nouns if not noun.carried)
    if not nouns or any(each.claims for each in asked.said) or any(not noun.carried for noun in said.nouns):
        return
    said.claims = [
        claim._replace(nouns=nouns) if all(n.carried for n in claim.nouns) else claim for claim in said.claims
    ]


def _settle_answers(sentence: list[Said]) -> None:
    """``Smoke: no``, ``sparks - none``: a bare answer after what it answers."""
    for before, said in pairwise(sentence):
        answer = _answer(said.clause)
        if answer is None or said.clause.link not in ("colon", "comma", "and", "but") or said.claims:
            continue
        if before.clause.condition:
            continue  # "works when it is cold, but not when it is hot"
        said.used = True
        if answer == "no" and before.claims:
            for each in _listed(sentence, said):
                each.claims = [claim._replace(denied=True) for claim in each.claims]
        elif before.nouns and not before.claims:
            nouns: tuple[Noun, ...] = tuple(noun for noun in before.nouns if not noun.carried)
            before.claims = [Claim(nouns, (), WORKS, answer == "no", before.clause.start, said.clause.end)]
            before.fragment = False


def _listed(sentence: list[Said], answer: Said) -> list[Said]:
    """The clauses that a bare answer answers: the one before it, and the list that it ends."""
    at = next(number for number, said in enumerate(sentence) if said is answer)
    listed = [sentence[at - 1]]
    for number in range(at - 1, 0, -1):
        if sentence[number].clause.link not in ("comma", "or", "nor", "and") or not sentence[number - 1].claims:
            break
        if any(item.kind == "thing" for item in sentence[number].clause.items):
            break
        listed.append(sentence[number - 1])
    return listed


class _Touched:
    """Spans of a note, and what overlaps them."""

    def __init__(self, spans: Sequence[Span]) -> None:
        self.starts: list[int] = []
        self.ends: list[int] = []  # the furthest end of any span that begins at or before the start beside it
        for start, end in sorted(spans):
            self.starts.append(start)
            self.ends.append(max(end, self.ends[-1] if self.ends else end))

    def by(self, start: int, end: int) -> bool:
        """Whether one of the spans overlaps this one."""
        at = bisect_left(self.starts, end) - 1
        return at >= 0 and self.ends[at] > start


def _unread(saids: Sequence[Said], facts: Sequence[Told], figures: Sequence[Span]) -> list[Span]:
    """Clauses with words of content of which nothing was understood. A bare name counts only if nothing at all was."""
    spans: list[Span] = []
    left = [said for said in saids if not said.used]
    if not left:
        return spans
    touched = _Touched(figures)
    for said in left:
        clause = said.clause
        content = [item for item in clause.items if item.kind in _CONTENT]
        bare = all(item.kind in ("thing", "place") for item in content)
        lone = len(content) == 1 and content[0].kind == "state" and clause.end - clause.start <= SHORTEST_UNREAD
        if not content or touched.by(*said.span) or ((bare or lone) and facts):
            continue
        spans.append((clause.start, clause.end))
    return spans
