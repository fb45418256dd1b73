"""A rate for each key that holds over all workers: token buckets in a small file that the workers share.

The file is mapped before the workers are started. A bucket is 32 bytes: the key's id, tokens left, and when that was
worked out on the machine's monotonic clock. A lock of the kernel guards it, which a killed worker cannot leave locked.
"""

from __future__ import annotations

import fcntl
import mmap
import os
import struct
import tempfile
import threading
import time
import weakref
from collections.abc import Callable
from pathlib import Path

SLOTS = 1024  # keys in use at one time
BURST_SECONDS = 10.0  # of the rate that may be saved up
_BUCKET = struct.Struct("16sdd")


class RateLimiter:
    """Made once, before the workers; :meth:`take` may be called from any of their threads."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._file, path = tempfile.mkstemp(prefix="coldleg-rates-")
        Path(path).unlink()  # it goes with the last process that holds it open
        os.truncate(self._file, SLOTS * _BUCKET.size)
        self._map = mmap.mmap(self._file, SLOTS * _BUCKET.size)
        weakref.finalize(self, os.close, self._file)
        self._threads = threading.Lock()

    def take(self, key: str, per_minute: int) -> float:
        """Take one request from the key's bucket. Returns 0, or the seconds until there is one to take."""
        rate = per_minute / 60
        most = max(1.0, rate * BURST_SECONDS)
        with self._threads:
            fcntl.lockf(self._file, fcntl.LOCK_EX)
            try:
                now = self._clock()
                place, tokens = self._bucket(key.encode()[:16].ljust(16, b"\0"), now, rate, most)
                left = tokens - 1 if tokens >= 1 else tokens
                _BUCKET.pack_into(self._map, place, key.encode()[:16], left, now)
            finally:
                fcntl.lockf(self._file, fcntl.LOCK_UN)
        return 0.0 if tokens >= 1 else (1 - tokens) / rate

    def _bucket(self, name: bytes, now: float, rate: float, most: float) -> tuple[int, float]:
        """Where the key's bucket is and what is in it; a new key gets a free slot, or the one left longest."""
        oldest, oldest_time = 0, float("inf")
        start = hash_slot(name)
        for step in range(SLOTS):
            place = (start + step) % SLOTS * _BUCKET.size
            kept, tokens, when = _BUCKET.unpack_from(self._map, place)
            if kept == name:
                return place, min(most, tokens + (now - when) * rate)
            if not kept.rstrip(b"\0"):
                return place, most
            if when < oldest_time:
                oldest, oldest_time = place, when
        return oldest, most


def hash_slot(name: bytes) -> int:
    """The slot a key's bucket is looked for first; the same in every process."""
    return int.from_bytes(name.rstrip(b"\0")[:8], "big") % SLOTS
