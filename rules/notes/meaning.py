"""From claims to facts of the closed vocabulary, by the meanings the book gives to things and states."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from rules.notes.claims import HEATS, RANGE, Claim, Said
from rules.notes.entries import ANY_THING, Lexicon, Meaning, Sense, Telling, Thing
from rules.notes.nouns import BURNER, Noun
from rules.notes.told import Told
from rules.terms import ALL, UNNAMED, Certainty

_ANY = (ANY_THING,)
GLOW = "oven.glow"
PAIR = "oven_elements"
OVEN, OVEN_OFF = "oven", "oven_off"
_OF_THE_OVEN = ("door", "oven_door", "oven_seal", "oven_lamp", "lock_motor", "oven_vent", "sensor")
_ALL_WELL = ("works", "fine", "looks_fine", "on", "lit")
STILL_HEATS = ("heats", "hot", "warm", "glows", "keeps_hot", "stays_on", "still_on", "full", "too_hot")


def glow(half: str, lit: bool, claim: Claim) -> Told:
    """One oven element's glow; :mod:`rules.notes.merging` puts the halves together."""
    certainty: Certainty = "hedged" if claim.hedged else "said"
    return Told(GLOW, f"{half} {'yes' if lit else 'no'}", None, certainty, claim.start, claim.end, implied=True)


def _had_by_another(claim: Claim, said: Said, spoken: Sequence[Thing]) -> bool:
    """``our old stove had a burner that never worked``: the burner is the old stove's."""
    owned = len(spoken) > 1 and spoken[0].elsewhere and not said.nouns[0].led and not spoken[1].elsewhere
    if not owned or len(said.claims) != 1 or said.clause.condition:
        return False
    between = {item.kind for item in said.clause.items[said.nouns[0].at + 1 : said.nouns[1].at]}
    return "verb" in between and said.nouns[1] in claim.nouns


def _implied(claim: Claim, contexts: frozenset[str] | set[str]) -> tuple[Noun, ...]:
    """``oven says off but it keeps heating``: the circumstance names what is spoken of."""
    heats = OVEN_OFF in contexts and claim.state in STILL_HEATS
    return (Noun(OVEN, -1, claim.start, claim.end),) if heats and not claim.others else ()


def _none_fits(found: Sequence[tuple[Noun | None, Meaning | None]]) -> bool:
    for _, meaning in found:  # noqa: SIM110  a generator costs twice as much
        if meaning is not None:
            return False
    return True


def _pair(noun: Noun) -> bool:
    """Both, or each of them: "each element was red"."""
    return noun.quantity == "both" or (noun.quantity == ALL and not noun.plural)


