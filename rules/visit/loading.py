"""What the van carries: the parts with which most calls are mended at the first visit, under its room and value.

A call is mended if every part its fault needs is aboard. That makes the choice a 0/1 programme; taking the best part
for its room first can lose a fifth (method notes, section 4). For a day's calls the units aboard serve one call each:
of part j with k units no more than E[min(k, demand)] can be used, which is concave in k.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import product

import numpy as np

from rules.belief.signatures import TRAITS, Signatures
from rules.belief.stack import Table
from rules.bookkeeping.types import Part, Van

#: For one call: the probability of needing each set of parts, of the faults that whoever goes can mend. The empty set
#: stands for what needs no part.
Needs = Mapping[frozenset[str], float]

LOADED_FROM = 0.08  # a part, or a further unit of it, less likely to be used than this stays in the shop
MOST_LISTED_OUT = 12  # parts up to which every choice is tried; it is faster than a solver
LEAST = 1e-6
TIE = 1e-7  # what the whole van's room is worth in calls: of equal loads the smaller one
MENDS = {
    "appliance_technician": ("appliance_technician", "customer"),
    "electrician": ("electrician", "customer"),
    "utility": ("utility", "customer"),
    "customer": ("customer",),
}

#: The same as flags, by the numbers of skills in TRAITS and last the one of nobody.
_MENDED = {who: np.array([*(skill in mends for skill in TRAITS["skill"]), False]) for who, mends in MENDS.items()}


@dataclass(frozen=True)
class Load:
    """Parts for one call. ``used``: probability that each part is used; ``left``: those for which there is no room.

    ``fix``: chance that the call is mended at the first visit.
    """

    parts: tuple[str, ...]
    left: tuple[str, ...]
    used: Mapping[str, float]
    fix: float


@dataclass(frozen=True)
class DayLoad:
    """Units of each part for a day. ``fix``: chance of each call to be mended, in the order of the calls, as the units

    are used up; ``space`` in litres and ``value`` in dollars of all that is aboard.
    """

    units: Mapping[str, int]
    fix: tuple[float, ...]
    space: float
    value: float


def needs_of(signatures: Signatures, probability: Table, skill: str) -> dict[frozenset[str], float]:
    """What a call may need, by sets of parts: of the faults that this skill mends."""
    sets, of, skills = signatures.part_sets
    shares = signatures.by_repair(probability)
    counted = (shares > LEAST) & _MENDED[skill][skills]
    added = np.bincount(of[counted], weights=shares[counted], minlength=len(sets))
    return {sets[number]: float(added[number]) for number in dict.fromkeys(of[counted].tolist())}


def load(needs: Needs, parts: Mapping[str, Part], van: Van, least: float = LOADED_FROM) -> Load:
    """The load for one call with the greatest chance of a first-visit fix; of equal ones the smallest."""
    used = _used(needs)
    wanted = tuple(part for part, share in used.items() if share >= least)
    aboard = wanted
    if not _fits(wanted, parts, van):
        if len(wanted) <= MOST_LISTED_OUT:
            aboard = _best_of_all(needs, wanted, parts, van)
        else:
            units = _solve([needs], parts, van, least)
            aboard = tuple(part for part in wanted if units.get(part))
    left = tuple(part for part in wanted if part not in aboard)
    fix = sum((share for needed, share in needs.items() if needed <= set(aboard)), start=0.0)
    return Load(aboard, left, used, min(fix, 1.0))


def load_for_day(calls: Sequence[Needs], parts: Mapping[str, Part], van: Van, least: float = LOADED_FROM) -> DayLoad:
    """The stock with which most of a day's calls are mended at the first visit.

    Exact for one call, and for faults of one part each. Where faults of several parts compete, the programme is
    hopeful about who gets the last unit; ``fix`` is always exact.
    """
    units = {part: count for part, count in _solve(calls, parts, van, least).items() if count}
    space = sum(parts[part].space * count for part, count in units.items())
    value = sum(parts[part].value * count for part, count in units.items())
    return DayLoad(units, first_visit_fixes(calls, units), space, value)


def _used(needs: Needs) -> dict[str, float]:
    """The probability that each part is used, likeliest first."""
    used: dict[str, float] = {}
    for needed, share in needs.items():
        for part in _by_name(needed):
            used[part] = used.get(part, 0.0) + share
    ranked = sorted([(-round(share, 9), part) for part, share in used.items()])
    return {part: used[part] for _, part in ranked}


@lru_cache(maxsize=4096)
def _by_name(needed: frozenset[str]) -> tuple[str, ...]:
    return tuple(sorted(needed))


def _fits(chosen: Sequence[str], parts: Mapping[str, Part], van: Van) -> bool:
    space, value = sum(parts[p].space for p in chosen), sum(parts[p].value for p in chosen)
    return space <= van.space + LEAST and value <= van.value + LEAST


def _best_of_all(needs: Needs, wanted: Sequence[str], parts: Mapping[str, Part], van: Van) -> tuple[str, ...]:
    """Try every choice of the parts wanted, 2^n at once."""
    choices = np.array(list(product((0, 1), repeat=len(wanted))), dtype=bool)
    space = choices @ np.array([parts[part].space for part in wanted])
    value = choices @ np.array([parts[part].value for part in wanted])
    fixes = np.zeros(len(choices))
    for needed, share in needs.items():
        if needed <= set(wanted):
            fixes += share * choices[:, [wanted.index(part) for part in needed]].all(axis=1)
    fixes -= TIE * space / van.space
    fixes[(space > van.space + LEAST) | (value > van.value + LEAST)] = -1
    best = choices[int(np.argmax(fixes))]
    return tuple(part for part, taken in zip(wanted, best, strict=True) if taken)


def at_least(shares: Sequence[float]) -> Table:
    """P(at least k of some independent calls need it) for k = 1, 2, ...; sums up to E[min(k, demand)]."""
    exactly = np.array([1.0])
    for share in shares:
        exactly = np.convolve(exactly, [1 - share, share])
    more: Table = exactly[::-1].cumsum()[::-1][1:]
    return more


def _solve(calls: Sequence[Needs], parts: Mapping[str, Part], van: Van, least: float) -> dict[str, int]:
    """Units of each part, by a mixed-integer programme.

    Variables: each unit of each part aboard or not, and which share of each need of each call is served.
    """
    from scipy.optimize import Bounds, LinearConstraint, milp  # a tenth of a second to import, seldom needed
    from scipy.sparse import coo_array

    gains = _unit_gains(calls, least)
    unit_of = {(part, k): n for n, (part, k) in enumerate((p, k) for p, g in gains.items() for k in range(len(g)))}
    served = [(c, n, s) for c, call in enumerate(calls) for n, s in call.items() if n and n <= set(gains) and s > LEAST]
    if not served:
        return {}
    width = len(unit_of) + len(served)
    rows: list[tuple[dict[int, float], float]] = []  # each a sum of variables that must not exceed a number
    rows.append(({n: parts[part].space for (part, _), n in unit_of.items()}, van.space))
    rows.append(({n: parts[part].value for (part, _), n in unit_of.items()}, van.value))
    for part, gain in gains.items():
        use = {len(unit_of) + n: share for n, (_, needed, share) in enumerate(served) if part in needed}
        rows.append((use | {unit_of[part, k]: -float(g) for k, g in enumerate(gain)}, 0.0))
        rows += [({unit_of[part, k]: 1.0, unit_of[part, k - 1]: -1.0}, 0.0) for k in range(1, len(gain))]
    rows += [
        ({len(unit_of) + n: 1.0, unit_of[part, 0]: -1.0}, 0.0)
        for n, (_, needed, _) in enumerate(served)
        for part in needed
    ]
    worth = np.array([TIE * parts[part].space / van.space for part, _ in unit_of] + [-share for _, _, share in served])
    entries = [(r, column, factor) for r, (row, _) in enumerate(rows) for column, factor in row.items()]
    at, columns, factors = zip(*entries, strict=True)
    matrix = coo_array((factors, (at, columns)), shape=(len(rows), width)).tocsr()
    whole = np.array([1] * len(unit_of) + [0] * len(served))
    limits = LinearConstraint(matrix, ub=np.array([most for _, most in rows]))
    found = milp(worth, integrality=whole, bounds=Bounds(0, 1), constraints=limits, options={"mip_rel_gap": 0})
    units: dict[str, int] = {}
    for (part, _), n in unit_of.items():
        units[part] = units.get(part, 0) + round(float(found.x[n]))
    return units


def _unit_gains(calls: Sequence[Needs], least: float) -> dict[str, Table]:
    """For each part worth taking, what its first unit, its second, ... adds to the calls it can serve."""
    shares: dict[str, list[float]] = {}
    for call in calls:
        for part, share in _used(call).items():
            shares.setdefault(part, []).append(min(share, 1.0))
    gains = {}
    for part in sorted(shares):
        gain = at_least(shares[part])
        worth_it = int((gain >= max(least, LEAST)).sum())
        if worth_it:
            gains[part] = gain[:worth_it]
    return gains


def first_visit_fixes(calls: Sequence[Needs], units: Mapping[str, int]) -> tuple[float, ...]:
    """The chance of each call to be mended, in order, as units are used up; exact.

    A call whose parts are not all there uses none. Only parts that can run out are followed.
    """
    asking = {part: sum(any(part in needed for needed in call) for call in calls) for part in units}
    scarce = tuple(part for part in sorted(units) if 0 < units[part] < asking[part])
    states: dict[tuple[int, ...], float] = {tuple(units[part] for part in scarce): 1.0}
    fixes = []
    for call in calls:
        after: dict[tuple[int, ...], float] = {}
        fix = 0.0
        for state, weight in states.items():
            left = dict(zip(scarce, state, strict=True))
            stays = 1.0
            for needed, share in call.items():
                if all(left.get(part, units.get(part, 0)) > 0 for part in needed):
                    fix += weight * share
                    stays -= share
                    used = tuple(count - (part in needed) for part, count in left.items())
                    after[used] = after.get(used, 0.0) + weight * share
            after[state] = after.get(state, 0.0) + weight * max(stays, 0.0)
        states = after
        fixes.append(min(fix, 1.0))
    return tuple(fixes)
