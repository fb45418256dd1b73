"""Clauses that lean on each other: borrowed states, lists under one 'no', exceptions, and what 'only' leaves over.

A clause that only names things takes its state from the clause it leans on ("oven dead, burners too"), from the one it
leads to ("burners, oven and display are dead"), or means that the thing does not work ("no display").
"""

from __future__ import annotations

from itertools import pairwise

from rules.notes.claims import CODE, DEAD, WORKS, Claim, Memory, Said
from rules.notes.entries import Lexicon
from rules.notes.nouns import Noun, subject

OVEN = "oven"
_ACTS = ("bakes", "broils")  # "the oven bakes", with nothing after it
_TRIED = ("tried", "tested", "checked", "inspected")
_JOINTS = ("and", "or", "nor", "comma", "colon")


def borrow(sentence: list[Said], lexicon: Lexicon, memory: Memory, before: Claim | None) -> None:
    """Give clauses that only name things the state of the clause they lean on. ``before``: the last claim before."""
    for number, said in enumerate(sentence):
        conditional = said.clause.condition not in (None, "with")
        if not said.fragment or not said.nouns or conditional or said.clause.link == "except":
            continue
        if said.contexts and not said.clause.has("thing", "place", "pronoun"):
            continue  # "all on off and the burner glows"
        if all(lexicon.things[noun.thing].event for noun in said.nouns):
            continue  # "ran a self-clean, now the oven is dead"
        if _adds_nothing(said, lexicon) and (_previous(sentence, number) or before):
            said.used = True
            continue
        if _only_tried(said):
            said.used = True
            continue
        if _only_tells_the_kind(said, lexicon):
            continue
        claim = (
            _nothing_of(said)
            or _repeated(sentence, number, before)
            or _shared(sentence, number, before)
            or _verbal(said, lexicon)
            or _only_under(sentence, number)
            or _ahead(sentence, number)
            or _absent(said, lexicon)
            or _behind(sentence, number)
        )
        if claim is not None:
            said.claims = [claim]
            memory.last = claim


def _only_tried(said: Said) -> bool:
    """``she tried each burner``: not said how it went."""
    tried = any(item.kind == "word" and item.name in _TRIED for item in said.clause.items)
    return (
        tried
        and not said.clause.has("negation", "negation_verb", "absence", "stopping", "same")
        and not any(noun.denied for noun in said.nouns)
    )


def _only_tells_the_kind(said: Said, lexicon: Lexicon) -> bool:
    """``..., gas range``: says what it is, and nothing of how it does."""
    things = [lexicon.things[noun.thing] for noun in said.nouns]
    return all(thing.mentions and (thing.generic or not thing.ohms) for thing in things) and not any(
        noun.denied for noun in said.nouns
    )


def _nothing_of(said: Said) -> Claim | None:
    """``the left ones nothing``: they do nothing."""
    named = [noun for noun in said.nouns if not noun.carried]
    last = named[-1] if named else None
    if len(named) < 2 or last is None or not (last.denied and last.thing == "everything"):
        return None
    between = {item.kind for item in said.clause.items}
    if said.clause.items[-1].end != last.end or not between <= {"thing", "place", "quantity", "verb", "pronoun"}:
        return None
    return Claim(tuple(named[:-1]), (), DEAD, False, said.clause.start, said.clause.end)


def _own(said: Said, claim: Claim, denied: bool) -> Claim:
    nouns = tuple(noun for noun in said.nouns if not noun.carried) or tuple(said.nouns)
    return claim._replace(nouns=nouns, others=(), denied=denied, start=said.clause.start, end=said.clause.end)


def _previous(sentence: list[Said], number: int) -> Claim | None:
    for said in reversed(sentence[:number]):
        if said.claims:
            return said.claims[-1]
        if not said.fragment:
            return None
    return None


def _only_under(sentence: list[Said], number: int) -> Claim | None:
    """``display only when a burner is on``: it works only then."""
    said = sentence[number]
    following = sentence[number + 1] if number + 1 < len(sentence) else None
    if following is None or not following.clause.condition or said.clause.items[-1].kind != "only":
        return None
    return _own(said, Claim((), (), WORKS, False, 0, 0), denied=False)