class Meanings:
    """Looks meanings up for one sentence: ``things`` are named in it, ``around`` in the sentences beside it."""

    def __init__(
        self,
        lexicon: Lexicon,
        positions: Sequence[str],
        things: frozenset[str],
        around: frozenset[str],
        hinted: set[str],
    ) -> None:
        self.lexicon = lexicon
        self.positions = positions
        self.things = things
        self.around = around
        self.hinted = hinted  # what the figures of the note speak of; counts for several elements only

    # --- what a claim is -------------------------------------------------------------------------------------

    def tells(self, claim: Claim, said: Said) -> bool:
        """Whether a claim tells a fact, and does not only set a context."""
        found = [(noun, meaning) for noun, meaning in self._found(claim, said) if meaning and not meaning.unless]
        return any(meaning.half or self._spoken(meaning, noun, claim) for noun, meaning in found)

    def contexts_of(self, claim: Claim, said: Said) -> frozenset[str]:
        """The contexts a claim sets for the clauses around it."""
        found: frozenset[str] = frozenset()
        for noun in claim.nouns or (None,):
            denied = self._denied(noun, claim)
            for thing in (*self._senses(noun), ANY_THING):
                for meaning in self.lexicon.meanings.get((thing, claim.state), ()):
                    sets = meaning.denied_sets if denied else meaning.sets
                    if sets and self._fits(meaning, claim.contexts | said.contexts):
                        found |= sets
        return found

    def depends(self, claim: Claim, said: Said, contexts: set[str]) -> bool:
        """Whether what a claim tells depends on one of these contexts, or whether it tells nothing without them."""
        found = [meaning for _, meaning in self._found(claim, said) if meaning]
        return not found or any(wanted & contexts for meaning in found for wanted in meaning.contexts)

    def is_hazard(self, claim: Claim, said: Said) -> bool:
        """Whether a claim tells of a danger."""
        return self._tells_of(claim, said, "hazard.")

    def is_event(self, claim: Claim, said: Said) -> bool:
        """Whether a claim tells of something that happened, even inside a 'when': a danger, work, a breaker."""
        return self.is_hazard(claim, said) or self._tells_of(claim, said, ("recent_work", "breaker"))

    def _tells_of(self, claim: Claim, said: Said, name: str | tuple[str, ...]) -> bool:
        found = [(noun, meaning) for noun, meaning in self._found(claim, said) if meaning]
        tellings = [telling for noun, meaning in found for telling in self._spoken(meaning, noun, claim) or ()]
        return any(telling.fact.startswith(name) for telling in tellings)

    def takes_object(self, claim: Claim) -> bool:
        """Whether its state is something that is done to a thing."""
        return self.lexicon.states[claim.state].takes_object

    def elsewhere(self, said: Said) -> bool:
        """Whether a clause names another appliance."""
        beside = self.lexicon.beside
        return any(noun.thing in beside for noun in said.nouns)

    def only_elsewhere(self, said: Said) -> bool:
        """Whether a clause names other appliances and nothing else."""
        return all(noun.thing in self.lexicon.beside for noun in said.nouns)

    def is_unit(self, noun: Noun) -> bool:
        """Whether a noun is a surface unit."""
        return BURNER in self._senses(noun)

    # --- facts -----------------------------------------------------------------------------------------------

    def facts(self, claim: Claim, said: Said) -> Iterator[Told]:
        """The facts a claim tells."""
        for noun, meaning in self._found(claim, said):
            if meaning is None:
                continue
            said.used = said.used or self._understood(meaning, noun, claim)
            if meaning.half:
                half, _, dark = meaning.half.partition("_")
                yield glow(half, self._denied(noun, claim) == bool(dark), claim)
            for telling in self._spoken(meaning, noun, claim) or ():
                certainty = meaning.certainty or "said"
                felt = claim.opinion and telling.fact.startswith("hazard.")  # "I think I saw a spark"
                if claim.hedged and certainty != "measured" and not felt:
                    certainty = "hedged"
                for where in self._places(telling, noun):
                    yield Told(telling.fact, telling.value, where, certainty, claim.start, claim.end,
                               meaning.implied or claim.implied, unless=meaning.unless,
                               conditioned=claim.conditioned and not meaning.contexts)  # fmt: skip

    def _understood(self, meaning: Meaning, noun: Noun | None, claim: Claim) -> bool:
        """Whether a claim is done with: not if nothing comes of it, unless that is for a reason or all is well."""
        needs = meaning.near or meaning.contexts or (claim.state in _ALL_WELL and not claim.denies)
        sets = meaning.denied_sets if self._denied(noun, claim) else meaning.sets
        return bool(needs or sets or meaning.half or self._spoken(meaning, noun, claim))

    def _found(self, claim: Claim, said: Said) -> list[tuple[Noun | None, Meaning | None]]:
        """For every noun of the claim, the meaning that fits; if none fits, that of what is named after the state."""
        if self._elsewhere(claim, said):
            said.used = True
            return []
        contexts = claim.contexts | said.contexts if said.contexts else claim.contexts
        found: list[tuple[Noun | None, Meaning | None]] = [
            (noun, self._meaning(noun, claim, contexts)) for noun in claim.nouns or _implied(claim, contexts)
        ]
        if _none_fits(found):
            found = [(noun, self._meaning(noun, claim, contexts)) for noun in claim.others]
            if _none_fits(found):
                found = [(None, self._meaning(None, claim, contexts))]
        if (
            claim.state == HEATS
            and claim.denies
            and claim.nouns
            and not any(m and (m.denied or m.half) for _, m in found)
        ):
            found = [(noun, self._meaning(noun, claim, contexts)) for noun in self._whole(claim)] or found
        return found

    def _whole(self, claim: Claim) -> list[Noun]:
        """``door is locked, won't heat``: what was spoken of cannot heat, so what it belongs to is meant."""
        unfit = any(not noun.carried or noun.thing == "temperature" for noun in claim.nouns)
        if unfit or self.things & self.lexicon.beside:
            return []
        whole = OVEN if any(noun.thing in _OF_THE_OVEN for noun in claim.nouns) else RANGE
        return [Noun(whole, -1, claim.start, claim.end, carried=True)]

    def _elsewhere(self, claim: Claim, said: Said) -> bool:
        """Said of another appliance, or in a clause that names only other appliances."""
        beside = self.lexicon.beside
        if not [noun for noun in (*said.nouns, *claim.nouns, *claim.others) if noun.thing in beside]:
            return False
        spoken = [self.lexicon.things[noun.thing] for noun in said.nouns]
        if not any(thing.elsewhere for thing in spoken) and not any(noun.carried for noun in claim.nouns):
            return False
        named = [self.lexicon.things[noun.thing] for noun in (*claim.nouns, *claim.others)]
        own = [thing for thing in named if not thing.elsewhere]
        if claim.nouns and all(self.lexicon.things[noun.thing].elsewhere for noun in claim.nouns):
            return not any(noun.led for noun in claim.nouns) or not own
        if _had_by_another(claim, said, spoken):
            return True
        return bool(spoken) and all(thing.elsewhere for thing in spoken)

    def _meaning(self, noun: Noun | None, claim: Claim, contexts: frozenset[str] | set[str]) -> Meaning | None:
        denied = self._denied(noun, claim)
        meanings, state = self.lexicon.meanings, claim.state
        for thing in self._senses(noun):
            for meaning in meanings.get((thing, state), ()):
                tells = meaning.half or (meaning.denied if denied else meaning.says) is not None
                if tells and (meaning.plain or self._fits(meaning, contexts)):
                    return meaning
        return None

    def _senses(self, noun: Noun | None) -> Sequence[str]:
        """The things a noun may stand for, best first."""
        if noun is None:
            return _ANY
        thing = self.lexicon.things[noun.thing]
        if not thing.senses:
            return (noun.thing,)
        return [
            thing.thing,
            *(
                sense.thing
                for sense in thing.senses
                if self._near(sense, noun) and (not sense.placed or noun.places) and (not sense.both or _pair(noun))
            ),
        ]

    def _near(self, sense: Sense, noun: Noun) -> bool:
        """Whether one of the things that make this sense likely is spoken of."""
        if not sense.near or sense.near & self.things:
            return True
        if sense.both and noun.quantity == "both" and sense.near & self.around:
            return True
        several = noun.plural or sense.both or sense.thing == PAIR
        return several and bool(sense.near & self.hinted)

    def _fits(self, meaning: Meaning, contexts: frozenset[str] | set[str]) -> bool:
        near = self.things | self.around if meaning.sets else self.things
        if meaning.near and meaning.near.isdisjoint(near):
            return False
        for wanted in meaning.contexts:  # noqa: SIM110  a generator costs twice as much
            if wanted.isdisjoint(contexts):
                return False
        return True

    def _spoken(self, meaning: Meaning, noun: Noun | None, claim: Claim) -> tuple[Telling, ...] | None:
        return meaning.denied if self._denied(noun, claim) else meaning.says

    @staticmethod
    def _denied(noun: Noun | None, claim: Claim) -> bool:
        return claim.denies if noun is None else claim.denied or noun.denied

    def _places(self, telling: Telling, noun: Noun | None) -> tuple[str | None, ...]:
        if not telling.surface:
            return (None,)
        if telling.where is not None:
            return (telling.where,)
        if noun is None:
            return (UNNAMED,)
        thing = self.lexicon.things[noun.thing]
        if thing.generic and not thing.placed:
            return (ALL,)
        return noun.where(self.positions)
