"""What a claim's surroundings do to it: conditions, former times, doubt, questions.

A condition is no denial: its words are kept as contexts ("on low", "with the knob off", "while a burner is on") in
which the claim it belongs to holds. ``until`` and ``unless`` also say the opposite in it, ``only when`` outside it.
"""

from __future__ import annotations

from collections.abc import Iterator

from rules.notes.claims import AT_HIGH, DEAD, ONLY, Claim, Said
from rules.notes.meaning import Meanings

_TRIPS = ("trips", "tripped", "popped")
PUT_RIGHT = "put_right"
_TRIPPED = frozenset(_TRIPS)
_PUT_ON = frozenset({"turn_on", "twist"})


def settle_scope(sentence: list[Said], meanings: Meanings) -> set[str]:
    """Move contexts from conditions to the claims they belong to and drop what is not claimed of now.

    Gives back contexts that found no claim in this sentence ("All knobs are off."), for the next one.
    """
    _spread_time(sentence, meanings)
    _spread_doubt(sentence)
    homeless: set[str] = set()
    conditions: set[str] = set()
    for number, said in enumerate(sentence):
        if said.clause.condition:
            conditions = _condition(sentence, number, meanings)
        elif said.clause.link == "then":
            said.contexts |= conditions
            if not conditions and number and sentence[number - 1].clause.condition in ("until", "if"):
                said.claims = [claim for claim in said.claims if meanings.is_event(claim, said)]  # "... then it dies"
                said.used = True
        else:
            homeless |= _lone_contexts(sentence, number, meanings)
    _trips_again(sentence)
    for said in sentence:
        if said.unsure:
            said.claims = [claim._replace(hedged=True) for claim in said.claims if meanings.is_hazard(claim, said)]
            said.used = True
        if said.lately:
            said.claims = [_in_doubt(claim, said, meanings) for claim in said.claims]
        if said.claims and (said.contexts or said.hedged):
            said.claims = [_dressed(claim, said) for claim in said.claims]
        if said.former:  # a danger of former times is not believed, and not passed over either: it is listed as unread
            danger = any(meanings.is_hazard(claim, said) and not claim.denies for claim in said.claims)
            said.claims, said.used = [], not danger
    return homeless


def _trips_again(sentence: list[Said]) -> None:
    """``it was tripped, put it on, tripped``: again, after somebody put it on."""
    tripped = put_on = False
    for said in sentence if len(sentence) > 2 else ():
        states = {claim.state for claim in said.claims if not claim.denies}
        if put_on and states & _TRIPPED:
            said.contexts.add("again")
        put_on = put_on or (tripped and bool(states & _PUT_ON))
        tripped = tripped or bool(states & _TRIPPED)


def _in_doubt(claim: Claim, said: Said, meanings: Meanings) -> Claim:
    return claim._replace(hedged=True) if meanings.is_hazard(claim, said) else claim


def _dressed(claim: Claim, said: Said) -> Claim:
    return claim._replace(contexts=claim.contexts | said.contexts, hedged=claim.hedged or said.hedged,
                   opinion=said.opinion and not claim.hedged)  # fmt: skip


def _spread_time(sentence: list[Said], meanings: Meanings) -> None:
    """'last year the display died and a board was replaced' tells of last year to the end, or to a 'but' or 'now',
    or, if it was told of another appliance, to this one.
    """
    if not [said for said in sentence if said.former]:
        return
    former = another = False
    for said in sentence:
        elsewhere = meanings.elsewhere(said)
        if said.clause.link == "but" or said.clause.has("now") or (another and said.nouns and not elsewhere):
            former = another = False
        former = former or said.former
        another = another or (said.former and elsewhere)
        said.former = former


def _spread_doubt(sentence: list[Said]) -> None:
    """A doubt in a clause of its own ('..., I think') belongs to its neighbour; after 'not sure' nothing is known."""
    if not [said for said in sentence if said.hedged or said.unsure]:
        return
    for number, said in enumerate(sentence):
        if said.hedged and not said.claims and not said.nouns:
            neighbour = sentence[number - 1] if number else (sentence[1] if len(sentence) > 1 else said)
            neighbour.opinion = said.opinion and not (neighbour.hedged and not neighbour.opinion)
            neighbour.hedged = True
            said.used = True
        if said.unsure and number + 1 < len(sentence) and sentence[number + 1].clause.condition == "if":
            sentence[number + 1].unsure = True


# --- conditions ------------------------------------------------------------------------------------------


def _condition(sentence: list[Said], number: int, meanings: Meanings) -> set[str]:
    """Give the contexts of a condition to the clause it belongs to. Gives them back."""
    said = sentence[number]
    kind = said.clause.condition
    contexts = set(said.contexts - {ONLY, PUT_RIGHT})
    kept: list[Claim] = []
    for claim in said.claims:
        found = meanings.contexts_of(claim, said)
        contexts |= found
        if not found and _holds_anyway(claim, said, meanings):
            kept.append(claim)
    if contexts & {"at_low", AT_HIGH} and any(meanings.is_unit(noun) for noun in said.nouns):
        contexts.add("burner_on")  # a burner at a setting is on
    if kind == "with" and not contexts and not said.claims and said.nouns and all(map(meanings.is_unit, said.nouns)):
        contexts.add("burner_on")  # "comes on with a burner"
    said.claims = kept
    said.used = said.used or bool(contexts)
    target = _target(sentence, number)
    if target is None:
        return contexts
    if kind in ("when", "if") and not contexts:
        _conditioned(target, said, meanings)
    if kind == "until" and not contexts:
        if target in sentence[:number]:
            target.former = True  # "worked until yesterday"
            target.used = said.used = True
    elif kind in ("until", "unless") and contexts:
        target.claims = [claim for each in target.claims for claim in _and_turned(each, contexts, target, meanings)]
    elif contexts and ONLY in target.contexts:
        target.claims = [claim for each in target.claims for claim in _only_in(each, contexts, target, meanings)]
        target.contexts.discard(ONLY)
    else:
        target.contexts |= contexts
        target.claims = [claim._replace(conditioned=True) for claim in target.claims]
        _share_with_listed(sentence, target, contexts)
    return contexts