def _repeated(sentence: list[Said], number: int, before: Claim | None) -> Claim | None:
    """``the burners too``, ``neither does the oven``, ``but the oven doesn't``."""
    said = sentence[number]
    claim = _previous(sentence, number) or (before if number == 0 else None)
    if claim is None:
        return None
    last = said.clause.items[-1].kind
    if last == "negation_verb":
        return _own(said, claim._replace(state=_plain(claim)), denied=True)
    if last == "verb" and said.clause.link != "nor" and not said.clause.has("negation"):
        return _own(said, claim._replace(state=_plain(claim)), denied=False)
    same = said.clause.has("same") and sum(item.kind == "word" for item in said.clause.items) < 2
    if same or said.clause.link == "nor" or _neither(said):
        return _own(said, claim, claim.denies)
    if said.clause.has("negation"):
        return _own(said, claim, denied=True)
    return None


def _shared(sentence: list[Said], number: int, before: Claim | None) -> Claim | None:
    """``front left and rear right don't``: both do not."""
    said = sentence[number]
    following = sentence[number + 1] if number + 1 < len(sentence) else None
    if following is None or following.clause.link not in ("and", "or", "nor") or not following.fragment:
        return None
    last = following.clause.items[-1].kind
    if last not in ("verb", "negation_verb") or not following.nouns or said.clause.has("word", "number"):
        return None
    claim = _repeated(sentence, number + 1, before)
    return _own(said, claim, claim.denied) if claim else None


def _plain(claim: Claim) -> str:
    """What 'does' repeats: the state said before, or that it works if that was a fault."""
    return WORKS if claim.state == DEAD else claim.state


def _neither(said: Said) -> bool:
    first = said.clause.items[:2]
    return [item.kind for item in first] == ["absence", "verb"]


def _ahead(sentence: list[Said], number: int) -> Claim | None:
    """``burners, oven and display are dead``: the state comes later, and counts for all of them."""
    said = sentence[number]
    later = _stated(sentence, number)
    if later is None:
        return None
    joint = later.clause.link
    own = [noun for noun in later.nouns if not noun.carried]
    claim = later.claims[0]
    if any(noun.denied for noun in said.nouns) and not claim.denies:
        if joint not in ("or", "nor"):
            return None  # "no burners, clock is on"
        later.claims = [each._replace(denied=True) for each in later.claims]
    if said.nouns[0].thing == CODE and (own or joint == "comma"):
        return None  # "error code on display, won't heat": a code does not heat
    if joint == "colon" or (joint == "comma" and not own):
        said.fragment = False
        later.claims = [_headed(each, said.nouns, own) for each in later.claims]
        if joint == "colon":
            _head_the_rest(sentence, later, said.nouns)
        return None
    return _own(said, claim, claim.denied)


def _stated(sentence: list[Said], number: int) -> Said | None:
    """The next clause with a state, if only joined names of things stand between."""
    said = sentence[number]
    if said.clause.has("number") or _trails_off(said) or (said.clause.has("person") and said.clause.has("word")):
        return None  # a reading, most likely, or a state in words nobody knows
    if said.clause.has("word") and (said.clause.has("verb") or said.clause.condition == "with"):
        return None  # "it was never hooked up right, burners get lukewarm"
    tight = said.clause.link in ("and", "or")
    for later in sentence[number + 1 :]:
        joint = later.clause.link
        loose = said.clause.condition is not None and joint not in ("and", "or", "nor")
        if joint not in _JOINTS or later.clause.condition or loose:
            return None
        if later.claims:
            own = any(not noun.carried for noun in later.nouns)
            # "no heat, oven or stovetop, display is lit": they belong to what was said before
            return None if tight and joint == "comma" and own and _previous(sentence, number) else later
        if not later.nouns or later.clause.has("negation_verb"):
            return None  # "the oven has a code and doesn't bake, burners fine": the oven is not fine
        tight = tight or joint in ("and", "or")
    return None


def _trails_off(said: Said) -> bool:
    """Whether words nobody knows follow the last thing: "display looks funny" says something of its own."""
    return said.clause.items[-1].kind == "word"


