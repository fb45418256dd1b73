"""Which unit a message names: ``left front``, ``it's the right rear one``."""

from __future__ import annotations

from collections.abc import Sequence

from rules.notes import Lexicon
from rules.notes.normalise import normalise
from rules.notes.tagging import tag
from rules.notes.typos import Speller

#: What may stand with a place where a message says no more than which unit it is.
_BESIDE = frozenset({"pronoun", "verb", "preposition", "article", "filler", "comma", "quantity", "mark", "stop", "yes"})
_UNIT_THINGS = frozenset({"burner", "coil", "knob", "burner_knob"})


def place_named(text: str, lexicon: Lexicon, positions: Sequence[str]) -> str | None:
    """The one unit that a text names and says nothing else of, or None."""
    plain = normalise(text)
    items = tag(plain, lexicon, Speller(lexicon)).items
    places = [item for item in items if item.kind == "place"]
    others = [item for item in items if item.kind != "place"]
    if len(places) != 1 or places[0].plural or places[0].name not in positions:
        return None
    if any(item.kind not in _BESIDE and item.name not in _UNIT_THINGS for item in others):
        return None
    return places[0].name


def places_named(text: str, lexicon: Lexicon) -> tuple[str, ...]:
    """Every place word in a text, units and sides."""
    items = tag(normalise(text), lexicon, Speller(lexicon)).items
    return tuple(item.name for item in items if item.kind == "place")