def _conditioned(target: Said, said: Said, meanings: Meanings) -> None:
    """Mark what holds under a condition that no context stands for."""
    target.claims = [claim._replace(conditioned=True) for claim in target.claims]
    if said.nouns:
        target.claims = [_said_of_the_tried(claim, said) for claim in target.claims]
        trips = any(claim.state in _TRIPS for claim in target.claims)
        target.hedged = target.hedged or (trips and meanings.only_elsewhere(said))  # "it trips when the dryer runs"


def _said_of_the_tried(claim: Claim, said: Said) -> Claim:
    """``nothing happens when I press bake``: bake is dead, not the range."""
    own = tuple(noun for noun in said.nouns if not noun.carried)
    unsaid = claim.state == DEAD and all(noun.carried for noun in claim.nouns)
    return claim._replace(nouns=own) if unsaid and own and not claim.others else claim


def _share_with_listed(sentence: list[Said], target: Said, contexts: set[str]) -> None:
    """``anything hot or glowing with the knobs off``: the condition holds for both."""
    at = next(number for number, said in enumerate(sentence) if said is target)
    while at and sentence[at].clause.link in ("or", "and") and not any(n for n in sentence[at].nouns if not n.carried):
        at -= 1
        if not sentence[at].claims or sentence[at].clause.condition:
            return
        sentence[at].contexts |= contexts


def _holds_anyway(claim: Claim, said: Said, meanings: Meanings) -> bool:
    """What is said inside a condition holds if it came true and is a hazard, or if 'with' only adds it."""
    kind = said.clause.condition
    if kind == "with":
        return True
    if not meanings.is_event(claim, said):
        return False
    if kind == "when":
        return True
    first = said.clause.items[0]
    return (kind == "if" and claim.start - first.end > 24) or said.unsure


def _target(sentence: list[Said], number: int) -> Said | None:
    """The clause a condition belongs to: the one it directly follows, else the next one that claims something."""
    before = sentence[number - 1] if number else None
    ahead = sentence[number + 1] if number + 1 < len(sentence) else None
    bare = before and not any(claim.nouns for claim in before.claims)  # "my kid figured out that if ..."
    if bare and ahead and ahead.claims and ahead.nouns and ahead.clause.link == "none" and not ahead.clause.condition:
        return ahead
    if before and before.claims and not before.clause.condition and sentence[number].clause.link in ("none", "except"):
        return before
    for later in sentence[number + 1 :]:
        if later.clause.condition is None and later.claims:
            return later
        if later.clause.link == "but":
            break
    return before if before and before.claims else None


def _and_turned(claim: Claim, contexts: set[str], said: Said, meanings: Meanings) -> Iterator[Claim]:
    yield claim
    inside = claim.turned()._replace(contexts=claim.contexts | contexts, implied=True)
    if meanings.depends(inside, said, contexts):
        yield inside


def _only_in(claim: Claim, contexts: set[str], said: Said, meanings: Meanings) -> Iterator[Claim]:
    inside = claim._replace(contexts=claim.contexts | contexts)
    if meanings.depends(inside, said, contexts):  # "only works with the oven on" does not say that it works
        yield inside
    if claim.nouns:
        yield claim.turned()


def _lone_contexts(sentence: list[Said], number: int, meanings: Meanings) -> set[str]:
    """A clause that only sets the scene ('the knob is off') gives its contexts to its neighbours."""
    said = sentence[number]
    setting = meanings.lexicon.setting
    if not said.contexts and not [claim for claim in said.claims if claim.state in setting]:
        return set()
    contexts = set(said.contexts - {ONLY})
    if PUT_RIGHT in contexts:
        contexts.discard(PUT_RIGHT)
        if number and said.clause.link in ("comma", "and", "none", "then"):
            sentence[number - 1].contexts.add(PUT_RIGHT)  # what was put right is what was told before it
    if not contexts and not [claim for claim in said.claims if claim.state in setting]:
        return set()
    for claim in said.claims:
        if meanings.tells(claim, said):
            return set()
        if claim.done_to or said.clause.has("person") or not meanings.takes_object(claim):
            contexts |= meanings.contexts_of(claim, said)
    if not contexts:
        return set()
    said.used = True
    neighbours = sentence[number + 1 : number + 2]
    if neighbours and not neighbours[0].claims and not neighbours[0].clause.condition:
        neighbours = sentence[number + 1 : number + 5]  # "all off, went to bed, woke up and it was glowing"
    leads = any(claim.done_to for claim in said.claims) and any(each.claims for each in neighbours)
    told_by_somebody = said.clause.has("person") and any(each.claims for each in neighbours)
    if number and not told_by_somebody and not leads:
        claiming = [each for each in sentence[:number] if each.claims]
        neighbours = [*neighbours, claiming[-1] if claiming else sentence[number - 1]]
    settled = False
    for neighbour in neighbours:
        at_rest = "burner_on" in contexts and "all_off" in neighbour.contexts
        if neighbour.claims and neighbour.clause.condition is None and not at_rest:
            neighbour.contexts |= contexts
            settled = True
    return set() if settled else contexts
