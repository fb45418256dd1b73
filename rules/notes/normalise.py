"""From a note as typed to tokens: lower case, straight quotes, one character for one character.

Nothing is ever inserted or removed before the tokens are cut, so every offset in the normalised text is an offset in
the original note. That is what makes a fact's span exact.
"""

from __future__ import annotations

import re
import unicodedata
from typing import NamedTuple

_SINGLE = {
    "’": "'", "‘": "'", "ʼ": "'", "´": "'", "`": "'", "“": '"', "”": '"', "«": '"', "»": '"',
    "–": "-", "‐": "-", "‑": "-", "−": "-", "—": ";", "―": ";", "…": ".", "•": "\n", "·": " ", "►": "\n",
    "º": "°", "˚": "°", "Ω": "ω", "\u2126": "ω", "⅟": "/", "×": "x", "→": "-", "\u2028": "\n", "\u2029": "\n",
}  # fmt: skip
_CONTROLS = {code: " " for code in (*range(32), 127) if code != 10}
_ABBREVIATION = r"(?:(?<![a-z])[a-z]\.){2,4}"
_TOKEN = re.compile(  # words first: most of what is written is words
    r"(?P<word>(?![a-z]\.[a-z]\.)[a-zω]+(?:'[a-z]+)?)|(?P<number>\d+(?:[.,]\d+)*)"
    rf"|(?P<abbreviation>{_ABBREVIATION})"
    r"|(?P<stop>[.!?;\n](?!,)[.!?;\s]*)|(?P<mark>(?P<one>[^\s'\"])(?P=one)*)",
)
_TITLES = frozenset({"mr", "mrs", "ms", "dr"})
#: Clipped words whose point ends no sentence if small letters or figures follow.
_CLIPPED = frozenset(
    {"elem", "temp", "approx", "brkr", "int", "incl", "thermo", "disp", "therm", "cust", "surf", "elec", "est", "min",
     "hr", "hrs", "lt", "rt", "fr", "rr"}
)  # fmt: skip
_LINE_END = re.compile(r"\n(?=[ \t]*\S)")
_CONTRACTED_IS = re.compile(r"([a-z]+)'s\Z")
_LINE_OPENS_SENTENCE = re.compile(r"[ \t]*(?:[A-Z0-9*#\-]|$)")


_made = tuple.__new__  # a named tuple in half the time; there are some twenty tokens to a note


class Token(NamedTuple):
    """One word, number or mark. ``start``/``end`` are offsets in the original note; ``word`` is what it is read as."""

    word: str
    start: int
    end: int
    kind: str  # word, number, stop, mark


def normalise(text: str) -> str:
    """Lower case with plain quotes and dashes; same length as ``text``, character for character."""
    plain = text.lower() if text.isascii() else "".join(map(_plain_character, text))
    if not plain.isprintable():
        plain = plain.replace("\r\n", " \n").replace("\r", "\n").translate(_CONTROLS)
    if ". " in plain:
        plain = _unclipped(plain, text)
    return _join_wrapped_lines(plain, text) if "\n" in plain else plain


def _unclipped(plain: str, original: str) -> str:
    """The points after titles and clipped words blanked."""
    at = plain.find(". ")
    while at >= 0:
        word = plain[plain.rfind(" ", 0, at) + 1 : at]
        following = original[at + 1 :].lstrip()[:1] if word in _CLIPPED else ""
        if word in _TITLES or following.islower() or following.isdigit():
            plain = plain[:at] + " " + plain[at + 1 :]
        at = plain.find(". ", at + 1)
    return plain


def _plain_character(character: str) -> str:
    if character in _SINGLE:
        return _SINGLE[character]
    if character.isascii():
        return character.lower()
    folded = unicodedata.normalize("NFKD", character).lower()
    if folded and folded[0].isascii() and all(unicodedata.combining(mark) for mark in folded[1:]):
        return folded[0]  # é becomes e, a full-width digit a digit
    if character.isspace():
        return " "
    low = character.lower()
    return low if len(low) == 1 and low.isalpha() else ("°" if character == "°" else " ")


def _join_wrapped_lines(plain: str, original: str) -> str:
    """A line break inside a sentence becomes a space: the next line goes on in small letters."""

    def mend(found: re.Match[str]) -> str:
        return "\n" if _LINE_OPENS_SENTENCE.match(original, found.end()) else " "

    return _LINE_END.sub(mend, plain)


def tokens(plain: str) -> list[Token]:
    """Cut normalised text into tokens. ``doesn't`` becomes ``doesnt``; ``oven's`` becomes ``oven`` and ``is``."""
    cut: list[Token] = []
    for found in _TOKEN.finditer(plain):
        kind, (start, end) = found.lastgroup or "mark", found.span()
        word = plain[start:end]
        if kind == "word":
            if "'" in word:
                contracted = _CONTRACTED_IS.match(word)
                if contracted:
                    cut.append(_made(Token, (contracted[1], start, start + len(contracted[1]), "word")))
                    cut.append(_made(Token, ("is", end - 2, end, "word")))
                    continue
                word = word.replace("'", "")
        elif kind == "mark":
            word = word[0]
        elif kind == "abbreviation":
            word, kind = word.replace(".", ""), "word"
        cut.append(_made(Token, (word, start, end, kind)))
    return cut


def phrase_words(phrase: str) -> list[str]:
    """A lexicon phrase in the same form as the tokens of a note; the marks ``/ ( ) ..`` of its grammar are kept."""
    plain = normalise(phrase).replace("-", " ")
    plain = re.sub(r"([a-z])'s\b", r"\1 is", plain)
    return plain.replace("'", "").split()
