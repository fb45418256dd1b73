"""Every benchmark in one run, as the table in the README.

``python -m tests.benchmarks.all [--skip chaining,http] [--rows 10000] [--write]``. Without ``--write`` it prints the
table. Nothing is recalled from an earlier answer in any row. Processor time, the best of several runs, unless a row
says otherwise; ratios are of two things measured in the same run.
"""

from __future__ import annotations

import argparse
import os
import platform
import random
import re
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

from rules import Enquiry, Expert, open_book, triage
from rules.appliance.remembering import VARIABLE as CACHE
from rules.notes import read_note
from tests.benchmarks import bench_belief, bench_chaining, bench_notes
from tests.benchmarks.cases import fact_sets, likely_sets, note_enquiries

README = Path(__file__).resolve().parents[2] / "README.md"
START, END = "<!-- measured: begin -->", "<!-- measured: end -->"
Row = tuple[str, str, str]  # what, measured, goal or peer
CASES, ROUNDS = 300, 5
READY = """
import re, time
from rules import Enquiry, open_book, triage
triage(open_book(), Enquiry("the oven is dead but the clock is on"))
peak = re.search(r"VmHWM:\\s+(\\d+)", open("/proc/self/status").read())  # of this program alone
print(time.process_time(), int(peak[1]) / 1024)
"""


