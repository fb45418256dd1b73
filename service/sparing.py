"""Memory and the collector of a program that has opened the book and will answer many calls with it."""

from __future__ import annotations

import contextlib
import ctypes
import gc

MADE_BETWEEN_COLLECTIONS = 20_000  # objects; an answer makes some thousand, hardly any of them in a ring


def settle() -> None:
    """Call it once all that stays has been built.

    The book is a few hundred thousand objects that never change: left to the collector, each full collection walks them
    in the middle of some call, and each worker copies their pages. What building has freed goes back to the system,
    where the C library can do that (glibc); workers would keep it.
    """
    gc.unfreeze()
    gc.collect()
    gc.freeze()
    gc.set_threshold(MADE_BETWEEN_COLLECTIONS)
    with contextlib.suppress(OSError, AttributeError):
        ctypes.CDLL(None).malloc_trim(0)
