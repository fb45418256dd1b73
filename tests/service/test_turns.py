"""Threads that think at once take turns, and none waits for long."""

from __future__ import annotations

import threading
import time
from concurrent.futures import ThreadPoolExecutor

import pytest

from service import turns
from service.turns import in_turn

PATIENCE = 30.0


def test_no_two_have_the_turn_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(turns, "LONGEST_WAIT", PATIENCE)
    inside, most = 0, 0

    def think(_: int) -> None:
        nonlocal inside, most
        with in_turn():
            inside += 1
            most = max(most, inside)
            time.sleep(0.001)  # lets go of the interpreter, as arithmetic does
            inside -= 1

    with ThreadPoolExecutor(8) as pool:
        list(pool.map(think, range(50)))
    assert most == 1


def test_nobody_waits_for_one_who_takes_long(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(turns, "LONGEST_WAIT", 0.01)
    taken, done = threading.Event(), threading.Event()

    def build() -> None:
        with in_turn():
            taken.set()
            assert done.wait(PATIENCE)

    with ThreadPoolExecutor(1) as pool:
        building = pool.submit(build)
        assert taken.wait(PATIENCE)
        with in_turn():
            done.set()  # while the other still has the turn
        building.result(PATIENCE)


def test_a_turn_ends_with_an_error(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(turns, "LONGEST_WAIT", PATIENCE)
    with pytest.raises(ZeroDivisionError), in_turn():
        raise ZeroDivisionError
    began = time.perf_counter()
    with in_turn():
        assert time.perf_counter() - began < PATIENCE / 2
