"""Hears one message: reads it, weighs it with all that stands, and answers in plain words."""

from __future__ import annotations

from dataclasses import dataclass, replace

from rules.answer import Triage
from rules.enquiry import check_note
from rules.talking.conversation import Conversation, Heard, Kind, Message, OpenQuestion, TurnFact
from rules.talking.folding import Folded, fold
from rules.talking.reading import Read, read_message
from rules.talking.reasons import how_words, why_words
from rules.talking.replying import (
    OPENING,
    after_stop,
    in_other_words,
    state_words,
    stop_words,
    taken_back_words,
    understood_words,
)
from rules.talking.taking_back import TakenBack, taken_back
from rules.talking.weighing import Weighed, question_in, refuse_unfit, weigh
from rules.talking.wording import fact_words
from rules.terms import UNNAMED, InputError, Problem
from rules.triage import Expert, appliance_of
from rules.wording import place_words

LONGEST_MESSAGE = 4_000  # characters; what is said in one breath has some dozens


@dataclass(frozen=True)
class Turn:
    """What came of a message.

    ``conversation`` is the new one; keep it. ``message``: the number of the one heard, None of :func:`look`.
    ``facts`` are those of this message (of :func:`look`: of all), ``unread`` its clauses nobody could read. ``reply``
    is what to say: the stop sentence first if there is one, what was understood, what it means, the next question and
    why. ``asks`` is that question, None where none is open.
    """

    conversation: Conversation
    kind: Kind
    facts: tuple[TurnFact, ...]
    unread: tuple[str, ...]
    reply: str
    asks: OpenQuestion | None
    answer: Triage
    message: int | None = None


def hear(expert: Expert, conversation: Conversation, message: Message) -> Turn:
    """Hear a message. Its role becomes the conversation's.

    Raises InputError for text that is empty or too long, for facts that this appliance cannot have, and for a message
    whose number is not the next.
    """
    _check(expert, conversation, message)
    asked = open_question(expert, conversation)
    folded = fold(conversation, expert.book.facts)
    appliance, _ = appliance_of(expert.book, conversation.appliance, [*folded.facts, *message.facts])
    refuse_unfit(expert, appliance, message.facts)
    read = read_message(expert, message, asked, _answered(conversation), folded, appliance.positions)
    heard = Heard(message, read.asked, _kind(read), tuple(read.facts), read.place, tuple(read.unread))
    grown = replace(conversation, role=message.role, messages=(*conversation.messages, heard))
    back = taken_back(conversation, folded, expert.book.facts) if read.takes_back else TakenBack()
    grown = replace(grown, struck=grown.struck | set(back.numbers))
    weighed = weigh(expert, grown, "full" if read.question == "how" else "brief")
    if weighed.folded.replaced and heard.kind in ("told", "place") and _replaces(weighed.folded, heard):
        heard = replace(heard, kind="correction")
        grown = replace(grown, messages=(*conversation.messages, heard))
    question = question_in(weighed.answer, message.role)
    grown = replace(grown, asks=question)
    facts = _turn_facts(expert, weighed.folded, (heard,))
    reply = _reply(expert, heard, read, weighed, facts, question, back)
    return Turn(grown, heard.kind, facts, heard.unread, reply, question, weighed.answer, message.number)


def look(expert: Expert, conversation: Conversation) -> Turn:
    """The state without a new message: to begin with, or after something was struck, restored, or the role changed.

    ``facts`` are all facts of the conversation with what became of each.
    """
    weighed = weigh(expert, conversation)
    role = conversation.role
    question = question_in(weighed.answer, role)
    facts = _turn_facts(expert, weighed.folded, conversation.messages)
    lines = [*stop_words(weighed.answer, role), *after_stop(weighed.answer, question)]
    lines += state_words(weighed.answer, question, role) if conversation.messages else [OPENING]
    kept = replace(conversation, asks=question if conversation.messages else None)
    return Turn(kept, "look", facts, (), "\n".join(lines), kept.asks, weighed.answer)


def open_question(expert: Expert, conversation: Conversation) -> OpenQuestion | None:
    """The question that the next message may answer: the last one asked, or worked out anew after a change."""
    if conversation.asks is not None or not conversation.messages:
        return conversation.asks
    return question_in(weigh(expert, conversation).answer, conversation.role)


def _answered(conversation: Conversation) -> OpenQuestion | None:
    """The question answered last; messages that told nothing, and those struck since, are passed over."""
    for heard in reversed(conversation.messages):
        numbers = heard.numbers()
        told = [fact for number, fact in zip(numbers, heard.facts, strict=False) if number not in conversation.struck]
        if told:
            return heard.asked if any(fact.answers for fact in told) else None
    return None


