"""Transcripts: who speaks. A speaker's name is read as the full stop before his words, and never as words of his.

Names are blanked character for character, so that every offset stays that of the note as written.
"""

from __future__ import annotations

import re

_ASKING = r"dispatch(?:er)?|agent|csr|rep|operator|desk|office|shop|support|service|interviewer|question"
_TELLING = (
    r"caller|customer|cust|client|cx|tenant|owner|homeowner|resident|lady|man|woman|him|her|he|she|answer|"
    r"technician|tech|me|us|user"
)
_NAMED = re.compile(
    rf"(?:(?<=^)|(?<=[.?!\n]))[ \t\"(]*(?P<name>(?:{_ASKING}|{_TELLING})(?:\s?\d)?)\s?(?P<mark>[:>]|\s-+\s)"
)
_LETTER = re.compile(r"(?:(?<=^)|(?<=[.?!\n]))[ \t]*(?P<name>[a-z])(?P<mark>[:)]|\.(?=\s)|\s-\s)")
LEAST_LETTERS = 2  # different letters that must speak before a lone letter is taken for a speaker


def without_speakers(plain: str) -> tuple[str, bool]:
    """Normalised text with the names of speakers blanked, and whether it is talk between two."""
    marked = ":" in plain or "-" in plain or ">" in plain
    if not marked and "?" not in plain:
        return plain, False
    found = [*_NAMED.finditer(plain)]
    dashed = [match for match in found if "-" in match["mark"]]
    if dashed and len({match["name"] for match in dashed}) < LEAST_LETTERS:
        found = [match for match in found if match not in dashed]
    letters = [*_LETTER.finditer(plain)] if "?" in plain else []
    if len({match["name"] for match in letters}) >= LEAST_LETTERS:
        found += letters
    if not found:
        return plain, False
    cut = list(plain)
    for match in found:
        first, last = match.start("name"), match.end("mark")
        cut[first:last] = "." + " " * (last - first - 1)
    return "".join(cut), len({match["name"] for match in found}) >= LEAST_LETTERS
