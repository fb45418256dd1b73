"""A short answer, read as the answer to the open question: yes, no, a word for a value, a number, "not sure"."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from math import inf

from rules.bookkeeping.codes import group_of
from rules.bookkeeping.types import FactTerm
from rules.enquiry import fact_from_mapping
from rules.notes import Lexicon, read_note
from rules.notes.normalise import normalise, tokens
from rules.notes.readings.figures import TENS
from rules.notes.readings.figures import number as figure
from rules.notes.tagging import tag
from rules.notes.typos import Speller
from rules.talking.conversation import OpenQuestion
from rules.talking.pieces import Piece, first_clause
from rules.terms import DONT_KNOW, UNNAMED, Fact, InputError, Role, Source, Value, split_key

_WRAPPING = ("aside", "perhaps", "echo", "denied_echo", "correction", "instead")
_SAYING = ("word", "number", "mark")
_NEGATIONS = frozenset({"not", "no", "never", "dont", "doesnt", "isnt", "wont", "didnt", "wasnt", "hasnt", "without"})
_WEAK = ("ok", "okay", "right", "sure")  # alone they are a yes, before more words the beginning of a sentence
_STRANGE_WORDS = 3  # words nobody knows, beside a value's word in an answer: blank as a board
_LONGEST_ANSWER = 8  # words of content in which a value's word still counts as the answer
_ONE_TO_TWELVE = "one|two|three|four|five|six|seven|eight|nine|ten|twelve"
_FIGURE = re.compile(rf"[-+]?\s?(?:\d[\d.,]*|\b{TENS}\b|\b(?:{_ONE_TO_TWELVE})\b)")
_CODE = re.compile(r"[A-Za-z]{0,3}[\s-]?\d{1,4}[\s-]?[A-Za-z]?")
#: A figure with one of these that does not fit is no reading of the unit asked for.
_OTHER_UNITS = re.compile(
    r"s|secs?|seconds?|mins?|minutes?|h|hrs?|hours?|days?|weeks?|months?|years?|a|amps?|amperes?|k?w|watts?|k?v|volts?|ohms?"
    r"|f|c|deg|degrees?|%|percent"
)
_LOW = re.compile(r"\b(?:low|lower|cold|colder|cool|cooler|under|below|short|less|minus|down|behind)\b")
_HIGH = re.compile(r"\b(?:high|higher|hot|hotter|over|above|more|plus|up|warm|warmer)\b")
_EXACT = re.compile(r"\b(?:spot on|right on|exact|exactly|dead on|zero|no difference|none|bang on)\b")
_BOUNDS = re.compile(r"\b(?:between|from)\b")
_OPEN_LINE = re.compile(r"\b(?:ol|o\.l\.?|open(?: line)?|infinite|infinity|no continuity|overload)\b")


@dataclass(frozen=True)
class Asked:
    """The open question with the term it reads and where, who answers it and with which words."""

    question: OpenQuestion
    term: FactTerm
    place: str | None  # a unit, or meter points
    during: str | None
    source: Source

    @property
    def where(self) -> str | None:
        """The unit it is about."""
        return self.place if self.term.place == "surface" else None

    def fact(self, value: Value, *, doubt: bool = False) -> Fact:
        """An answer with this value. A danger is taken at its word, however much in doubt. Raises InputError."""
        given: dict[str, object] = {"fact": self.term.fact, "value": value, "source": self.source}
        given |= {"certainty": "hedged"} if doubt and not self.term.hazard else {}
        given |= {"where": self.where} if self.where else {}
        given |= {"between": self.place} if self.term.place == "meter" else {}
        given |= {"while": self.during} if self.during else {}
        return fact_from_mapping(given, {self.term.fact: self.term}, self.source, field="answer", bare_numbers=True)


@dataclass(frozen=True)
class Answer:
    """A short answer: its fact if it gave one, and the pieces it was read from.

    ``lacking`` says in words what is missing where there is an answer but no value: "yes" to a question with several.
    """

    fact: Fact | None
    used: tuple[Piece, ...]
    lacking: str = ""


def asked_of(question: OpenQuestion, term: FactTerm, source: Source) -> Asked:
    """The open question, laid out for reading answers to it."""
    _, place, during = split_key(question.reads)
    return Asked(question, term, place, during, source)


def short_answer(text: str, pieces: Sequence[Piece], asked: Asked, lexicon: Lexicon) -> Answer | None:
    """Read a message's beginning as an answer, or None if it is none. ``text`` is as it was written."""
    clause = first_clause(pieces)
    if asked.term.codes and (code := _code(text, pieces, asked)) is not None:
        return code
    for said in (pieces, clause) if asked.term.kind == "choice" else ():
        outright = _spelled(asked.term).get(_words(said))
        if outright is not None:
            return Answer(asked.fact(outright), tuple(said))
    led = _led_by_yes_or_no(pieces, asked, lexicon)
    if led is None and _not_known(clause):
        used = tuple(piece for piece in clause if piece.kind == "not_known")
        return Answer(asked.fact(DONT_KNOW), used)
    if asked.term.kind == "number":
        return (None if _of_another_thing(text, clause, asked, lexicon) else _number(text, clause, asked)) or led
    rest = pieces[len(led.used) :] if led is not None else pieces
    exact = _value(first_clause(rest), asked)
    if exact is not None:
        return Answer(exact.fact, (*(led.used if led else ()), *exact.used))
    return led


