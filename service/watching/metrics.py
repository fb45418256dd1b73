"""Counts for Prometheus. Under several workers they are shared through files, so that a scrape of any worker is whole.

Labels are bounded: routes are templates, rules are the book's ids, everything else is a short list of words.
prometheus_client reads ``PROMETHEUS_MULTIPROC_DIR`` when it is first imported; :mod:`service.serving` sets it before.
"""

from __future__ import annotations

import fcntl
import functools
import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar, cast

from prometheus_client import CollectorRegistry, Counter, Histogram, generate_latest
from prometheus_client.core import GaugeMetricFamily
from prometheus_client.mmap_dict import MmapedDict
from prometheus_client.multiprocess import MultiProcessCollector
from prometheus_client.registry import Collector

from service.watching import logs

if TYPE_CHECKING:
    from prometheus_client.metrics_core import Metric

    from rules.answer import Triage

DEAD = 0  # no worker has this process id
METHODS = ("GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS")
_SECONDS = (0.001, 0.0025, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 10.0)
REGISTRY = CollectorRegistry()
REQUESTS = Counter("coldleg_http_requests", "Requests answered.", ("route", "method", "status"), registry=REGISTRY)
REQUEST_SECONDS = Histogram(
    "coldleg_http_request_duration_seconds", "Time to answer.", ("route",), buckets=_SECONDS, registry=REGISTRY
)
DECISIONS = Counter("coldleg_decisions", "Answers by what they came to.", ("outcome",), registry=REGISTRY)
DECISION_SECONDS = Histogram(
    "coldleg_decision_duration_seconds", "Time in the expert.", buckets=_SECONDS, registry=REGISTRY
)
FIRINGS = Counter("coldleg_rule_firings", "Answers in which a rule fired.", ("rule",), registry=REGISTRY)
BATCH_LINES = Counter("coldleg_batch_lines", "Lines of batches.", ("outcome",), registry=REGISTRY)


@functools.cache
def _child(metric: Any, *labels: str) -> Any:
    """A metric with its labels; looking it up anew costs more than counting. Labels are few, so this stays small."""
    return metric.labels(*labels)


Count = TypeVar("Count", bound=Callable[..., None])


def _harmless(count: Count) -> Count:
    """A count that cannot be kept (a full disk, a folder that was cleared) must not cost the caller an answer."""

    @functools.wraps(count)
    def tried(*given: Any) -> None:
        try:
            count(*given)
        except OSError as error:
            logs.LOGGER.error("a count could not be kept", exc_info=error)

    return cast(Count, tried)


@_harmless
def request_answered(route: str, method: str, status: int, seconds: float) -> None:
    _child(REQUESTS, route, method if method in METHODS else "other", str(status)).inc()
    _child(REQUEST_SECONDS, route).observe(seconds)


@_harmless
def decided(answer: Triage, outcome: str, seconds: float) -> None:
    _child(DECISIONS, outcome).inc()
    DECISION_SECONDS.observe(seconds)
    for rule in answer.fired:
        _child(FIRINGS, rule).inc()


@_harmless
def batch_line(outcome: str) -> None:
    _child(BATCH_LINES, outcome).inc()


class _BookInfo(Collector):
    """The version of the book this worker answers by, as a gauge that is always 1."""

    def __init__(self, version: str) -> None:
        self.version = version

    def collect(self) -> Iterator[Metric]:
        info = GaugeMetricFamily("coldleg_book_info", "The open book; always 1.", labels=["version"])
        info.add_metric([self.version], 1)
        yield info


@contextmanager
def _alone(shared: Path) -> Iterator[None]:
    """No scrape sees the files of a dead worker while they are added up."""
    lock = os.open(shared / "lock", os.O_RDWR | os.O_CREAT, 0o600)
    try:
        fcntl.flock(lock, fcntl.LOCK_EX)
        yield
    finally:
        os.close(lock)


def retire(shared: Path, worker: int) -> None:
    """Add a dead worker's counts to those of all dead ones, so that reloads do not pile up files."""
    with _alone(shared):
        for kind in ("counter", "histogram"):
            left = shared / f"{kind}_{worker}.db"
            if not left.exists():
                continue
            files: Any = MmapedDict  # it has no types
            total = files(str(shared / f"{kind}_{DEAD}.db"))
            for key, value, stamp, _ in files.read_all_values_from_file(str(left)):
                total.write_value(key, total.read_value(key)[0] + value, stamp)
            total.close()
            left.unlink()


def exposed(book: str, shared: Path | None) -> bytes:
    """All counts in Prometheus' text format; with ``shared``, of all workers together."""
    registry = CollectorRegistry()
    if shared is None:
        counts = generate_latest(REGISTRY)
    else:
        MultiProcessCollector(registry, path=str(shared))  # type: ignore[no-untyped-call]
        with _alone(shared):
            counts = generate_latest(registry)
    own = CollectorRegistry()
    own.register(_BookInfo(book))
    return counts + generate_latest(own)
