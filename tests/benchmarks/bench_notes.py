"""Times reading of notes, whole triages, and batches.

``python -m tests.benchmarks.bench_notes [NOTES]`` reads that many distinct invented notes (100,000 by default);
``... batch ROWS...`` gives the peak memory of ``coldleg batch`` for so many rows, and what two processes gain on one.
"""

from __future__ import annotations

import itertools
import json
import os
import random
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from unittest.mock import patch

from rules import Enquiry, open_book, triage
from rules.notes import read_note
from service.batching.incoming import Row
from service.batching.running import run

NOTES, TRIAGED = 100_000, 2_000
NO_ANSWERS_KEPT = {**os.environ, "COLDLEG_ANSWERS": "0"}
#: The command, which tells at last the most memory it held, kB (Linux); what the parent held does not count.
PROGRAM = """
import re, sys
from service.cli import main
try:
    main()
finally:
    print(re.search(r"VmHWM:\\s+(\\d+)", open("/proc/self/status").read())[1], file=sys.stderr)
"""
POSITIONS = ("left_front", "right_front", "left_rear", "right_rear")
_OPENINGS = ("", "Hi, ", "cust sts ", "Caller: ", "good morning, ", "tenant says ", "Web form: ", "well um ")
_PARTS = ("left front burner", "RR", "the oven", "bake", "broiler", "the display", "both front burners", "the clock",
          "big one in the back", "all burners", "bottom element", "the coil on the right")  # fmt: skip
_SAID = ("won't heat", "is dead", "stays cold", "works fine", "gets lukewarm", "is stuck on high", "takes forever",
         "doesnt come on", "quit last night", "comes and goes", "won't turn off")  # fmt: skip
_MORE = ("others ok", "no smoke or sparks", "breaker is on", "after a self clean yesterday", "since the power went out",
         "I think", "except the clock", "runs about 40 low", "we had it fixed last year", "L1-N 121, L2-N 3, bake on",
         "the rest of the kitchen is fine", "please call after 4", "smells a bit like hot plastic")  # fmt: skip
_ENDS = ("", " Unit is {n} years old.", " Model {n}.", " Call before {n}:30.", " Order {n}.")


def notes(count: int) -> list[str]:
    """Distinct invented notes, the same every time."""
    chance = random.Random(20)
    made: dict[str, None] = {}
    for number in itertools.count():
        first, second = chance.choice(_PARTS), chance.choice(_PARTS)
        joint = chance.choice((", ", ". ", " but ", " and "))
        text = f"{chance.choice(_OPENINGS)}{first} {chance.choice(_SAID)}{joint}{second} {chance.choice(_SAID)}"
        ending = chance.choice(_ENDS).format(n=number % 99)
        made[f"{text}, {chance.choice(_MORE)}.{ending}"] = None
        if len(made) == count:
            return list(made)
    return []


def read_and_triage(count: int) -> None:
    """Print notes a second of one core: reading alone, then the whole triage on the first 2,000 of them."""
    expert = open_book()
    made = notes(count)
    read_note(made[0], expert.lexicon, POSITIONS)
    triage(expert, Enquiry(made[0]))
    began = time.process_time()
    facts = sum(len(read_note(note, expert.lexicon, POSITIONS).facts) for note in made)
    took = time.process_time() - began
    length = sum(map(len, made)) / count
    print(f"reading: {count:,} distinct notes of {length:.0f} characters, {facts / count:.1f} facts each: "
          f"{count / took:,.0f} a second of processor time")  # fmt: skip
    some = made[:TRIAGED]
    began = time.process_time()
    for note in some:
        triage(expert, Enquiry(note))
    took = time.process_time() - began
    print(f"whole triage: {len(some):,} of them: {len(some) / took:,.0f} a second of processor time")


def rows(count: int) -> Iterator[bytes]:
    """Rows of a batch. All but one in a hundred are turned away early, so that a million take minutes."""
    some = notes(1000)
    for number in range(count):
        note = some[number // 100 % 1000] if number % 100 == 0 else "it is a gas stove"
        yield json.dumps({"id": number, "note": note}).encode() + b"\n"


def batches(counts: list[int]) -> Iterator[tuple[int, str, float, float]]:
    """For so many rows, in one process and in two: rows, processes, seconds, and the parent's peak memory in MB."""
    command = [sys.executable, "-c", PROGRAM, "batch"]
    with tempfile.TemporaryDirectory() as folder:
        for count in counts:
            source = Path(folder) / f"{count}.ndjson"
            with source.open("wb") as stream:
                stream.writelines(rows(count))
            for jobs in ("1", "2"):
                began = time.perf_counter()
                args = [*command, str(source), "--jobs", jobs, "--out", f"{folder}/out.ndjson"]
                done = subprocess.run(args, capture_output=True, text=True, check=False, env=NO_ANSWERS_KEPT)
                took = time.perf_counter() - began
                yield count, jobs, took, int(done.stderr.split()[-1]) / 1024


def note_rows(count: int) -> list[Row]:
    """Rows of a batch, each with a note of its own."""
    return [Row(n, json.dumps({"id": n, "note": note}).encode(), id=n) for n, note in enumerate(notes(count), start=1)]


def distinct_rows(count: int, rounds: int) -> float:
    """Distinct notes a second of processor time through a batch in one process, start-up left out; the best round."""
    lines = note_rows(count)
    with patch.dict(os.environ, NO_ANSWERS_KEPT):
        expert = open_book()
        spent = []
        for _ in range(rounds + 1):  # the first builds the tables
            began = time.process_time()
            failed = sum(done.seen.failed for done in run(lines, expert, "ndjson", 1, None))
            spent.append(time.process_time() - began)
            assert not failed
    return count / min(spent[1:])


if __name__ == "__main__":
    if sys.argv[1:2] == ["batch"]:
        for count, jobs, took, peak in batches([int(each) for each in sys.argv[2:]] or [1_000, 10_000]):
            print(f"{count:,} rows, --jobs {jobs}: {took:.1f} s, {count / took:,.0f} a second, peak {peak:.0f} MB")
    else:
        read_and_triage(int(sys.argv[1]) if len(sys.argv) > 1 else NOTES)