def softened(pieces: Sequence[Piece]) -> list[Piece]:
    """The pieces, an ``ok`` before more words no longer a yes: ``ok, he says no``; not the right of ``right rear``."""
    made = list(pieces)
    for number, piece in enumerate(pieces):
        if piece.kind in ("aside", "comma"):
            continue
        following = [later.kind for later in pieces[number + 1 :] if later.kind not in ("stop", "mark")]
        unit = piece.word == "right" and following[:1] == ["word"]
        if piece.kind == "yes" and piece.word in _WEAK and following and not unit:
            made[number] = piece._replace(kind="aside")
        break
    return made


def _not_known(clause: Sequence[Piece]) -> bool:
    """``not sure``, alone or before more that is told; not ``not sure if the light is on``, which is no answer yet."""
    saying = [piece for piece in clause if piece.kind not in ("aside", "perhaps", "correction", "instead")]
    return bool(saying) and all(piece.kind == "not_known" for piece in saying)


# --- yes and no --------------------------------------------------------------------------------------------------
def _led_by_yes_or_no(pieces: Sequence[Piece], asked: Asked, lexicon: Lexicon) -> Answer | None:
    """``yes``, ``no, it stays dark``, ``I think so``: what the message opens with."""
    opening: list[Piece] = []
    turn, doubt = None, False
    for number, piece in enumerate(pieces):
        doubt = doubt or piece.kind in ("perhaps", "perhaps_not")
        if piece.kind in ("yes", "no") and _stands_apart(pieces, number, lexicon):
            turn, opening = piece.kind, [*opening, piece]
            break
        if piece.kind not in ("aside", "perhaps", "comma"):
            break
        opening.append(piece)
    if turn is None:
        turn, opening = _by_its_verb(pieces)
        doubt = any(piece.kind in ("perhaps", "perhaps_not") for piece in opening)
    else:
        following = list(pieces[len(opening) :])
        for piece in following:  # yes it does, no they do not, yes I think so
            if piece.kind not in ("yes", "no", "perhaps"):
                break
            doubt = doubt or piece.kind == "perhaps"
            opening.append(piece)
    return None if turn is None else _turned(turn, opening, asked, doubt=doubt)


def _by_its_verb(pieces: Sequence[Piece]) -> tuple[str | None, list[Piece]]:
    """``it does``, ``they don't``, ``maybe``: an answer only where nothing follows in its clause."""
    clause = first_clause(pieces)
    kinds = {piece.kind for piece in clause} - {"aside"}
    if not kinds or not kinds <= {"echo", "denied_echo", "perhaps", "perhaps_not"}:
        return None, []
    return ("no" if kinds & {"denied_echo", "perhaps_not"} else "yes"), list(clause)


def _stands_apart(pieces: Sequence[Piece], number: int, lexicon: Lexicon) -> bool:
    """Whether a yes or no is one: ``no smoke`` and ``right front`` are not."""
    piece = pieces[number]
    following = pieces[number + 1] if number + 1 < len(pieces) else None
    if following is None or following.kind not in _SAYING:
        return True
    if piece.kind == "no":
        return False
    return lexicon.index.entry(*piece.word.split(), *following.word.split()) is None and piece.word not in ("right",)


def _turned(turn: str, used: Sequence[Piece], asked: Asked, *, doubt: bool) -> Answer:
    term = asked.term
    value = term.yes if turn == "yes" else term.no
    if value is None:
        return Answer(None, tuple(used), f"{turn.capitalize()} alone does not tell which it is.")
    return Answer(asked.fact(value, doubt=doubt), tuple(used))


