"""What a batch came to: counts by scope, stop and likeliest fault, failures and the rate."""

from __future__ import annotations

import time
from collections import Counter
from dataclasses import dataclass, field
from typing import Any

from rules.answer import Triage

SCOPES = {True: "in scope", False: "out of scope"}
MOST_SHOWN = 8
MOST_UNREAD = 50_000  # different unread clauses that are counted; the rarest are let go beyond that


@dataclass(frozen=True, slots=True)
class Glance:
    """What the summary needs of one row."""

    failed: bool
    scope: str = ""
    stop: str = ""
    fault: str = ""
    unread: tuple[str, ...] = ()


def glance_at(answer: Triage) -> Glance:
    """Look at an answer."""
    stop = answer.stop.signal if answer.stop else ""
    fault = answer.conclusions[0].title if answer.conclusions else ""
    return Glance(False, SCOPES[answer.scope.in_scope], stop, fault, answer.unread)


def glance(row: dict[str, Any]) -> Glance:
    """Look at a row as it was sent."""
    if "error" in row:
        return Glance(True)
    answer = row["answer"]
    stop = answer["stop"]["signal"] if answer["stop"] else ""
    fault = answer["conclusions"][0]["title"] if answer["conclusions"] else ""
    return Glance(False, SCOPES[answer["scope"]["in_scope"]], stop, fault, tuple(answer["unread"]))


@dataclass
class Summary:
    """The counts of a run. ``resumed`` rows were answered by an earlier run."""

    resumed: int = 0
    rows: int = 0
    failed: int = 0
    scopes: Counter[str] = field(default_factory=Counter)
    stops: Counter[str] = field(default_factory=Counter)
    faults: Counter[str] = field(default_factory=Counter)
    unread: Counter[str] = field(default_factory=Counter)
    began: float = field(default_factory=time.perf_counter)

    def add(self, seen: Glance) -> None:
        """Count one row."""
        self.rows += 1
        if seen.failed:
            self.failed += 1
            return
        self.scopes[seen.scope] += 1
        self.stops[seen.stop or "no stop"] += 1
        self.faults[seen.fault or "nothing to go by"] += 1
        self.unread.update(" ".join(words.lower().split()) for words in seen.unread)
        if len(self.unread) > MOST_UNREAD:
            self.unread = Counter(dict(self.unread.most_common(MOST_UNREAD // 2)))

    def words(self) -> str:
        """The closing summary."""
        took = max(time.perf_counter() - self.began, 1e-9)
        before = f", {self.resumed:,} before it" if self.resumed else ""
        lines = [f"{self.rows:,} rows{before}, {self.failed:,} failed, {self.rows / took:,.0f} a second"]
        for title, counts in (("scope", self.scopes), ("stop", self.stops), ("likeliest fault", self.faults)):
            if counts:
                shown = [f"{name} {count:,}" for name, count in counts.most_common(MOST_SHOWN)]
                rest = sum(counts.values()) - sum(count for _, count in counts.most_common(MOST_SHOWN))
                lines.append(f"{title}: {', '.join(shown + ([f'others {rest:,}'] if rest else []))}")
        return "\n".join(lines)
