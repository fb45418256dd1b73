"""From tokens to items: each the longest phrase of the lexicon, a number, a mark, or a word nobody knows."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from rules.notes.entries import Lexicon
from rules.notes.normalise import Token, tokens
from rules.notes.typos import Speller

_MARKS = {",": "comma", "(": "comma", ")": "comma", ":": "colon", "=": "colon", "&": "and", "+": "and", "/": "or"}
#: Small words that are a preposition before a place and a state at the end of a clause.
_PARTICLES = ("on", "off")
_TURNS = ("twist", "closed")  # "turn the burner off", "shut the burner off"
_SWITCHED = (*_TURNS, "out", "comes_on")
_FELT = ("warm", "hot", "cold")  # "fell onto the hot burner"
_PRAISED = ("fine", "works")
_TURNED = frozenset({"article", "place", "quantity", "thing", "pronoun", "filler", "person"})
_WITH_NO_SWITCH = ("pan", "water", "food", "dish", "display", "indicator", "hot_light", "lights", "code")
_SHOWN_RIGHT = ("display", "house_lights", "keys")
_BEFORE_A_PLACE = ("thing", "place", "quantity", "article", "pronoun", "number", "person")
_TAKES_CONTEXT = ("right", "light", "lights")  # and every state
_DROPPED = frozenset({"article", "filler", "blocked"})
_made = tuple.__new__  # a named tuple in half the time; every item of a note is made here


class Item(NamedTuple):
    """A stretch of the note that is read as one: ``start``/``end`` are offsets in the original text."""

    kind: str
    name: str
    start: int
    end: int
    plural: bool = False
    denies: bool = False
    after: bool = False  # it stands directly after the item before it, but for articles
    describes: bool = False  # a state between an article and a name: "a burnt out bulb"


class Tagged(NamedTuple):
    """The items of a text, and the tokens and mended words they were made of."""

    items: list[Item]
    tokens: list[Token]
    words: list[str]
    named: frozenset[str]  # the words


def tag(plain: str, lexicon: Lexicon, speller: Speller) -> Tagged:
    """Tag normalised text. :func:`settled` then leaves out articles, courtesies and look-alikes."""
    kept = tokens(plain)
    if "-" in plain or "/" in plain or "=" in plain:
        kept = _without_joints(kept)
    mended, mend = speller.mended, speller.mend
    words = [mended.get(word) or mend(word) if kind == "word" else word for word, _, _, kind in kept]
    items: list[Item] = []
    named = frozenset(words)
    longest, openings, barriers = lexicon.index.longest, lexicon.index.openings, lexicon.barriers
    at, count = 0, len(kept)
    while at < count:
        word = words[at]
        found = longest(words, at, barriers, named) if word in openings else None
        if found:
            end, entry = found
            item = (entry.kind, entry.name, kept[at][1], kept[end - 1][2], entry.plural, entry.denies, False, False)
            items.append(_made(Item, item))
            at = end
            continue
        token = kept[at]
        if token[3] == "word":
            items.append(_made(Item, ("word", word, token[1], token[2], False, False, False, False)))
        else:
            items.append(_plain_item(token, word))
        at += 1
    return Tagged(items, kept, words, named)


def settled(items: list[Item]) -> list[Item]:
    """Decide what the particles are, and drop what means nothing while keeping note of who stands next to whom."""
    kept: list[Item] = []
    close = False
    for number, item in enumerate(items):
        if item.kind in _DROPPED:
            close = close and item.kind == "article"
            continue
        last = kept[-1].kind if kept else "stop"
        depends = item.kind == "state" or (item.name in _TAKES_CONTEXT and item.kind in ("place", "thing"))
        seen = _in_context(items, number, last) if depends else item
        if close:
            kind, name, start, end, plural, denies, _, describes = seen
            seen = _made(Item, (kind, name, start, end, plural, denies, True, describes))
        kept.append(seen)
        close = True
    return kept


def _plain_item(token: Token, word: str) -> Item:
    written, start, end, kind = token
    if kind == "stop":
        word = "?" if "?" in written else "."
    elif kind == "mark":
        kind = _MARKS.get(word, "comma" if word == "-" else "mark")
    return _made(Item, (kind, word, start, end, False, False, False, False))


def _without_joints(cut: list[Token]) -> list[Token]:
    """Drop the marks inside a word: hot-surface, L/F, w/o, on/off, 24/7."""
    kept: list[Token] = []
    for number, token in enumerate(cut):
        if token.kind == "mark" and token.word in "-/=" and 0 < number < len(cut) - 1:
            before, after = cut[number - 1], cut[number + 1]
            joined = before.end == token.start and token.end == after.start
            pair = (before.word, after.word) in (("on", "off"), ("and", "or"))
            figures = before.kind == after.kind == "number"
            with_or_without = token.word == "/" and before.end == token.start and before.word in ("w", "wo", "w o", "b")
            if with_or_without and before.kind == "word":
                continue  # "w/ a burner on"
            if token.word == "=" and joined and before.kind == after.kind == "word":
                continue  # lo=med=hi
            short = len(before.word) == 1 and len(after.word) <= 1 and before.kind == after.kind == "word"
            if (token.word == "-" and joined) or (token.word == "/" and joined and (short or figures or pair)):
                continue
        kept.append(token)
    return kept


def _in_context(items: list[Item], number: int, last: str) -> Item:
    """The item as its neighbours make it read. ``last`` is the kind of the item kept before it."""
    item = items[number]
    if item.kind == "state" and item.name in _PARTICLES and _leads_to_a_place(items, number):
        return item._replace(kind="preposition")
    lights = item.name == "lights" or (item.name == "light" and number > 0 and items[number - 1].name in _SHOWN_RIGHT)
    if lights and last in ("thing", "pronoun", "only") and _ends_a_clause(items, number):
        return item._replace(kind="state", name="lit")  # "the display only lights when ..."
    if item.kind == "state" and _describes(items, number):  # "put the good coil in" says nothing of how it does
        aside = item.name in _PRAISED or (item.name in _FELT and number > 1 and items[number - 2].kind == "preposition")
        return item._replace(kind="word") if aside else item._replace(describes=True)
    if item.kind == "state" and item.name in _SWITCHED:
        return _switched(items, number, last)
    return _praised(items, number, last)


def _switched(items: list[Item], number: int, last: str) -> Item:
    """A state that somebody brings about."""
    item = items[number]
    if item.name in _TURNS and _says_which_way(items, number):
        return item._replace(kind="word")  # "turn the burner off" is off
    if item.name == "out" and _is_turned(items, number, ("closed",)):
        return item._replace(name="off")  # "can't shut the burner down"
    if item.name == "comes_on" and last == "person":
        return item._replace(name="turn_on")  # "she turns on a burner"
    return item


def _praised(items: list[Item], number: int, last: str) -> Item:
    """``the clock is right``, ``the burners are right`` are no places; ``the dead one is right`` is one."""
    item = items[number]
    if item.kind != "place" or item.name != "right" or last != "verb" or not _ends_a_clause(items, number):
        return item
    verb = items[number - 1]
    several = verb.end - verb.start >= len("are")
    shown = any(before.name in _SHOWN_RIGHT for before in items[max(0, number - 4) : number])
    return item._replace(kind="state", name="fine") if several or shown else item


def _describes(items: list[Item], number: int) -> bool:
    """Whether a state stands between an article and a name: ``the good coil``."""
    if not 0 < number < len(items) - 1:
        return False
    return items[number - 1].kind == "article" and items[number + 1].kind in ("thing", "place")


def _says_which_way(items: list[Item], number: int) -> bool:
    """Whether what is turned is followed by on, off or a setting."""
    for later in items[number + 1 : number + 7]:
        if later.kind not in _TURNED:
            return later.name == "off" or (items[number].name, later.name) in (("closed", "out"), ("twist", "on"))
    return False


def _is_turned(items: list[Item], number: int, turns: Sequence[str] = ("twist",)) -> bool:
    """``turns the front coil on the display comes back``: the 'on' belongs to what is turned."""
    for before in reversed(items[max(0, number - 6) : number]):
        if before.kind == "state":
            return before.name in turns
        if before.kind not in _TURNED:
            return False
    return False


def _is_put_on(items: list[Item], number: int) -> bool:
    """``with two burners on the display dims``: what stands between 'with' and 'on' is switched on."""
    named = False
    for before in reversed(items[max(0, number - 4) : number]):
        if before.kind == "with":
            return named
        if before.kind not in _TURNED or before.name in _WITH_NO_SWITCH:
            return False
        named = named or before.kind == "thing"
    return False


def _ends_a_clause(items: list[Item], number: int) -> bool:
    following = items[number + 1].kind if number + 1 < len(items) else "stop"
    return following in ("stop", "comma", "then", "when", "if", "until", "unless", "only", "but", "and")


def _leads_to_a_place(items: list[Item], number: int) -> bool:
    """``on the left front``, but not ``the clock is on``."""
    following = items[number + 1] if number + 1 < len(items) else None
    if following is None or following.kind not in _BEFORE_A_PLACE:
        return False
    if _is_turned(items, number) or _is_put_on(items, number):
        return False
    at = number - 1
    if at > 0 and items[at].kind == "negation":
        at -= 1
    before = items[at] if at >= 0 else None
    if before is None or before.kind not in ("verb", "negation_verb", "same"):
        return items[number].name == "on"
    after_next = items[number + 2] if number + 2 < len(items) else None
    return following.kind == "article" and after_next is not None and after_next.kind == "place"
