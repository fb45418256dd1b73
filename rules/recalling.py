"""Answers given before, for enquiries that come again: a form sent twice, a note that many callers share.

An answer depends on the enquiry and the book alone, so an equal enquiry gets the very same frozen answer. Kept are a
bounded number, the one asked for longest ago goes first.
"""

from __future__ import annotations

import hashlib
import os
import threading
from collections import OrderedDict

from rules.answer import Triage
from rules.triage import Enquiry, Expert, triage

VARIABLE = "COLDLEG_ANSWERS"  # how many are kept; 0 keeps none
USUAL = 256  # some 20 kilobytes each


class Answers:
    """The answers of one open book. May be asked from any thread; two that ask the same at once both work it out."""

    def __init__(self, expert: Expert, most: int | None = None) -> None:
        """``most``: how many are kept, 0 for none; None for what the environment says, else :data:`USUAL`."""
        self.expert = expert
        self.most = most_kept() if most is None else most
        self.recalled = 0
        self._held: OrderedDict[bytes, Triage] = OrderedDict()
        self._lock = threading.Lock()

    def triage(self, enquiry: Enquiry) -> Triage:
        """As :func:`rules.triage`, which raises InputError; that is never kept."""
        if not self.most:
            return triage(self.expert, enquiry)
        key = self._key(enquiry)
        with self._lock:
            answer = self._held.get(key)
            if answer is not None:
                self._held.move_to_end(key)
                self.recalled += 1
                return answer
        answer = triage(self.expert, enquiry)
        with self._lock:
            self._held[key] = answer
            while len(self._held) > self.most:
                self._held.popitem(last=False)
        return answer

    def _key(self, enquiry: Enquiry) -> bytes:
        """The hash of the enquiry as written: equal numbers of different kinds (1, 1.0) are written differently."""
        return hashlib.blake2b(f"{self.expert.book.version}\0{enquiry!r}".encode("utf-8", "replace")).digest()


def most_kept() -> int:
    """What the environment says; :data:`USUAL` for anything but a whole number."""
    said = os.environ.get(VARIABLE, "")
    return int(said) if said.isascii() and said.isdigit() else USUAL
