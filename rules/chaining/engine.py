"""Runs the compiled rules over the facts of one case after another."""

from __future__ import annotations

import threading
from collections.abc import Sequence

from rules.bookkeeping.types import Rule
from rules.chaining.caseengine import CaseEngine, engine_fact
from rules.chaining.compiler import compile_book
from rules.chaining.record import ChainRecord, KnownFact, in_order, make_record

_BUILDING = threading.Lock()  # experta keeps its tests in class-level tables while it builds


class Chainer:
    """The rules of one book, ready to chain. Build it once; :meth:`run` may be called from any thread.

    Each thread gets an engine of its own, built on its first case (under a millisecond a rule) and kept. An
    engine in which anything was raised is thrown away, because experta's network may then hold half a case.
    """

    def __init__(self, rules: Sequence[Rule]) -> None:
        """Compile the rules. Raises BookError for rules that cannot be chained."""
        self._rules = tuple(rule.rule for rule in rules)
        self._compiled = compile_book(rules)
        self._own = threading.local()

    def run(self, facts: Sequence[KnownFact]) -> ChainRecord:
        """Chain forward from the facts of one case; their order does not matter.

        Derived facts are numbered after the highest id given. Raises InputError for ids that are repeated.
        """
        known = in_order(facts)
        engine = self._take()
        engine.begin()
        engine.declare(*map(engine_fact, known))
        engine.run()
        record = make_record(self._rules, known, engine.raw)
        self._own.engine = engine  # only now: whatever was raised above has cost the thread its engine
        return record

    def _take(self) -> CaseEngine:
        """This thread's engine, out of its slot, or a new one."""
        engine: CaseEngine | None = self._own.__dict__.pop("engine", None)
        if engine is None:
            with _BUILDING:
                engine = self._compiled()
        return engine
