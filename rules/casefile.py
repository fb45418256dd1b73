"""Facts laid out for the engine and the ranking: canonical order, no repeats, places spelt out, contradictions named.

The order in which facts were given is forgotten here, on purpose: the same facts give the same case file.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

from rules.bookkeeping.types import Appliance, FactTerm
from rules.chaining import KnownFact
from rules.terms import ALL, OTHERS, TRUST, UNNAMED, Fact, Source, fact_key, fact_of, split_key

#: Gives the value expected of a sound part, for readings whose bands are relative to it: (fact, place) -> number.
Expected = Callable[[str, str], float]


@dataclass(frozen=True)
class Statement:
    """One thing said or measured. ``says`` are the keys it speaks of, each with the word it gives them."""

    number: int  # index in CaseFile.understood
    says: tuple[tuple[str, str], ...]
    source: str
    certainty: str


@dataclass(frozen=True)
class Contradiction:
    """Statements that give one key different words. ``stands`` is the word that rules go by, None if neither does."""

    key: str
    numbers: tuple[int, ...]
    stands: str | None


@dataclass(frozen=True)
class CaseFile:
    """A case, laid out; ``known[i].id == i``. ``unnamed_at``: the unit standing in for one the caller did not name.

    ``not_told``: keys that were asked about without an answer, each with who could not tell.
    """

    understood: tuple[Fact, ...]
    statements: tuple[Statement, ...]
    known: tuple[KnownFact, ...]
    origins: tuple[tuple[int, ...], ...]  # for each known fact, the understood ones it was said by
    contradictions: tuple[Contradiction, ...]
    unnamed_at: str | None
    not_told: tuple[tuple[str, Source], ...] = ()

    def words(self) -> dict[str, str]:
        """Key to word, for the facts that rules go by."""
        return {fact_key(k.name, k.place or None, k.state or None): k.value for k in self.known}


def lay_out(facts: Iterable[Fact], terms: Mapping[str, FactTerm], appliance: Appliance, expected: Expected) -> CaseFile:
    """Lay out the facts of a case. They must have passed :func:`rules.enquiry.check_places`.

    What rules may know of the configuration comes in as a known fact of its own, said by nobody.
    """
    understood = _in_order(facts, terms)
    told = [fact for fact in understood if fact.told]
    stand_in = _stand_in(told, appliance)
    placed = [_places(fact, told, appliance, stand_in) for fact in understood]
    says: dict[int, dict[str, str]] = {}
    said: dict[str, dict[str, list[int]]] = {}
    not_told = []
    for number, (fact, places) in enumerate(zip(understood, placed, strict=True)):
        keys = {fact_key(fact.fact, place or fact.between, fact.during): place for place in places}
        if not fact.told:
            not_told += [(key, fact.source) for key in keys]
            continue
        says[number] = {key: _word(fact, place, terms[fact.fact], expected) for key, place in keys.items()}
        for key, word in says[number].items():
            said.setdefault(key, {}).setdefault(word, []).append(number)
    statements = _statements(understood, says, said)
    standing, contradictions = _settle(said, understood, terms)
    known, origins = _known(standing, said, understood, appliance, terms)
    return CaseFile(understood, statements, known, origins, contradictions, stand_in, tuple(sorted(set(not_told))))


def _statements(
    understood: Sequence[Fact], says: Mapping[int, Mapping[str, str]], said: Mapping[str, Mapping[str, Sequence[int]]]
) -> tuple[Statement, ...]:
    """An answer counts once, however often it is given: for the one who is trusted most with it."""

    def trust(number: int) -> tuple[float, bool, int]:
        fact = understood[number]
        return -TRUST[fact.source], fact.certainty == "hedged", number

    made = []
    for number, words in says.items():
        own = tuple(
            [
                entry
                for entry in words.items()
                if len(said[entry[0]][entry[1]]) == 1 or min(said[entry[0]][entry[1]], key=trust) == number
            ]
        )
        if own:
            made.append(Statement(number, own, understood[number].source, understood[number].certainty))
    return tuple(made)


def _in_order(facts: Iterable[Fact], terms: Mapping[str, FactTerm]) -> tuple[Fact, ...]:
    """By the vocabulary's order, then place, value, and most trusted first; a fact said twice is kept once."""
    rank = _ranks(terms)

    def order(fact: Fact) -> tuple[object, ...]:
        hedged = fact.certainty == "hedged"
        start = fact.span or (-1, -1)
        place = (fact.where or "", fact.between or "", fact.during or "")
        number = fact.value if isinstance(fact.value, float) else 0.0
        return (rank[fact.fact], *place, number, str(fact.value), -TRUST[fact.source], hedged, start, fact.text or "")

    kept: dict[tuple[str, object], Fact] = {}
    for fact in sorted(facts, key=order):
        kept.setdefault((fact.key, fact.value), fact)
    return tuple(kept.values())


_LAST_RANKS: tuple[Mapping[str, FactTerm], Mapping[str, int]] = ({}, {})