def chaining() -> Iterator[Row]:
    """Rules chained, beside stock experta and CLIPS through clipspy; medians of time on the clock."""
    book, dice = open_book().book, random.Random(7)
    rules = list(book.rules.values())
    cases = [bench_chaining.book_case(book, dice, 15) for _ in range(CASES)]
    yield _beside(
        f"chaining: the book's {len(rules)} rules, 15 distinct facts", bench_chaining.compared("", rules, cases)
    )
    for size, facts in ((50, 15), (200, 15), (800, 15), (2000, 15), (200, 5), (200, 50), (200, 200)):
        made = bench_chaining.invented_rules(size, dice)
        cases = [bench_chaining.invented_case(made, dice, facts) for _ in range(CASES // 4)]
        yield _beside(f"chaining: {size} invented rules, {facts} facts", bench_chaining.compared("", made, cases))
    for size in bench_chaining.PLAIN_SIZES if bench_chaining.INSTALLED else ():
        spent = bench_chaining.beside_durable(size, 15, CASES // 4, dice)
        ratio = spent["ours"] / spent["durable_rules"]
        peer = f"durable_rules {spent['durable_rules']:.3f} ms (ours {ratio:.2f} of it)"
        yield f"chaining: {size} invented rules of plain conjunctions, 15 facts", f"{spent['ours']:.3f} ms", peer


def _beside(name: str, spent: dict[str, float]) -> Row:
    peers = f"stock experta {spent['stock']:.2f} ms ({spent['stock'] / spent['ours']:.1f} times ours), "
    return (
        name,
        f"{spent['ours']:.3f} ms",
        peers + f"CLIPS {spent['CLIPS']:.3f} ms (ours {spent['ours'] / spent['CLIPS']:.2f} of it)",
    )


def triages() -> Iterator[Row]:
    """Whole triages of distinct facts and notes, in process."""
    expert = open_book()
    for name, enquiries, goal in (
        ("triage: facts as one fault gives them, desk", likely_sets(expert, CASES, "desk"), "1.0 ms"),
        ("triage: facts as one fault gives them, technician", likely_sets(expert, CASES, "technician"), "1.0 ms"),
        ("triage: facts drawn blindly, desk", fact_sets(expert, CASES, "desk"), "none; they contradict one another"),
        ("triage: notes", note_enquiries(CASES), "1.0 ms"),
    ):
        yield name, f"{_milliseconds(expert, enquiries):.2f} ms a case", goal
    texts = [str(enquiry.note) for enquiry in note_enquiries(CASES)]
    places = expert.book.appliances["radiant_range"].positions
    spent = _best(lambda: [read_note(text, expert.lexicon, places) for text in texts])
    yield "reading notes alone", f"{len(texts) / spent:,.0f} a second", "3,000 a second"


def _milliseconds(expert: Expert, enquiries: Sequence[Enquiry]) -> float:
    return _best(lambda: [triage(expert, enquiry) for enquiry in enquiries]) / len(enquiries) * 1e3


def _best(work: Callable[[], object]) -> float:
    spent = []
    for _ in range(ROUNDS):
        began = time.process_time()
        work()
        spent.append(time.process_time() - began)
    return min(spent)


def http() -> Iterator[Row]:
    """HTTP with distinct facts beside a route that echoes; needs wrk."""
    if shutil.which("wrk") is None:
        yield "HTTP", "not measured", "wrk is not installed"
        return
    command = [sys.executable, "-m", "tests.benchmarks.bench_http", "--seconds", "5"]
    told = subprocess.run(command, capture_output=True, text=True, check=True).stdout
    for clients, what, echo, ours, ratio in re.findall(
        r"^ +(\d+|half) (req/s|p99 ms) +(\S+) +(\S+) +(\S+)$", told, re.MULTILINE
    ):
        if clients == "half" and what == "p99 ms":
            yield "HTTP, at half the rate reached: p99 ms", f"{ours}, {ratio} of the echo's {echo}", "4 times it"
        elif what == "req/s" and clients != "half":
            yield f"HTTP, {clients} clients: req/s", f"{ours}, {ratio} of the echo's {echo}", "0.25 of it"
    around = re.search(r"which is (\S+) times a whole echo of (\S+) ms", told)
    if around:
        yield "HTTP: all around triage()", f"{around[1]} of a whole echo's {around[2]} ms", "1.0 of it"


def batch(rows: int) -> Iterator[Row]:
    """A batch of notes through the command, start-up included; time on the clock."""
    rate = bench_notes.distinct_rows(CASES, ROUNDS)
    yield "batch: distinct notes, one process, without start-up", f"{rate:,.0f} a second of processor time", "1,000"
    for count, jobs, took, peak in bench_notes.batches([rows]):
        yield (
            f"batch: {count:,} rows, most of them declined, --jobs {jobs}",
            f"{count / took:,.0f} rows a second, peak {peak:.0f} MB",
            "120 MB",
        )


def start() -> Iterator[Row]:
    """From nothing to the first answer, and what that takes of memory."""
    with tempfile.TemporaryDirectory() as folder:
        for name, cache, goal in (
            ("cold", "off", "3 s"),
            ("", folder, ""),
            ("with what was remembered", folder, "1.5 s; 120 MB"),
        ):
            environment = {**os.environ, CACHE: cache, "OPENBLAS_NUM_THREADS": "1"}
            done = subprocess.run(
                [sys.executable, "-c", READY], capture_output=True, text=True, check=True, env=environment
            )
            seconds, peak = map(float, done.stdout.split())
            if name:
                yield f"start to first answer, {name}", f"{seconds:.2f} s, peak {peak:.0f} MB", goal


def choosing() -> Iterator[Row]:
    """The next test at full size."""
    for name, best, _, goal in bench_belief.measured():
        yield f"belief at {bench_belief.HYPOTHESES} hypotheses: {name}", f"{best:.0f} us", goal


def machine() -> str:
    """The machine in a line."""
    named = (
        re.search(r"model name\s*: (.+)", Path("/proc/cpuinfo").read_text()) if Path("/proc/cpuinfo").exists() else None
    )
    return f"{named[1] if named else platform.machine()}, {os.cpu_count()} cores, Python {platform.python_version()}"


def table(rows: Sequence[Row]) -> str:
    """The table in Markdown, the machine above it."""
    lines = [f"Measured on {machine()}; a shared machine, so the ratios say more than the times.", ""]
    lines += ["| what | measured | goal or peer |", "|---|---|---|"]
    return "\n".join([*lines, *("| " + " | ".join(row) + " |" for row in rows)])


def main(arguments: Sequence[str] | None = None) -> None:
    """Measure, then print or write."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--skip", default="", help="parts to leave out: chaining,triages,http,batch,start,choosing")
    parser.add_argument("--rows", type=int, default=2_000, help="rows of the batch; up to 1,000,000 take an hour")
    parser.add_argument(
        "--write", action="store_true", help="put the table into the README; what was left out keeps its rows there"
    )
    given = parser.parse_args(arguments)
    parts = {"chaining": chaining, "triages": triages, "http": http, "batch": lambda: batch(given.rows), "start": start,
             "choosing": choosing}  # fmt: skip
    unknown = set(filter(None, given.skip.split(","))) - parts.keys()
    if unknown:
        parser.error(f"no part {', '.join(sorted(unknown))}; write some of {', '.join(parts)}")
    rows = [row for name, part in parts.items() if name not in given.skip.split(",") for row in part()]
    if not given.write:
        print(table(rows))
        return
    text = README.read_text(encoding="utf-8")
    before, _, rest = text.partition(START)
    kept, _, after = rest.partition(END)
    found = re.findall(r"^\| (\w.*?) \| (.*?) \| (.*?) \|$", kept, re.MULTILINE)
    held = {row[0]: row for row in found if row[0] != "what"} | {row[0]: row for row in rows}
    README.write_text(f"{before}{START}\n{table(list(held.values()))}\n{END}{after}", encoding="utf-8")


if __name__ == "__main__":
    main()