def _head_the_rest(sentence: list[Said], first: Said, heading: list[Noun]) -> None:
    """``RR switch: line contact closed, pilot contact open``: the place of the heading is theirs too."""
    places = any(noun.places for noun in heading)
    at = next(number for number, said in enumerate(sentence) if said is first)
    for said in sentence[at + 1 :] if places else ():
        if said.clause.link not in ("comma", "and") or any(noun.places for noun in said.nouns):
            return
        own = [noun for noun in said.nouns if not noun.carried]
        said.claims = [_headed(claim, heading, own) for claim in said.claims if own] or said.claims


def _headed(claim: Claim, heading: list[Noun], own: list[Noun]) -> Claim:
    """``left front: dead``, ``left front: pilot contact open``: the heading says of what, or where."""
    if not own:
        return claim._replace(nouns=tuple(heading))
    places = tuple(place for noun in heading for place in noun.places)
    return claim._replace(nouns=tuple(noun if noun.places else noun._replace(places=places) for noun in claim.nouns))


def _adds_nothing(said: Said, lexicon: Lexicon) -> bool:
    """``swapped the coil, still nothing``: a bare 'nothing' repeats what was said, of what it was said."""
    bare = all(item.kind in ("thing", "but") for item in said.clause.items)
    return bare and all(noun.denied and lexicon.things[noun.thing].generic for noun in said.nouns)


def _absent(said: Said, lexicon: Lexicon) -> Claim | None:
    """``no display``: denied with nothing more said means it does not work."""
    answer = said.clause.items[-1].kind
    if answer in ("yes", "no", "absence") and len(said.clause.items) > 1:  # "bake no, broil yes"
        return Claim(tuple(said.nouns), (), WORKS, answer != "yes", said.clause.start, said.clause.end)
    nouns = tuple(noun for noun in subject(said.nouns, lexicon) if noun.denied)
    if said.clause.has("word") and any(lexicon.things[noun.thing].generic for noun in nouns):
        return None  # "nothing is burning" says nothing of the range
    return Claim(nouns, (), WORKS, True, said.clause.start, said.clause.end) if nouns else None


def _verbal(said: Said, lexicon: Lexicon) -> Claim | None:
    """``won't bake``, ``will broil``: what the oven does is its own verb."""
    denied = said.clause.has("negation_verb", "negation", "stopping")
    nouns = tuple(noun for noun in said.nouns if lexicon.things[noun.thing].part_of == OVEN and not noun.led)
    acts = any(noun.thing in _ACTS and noun.at == len(said.clause.items) - 1 for noun in nouns)
    if not nouns or not (denied or acts or said.clause.has("verb")) or said.clause.has("number"):
        return None
    first = next((noun for noun in said.nouns if not noun.carried), nouns[0])
    if lexicon.things[first.thing].part_of != OVEN and first.thing != OVEN and not lexicon.things[first.thing].generic:
        nouns = (first,)  # "the bottoms won't bake"
    return Claim(nouns, (), WORKS, denied, said.clause.start, said.clause.end)


def _behind(sentence: list[Said], number: int) -> Claim | None:
    """``no heat anywhere, oven or stovetop``: bare things after a state share it."""
    said = sentence[number]
    if said.clause.link not in ("and", "or", "nor", "comma"):
        return None
    if said.clause.has("number") or _trails_off(said) or (said.clause.has("person") and said.clause.has("word")):
        return None
    claim = _previous(sentence, number)
    if claim and number and _only_places(said, sentence[number - 1], claim):
        return None
    return _own(said, claim, claim.denies) if claim else None


def _only_places(said: Said, before: Said, claim: Claim) -> bool:
    """``one burner is cold (left front)``: the place belongs to the burner of the clause before."""
    places = tuple(place for noun in said.nouns for place in noun.places)
    bare = all(item.kind in ("place", "preposition", "article") for item in said.clause.items)
    if not (places and bare and before.claims and len(claim.nouns) == 1 and not claim.nouns[0].places):
        return False
    placed = (claim.nouns[0]._replace(places=places, carried=False),)
    before.claims = [each._replace(nouns=placed, end=said.clause.end) for each in before.claims]
    said.fragment, said.used = False, True
    return True


# --- lists ----------