# --- words for a value -------------------------------------------------------------------------------------------
def _value(clause: Sequence[Piece], asked: Asked) -> Answer | None:
    """A clause that is a value's word and nothing else but small words."""
    said = _content(clause)
    if not said or asked.term.kind == "number":
        return None
    meant = _spelled(asked.term).get(said)
    if meant is None:
        meant = _spelled(asked.term).get(_words(clause))
    if meant is None:
        return None
    if any(piece.kind == "denied_echo" for piece in clause):
        return _denied(meant, clause, asked)
    doubt = any(piece.kind == "perhaps" for piece in clause)
    return Answer(asked.fact(meant, doubt=doubt), tuple(clause))


def _denied(meant: str, clause: Sequence[Piece], asked: Asked) -> Answer | None:
    """``not lit``: the other value, where there is one only."""
    term = asked.term
    others = [value for value in term.values if value != meant]
    if meant == term.yes and term.no is not None:
        others = [term.no]
    return Answer(asked.fact(others[0]), tuple(clause)) if len(others) == 1 else None


def value_within(clause: Sequence[Piece], asked: Asked, lexicon: Lexicon) -> Fact | None:
    """A value's word inside a longer answer, if it is the only one and nothing else of the range is spoken of."""
    words = [word for piece in clause for word in piece.word.split()]
    if asked.term.kind == "number" or len(_content(clause)) > _LONGEST_ANSWER or _NEGATIONS & set(words):
        return None
    if any(piece.kind == "denied_echo" for piece in clause):
        return None
    spelled = _spelled(asked.term)
    runs = [
        (start, end, spelled[tuple(words[start:end])])
        for start in range(len(words))
        for end in range(start + 1, len(words) + 1)
        if tuple(words[start:end]) in spelled
    ]
    longest = [run for run in runs if not any(_inside(run, other) for other in runs)]
    meant = {value for _, _, value in longest}
    if len(meant) != 1 or _strange(" ".join(words), lexicon) > _STRANGE_WORDS:
        return None
    return asked.fact(meant.pop(), doubt=any(piece.kind == "perhaps" for piece in clause))


def _inside(run: tuple[int, int, str], other: tuple[int, int, str]) -> bool:
    return run[:2] != other[:2] and other[0] <= run[0] and run[1] <= other[1]


def _strange(text: str, lexicon: Lexicon) -> float:
    """How many words of a text are none of ours; infinite where it speaks of somebody or something else."""
    items = tag(normalise(text), lexicon, Speller(lexicon)).items
    if any(item.kind in ("person", "thing") for item in items):
        return inf
    return sum(item.kind == "word" for item in items)


def _content(clause: Sequence[Piece]) -> tuple[str, ...]:
    """The words of a clause without the small ones it is wrapped in."""
    kept = [piece for piece in clause if piece.kind not in _WRAPPING]
    return tuple(word for piece in kept for word in piece.word.split())


def _words(clause: Sequence[Piece]) -> tuple[str, ...]:
    """All words of a clause."""
    kept = (piece for piece in clause if piece.kind not in ("comma", "stop", "mark"))
    return _trimmed([word for piece in kept for word in piece.word.split()])


def _trimmed(words: Sequence[str]) -> tuple[str, ...]:
    """``the top one`` is the top."""
    return tuple(words[:-1] if len(words) > 1 and words[-1] == "one" else words)


def _spelled(term: FactTerm) -> dict[tuple[str, ...], str]:
    """Every way to say a value in an answer. What the book says outright goes before what a meaning suggests."""
    made: dict[tuple[str, ...], str] = {}
    for value, phrases in term.answers.items():
        made |= {_phrase(phrase): value for phrase in phrases}
    for value, meaning in term.values.items():
        made.setdefault(_phrase(value.replace("_", " ")), value)
        made.setdefault(_phrase(meaning), value)
    return {words: value for words, value in made.items() if words}


def _phrase(phrase: str) -> tuple[str, ...]:
    return _trimmed([token.word for token in tokens(normalise(phrase)) if token.kind in ("word", "number")])


def _code(text: str, pieces: Sequence[Piece], asked: Asked) -> Answer | None:
    """A code of the shop's table, however it is written. One that looks like a code and is not in it is said so."""
    said = [piece for piece in pieces if piece.kind not in (*_WRAPPING, "stop", "yes")]
    written = text[said[0].start : said[-1].end] if said else ""
    group = group_of(written, asked.term.codes) if written else None
    if group is not None:
        return Answer(asked.fact(group), tuple(said))
    if _CODE.fullmatch(written):
        told = f'The shop\'s table has no code "{written}". Read it out once more, or say "not sure".'
        return Answer(None, tuple(said), told)
    return None


