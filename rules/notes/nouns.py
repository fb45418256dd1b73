"""Who a clause speaks of: things with their place, their number and their denial, and where that is on the cooktop."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from rules.notes.entries import AXES, UNITS, Lexicon
from rules.notes.tagging import Item
from rules.terms import ALL, OTHERS, UNNAMED

BURNER, WHOLE, RANGE = "burner", "everything", "range"
_THE_ONLY = "only one"
_SILENT = ("word", "number")
_NAMING = frozenset({"place", "quantity", "thing", "pronoun", "same", "absence", "only", "preposition", "to"})
PART = "part"  # a part of one unit, or some of several
SOME = "some"  # a number of units, none of them named; settled into others or unnamed at the end


class Noun(NamedTuple):
    """A thing spoken of. ``at`` is its number among the clause's items."""

    thing: str
    at: int
    start: int
    end: int
    places: tuple[str, ...] = ()
    quantity: str | None = None
    plural: bool = False
    denied: bool = False
    led: bool = False  # a preposition stands before it
    carried: bool = False  # taken from an earlier clause
    only: bool = False

    def where(self, known: Sequence[str]) -> tuple[str, ...]:
        """The places on the cooktop it stands for, given the appliance's positions (empty: not known)."""
        named = _units(self.places, self.plural or self.denied or self.quantity in ("both", ALL), known)
        if named:
            return named
        if self.quantity == OTHERS:
            return (OTHERS,)
        if self.quantity == "any":
            return (ALL,)
        if self.quantity in (SOME, PART, "one", "sized") or self.places:
            several = self.quantity == SOME or (self.quantity == PART and self.plural)
            return (SOME if several else UNNAMED,)
        return (ALL,) if self.plural or self.quantity in (ALL, "both") or self.denied else (UNNAMED,)


def _units(places: Sequence[str], several: bool, known: Sequence[str]) -> tuple[str, ...]:
    """Units that the place words name. One axis names a unit only if it is alone on it, or if several are meant."""
    units = [place for place in places if place in UNITS]
    axes = [place for place in places if place in AXES]
    if len(axes) > 1:
        crossed = set(AXES[axes[0]]) & set(AXES[axes[1]])
        units += sorted(crossed)
    elif axes and not units:
        reached = [unit for unit in AXES[axes[0]] if not known or unit in known]
        if several or len(reached) == 1:
            units += reached
    return tuple(dict.fromkeys(unit for unit in units if not known or unit in known))