def spread_denial(sentence: list[Said]) -> None:
    """``no smoke, sparks or smell``: the 'no' holds for the list. ``no smoke, sparks flew`` is no list."""
    for number, said in enumerate(sentence):
        open_denial = not said.claims and said.clause.items[0].kind == "absence"  # "no one was hurt or shocked"
        if not open_denial and (not said.claims or not said.claims[-1].denied):
            continue
        listed = said.clause.has("absence")
        links = ("comma", "or", "nor", "and") if listed else ("or", "nor")
        run: list[Said] = []
        for later in sentence[number + 1 :]:
            if later.clause.link not in links or not _bare_state(later):
                break
            run.append(later)
        closed = any(later.clause.link != "comma" for later in run)
        if closed or len(run) > 1:
            for later in run:
                later.claims = [claim._replace(denied=True) for claim in later.claims]


def _bare_state(said: Said) -> bool:
    """A state and nothing else, but for where it would be."""
    kinds = [item.kind for item in said.clause.items]
    if said.clause.condition or kinds.count("state") != 1 or kinds.count("word") > 1:
        return False
    at = kinds.index("state")
    before_ok = set(kinds[:at]) <= {"quantity", "word", "same"}
    return before_ok and set(kinds[at + 1 :]) <= {"preposition", "to", "thing", "place", "word", "context", "same"}


# --- except, only ----------


def settle_all_that_works(sentence: list[Said]) -> None:
    """``clock's lit, that's all that works``: only of what was named before it."""
    for before, said in pairwise(sentence):
        if not said.claims and {item.kind for item in said.clause.items} <= {"only", "verb"}:
            said.used = True
            before.claims = [
                claim._replace(nouns=tuple(noun._replace(only=True) for noun in claim.nouns)) for claim in before.claims
            ]


def settle_exceptions(sentence: list[Said], lexicon: Lexicon) -> None:
    """``everything works except the oven``: the exception has the opposite, the whole is left as the others."""
    for number, said in enumerate(sentence):
        if said.clause.link != "except" or said.clause.condition:
            continue
        nouns = tuple(noun for noun in said.nouns if not noun.carried)
        if number and not sentence[number - 1].claims and said.claims:
            _whole_takes_state(sentence[number - 1], said, nouns, lexicon)
            continue
        whole = _previous(sentence, number) or _next(sentence, number)
        if whole is not None and nouns and not said.claims:
            exception = [noun._replace(denied=False) for noun in nouns]
            if number and lexicon.things[nouns[0].thing].placed:
                _counts_the_same(sentence[number - 1], nouns)
            said.claims = [whole._replace(nouns=tuple(exception), others=(), denied=not whole.denies,
                                   start=said.clause.start, end=said.clause.end)]  # fmt: skip


def _whole_takes_state(head: Said, said: Said, nouns: tuple[Noun, ...], lexicon: Lexicon) -> None:
    """``everything but the oven works``: works is said of everything."""
    claim = said.claims[0]
    whole = [noun for noun in head.nouns if not noun.carried]
    counted = head.clause.items[-1].kind == "quantity"
    if nouns and counted and lexicon.things[nouns[0].thing].placed:  # "all but one burner work" speaks of burners
        whole = [noun._replace(thing=nouns[0].thing) for noun in whole]
    denied = claim.denied or any(noun.denied for noun in whole)
    head.claims = [claim._replace(nouns=tuple(whole), others=(), start=head.clause.start, end=said.clause.end)]
    said.claims = [claim._replace(nouns=tuple(noun._replace(denied=False) for noun in nouns), denied=not denied)]


def _counts_the_same(head: Said, nouns: tuple[Noun, ...]) -> None:
    """``all heat except left front``: all of the same kind."""
    if head.clause.has("quantity") and not head.clause.has("thing"):
        head.claims = [
            each._replace(nouns=tuple(noun._replace(thing=nouns[0].thing) for noun in each.nouns))
            for each in head.claims
        ]


def _next(sentence: list[Said], number: int) -> Claim | None:
    return next((said.claims[0] for said in sentence[number + 1 :] if said.claims), None)


def rest_of(claim: Claim, lexicon: Lexicon) -> list[Claim]:
    """``only the clock works``: what 'only' leaves over has the opposite."""
    rests = []
    for noun in claim.nouns:
        if not noun.only:
            continue
        for rest in lexicon.rests.get(noun.thing, ()):
            if rest.where == "others" and not (noun.places or noun.quantity):
                continue
            left = Noun(rest.thing, noun.at, noun.start, noun.end, quantity=rest.where)
            rests.append(claim._replace(nouns=(left,), others=(), implied=True).turned())
    return rests
