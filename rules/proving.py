"""What the program needs of the book, and what the book says of the circuit: both are proved on opening."""

from __future__ import annotations

from collections.abc import Iterator

from rules.appliance import modelled_facts
from rules.appliance.injecting import check_effect, has_rings
from rules.appliance.wiring import METER_POINTS, wire
from rules.bookkeeping.types import Book, FactTerm
from rules.electrical.units import WANTED

#: Names the program uses by itself, by kind.
NEEDED = {
    "facts": ("dead_check", "hazard.any", "fuel", "cooktop", "supply.kind", "volts"),
    "appliances": ("radiant_range", "coil_range"),
    "cautions": ("local_code", "live_work"),
}
NEEDED_TESTS = ("dead_check", "hazard.any")  # facts that one test must read
NEEDED_VALUES = {
    "cooktop": {"coil", "radiant"},
    "fuel": {"electric", "gas", "induction", "dual_fuel"},
    "supply.kind": {"split_phase", "three_phase"},
    "hazard.any": {"yes", "no"},
}


def prove(book: Book) -> list[str]:
    """Every way in which the book does not fit the program, as ``file:line: field: what to write instead``."""
    problems = [*_missing(book)]
    if problems:
        return problems
    problems += _values(book)
    problems += _numbers(book)
    problems += _models(book)
    problems += _effects(book)
    return list(dict.fromkeys(problems))


def _missing(book: Book) -> Iterator[str]:
    for kind, names in NEEDED.items():
        for name in names:
            if name not in getattr(book, kind):
                yield f"{kind}.yaml:1: (file): the program needs {name}; put it back"
    read = {card.reads for card in book.tests.values()}
    for fact in NEEDED_TESTS:
        if fact not in read:
            yield f"tests/questions.yaml:1: (file): the program needs a test that reads {fact}; put it back"


def _values(book: Book) -> Iterator[str]:
    for fact, words in NEEDED_VALUES.items():
        term = book.facts[fact]
        if set(term.values) != words:
            yield f"{term.file}:{term.line}: values: {fact} needs exactly {', '.join(sorted(words))}"


def _numbers(book: Book) -> Iterator[str]:
    for term in book.facts.values():
        if term.kind != "number":
            continue
        if term.unit not in WANTED:
            yield f"{term.file}:{term.line}: unit: {term.fact} has {term.unit!r}; write one of {', '.join(WANTED)}"
        yield from _bands(term)
    volts = book.facts["volts"]
    if set(volts.between) != set(METER_POINTS) or set(volts.states) != {"idle", "loaded"}:
        points = ", ".join(METER_POINTS)
        yield f"{volts.file}:{volts.line}: between: volts are read between {points}, idle and loaded; write just these"


def _bands(term: FactTerm) -> Iterator[str]:
    for points in term.between or (None,):
        try:
            term.bands_at(points)
        except KeyError:
            yield f"{term.file}:{term.line}: bands: {term.fact} has none for {points}; add them"
    for bands in term.bands:
        for points in bands.between:
            if points not in term.between:
                known = ", ".join(term.between)
                yield f"{term.file}:{term.line}: bands: {points} is not in between; write one of {known}"


def _models(book: Book) -> Iterator[str]:
    """The vocabulary says which facts the circuit predicts; the circuit must agree."""
    known = modelled_facts()
    for term in book.facts.values():
        if (term.model == "circuit") != (term.fact in known):
            instead = "shows or context" if term.model == "circuit" else "circuit"
            yield f"{term.file}:{term.line}: model: {term.fact} is {term.model} here; write {instead}"
    for fact in sorted(known - set(book.facts)):
        yield f"facts/context.yaml:1: (file): the circuit model predicts {fact}; add it"


def _effects(book: Book) -> Iterator[str]:
    """Every effect must find its part on every appliance the fault can exist on."""
    for appliance in book.appliances.values():
        wiring = wire(appliance)
        for fault in book.faults.values():
            fitting = [unit for unit in appliance.positions if has_rings(wiring, fault.effects, unit)]
            where = next(iter([*fitting, *appliance.positions]), None)
            for effect in fault.effects if fault.exists_on(appliance) else ():
                wrong = check_effect(wiring, effect, where)
                if wrong:
                    yield f"{fault.file}:{fault.line}: effects: {fault.fault}: {wrong}"
