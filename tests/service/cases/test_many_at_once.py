"""Fifty calls at once for a few seconds: nothing said is lost or doubled. For minutes: tests/benchmarks/bench_cases."""

from __future__ import annotations

from tests.benchmarks.bench_cases import conversing

CASES, SECONDS, PAUSE = 50, 4.0, 2.0


def test_fifty_calls_at_once_lose_and_double_nothing(url: str) -> None:
    done = conversing(CASES, SECONDS, PAUSE, "--workers", "2", "--threads", "8", "--database", url)
    assert not done.failed, done.failed[0]
    assert done.heard >= CASES
    assert done.repeated >= 1
