"""Cases conducted: each step reads the case, lets the expert hear it, and keeps what came of it in one transaction.

Used by the HTTP routes and the pages alike. The expert works outside the transaction, so nobody waits for it; a case
that another step has changed meanwhile is refused (VersionError), or heard anew if the sender does not mind.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from rules import Expert, Fact, InputError, Problem
from rules.bookkeeping.types import Appliance
from rules.talking import Conversation, Message, Number, Turn, change_role, hear, look, strike, summary
from rules.talking.summing_up import Form
from rules.terms import Role
from service.cases import folding
from service.cases.folding import Folded, Outcome, fold
from service.cases.outcomes import outcome_words
from service.cases.store import (
    Case,
    Change,
    Kept,
    Kind,
    Once,
    RepeatedError,
    Store,
    VersionError,
    Whole,
    following,
    now,
    opening,
)
from service.turns import in_turn

TRIES = 20  # of a step whose sender does not mind what came before it
MOST_MESSAGES = 1000


class ClosedError(Exception):
    """The case is closed; nothing is added to it."""


class OtherBookError(ClosedError):
    """The case was told in words that the present book no longer has."""


@dataclass(frozen=True)
class Said:
    """What a message brings: text, facts, both, or only that another role speaks from now on."""

    text: str | None = None
    facts: tuple[Fact, ...] = ()
    role: Role | None = None

    @property
    def silent(self) -> bool:
        return self.text is None and not self.facts


#: What is said, given the role of who spoke before: a fact whose source is not told is theirs.
Saying = Callable[[Role], Said]


@dataclass(frozen=True)
class Step:
    """A case after a step: what came of it, and the outcome that stands."""

    case: Case
    turn: Turn
    outcome: Outcome | None


@dataclass(frozen=True)
class _Made:
    """A step worked out and not yet kept. ``change``: None where there is nothing to keep."""

    turn: Turn
    outcome: Outcome | None
    change: Change | None


@dataclass(frozen=True)
class Keeping:
    """A request to be answered once: its mark, and how its answer is written from the step."""

    once: Once
    write: Callable[[Step], Kept]


@dataclass
class Calls:
    """Conducts the cases of one store by one open book. ``told``: called with each new turn and its seconds."""

    expert: Expert
    store: Store
    told: Callable[[Turn, float], None] = lambda _turn, _seconds: None

    # --- steps -------------------------------------------------------------------------------------------------------
    def open(
        self, owner: str, reference: str | None, appliance: Appliance | None, said: Said, keeping: Keeping | None = None
    ) -> Step:
        """A new case, with its first message if there is one. Raises InputError, RepeatedError, KeyReusedError."""
        begun = Conversation(appliance=appliance, role=said.role or "desk")
        entries: list[tuple[Kind, dict[str, Any]]] = [("opened", folding.opened(begun, reference))]
        if said.silent:
            turn = self._looked(begun)
        else:
            turn = self._heard(begun, said)
            entries.append(("message", folding.heard(turn, begun)))
        change = Change(entries)
        case = opening(owner, reference, change, now())
        step = Step(case, turn, None)
        self.store.open(case, change, *_kept(keeping, step))
        return step

    def hear(
        self, owner: str, number: str, version: int | None, saying: Saying, keeping: Keeping | None = None
    ) -> Step:
        """A message. ``version``: the one it was written against, None for any. ``saying``: made from who spoke before.

        Raises NoCaseError, VersionError, ClosedError, InputError, RepeatedError, KeyReusedError.
        """

        def step(state: Folded) -> _Made:
            before = state.conversation
            said = saying(before.role)
            if said.silent:
                turn = self._looked(change_role(before, said.role or before.role))
                return _Made(turn, state.outcome, Change([("role", folding.role_changed(turn))]))
            turn = self._heard(before, said)
            return _Made(turn, state.outcome, Change([("message", folding.heard(turn, before))]))

        return self._step(owner, number, version, step, keeping)

    def correct(
        self, owner: str, number: str, version: int | None, old: Number, saying: Saying, keeping: Keeping | None = None
    ) -> Step:
        """A fact told anew by hand. What it cannot replace by itself, a danger say, is struck with it, in one step.

        Raises as :meth:`hear`.
        """

        def step(state: Folded) -> _Made:
            before = state.conversation
            turn = self._heard(before, saying(before.role))
            entries: list[tuple[Kind, dict[str, Any]]] = [("message", folding.heard(turn, before))]
            if _stands_beside(look(self.expert, turn.conversation), turn, old):
                turn = self._looked(strike(turn.conversation, old))
                entries.append(("strike", folding.struck((old,), turn)))
            return _Made(turn, state.outcome, Change(entries))

        return self._step(owner, number, version, step, keeping)

    def strike_fact(self, owner: str, number: str, version: int | None, fact: Number) -> Step:
        """A fact unsaid; one that is struck already changes nothing. Raises as :meth:`hear`."""

        def step(state: Folded) -> _Made:
            return self._struck(state, (fact,))

        return self._step(owner, number, version, step)

    def strike_message(self, owner: str, number: str, version: int | None, message: int) -> Step:
        """All that a message told unsaid. Raises as :meth:`hear`."""

        def step(state: Folded) -> _Made:
            messages = state.conversation.messages
            if not 0 <= message < len(messages):
                told = f"no message {message} in this case; it has {len(messages)}, numbered from 0"
                raise InputError([Problem(f"messages/{message}", told)])
            return self._struck(state, messages[message].numbers(), message)

        return self._step(owner, number, version, step)

    def settle(
        self, owner: str, number: str, version: int | None, outcome: Outcome, keeping: Keeping | None = None
    ) -> Step:
        """What it was; closes the case. A later outcome takes the place of the last. Raises as :meth:`hear`."""

        def step(state: Folded) -> _Made:
            change = Change([("outcome", folding.settled(outcome))], "closed")
            return _Made(self._looked(state.conversation), outcome, change)

        return self._step(owner, number, version, step, keeping, closed_too=True)

    def reopen(self, owner: str, number: str, version: int | None) -> Step:
        """Takes the outcome back; the case is open again. Raises as :meth:`hear`."""

        def step(state: Folded) -> _Made:
            change = Change([("reopened", {})]) if state.outcome is not None else None
            return _Made(self._looked(state.conversation), None, change)

        return self._step(owner, number, version, step, closed_too=True)

    def once(self, owner: str, once: Once, write: Callable[[Step], Kept], act: Callable[[Keeping], Step]) -> Kept:
        """Do what a request asks, or find the answer it got before. Raises what ``act`` raises, KeyReusedError."""
        if (kept := self.store.answered(owner, once)) is not None:
            return kept
        written: list[Kept] = []

        def remember(step: Step) -> Kept:
            written[:] = [write(step)]
            return written[0]

        try:
            step = act(Keeping(once, remember))
        except (RepeatedError, VersionError, ClosedError):
            if (kept := self.store.answered(owner, once)) is None:  # its double came first
                raise
            return kept
        return written[0] if written else write(step)

    # --- reading -----------------------------------------------------------------------------------------------------
    def seen(self, owner: str, number: str) -> tuple[Whole, Step]:
        """A case with its history, and where it stands by the present book. Raises NoCaseError."""
        whole = self.store.whole(owner, number)
        state = self._folded(whole)
        return whole, Step(whole.case, look(self.expert, state.conversation), state.outcome)

    def summed_up(self, owner: str, number: str, form: Form) -> tuple[Case, str]:
        """The case for the ticket. Raises NoCaseError."""
        _, step = self.seen(owner, number)
        return step.case, self.for_ticket(step, form)

    def for_ticket(self, step: Step, form: Form) -> str:
        """A case that was just seen, for the ticket."""
        told = summary(self.expert, step.turn.conversation, form, step.turn.answer)
        if step.outcome is None:
            return told
        return told.rstrip() + "\n\n" + outcome_words(step.outcome, self.expert.book, form)

    # --- inside ------------------------------------------------------------------------------------------------------
    def _step(
        self,
        owner: str,
        number: str,
        version: int | None,
        step: Callable[[Folded], _Made],
        keeping: Keeping | None = None,
        *,
        closed_too: bool = False,
    ) -> Step:
        for tries_left in reversed(range(TRIES)):
            whole = self.store.whole(owner, number)
            if version is not None and whole.case.version != version:
                raise VersionError(whole.case.version)
            if whole.case.erased_at is not None or (whole.case.state == "closed" and not closed_too):
                raise ClosedError(number)
            made = step(self._folded(whole))
            if made.change is None:
                return Step(whole.case, made.turn, made.outcome)
            result = Step(following(whole.case, made.change, now()), made.turn, made.outcome)
            try:
                self.store.add(whole.case, result.case, made.change, *_kept(keeping, result))
            except VersionError:
                if version is not None or not tries_left:
                    raise
            else:
                return result
        raise AssertionError  # the last try returned or raised

    def _folded(self, whole: Whole) -> Folded:
        """Where the case stands. Raises OtherBookError for facts that the present book does not know."""
        state, terms = fold(whole.entries), self.expert.book.facts
        told = [one.fact for heard in state.conversation.messages for one in heard.facts]
        if any(fact.fact not in terms for fact in told):
            raise OtherBookError(whole.case.id)
        return state

    def _struck(self, state: Folded, numbers: tuple[Number, ...], message: int | None = None) -> _Made:
        before = state.conversation
        after = strike(before, numbers[0], *numbers[1:]) if numbers else before
        turn = self._looked(after)
        if after.struck == before.struck:
            return _Made(turn, state.outcome, None)
        return _Made(turn, state.outcome, Change([("strike", folding.struck(numbers, turn, message))]))

    def _heard(self, before: Conversation, said: Said) -> Turn:
        if len(before.messages) >= MOST_MESSAGES:
            told = f"the case has {MOST_MESSAGES} messages, the most there may be; open another with the same reference"
            raise InputError([Problem("", told)])
        message = Message(len(before.messages), said.role or before.role, said.text, said.facts)
        return self._timed(lambda: hear(self.expert, before, message))

    def _looked(self, conversation: Conversation) -> Turn:
        return self._timed(lambda: look(self.expert, conversation))

    def _timed(self, work: Callable[[], Turn]) -> Turn:
        with in_turn():
            began = time.perf_counter()
            turn = work()
            took = time.perf_counter() - began
        self.told(turn, took)
        return turn


def _kept(keeping: Keeping | None, step: Step) -> tuple[Once, Kept] | tuple[()]:
    return () if keeping is None else (keeping.once, keeping.write(step))


def _stands_beside(now: Turn, turn: Turn, old: Number) -> bool:
    """Whether an earlier fact still stands that a message just heard was to take the place of."""
    before = next((fact for fact in now.facts if fact.number == old), None)
    new = turn.facts[0] if turn.facts else None
    if before is None or new is None or before.fate != "stands" or before.number == new.number:
        return False
    return before.fact is not None and new.fact is not None and before.fact.value != new.fact.value
