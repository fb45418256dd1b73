"""Prints the chaining of random cases, so that interpreters can be compared.

``python -m tests.rules.chaining.printing NUMBER``; the number shuffles the facts of every case.
"""

from __future__ import annotations

import random
import sys
from typing import Any

from rules.chaining import Chainer
from rules.chaining.caseengine import engine_fact
from rules.chaining.compiler import compile_book
from rules.chaining.record import in_order
from tests.rules.chaining.casegen import random_facts, random_rules


def main() -> None:
    """Print records, and below them every firing in the order in which it happened."""
    dice = random.Random(int(sys.argv[1]))
    for number in range(25):
        rules = random_rules(number, most=14)
        chainer = Chainer(rules)
        engine: Any = compile_book(rules)()
        for case in range(3):
            known = random_facts(100 * number + case)
            dice.shuffle(known)
            print(number, case, chainer.run(known))
            engine.begin()
            engine.declare(*map(engine_fact, in_order(known)))
            engine.run()
            print(engine.raw)


if __name__ == "__main__":
    main()
