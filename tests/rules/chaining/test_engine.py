"""Running cases: order of input, processes and threads, and what happens after something was raised."""

from __future__ import annotations

import gc
import os
import random
import subprocess
import sys
import threading
import weakref
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from rules.bookkeeping.types import Condition, Derivation
from rules.chaining import Chainer, ChainRecord, KnownFact
from rules.chaining.caseengine import CaseEngine
from rules.chaining.record import RawFiring
from rules.terms import InputError
from tests.rules.chaining.casegen import facts, random_facts, random_rules, rule
from tests.rules.chaining.plainly import as_refs, plainly

ROOT = Path(__file__).parents[3]

LIT = rule("lit", [Condition("display", values=("lit",))], derive=[Derivation("awake", "yes")])
AWAKE = rule("awake", [Condition("awake", values=("yes",))])
LIT_FACTS, DARK_FACTS = facts(("display", "", "lit")), facts(("display", "", "dark"))


def fired(record: ChainRecord) -> list[str]:
    return [firing.rule for firing in record.firings]


def test_a_case_leaves_nothing_for_the_next() -> None:
    chainer = Chainer([LIT, AWAKE])
    assert fired(chainer.run(LIT_FACTS)) == ["lit", "awake"]
    assert chainer.run(DARK_FACTS) == chainer.run([]) == ChainRecord((), ())
    assert fired(chainer.run(LIT_FACTS)) == ["lit", "awake"]


def test_no_rules_is_a_book_too() -> None:
    assert Chainer([]).run(LIT_FACTS) == ChainRecord((), ())


def test_the_record_does_not_depend_on_the_order_of_facts_or_of_rules() -> None:
    derived = 0
    for number in range(60):
        rules, known = random_rules(number, most=14), random_facts(number)
        expected = Chainer(rules).run(known)
        derived += len(expected.derived)
        dice = random.Random(number)
        for _ in range(2):
            dice.shuffle(known)
            assert Chainer(rules).run(known) == expected
        dice.shuffle(rules)
        other = Chainer(rules).run(known)
        assert sorted(other.firings, key=str) == sorted(expected.firings, key=str)
        assert [replace(fact, rules=()) for fact in other.derived] == [
            replace(fact, rules=()) for fact in expected.derived
        ]
    assert derived > 60


def test_ids_are_the_callers_and_need_not_be_dense() -> None:
    known = [replace(fact, id=10 * fact.id + 3) for fact in facts(("display", "", "lit"), ("oven.lamp", "", "lit"))]
    record = Chainer([LIT, AWAKE]).run(known)
    assert [(firing.supports, firing.observed) for firing in record.firings] == [((3,), (3,)), ((14,), (3,))]


def test_the_record_agrees_with_a_plain_reckoning() -> None:
    for number in range(150):
        rules = random_rules(5000 + number)
        chainer = Chainer(rules)
        for case in range(2):
            known = random_facts(7000 + 2 * number + case)
            assert as_refs(chainer.run(known)) == plainly(rules, known), (number, case)


def test_hash_values_addresses_and_input_order_do_not_show() -> None:
    """Six interpreters with six hash functions, each given the facts in another order, print the same to the letter."""
    printed = set()
    running = [
        subprocess.Popen(
            [sys.executable, "-W", "error", "-m", "tests.rules.chaining.printing", str(number)],
            cwd=ROOT,
            env={**os.environ, "PYTHONHASHSEED": str(number)},
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        for number in range(6)
    ]
    for process in running:
        told, complaint = process.communicate(timeout=120)
        assert process.returncode == 0, complaint
        printed.add(told)
    assert len(printed) == 1
    assert printed.pop().count("Firing(") > 150


@pytest.fixture
def hasty_threads() -> Iterator[None]:
    """Threads change every ten microseconds, to provoke races."""
    before = sys.getswitchinterval()
    sys.setswitchinterval(1e-5)
    yield
    sys.setswitchinterval(before)


@pytest.fixture
def built(monkeypatch: pytest.MonkeyPatch) -> list[CaseEngine]:
    """Every engine built during the test."""
    engines: list[CaseEngine] = []
    build = CaseEngine.__init__

    def build_and_note(self: CaseEngine) -> None:
        engines.append(self)
        build(self)

    monkeypatch.setattr(CaseEngine, "__init__", build_and_note)
    return engines


def test_threads_own_their_engines_and_never_mix_cases(hasty_threads: None, built: list[CaseEngine]) -> None:
    rules = random_rules(17, most=14)
    cases = [random_facts(number) for number in range(40)]
    expected = [Chainer(rules).run(known) for known in cases]
    assert len(set(expected)) > 10
    chainer, start = Chainer(rules), threading.Barrier(6)
    built.clear()
    wrong: list[Any] = []

    def work(number: int) -> None:
        try:
            order = list(range(len(cases)))
            random.Random(number).shuffle(order)
            start.wait()
            for case in order:
                record = chainer.run(cases[case])
                wrong.extend([(number, case)] if record != expected[case] else [])
        except BaseException as error:
            wrong.append(error)
            raise

    threads = [threading.Thread(target=work, args=(number,)) for number in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert wrong == []
    assert len(built) == 6


def test_a_thread_builds_its_engine_once(built: list[CaseEngine]) -> None:
    chainer = Chainer([LIT])
    for known in (LIT_FACTS, DARK_FACTS, LIT_FACTS):
        chainer.run(known)
    assert len(built) == 1


class PlannedError(Exception):
    """Raised on purpose."""


def test_after_a_predicate_raised_the_next_case_is_right(monkeypatch: pytest.MonkeyPatch) -> None:
    def raises(value: str) -> bool:
        if value == "flickering":
            raise PlannedError
        return value != "dark"

    monkeypatch.setattr("rules.chaining.compiler.value_test", lambda premise: raises if premise.not_values else None)
    chainer = Chainer([LIT, AWAKE, rule("odd", [Condition("oven.lamp", not_values=("dark",))])])
    chainer.run(LIT_FACTS)
    engine = weakref.ref(chainer._own.engine)
    with pytest.raises(PlannedError):
        chainer.run(facts(("display", "", "lit"), ("oven.lamp", "", "flickering")))
    assert chainer.run(DARK_FACTS) == ChainRecord((), ())
    assert fired(chainer.run(facts(("oven.lamp", "", "lit")))) == ["odd"]
    gc.collect()
    assert engine() is None


def test_after_a_rule_body_raised_the_next_case_is_right(monkeypatch: pytest.MonkeyPatch) -> None:
    chainer = Chainer([LIT, AWAKE])
    chainer.run(LIT_FACTS)
    engine = chainer._own.engine

    def raises(self: CaseEngine, raw: RawFiring) -> None:
        raise PlannedError

    with monkeypatch.context() as patched:
        patched.setattr(CaseEngine, "note", raises)
        with pytest.raises(PlannedError):
            chainer.run(LIT_FACTS)
    assert not hasattr(chainer._own, "engine")
    assert chainer.run(DARK_FACTS) == ChainRecord((), ())
    assert fired(chainer.run(LIT_FACTS)) == ["lit", "awake"]
    assert chainer._own.engine is not engine


def test_bad_facts_cost_nothing() -> None:
    chainer = Chainer([LIT])
    chainer.run(LIT_FACTS)
    engine = chainer._own.engine
    with pytest.raises(InputError, match="0 is taken"):
        chainer.run([*LIT_FACTS, KnownFact(0, "oven.lamp", "", "", "lit", None, "caller")])
    assert fired(chainer.run(LIT_FACTS)) == ["lit"]
    assert chainer._own.engine is engine
