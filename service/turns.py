"""Threads of one process take turns in the expert.

Only one thread runs Python at a time, whatever is done. Left to themselves, threads that think at once hand the
interpreter to each other at every step of the arithmetic, which lets go of it; that costs more than the steps. In
turn, each is done sooner, and all together too.
"""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager

#: Nobody waits longer than this for a turn: an appliance met for the first time takes a second to work out.
LONGEST_WAIT = 0.02

_TURN = threading.Lock()


@contextmanager
def in_turn() -> Iterator[None]:
    """The body runs while no other thread's does, or after :data:`LONGEST_WAIT` seconds all the same."""
    mine = _TURN.acquire(timeout=LONGEST_WAIT)
    try:
        yield
    finally:
        if mine:
            _TURN.release()
