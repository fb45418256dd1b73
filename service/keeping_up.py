"""A long answer tells the worker that its client keeps up, so that the connection is not ended as stalled."""

from __future__ import annotations

import threading
from collections.abc import Callable

_HERE = threading.local()


def watched_by(told: Callable[[], None] | None) -> None:
    """Whom :func:`keeps_up` tells, for requests answered in this thread."""
    _HERE.told = told


def keeps_up() -> None:
    """The client has just sent or taken something."""
    told = getattr(_HERE, "told", None)
    if told is not None:
        told()
