"""Chaining beside its peers in one run: stock experta, this project's engine, and CLIPS through clipspy.

Run: ``python -m tests.benchmarks.bench_chaining [--cases N]``. Every case is distinct, every engine is reused from case
to case as a server would, and all are given the same cases in turn. Firings and derived facts are compared on the way.

(a) the book; (b) invented rules, 50 to 2,000 of them over 5 to 200 facts. In (b) the vocabulary grows with the rules,
as a book's does: about as many rules read each fact name whatever their number, so that what grows is the book, not
what fires. Medians of milliseconds a case, and ratios.
"""

from __future__ import annotations

import argparse
import random
import statistics
import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from typing import Any

from rules import open_book
from rules.bookkeeping.types import Book, Condition, Derivation, Rule
from rules.chaining import Chainer, KnownFact
from rules.chaining.caseengine import Known
from rules.chaining.compiler import compile_book
from rules.chaining.experta_import import KnowledgeEngine
from rules.chaining.experta_import import Rule as ExpertaRule
from rules.chaining.record import DerivedKey, RawFiring
from tests.benchmarks.durable import INSTALLED, durable, plain
from tests.rules.chaining.clipsback import ClipsBook

PLACES = ("left_front", "right_front", "left_rear", "right_rear")
PLAIN_SIZES = (50, 200)  # durable_rules needs minutes to take in 2,000
READERS = 8  # rules that read each fact name, on the average, in the invented sets


class StockEngine(KnowledgeEngine):
    """experta as it comes: its own network, strategy, facts and declare; only the record is kept as ours is."""

    def __init__(self) -> None:
        super().__init__()
        self.raw: list[RawFiring] = []
        self.concluded: set[DerivedKey] = set()

    def note(self, fired: RawFiring) -> None:
        self.raw.append(fired)
        fresh = [key for key in fired.concludes if key not in self.concluded]
        self.concluded.update(fresh)
        for key in fresh:
            name, place, state, value = key
            self.declare(Known(id=key, name=name, place=place, state=state, value=value, number=None, by="rule"))


def stock(rules: Sequence[Rule]) -> Callable[[Sequence[KnownFact]], int]:
    """A function that runs one case through stock experta and gives the number of firings."""
    compiled = {n: r for n, r in vars(compile_book(rules)).items() if isinstance(r, ExpertaRule)}
    engine: Any = type("Stock", (StockEngine,), compiled)()

    def run(case: Sequence[KnownFact]) -> int:
        engine.raw, engine.concluded = [], set()
        engine.reset()
        for fact in case:
            engine.declare(Known(**{slot: getattr(fact, slot) for slot in KnownFact.__dataclass_fields__}))
        engine.run()
        return len(engine.raw)

    return run


def milliseconds(run: Callable[[Sequence[KnownFact]], object], cases: Sequence[Sequence[KnownFact]]) -> float:
    """Median of one call, ms, after a few to warm up."""
    for case in cases[:5]:
        run(case)
    spent = []
    for case in cases:
        start = time.perf_counter()
        run(case)
        spent.append(time.perf_counter() - start)
    return statistics.median(spent) * 1e3


def book_case(book: Book, dice: random.Random, size: int) -> list[KnownFact]:
    """A distinct case in the book's own vocabulary."""
    rows: dict[tuple[str, str, str], KnownFact] = {}
    terms = [term for term in book.facts.values() if not term.derived]
    while len(rows) < size:
        term = dice.choice(terms)
        place = dice.choice({"surface": PLACES, "meter": term.between}.get(term.place, ("",)))
        state = dice.choice(term.states or ("",))
        word, number = dice.choice(list(term.values)), None
        if term.kind == "number":
            word, (low, high) = dice.choice(list(term.bands_at(place if term.between else None).ranges.items()))
            number = low if high == float("inf") else dice.uniform(low, high)
        by = dice.choice(("caller", "technician"))
        rows[term.fact, place, state] = KnownFact(0, term.fact, place, state, word, number, by)
    return numbered(rows.values())


def numbered(facts: Iterable[KnownFact]) -> list[KnownFact]:
    return [replace(fact, id=number) for number, fact in enumerate(facts)]


