"""Reads a message against the open question and the conversation so far: its facts, its unit, its questions back."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from rules.bookkeeping.types import FactTerm
from rules.notes import read_note
from rules.notes.normalise import normalise
from rules.talking.answering import Answer, Asked, asked_of, read_with_lead, short_answer, softened, value_within
from rules.talking.conversation import HeardFact, Message, OpenQuestion
from rules.talking.folding import Folded
from rules.talking.pieces import Piece, blanked, cut, first_clause, sentences
from rules.talking.placing import place_named
from rules.talking.referring import beside_the_rest, denies_the_like, long_ago, spelled_out
from rules.terms import ALL, DONT_KNOW, OTHERS, UNNAMED, Fact, Role, Source
from rules.triage import Expert

_LONG_QUESTION = 4  # words from which "why do you ask about the clock" is a question, whatever follows
_UNITLESS = (None, UNNAMED)
_BACK = ("correction", "take_back")
_CORRECTING = (*_BACK, "instead")
_ASKING_BACK = ("why", "how", "what_now", "waiting")
_SEPARATE = ("comma", "stop", "mark", "echo", "denied_echo", "perhaps", "perhaps_not", "not_known")


@dataclass
class Read:
    """What a message says. ``lacking``: in words, what an answer left open.

    ``question``: ``why``, ``how``, ``what_now``, ``waiting`` or none. ``takes_back``: the last that was told is unsaid.
    ``asked``: the question it was read against.
    """

    facts: list[HeardFact] = field(default_factory=list)
    place: tuple[str, str] | None = None
    unread: list[str] = field(default_factory=list)
    question: str | None = None
    corrects: bool = False
    takes_back: bool = False
    lacking: str = ""
    asked: OpenQuestion | None = None


def source_of(role: Role) -> Source:
    """Who saw what is said: the one who speaks, and for the desk, the caller it speaks with."""
    return "technician" if role == "technician" else "caller"


def read_message(
    expert: Expert,
    message: Message,
    question: OpenQuestion | None,
    answered: OpenQuestion | None,
    folded: Folded,
    positions: Sequence[str],
) -> Read:
    """Read a message: facts given as such, then its text.

    ``question`` is the open one, ``answered`` the one that the message before answered: ``no wait, it is dark`` is
    read as an answer to that.
    """
    read = _read(expert, message, question, answered, folded, positions)
    if read.corrects and answered is not None and not read.facts and read.place is None:
        other = answered if read.asked == question else question
        again = _read(expert, message, other, other, folded, positions)
        return again if again.facts else read
    return read


def _read(
    expert: Expert,
    message: Message,
    question: OpenQuestion | None,
    answered: OpenQuestion | None,
    folded: Folded,
    positions: Sequence[str],
) -> Read:
    read = Read(asked=question)
    for fact in message.facts:
        read.facts.append(HeardFact(fact, answers=question is not None and fact.key == question.reads))
    if message.text is not None:
        source = source_of(message.role)
        laid_out = [
            None if each is None else asked_of(each, _term(expert, each), source) for each in (question, answered)
        ]
        _Reader(expert, message.text, laid_out, folded, positions, message.role).read_into(read)
    return read


def _term(expert: Expert, question: OpenQuestion) -> FactTerm:
    return expert.book.facts[question.reads.partition("/")[0].partition("@")[0]]


class _Reader:
    """Reads one text; what was read is made blank, so that nothing is read twice and offsets stay."""

    def __init__(
        self,
        expert: Expert,
        text: str,
        asked: Sequence[Asked | None],
        folded: Folded,
        positions: Sequence[str],
        role: Role,
    ) -> None:
        self.lexicon, self.terms = expert.lexicon, expert.book.facts
        self.asked, self.answered = asked
        self.text, self.folded, self.positions, self.role = text, folded, positions, role
        self.left = text

    def read_into(self, read: Read) -> None:
        """Questions back first, then corrections, the answer, the unit, and whatever else is told."""
        self._leave_out_the_past(read)
        pieces = self._without_questions(read)
        pieces, opening = self._without_corrections(pieces, read)
        if not any(piece.kind not in ("stop", "comma", "mark") for piece in pieces):
            read.takes_back = opening == "take_back"
            if opening == "instead" and read.question is None:
                read.question = "waiting"
            return
        pieces = self._without_small_talk(softened(pieces))
        answer = self._answer(pieces, read)
        self._place(read)
        told = self._told(read, answer) if self._says_more() else False
        if told and answer is not None and self._only_agrees(pieces, answer, read):
            read.facts = [fact for fact in read.facts if not fact.answers]
        if answer is None and not told and read.place is None and self.asked is not None:
            self._answer_in_context(pieces, read)

    # --- what is no statement ------------------------------------------------------------------------------------
    def _leave_out_the_past(self, read: Read) -> None:
        """What is said to be years ago tells nothing of today; it is shown as unread and said to be left out."""
        for start, end in long_ago(self.text):
            read.unread.append(self.text[start:end].strip(" ,.;:"))
            read.lacking = "What was long ago is left out. If it happens now, say so."
            self.left = self.left[:start] + " " * (end - start) + self.left[end:]

    def _without_questions(self, read: Read) -> list[Piece]:
        """The pieces without sentences that ask why or how; the first such question is answered."""
        kept: list[Piece] = []
        for sentence in sentences(cut(normalise(self.left), self.lexicon)):
            kind = _question_back(sentence)
            if kind is None:
                kept += sentence
                continue
            read.question = read.question or kind
            self.left = blanked(self.left, sentence)
        return kept

    def _without_corrections(self, pieces: list[Piece], read: Read) -> tuple[list[Piece], str]:
        """The pieces after ``no wait``, ``sorry, I meant``: what follows takes the place of what was said.

        And the kind of the last of these openings, empty if there is none.
        """
        last = -1
        for number, piece in enumerate(pieces):
            if piece.kind in _CORRECTING:
                last = number
            elif piece.kind not in ("aside", "comma", "stop", "mark", "no", "yes"):
                break
        if last < 0:
            return pieces, ""
        read.corrects = True
        if self.answered is not None and any(piece.kind in _BACK for piece in pieces[: last + 1]):
            self.asked, read.asked = self.answered, self.answered.question
        self.left = blanked(self.left, pieces[: last + 1])
        return pieces[last + 1 :], pieces[last].kind

    def _without_small_talk(self, pieces: list[Piece]) -> list[Piece]:
        """The pieces after clauses of nothing but small words: ``ok, he's back. it is dark``."""
        begins = 0
        for number, piece in enumerate(pieces):
            if piece.kind in ("comma", "stop"):
                begins = number + 1
            elif piece.kind != "aside":
                break
        else:
            return pieces
        self.left = blanked(self.left, pieces[:begins])
        return pieces[begins:]

    # --- the answer ----------------------------------------------------------------------------------------------
    def _answer(self, pieces: Sequence[Piece], read: Read) -> Answer | None:
        """The short answer that the message opens with."""
        if self.asked is None:
            return None
        answer = short_answer(self.text, pieces, self.asked, self.lexicon)
        if answer is None:
            return None
        self.left = blanked(self.left, answer.used)
        read.lacking = answer.lacking
        if answer.fact is not None:
            self._add(read, self._with_text(answer.fact, answer.used), answers=True)
        return answer

    def _only_agrees(self, pieces: Sequence[Piece], answer: Answer, read: Read) -> bool:
        """``yes the others are fine``, of something else than was asked: the yes belongs to what it stands before."""
        if any(piece.kind not in ("yes", "aside") for piece in answer.used) or len(pieces) <= len(answer.used):
            return False
        following = pieces[len(answer.used)]
        if following.kind in _SEPARATE or following.word in ("and", "but"):
            return False
        others = [told.fact for told in read.facts if not told.answers]
        return bool(others) and not any(self.terms[fact.fact].hazard for fact in others)

    def _with_text(self, fact: Fact, used: Sequence[Piece]) -> Fact:
        span = (used[0].start, used[-1].end)
        return replace(fact, span=span, text=self.text[slice(*span)])

    def _answer_in_context(self, pieces: Sequence[Piece], read: Read) -> None:
        """Words that only the question gives a meaning: first with its beginning before them, then word by word."""
        assert self.asked is not None
        clause = first_clause(pieces)
        if any(piece.kind == "not_known" for piece in clause):  # not sure if it is lit
            read.unread.clear()
            self._add(read, self._with_text(self.asked.fact(DONT_KNOW), clause), answers=True)
            return
        facts = read_with_lead(self.left, self.asked, self.lexicon, self.positions, self.role)
        if not facts:
            within = value_within(clause, self.asked, self.lexicon)
            facts = (self._with_text(within, clause),) if within is not None else ()
        for fact in facts[:1]:
            read.unread.clear()
            read.lacking = ""
            self._add(read, fact, answers=True)

    def _says_more(self) -> bool:
        """Whether what is left is more than yes, no, not sure: "nothing" alone is no news of the range."""
        silent = ("stop", "comma", "mark", "aside", "yes", "no", "echo", "denied_echo", "not_known", "perhaps")
        return any(piece.kind not in silent for piece in cut(normalise(self.left), self.lexicon))

    # --- the unit ------------------------------------------------------------------------------------------------
    def _place(self, read: Read) -> None:
        """A message that names a unit and no more: that is the one which was meant."""
        if not self.positions or not self.left.strip(" ,.;:!?-"):
            return
        named = place_named(self.left, self.lexicon, self.positions)
        if named is None:
            return
        meant = self._meant_so_far(read)
        if meant is not None and meant != named:
            read.place = (meant, named)
            read.facts = [_moved(told, meant, named) for told in read.facts]
            self.left = " " * len(self.left)

    def _meant_so_far(self, read: Read) -> str | None:
        """The unit that a name now given stands for: one not named yet; after ``no wait``, the one named last."""
        standing = [*self.folded.facts, *(told.fact for told in read.facts)]
        if any(fact.where == UNNAMED for fact in standing):
            return UNNAMED
        return self.folded.last_place if read.corrects else None

    # --- all else ------------------------------------------------------------------------------------------------
    def _told(self, read: Read, answer: Answer | None) -> bool:
        """What the rest tells by itself. A more exact word for what yes or no has answered takes its place."""
        if not self.left.strip(" ,.;:!?-"):
            return False
        facts, unread = self._read_freely()
        facts = beside_the_rest(self.left, facts, self.folded, self.terms)
        for fact in facts:
            self._tell(read, replace(fact, text=self.text[slice(*fact.span)] if fact.span else fact.text))
        if answer is None and self.asked is not None and denies_the_like(self.left, facts, self.terms):
            self._deny_all(read)
        if answer is not None and self.asked is not None and not any(told.answers for told in read.facts[1:]):
            for fact in read_with_lead(self.left, self.asked, self.lexicon, self.positions, self.role)[:1]:
                if fact.key == self.asked.question.reads and not facts:
                    self._tell(read, fact)
                    unread = [clause for clause in unread if clause not in (fact.text or "")]
        read.unread += unread
        return bool(facts)

    def _read_freely(self) -> tuple[Sequence[Fact], list[str]]:
        """The facts of free words, of which ``it`` is what was spoken of last, and the clauses nobody could read."""
        spelled = spelled_out(self.left, self.folded, self.terms)
        if spelled is not None:
            reading = read_note(spelled.text, self.lexicon, self.positions, self.role)
            facts = [fact for each in reading.facts if (fact := spelled.placed(each, self.text)) is not None]
            if facts:
                return facts, spelled.unread(reading.unread)
        reading = read_note(self.left, self.lexicon, self.positions, self.role)
        return reading.facts, [clause for clause in reading.unread if any(sign.isalnum() for sign in clause)]

    def _deny_all(self, read: Read) -> None:
        """``no smoke or anything``: no to the question about all dangers at once."""
        assert self.asked is not None
        if self.asked.term.hazard and self.asked.term.no is not None:
            self._add(read, self.asked.fact(self.asked.term.no), answers=True)

    def _tell(self, read: Read, fact: Fact) -> None:
        """A fact read from free words; if it is what was asked for, it answers."""
        asked = self.asked
        if asked is None or fact.fact != asked.term.fact or fact.between != (asked.place if fact.between else None):
            self._add(read, fact, answers=False)
            return
        if fact.where in _UNITLESS and asked.where is not None:
            fact = fact.at(asked.where)
        names = asked.where == UNNAMED and fact.where not in (None, UNNAMED, ALL, OTHERS)
        if names and fact.where is not None:
            read.place = (UNNAMED, fact.where)
        answers = names or fact.key == asked.question.reads
        if answers:
            read.facts = [told for told in read.facts if not told.answers]
            read.lacking = ""
        self._add(read, replace(fact, source=asked.source) if answers else fact, answers=answers)

    def _add(self, read: Read, fact: Fact, *, answers: bool) -> None:
        read.facts.append(HeardFact(fact, answers=answers, corrects=read.corrects))


def _moved(told: HeardFact, old: str, new: str) -> HeardFact:
    return replace(told, fact=told.fact.at(new)) if told.fact.where == old else told


def _question_back(sentence: Sequence[Piece]) -> str | None:
    """Whether a sentence asks why a question is asked, how the picture came about or what comes next, or for time."""
    saying = [piece for piece in sentence if piece.kind not in ("aside", "comma", "stop", "mark", "instead", "yes")]
    if not saying or saying[0].kind not in _ASKING_BACK:
        return None
    alone = all(piece.kind in _ASKING_BACK for piece in saying)
    long = saying[0].kind in ("why", "how") and saying[0].length >= _LONG_QUESTION
    return saying[0].kind if alone or long else None
