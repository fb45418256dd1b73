"""The shop's table of display codes, found in a note however they are written: ``ZS-11``, ``zs 11``, ``z s 1 1``."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping

_GAP = r"[\s\-._]{0,3}"


class CodeTable:
    """The shop's codes, found however they are written."""

    def __init__(self, codes: Mapping[str, str]) -> None:
        self._groups = {"".join(filter(str.isalnum, code)).lower(): group for code, group in codes.items()}
        spelled = (_GAP.join(map(re.escape, code)) for code in sorted(self._groups, key=len, reverse=True))
        self._pattern = re.compile(rf"(?<![a-z0-9])(?:{'|'.join(spelled)})(?![a-z0-9])") if self._groups else None

    def find(self, plain: str, start: int, end: int) -> Iterator[tuple[str, int, int]]:
        """Group and span of every code of the table in a stretch of normalised text."""
        for found in self._pattern.finditer(plain, start, end) if self._pattern else ():
            yield self._groups["".join(filter(str.isalnum, found.group()))], found.start(), found.end()