def _ranks(terms: Mapping[str, FactTerm]) -> Mapping[str, int]:
    """The vocabulary's order, by name; kept for the vocabulary asked about last, which is the open book's."""
    global _LAST_RANKS  # noqa: PLW0603  # one tuple, put in place whole: safe between threads
    known, rank = _LAST_RANKS
    if known is not terms:
        rank = {name: number for number, name in enumerate(terms)}
        _LAST_RANKS = terms, rank
    return rank


def _stand_in(facts: Sequence[Fact], appliance: Appliance) -> str | None:
    """The unit that stands for the unnamed one: the first that nothing is said about by name."""
    if not appliance.positions or not any(fact.where == UNNAMED for fact in facts):
        return None
    named = {fact.where for fact in facts}
    free = [place for place in appliance.positions if place not in named]
    return (free or list(appliance.positions))[0]


def _places(fact: Fact, facts: Sequence[Fact], appliance: Appliance, stand_in: str | None) -> tuple[str, ...]:
    """The units a fact speaks of: ``all`` and ``others`` leave out those of which something is said by name."""
    if fact.where is None:
        return ("",)
    if fact.where == UNNAMED:
        return (stand_in or "",)
    if fact.where not in (ALL, OTHERS):
        return (fact.where,)
    named = {other.where for other in facts if other.fact == fact.fact}
    named = {stand_in if place == UNNAMED else place for place in named}
    rest = tuple(place for place in appliance.positions if place not in named)
    return rest or (appliance.positions if fact.where == ALL else ())


def _word(fact: Fact, place: str, term: FactTerm, expected: Expected) -> str:
    if term.kind == "choice":
        return str(fact.value)
    number = float(fact.value)
    bands = term.bands_at(fact.between)
    return bands.name_of(number / expected(fact.fact, place) if bands.relative else number)


def _settle(
    said: dict[str, dict[str, list[int]]], understood: Sequence[Fact], terms: Mapping[str, FactTerm]
) -> tuple[dict[str, tuple[str, int]], tuple[Contradiction, ...]]:
    """For each key the word that stands and the statement it came from.

    The most trusted source wins; of equal ones neither stands, except that a sign of danger stands against its denial.
    """
    standing: dict[str, tuple[str, int]] = {}
    contradictions = []
    for key, words in sorted(said.items()):
        if len(words) == 1:
            ((word, numbers),) = words.items()
            standing[key] = (word, _most_trusted(numbers, understood))
            continue
        best = {word: max(TRUST[understood[n].source] for n in numbers) for word, numbers in words.items()}
        top = max(best.values())
        leading = [word for word, trust in best.items() if trust == top]
        term = terms[fact_of(key)]
        stands: str | None = leading[0] if len(leading) == 1 else None
        if term.hazard:
            stands = next(word for word in words if word != term.usual)
        saying = tuple(sorted(n for listed in words.values() for n in listed))
        contradictions.append(Contradiction(key, saying, stands))
        if stands is not None:
            standing[key] = (stands, _most_trusted(words[stands], understood))
    return standing, tuple(contradictions)


def _most_trusted(numbers: Sequence[int], understood: Sequence[Fact]) -> int:
    if len(numbers) == 1:
        return numbers[0]
    return min(numbers, key=lambda n: -TRUST[understood[n].source])


def _known(
    standing: Mapping[str, tuple[str, int]],
    said: Mapping[str, Mapping[str, list[int]]],
    understood: Sequence[Fact],
    appliance: Appliance,
    terms: Mapping[str, FactTerm],
) -> tuple[tuple[KnownFact, ...], tuple[tuple[int, ...], ...]]:
    """Facts for the rules: by unit, and once more as ``all`` where a statement about all units stands everywhere."""
    rank = _ranks(terms)
    rows: dict[tuple[str, str, str, str, str], tuple[float | None, tuple[int, ...]]] = {}
    for key, (word, number) in standing.items():
        fact = understood[number]
        _, place, state = split_key(key)
        row = (fact.fact, place or "", state or "", word, fact.source)
        rows[row] = (_number(fact, terms[fact.fact]), tuple(said[key][word]))
    for number, fact in enumerate(understood):
        if fact.where == ALL and fact.told:
            words = {standing.get(fact_key(fact.fact, place), ("", 0))[0] for place in appliance.positions}
            if len(words) == 1 and "" not in words:
                rows[(fact.fact, ALL, "", words.pop(), fact.source)] = (_number(fact, terms[fact.fact]), (number,))
    kind = "three_phase" if appliance.supply == "208Y/120" else "split_phase"
    rows[("supply.kind", "", "", kind, "rule")] = (None, ())
    ordered = sorted(rows, key=lambda row: (rank[row[0]], *row[1:]))
    known = tuple(KnownFact(i, *row[:4], rows[row][0], row[4]) for i, row in enumerate(ordered))
    return known, tuple(rows[row][1] for row in ordered)


def _number(fact: Fact, term: FactTerm) -> float | None:
    return float(fact.value) if term.kind == "number" else None
