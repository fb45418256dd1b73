"""Random rule sets and cases in the shapes that the compiler allows, reproducible from a number."""

from __future__ import annotations

import random
from collections.abc import Sequence
from typing import get_args

from rules.bookkeeping.types import Condition, Derivation, Rule
from rules.chaining import KnownFact
from rules.chaining.strata import strata
from rules.terms import BookError, Role

UNITS = ("left_front", "left_rear", "right_front")
PLACED, PLAIN, DERIVED = ("surface.heat", "indicator.on"), ("display", "oven.bake.heat"), ("d0", "d1", "d2", "d3")
VALUES = ("none", "weak", "normal")
POINTS, STATES = ("L1-L2", "L1-N"), ("idle", "loaded")
ROLES: tuple[Role, ...] = get_args(Role)


def rule(name: str, *alternatives: Sequence[Condition], derive: Sequence[Derivation] = (), line: int = 1) -> Rule:
    """A rule with nothing but what chaining reads."""
    return Rule(
        name, tuple(map(tuple, alternatives)), "as tested", "invented", tuple(derive), file="trade/test.yaml", line=line
    )


def facts(*rows: tuple[str, str, str] | tuple[str, str, str, str]) -> list[KnownFact]:
    """Choice facts from (name, place, value) or (name, place, value, source), numbered from 0."""
    return [
        KnownFact(number, row[0], row[1], "", row[2], None, row[3] if len(row) == 4 else "caller")
        for number, row in enumerate(rows)
    ]


def random_rules(number: int, *, most: int = 8) -> list[Rule]:
    """A rule set without a ring through a negation; the rules are in no particular order."""
    dice = random.Random(number)
    while True:
        rules = [_random_rule(dice, f"r{index}", index + 1) for index in range(dice.randint(2, most))]
        dice.shuffle(rules)
        try:
            strata(rules)
        except BookError:
            continue
        return rules


def _random_rule(dice: random.Random, name: str, line: int) -> Rule:
    alternatives = [_random_premises(dice) for _ in range(dice.choice((1, 1, 2)))]
    joined = all(any(p.where == "same" and not p.negated for p in premises) for premises in alternatives)
    places = (None, UNITS[0], "same") if joined else (None, UNITS[0])
    derive = [
        Derivation(dice.choice(DERIVED), dice.choice(VALUES[:2]), dice.choice(places))
        for _ in range(dice.choice((0, 1, 1, 1, 2)))
    ]
    return rule(name, *alternatives, derive=derive, line=line)


def _random_premises(dice: random.Random) -> list[Condition]:
    premises = [random_premise(dice) for _ in range(dice.choice((1, 1, 1, 2, 2, 3)))]
    joined = any(premise.where == "same" for premise in premises)
    premises += [random_premise(dice, negated=True, joined=joined) for _ in range(dice.choice((0, 0, 0, 1, 1, 2)))]
    if dice.random() < 0.04:
        premises = [random_premise(dice, negated=True, joined=False)]
    dice.shuffle(premises)
    return premises


def random_premise(dice: random.Random, *, negated: bool = False, joined: bool = True) -> Condition:
    """Any premise: a reading, or a choice at one place, at the joined place, anywhere or everywhere tried."""
    by = dice.choice((*ROLES, *(None,) * 18))
    if dice.random() < 0.15:
        return _random_reading(dice, negated=negated, by=by)
    fact = dice.choice((*PLACED, *PLAIN, *DERIVED * 3) if negated else (*PLACED * 3, *PLAIN * 2, *DERIVED))
    where: str | None = None
    if fact not in PLAIN:
        where = dice.choice((None, "any", UNITS[0], UNITS[1], *(("same",) * 5 if joined else ())))
        if not negated and dice.random() < 0.15:
            where = "every_tried"
    some = tuple(dice.sample(VALUES, dice.choice((1, 2, 2))))
    positive = dice.random() < 0.75
    return Condition(
        fact,
        where=where,
        values=some if positive else (),
        not_values=() if positive else some,
        by=by,
        negated=negated,
    )


def _random_reading(dice: random.Random, *, negated: bool, by: Role | None) -> Condition:
    limit = float(dice.choice((20, 110, 200)))
    lower, upper = dice.choice(((limit, None), (None, limit), (20.0, 200.0)))
    return Condition(
        "volts",
        where="every_tried" if not negated and dice.random() < 0.1 else None,
        during=dice.choice((*STATES, None)),
        at_least=lower,
        below=upper,
        by=by,
        negated=negated,
    )


def random_facts(number: int) -> list[KnownFact]:
    """Up to 24 facts, some of them of derived names, from several sources; numbered in the order of their content."""
    dice = random.Random(number)
    rows: set[tuple[str, str, str, str, float | None, str]] = set()
    for _ in range(dice.choice((0, 6, 12, 18, 24))):
        by = dice.choice((*ROLES, "note"))
        kind = dice.random()
        if kind < 0.5:
            rows.add((dice.choice(PLACED), dice.choice(UNITS), "", dice.choice(VALUES), None, by))
        elif kind < 0.7:
            rows.add((dice.choice(PLAIN), "", "", dice.choice(VALUES), None, by))
        elif kind < 0.8:
            rows.add((dice.choice(DERIVED), dice.choice(("", *UNITS)), "", dice.choice(VALUES), None, by))
        else:
            volts = dice.choice((0.0, 20.0, 115.5, 200.0, 241.0, None))
            rows.add(("volts", dice.choice(POINTS), dice.choice(STATES), "band", volts, by))
    ordered = sorted(rows, key=lambda row: (*row[:4], row[4] is not None, row[4] or 0.0, row[5]))
    return [KnownFact(index, *row) for index, row in enumerate(ordered)]