# --- numbers -----------------------------------------------------------------------------------------------------
def _number(text: str, clause: Sequence[Piece], asked: Asked) -> Answer | None:
    """``about 40 low``, ``1.2``, ``22.4 ohms``, ``OL``: a figure in the unit that is asked for, or in its own."""
    if not clause:
        return None
    start, end = clause[0].start, clause[-1].end
    while end < len(text) and text[end] in "-+0123456789.":
        end += 1
    said = normalise(text)[max(0, start - 1) : end].strip(" ,.;:")
    unit, signed = str(asked.term.unit), asked.term.unit == "delta_degF"
    if unit == "ohm" and _OPEN_LINE.search(said):
        return Answer(asked.fact("OL"), tuple(clause))
    if signed and _EXACT.search(said):
        return Answer(asked.fact(0.0), tuple(clause))
    found = list(_FIGURE.finditer(said))
    if not found or len(found) > 1 or _BOUNDS.search(said):
        return None
    written = found[0].group().replace(" ", "")
    number = figure(written.lstrip("+-")) * (-1 if written.startswith("-") else 1)
    tail = said[found[0].end() :].strip()
    if signed:
        return _off_by(number, written, said, clause, asked)
    return _read_off(number, tail, clause, asked)


def _of_another_thing(text: str, clause: Sequence[Piece], asked: Asked, lexicon: Lexicon) -> bool:
    """Whether a figure is told of something else than what the question speaks of: ``sensor 1080 ohms``."""
    reading = read_note(text, lexicon, (), "technician" if asked.source == "technician" else "desk")
    if any(fact.fact != asked.term.fact and isinstance(fact.value, float) for fact in reading.facts):
        return True

    def things(text: str) -> set[str]:
        return {item.name for item in tag(normalise(text), lexicon, Speller(lexicon)).items if item.kind == "thing"}

    spoken_of = things(f"{asked.question.ask} {asked.term.title}")
    return not things(" ".join(piece.word for piece in clause)) <= spoken_of


def _off_by(number: float, written: str, said: str, clause: Sequence[Piece], asked: Asked) -> Answer:
    """A difference: which way it goes is told by a sign or a word, and is never guessed."""
    low, high = _LOW.search(said) is not None, _HIGH.search(said) is not None
    if re.search(r"(?:°\s?|\d\s?|degrees?\s)c(?:elsius)?\b", said):
        number *= 1.8
    if written[0] in "+-" or number == 0:
        return Answer(asked.fact(number), tuple(clause))
    if low == high:
        return Answer(None, tuple(clause), f"Is that {number:g} too cold or {number:g} too hot?")
    return Answer(asked.fact(-number if low else number), tuple(clause))


def _read_off(number: float, tail: str, clause: Sequence[Piece], asked: Asked) -> Answer | None:
    """A reading, with as much of what follows as is a unit."""
    words = tail.split()
    for count in (2, 1, 0):
        if count > len(words):
            continue
        try:
            return Answer(asked.fact(f"{number!r} {' '.join(words[:count])}".strip()), tuple(clause))
        except InputError as error:
            told = error.problems[0].message
        if count == 0 or (count == 1 and _OTHER_UNITS.fullmatch(words[0])):
            return Answer(None, tuple(clause), f"That cannot be: {told}.")
    return None


# --- read with its question --------------------------------------------------------------------------------------
def read_with_lead(text: str, asked: Asked, lexicon: Lexicon, positions: Sequence[str], role: Role) -> tuple[Fact, ...]:
    """What a short answer says with the question's beginning put before it: ``the display is`` dim."""
    if not asked.term.lead or _strange(text, lexicon):
        return ()
    lead = asked.term.lead + " "
    reading = read_note(lead + text, lexicon, positions, role)
    made = []
    for fact in reading.facts:
        if fact.fact != asked.term.fact or fact.span is None or fact.span[1] <= len(lead):
            continue
        span = (max(fact.span[0] - len(lead), 0), fact.span[1] - len(lead))
        place = asked.where if fact.where in (None, UNNAMED) else fact.where
        made.append(
            Fact(
                fact.fact,
                fact.value,
                where=place,
                source=asked.source,
                certainty=fact.certainty,
                span=span,
                text=text[slice(*span)],
            )
        )
    return tuple(made)