def invented_rules(count: int, dice: random.Random) -> list[Rule]:
    """Rules of one to three premises, some joined at a place, some with an absence, some deriving."""
    names = [f"fact{number}" for number in range(max(12, 2 * count // READERS))]
    made = []
    for number in range(count):
        joined = dice.random() < 0.4
        chosen = dice.sample(names, dice.choice((1, 2, 2, 3)))
        premises = [Condition(n, where="same" if joined else "any", values=(dice.choice("abc"),)) for n in chosen]
        if dice.random() < 0.2:
            premises.append(Condition(dice.choice(names), values=(dice.choice("abc"),), negated=True))
        derive = ()
        if dice.random() < 0.2:
            derive = (Derivation(f"derived{number % 50}", "a", "same" if joined else None),)
        if dice.random() < 0.1:
            premises.append(Condition(f"derived{dice.randrange(50)}", where="any", values=("a",)))
            derive = ()
        made.append(
            Rule(f"r{number}", (tuple(premises),), "invented", "invented", derive, file="invented", line=number)
        )
    return made


def invented_case(rules: Sequence[Rule], dice: random.Random, size: int) -> list[KnownFact]:
    """Facts that the rules read, so that some fire."""
    rows: dict[tuple[str, str], KnownFact] = {}
    while len(rows) < size:
        premise = dice.choice(dice.choice(rules).alternatives[0])
        name, place = premise.fact, dice.choice(PLACES)
        if not name.startswith("derived"):
            rows[name, place] = KnownFact(0, name, place, "", dice.choice("abc"), None, "caller")
    return numbered(rows.values())


def compared(name: str, rules: Sequence[Rule], cases: Sequence[list[KnownFact]]) -> dict[str, float]:
    """Milliseconds a case by engine. Raises AssertionError where the engines disagree."""
    ours, clips, other = Chainer(rules), ClipsBook(rules), stock(rules)
    for case in cases[:20]:
        derived, firings = clips.run(case)
        record = ours.run(case)
        assert len(record.derived) == len(derived) and len(record.firings) == len(firings), name
    return {
        "stock": milliseconds(other, cases[: max(len(cases) // 4, 5)]),
        "ours": milliseconds(ours.run, cases),
        "CLIPS": milliseconds(clips.run, cases),
    }


def beside_durable(size: int, facts: int, count: int, dice: random.Random) -> dict[str, float]:
    """Milliseconds a case of plain conjunctions. Raises AssertionError where the two disagree."""
    rules = plain(invented_rules(2 * size, dice))[:size]
    cases = [invented_case(rules, dice, facts) for _ in range(count)]
    ours, other = Chainer(rules), durable(rules)
    for case in cases[:20]:
        assert other(case) == {firing.rule for firing in ours.run(case).firings}
    return {"ours": milliseconds(ours.run, cases), "durable_rules": milliseconds(other, cases)}


def line(name: str, spent: dict[str, float]) -> None:
    ours = spent["ours"]
    print(
        f"{name:<28}{spent['stock']:>9.3f}{ours:>9.3f}{spent['CLIPS']:>9.3f}"
        f"{spent['stock'] / ours:>13.1f}{ours / spent['CLIPS']:>13.2f}"
    )


def main(arguments: Sequence[str] | None = None) -> None:
    """Print both tables."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--cases", type=int, default=300, help="distinct cases a row")
    count = parser.parse_args(arguments).cases
    book, dice = open_book().book, random.Random(7)
    print(f"{'ms a case, median':<28}{'stock':>9}{'ours':>9}{'CLIPS':>9}{'stock/ours':>13}{'ours/CLIPS':>13}")
    rules = list(book.rules.values())
    line(
        f"book, {len(rules)} rules, 15 facts",
        compared("book", rules, [book_case(book, dice, 15) for _ in range(count)]),
    )
    for size, facts in ((50, 15), (200, 15), (800, 15), (2000, 15), (200, 5), (200, 50), (200, 200)):
        rules = invented_rules(size, dice)
        cases = [invented_case(rules, dice, facts) for _ in range(max(count // 4, 20))]
        line(f"{size} rules, {facts} facts", compared(f"{size}/{facts}", rules, cases))
    if not INSTALLED:
        print("durable_rules is not installed (pip install durable_rules, needs a C compiler)")
        return
    for size in PLAIN_SIZES:
        spent = beside_durable(size, 15, max(count // 4, 20), dice)
        peer = spent["durable_rules"]
        print(f"{size} plain rules, 15 facts: {spent['ours']:.3f} ms, durable_rules {peer:.3f} ms")


if __name__ == "__main__":
    main()