def _check(expert: Expert, conversation: Conversation, message: Message) -> None:
    """Raises InputError for a message that cannot be heard."""
    problems = []
    if message.number != len(conversation.messages):
        problems.append(Problem("number", f"is {message.number}; the next message is {len(conversation.messages)}"))
    if message.text is None and not message.facts:
        problems.append(Problem("text", "missing; give text, facts, or both"))
    if message.text is not None:
        if isinstance(message.text, str) and len(message.text) > LONGEST_MESSAGE:
            many = f"{len(message.text):,} characters; the most is {LONGEST_MESSAGE:,}"
            problems.append(Problem("text", f"has {many}. Send it in parts"))
        else:
            try:
                check_note(message.text)
            except InputError as error:
                problems += [Problem("text", problem.message) for problem in error.problems]
    unknown = [fact.fact for fact in message.facts if fact.fact not in expert.book.facts]
    problems += [Problem("facts", f"no fact named {name!r}") for name in unknown]
    if problems:
        raise InputError(problems)


def _kind(read: Read) -> Kind:
    if read.corrects and (read.facts or read.place):
        return "correction"
    answers = [told for told in read.facts if told.answers]
    if answers:
        return "answer" if any(told.fact.told for told in answers) or len(read.facts) > len(answers) else "not_known"
    if read.facts:
        return "told"
    if read.place is not None:
        return "place"
    if read.takes_back:
        return "correction"
    kinds: dict[str | None, Kind] = {"why": "why", "how": "how", "what_now": "look", "waiting": "look"}
    return kinds.get(read.question, "not_understood")


def _replaces(folded: Folded, heard: Heard) -> bool:
    return any(number in folded.replaced for number in heard.numbers())


def _turn_facts(expert: Expert, folded: Folded, messages: tuple[Heard, ...]) -> tuple[TurnFact, ...]:
    """Every fact of some messages, as it stands now; the naming of a unit comes after the facts of its message."""
    made = []
    for heard in messages:
        for number, told in zip(heard.numbers(), heard.facts, strict=False):
            fact = folded.told[number]
            words = fact_words(fact, expert.book.facts)
            replaced = folded.replaced.get(number, ())
            made.append(TurnFact(number, fact, words, told.answers, folded.fates[number], replaced))
        if heard.place is not None:
            number, (old, new) = heard.numbers()[-1], heard.place
            unnamed, unit = old == UNNAMED, place_words(new)
            not_so = "the unit not named so far is" if unnamed else f"not the {place_words(old)} unit but"
            words = f"{not_so} the {unit} one"
            replaced = folded.replaced.get(number, ())
            made.append(TurnFact(number, None, words, unnamed, folded.fates[number], replaced))
    return tuple(made)


def _reply(
    expert: Expert,
    heard: Heard,
    read: Read,
    weighed: Weighed,
    facts: tuple[TurnFact, ...],
    question: OpenQuestion | None,
    back: TakenBack,
) -> str:
    """The whole reply, a line for each thing said."""
    book, answer, role = expert.book, weighed.answer, heard.message.role
    lines = stop_words(answer, role)
    lines += understood_words(heard, facts, weighed.folded, book)
    if read.takes_back:
        lines += taken_back_words(back, weighed.folded, book)
    if read.question == "waiting":
        lines.append("Take your time.")
    if read.lacking:
        lines.append(read.lacking)
    if read.question == "how":
        lines += how_words(book, answer)
    if read.question == "why":
        lines += why_words(book, answer, question if answer.stop is not None else heard.asked or question)
    lines += after_stop(answer, question)
    understood = bool(facts) or read.question is not None or bool(back)
    if not understood and not read.lacking:
        lines.append(_not_understood(heard, read, weighed.answer))
    if not understood and question is not None:
        lines.append(in_other_words(book, question))
    elif read.question not in (None, "what_now") and not facts:
        lines += [f"Next: {question.ask}"] if question is not None else []
    elif answer.stop is None or role != "caller":
        lines += state_words(answer, question, role)
    if read.question == "what_now":
        lines += [sentence for sentence in answer.visit.tell_customer if sentence not in lines]
    return "\n".join(lines)


def _not_understood(heard: Heard, read: Read, answer: Triage) -> str:
    if read.takes_back:
        return "Nothing was told just before that could be taken back. Strike a fact by its number, or say how it is."
    if read.corrects:
        return "What should it be instead? Say how it is, or strike a fact by its number."
    if heard.unread:
        return "I guess nothing from that. Say it in other words."
    if heard.asked is None and heard.message.number > 0 and answer.stop is None:
        return "No question is open, so I cannot tell what that answers. Say it in a whole sentence."
    return "I could not read anything about the range in that."