class NounReader:
    """Reads the nouns of one clause. ``topic`` is what was spoken of before, for pronouns and bare numbers."""

    def __init__(self, lexicon: Lexicon, topic: Sequence[Noun]) -> None:
        self.lexicon = lexicon
        self.topic = topic
        self.nouns: list[Noun] = []
        self.places: list[Item] = []
        self.quantity: Item | None = None
        self.denial: Item | None = None
        self.only = False
        self.led = False
        self.same = False  # "the same burner"

    def read(self, items: Sequence[Item]) -> list[Noun]:
        """All nouns of the clause, in order."""
        for at, item in enumerate(items):
            kind = item.kind
            if kind in _SILENT:
                continue
            if kind not in _NAMING:
                if self.places or self.quantity is not None:
                    self._end_phrase(at)
                self._forget()
                continue
            match kind:
                case "place":
                    self.places.append(item)
                case "quantity":
                    if self.quantity and self.quantity.name == item.name == "sized":
                        continue  # "the big dual burner"
                    self._end_phrase(at)
                    self.quantity = item
                case "thing":
                    self._thing(at, item)
                case "pronoun":
                    self._end_phrase(at)
                    self._pronoun(at, item)
                case "same":
                    self._end_phrase(at)
                    self.same = True
                case "absence" | "only" | "preposition" | "to":
                    self._end_phrase(at)
                    if item.kind == "only" and item.end - item.start >= len(_THE_ONLY) and self.nouns:
                        self.nouns[-1] = self.nouns[-1]._replace(only=True)  # "the left rear is the only one working"
                        continue
                    self._modifier(item)
        self._end_phrase(len(items))
        return self.nouns

    def _modifier(self, item: Item) -> None:
        if item.kind == "absence":
            self.denial = item
        elif item.kind == "only":
            self.only = True
        else:
            self.led = True

    def _forget(self) -> None:
        self.quantity, self.denial, self.only, self.led, self.same = None, None, False, False, False

    def _thing(self, at: int, item: Item) -> None:
        if item.denies and self.places and not self.lexicon.things[item.name].placed:
            self._end_phrase(at)  # "left ones nothing": the left ones do nothing
        noun = Noun(item.name, at, item.start, item.end, plural=item.plural, denied=item.denies)
        last = self.nouns[-1] if self.nouns else None
        fresh = not (self.places or self.quantity or self.denial or self.led)
        if last and fresh and item.after and last.at == at - 1 and not item.denies:
            self.nouns.pop()  # "stove burner", "oven clock": the last word is the thing; "dryer plug" is the dryer's
            thing = last.thing if self.lexicon.things[last.thing].elsewhere else item.name
            noun = last._replace(thing=thing, at=at, end=item.end, plural=item.plural)
        self.nouns.append(self._dressed(noun))
        self._forget()

    def _places_of_the_unit(self, noun: Noun) -> tuple[str, ...]:
        """``left front: inner ring heats, outer does not``: the rings of the unit spoken of; ``the same burner``."""
        if noun.places or not (self.same or self.lexicon.things[noun.thing].part_of == BURNER):
            return ()
        spoken = [*self.topic, *self.nouns]
        return next((each.places for each in reversed(spoken) if each.places and self._is_unit(each)), ())

    def _is_unit(self, noun: Noun) -> bool:
        thing = self.lexicon.things[noun.thing]
        return BURNER in (noun.thing, thing.part_of, *(sense.thing for sense in thing.senses))

    def _dressed(self, noun: Noun) -> Noun:
        """Give a noun the words that stood before it."""
        if not self.places and self.quantity is None and self.denial is None:
            bare = not (self.led or self.only)
            noun = noun._replace(places=noun.places or self._places_of_the_unit(noun))
            return noun if bare else noun._replace(led=noun.led or self.led, only=noun.only or self.only)
        places = tuple([item.name for item in self.places])
        start, end = noun.start, noun.end
        for item in self.places:
            start, end = min(start, item.start), max(end, item.end)
        for word in (self.quantity, self.denial):
            if word is not None:
                start = min(start, word.start)
        denied = noun.denied or self.denial is not None or bool(self.quantity and self.quantity.denies)
        quantity = self.quantity.name if self.quantity else noun.quantity
        places = places or self._places_of_the_unit(noun)
        self.places = []
        return noun._replace(
            places=noun.places + places,
            quantity=quantity,
            denied=denied,
            start=start,
            end=end,
            led=noun.led or self.led,
            only=noun.only or self.only,
        )

    def _pronoun(self, at: int, item: Item) -> None:
        for noun in self.topic:
            self.nouns.append(noun._replace(at=at, start=item.start, end=item.end, led=self.led, carried=True,
                                      denied=False, only=False))  # fmt: skip
        self._forget()

    def _end_phrase(self, at: int) -> None:
        """Places or a number with no thing after them: they belong to the thing before, or stand for a burner."""
        if not self.places and self.quantity is None:
            return
        last = self.nouns[-1] if self.nouns else None
        near = last is not None and not last.carried
        if last and near and self.places and self._takes_place(last):
            self.nouns[-1] = self._dressed(last)
        elif last and near and self.quantity and not self.places and self.quantity.name in (ALL, "both"):
            self.nouns[-1] = self._dressed(last)  # "the burners all work"
        else:
            self._stand_alone(at)
        self.quantity, self.places = None, []
        self._forget()

    def _takes_place(self, noun: Noun) -> bool:
        open_axes = len(noun.places) <= 1 and all(place in AXES for place in noun.places)
        return self.lexicon.things[noun.thing].placed and open_axes

    def _stand_alone(self, at: int) -> None:
        items = [*self.places, *([self.quantity] if self.quantity else [])]
        start, end = min(item.start for item in items), max(item.end for item in items)
        axes_only = all(item.name in AXES for item in self.places)
        alone = len({item.name for item in self.places}) == 1  # "back right" is a place
        if self.places and axes_only and alone and not (self.led or self.quantity or self._several()):
            return  # a bare "right" is more often no place: "the clock is right"
        if quantity_of_all(self.quantity) and not self.places and len(self.topic) > 1:
            first = len(self.nouns)
            denied = self.quantity is not None and self.quantity.denies
            self._pronoun(at - 1, items[0])  # "the burners and the oven work, but all heat slowly"
            self.nouns[first:] = [noun._replace(denied=denied) for noun in self.nouns[first:]]
            return
        thing = BURNER if self.places else self._counted_thing()
        if thing is None:
            return
        noun = Noun(thing, at - 1, start, end, plural=self._several())
        self.nouns.append(self._dressed(noun))

    def _several(self) -> bool:
        counted = self.quantity is not None and self.quantity.name in ("both", ALL)
        return counted or any(item.plural for item in self.places)

    def _counted_thing(self) -> str | None:
        """What 'all', 'others', 'one' count: the placed thing spoken of last, else the burners or the whole."""
        placed = [noun.thing for noun in self.topic if self.lexicon.things[noun.thing].placed]
        quantity = self.quantity.name if self.quantity else None
        if quantity == "one" and self.topic and self.lexicon.things[self.topic[-1].thing].elsewhere:
            return RANGE  # "our last stove tripped the breaker, this one does not heat"
        if quantity == OTHERS:
            return BURNER
        if placed:
            return placed[-1]
        if quantity == ALL:
            return WHOLE
        return None


def quantity_of_all(item: Item | None) -> bool:
    """Whether a number word is a bare 'all' or 'both'."""
    return item is not None and item.name in (ALL, "both")


def _specifies(head: Noun, noun: Noun, lexicon: Lexicon) -> bool:
    """``stove left rear burner``: the range is named only to say whose burner it is."""
    close = 0 < noun.at - head.at <= 3
    return close and lexicon.things[head.thing].generic and not lexicon.things[noun.thing].generic


def subject(nouns: Sequence[Noun], lexicon: Lexicon) -> list[Noun]:
    """Of nouns in a row, those the sentence speaks of: ``the clock on the stove`` is the clock."""
    if len(nouns) == 1:
        return [*nouns]
    kept: list[Noun] = []
    for noun in nouns:
        thing = lexicon.things[noun.thing]
        if kept and not noun.led and _specifies(kept[-1], noun, lexicon):
            kept[-1] = noun._replace(denied=noun.denied or kept[-1].denied, only=noun.only or kept[-1].only)
            continue
        if kept and kept[-1].led and thing.part_of == kept[-1].thing:
            # "on the big one only the inner ring heats"
            kept[-1] = noun._replace(places=noun.places or kept[-1].places)
            continue
        if not (noun.led and kept):
            kept.append(noun)
            continue
        head = kept[-1]
        if (lexicon.things[head.thing].generic and not thing.generic) or thing.part_of == head.thing:
            kept[-1] = noun._replace(denied=noun.denied or head.denied, only=noun.only or head.only,
                                     places=noun.places or head.places)  # fmt: skip
        elif noun.places and lexicon.things[head.thing].placed and not head.places:
            kept[-1] = head._replace(places=noun.places, end=noun.end)
    return kept
