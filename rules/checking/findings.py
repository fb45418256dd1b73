"""What the checker of the book finds: its kinds, how grave each is, and the findings that are known and accepted."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

Level = Literal["error", "note"]

#: Every kind of finding, and whether it fails the check. One page each stands in ``openapi/findings``.
KINDS: dict[str, Level] = {
    "unsafe-shape": "error",
    "negation-not-stratified": "error",
    "unsound-pointer": "error",
    "pointer-not-everywhere": "note",
    "unlisted-rival": "error",
    "unsound-ruling-out": "error",
    "code-decides": "error",
    "fault-not-pointed-at": "error",
    "fault-without-test": "error",
    "example-does-not-hold": "error",
    "duplicate-rule": "error",
    "subsumed-rule": "error",
    "unreachable-rule": "error",
    "order-dependent": "error",
    "hard-to-read": "error",
    "answer-without-value": "error",
}

#: Findings that stand on purpose: kind and subject, with the reason.
ACCEPTED: dict[tuple[str, str], str] = {}


@dataclass(frozen=True)
class Finding:
    """One thing to mend. ``where`` is ``file:line`` inside the book; ``message`` says what to change."""

    kind: str
    where: str
    subject: str
    message: str

    @property
    def level(self) -> Level:
        """``error`` fails the check, ``note`` does not."""
        return KINDS[self.kind]

    @property
    def accepted(self) -> str | None:
        """Why this finding stands on purpose, or None."""
        return ACCEPTED.get((self.kind, self.subject))


def at(file: str, line: int) -> str:
    """``file:line``, as every problem of the book is written."""
    return f"{file or '(book)'}:{line}"


def failing(findings: Iterable[Finding]) -> list[Finding]:
    """The findings of error level that nobody has accepted."""
    return [finding for finding in findings if finding.level == "error" and not finding.accepted]
