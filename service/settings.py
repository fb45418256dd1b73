"""What a running service is told: limits, who may call, what is written down."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from service.cases.store import Store
    from service.keys import KeyStore
    from service.ratelimit import RateLimiter
    from service.watching.records import Recorder

LOOPBACK_NAMES = ("localhost", "127.0.0.1", "[::1]")
LARGEST_BODY = 256 * 1024  # bytes; the longest note and the most facts fit in well


@dataclass(frozen=True)
class Settings:
    """``hosts``: names a request's Host header may carry, besides every IP address if ``any_address``.

    ``keys``: None lets everybody in. ``metrics``: folder that workers share their counts in, None for one process.
    ``store``: of the cases, None keeps none.
    """

    hosts: tuple[str, ...] = LOOPBACK_NAMES
    any_address: bool = False
    keys: KeyStore | None = None
    limiter: RateLimiter | None = None
    recorder: Recorder | None = None
    metrics: Path | None = None
    largest_body: int = LARGEST_BODY
    store: Store | None = None
