"""The same facts in any order, in any process, give the same answer, byte for byte."""

from __future__ import annotations

import itertools
import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from rules import Enquiry, Expert, triage
from rules.enquiry import fact_from_text
from service.schemas import TriageSchema

FACTS = (
    "display=lit",
    "surface.heat@left_front=none",
    "surface.heat@others=normal",
    "oven.bake.heat=none",
    "oven.offset=-40 F",
    "hazard.any=no",
)
PROGRAM = """
import sys, json
from rules import Enquiry, open_book, triage
from rules.enquiry import fact_from_text
from service.schemas import TriageSchema
expert = open_book()
facts = tuple(fact_from_text(text, expert.book.facts, "caller") for text in sys.argv[1:])
print(json.dumps(TriageSchema(expert.book.facts).dump(triage(expert, Enquiry(facts=facts, explain="full")))))
"""


def dumped(expert: Expert, facts: tuple[str, ...]) -> str:
    read = tuple(fact_from_text(text, expert.book.facts, "caller") for text in facts)
    return json.dumps(TriageSchema(expert.book.facts).dump(triage(expert, Enquiry(facts=read, explain="full"))))


def test_every_order_gives_the_same_bytes(expert: Expert) -> None:
    expected = dumped(expert, FACTS)
    for order in itertools.islice(itertools.permutations(FACTS), 0, 720, 13):
        assert dumped(expert, order) == expected


def test_a_repeated_fact_counts_once(expert: Expert) -> None:
    assert dumped(expert, (*FACTS, *FACTS[:3])) == dumped(expert, FACTS)


@pytest.mark.parametrize("seed", ["0", "1", "4711"])
def test_every_process_gives_the_same_bytes(expert: Expert, seed: str) -> None:
    environment = {**os.environ, "PYTHONHASHSEED": seed}
    for order in (FACTS, FACTS[::-1]):
        done = subprocess.run(
            [sys.executable, "-W", "error", "-c", PROGRAM, *order],
            env=environment,
            cwd=Path(__file__).resolve().parents[2],
            capture_output=True,
            text=True,
            check=True,
        )
        assert done.stdout.strip() == dumped(expert, FACTS)
