"""Where the time of a case goes, stage by stage: the table in DEVELOPERS.md.

``python -m tests.benchmarks.bench_stages [--cases 300] [--rounds 7] [--write]``. Every case is distinct and goes the
whole way, from the bytes of its request to the bytes of its answer; a stage is charged with what it does itself, not
with what it calls of another stage. Processor time of the thread, of several rounds the best for each stage.
Looking at the clock costs about a third of a microsecond, twice for each stage.
"""

from __future__ import annotations

import argparse
import functools
import io
import os
import time
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from importlib import import_module
from pathlib import Path
from typing import Any
from unittest.mock import patch

from rules import Expert, open_book
from service.app import create_app
from service.batching.incoming import Row
from service.batching.running import Answerer
from service.sparing import settle
from tests.benchmarks.bench_http import likely_body
from tests.benchmarks.bench_notes import note_rows
from tests.benchmarks.cases import likely_sets

DEVELOPERS = Path(__file__).resolve().parents[2] / "DEVELOPERS.md"
START, END = "<!-- stages: begin -->", "<!-- stages: end -->"
REST = "the rest of triage(): danger, gate, id"
AROUND = "around it in the application"
#: The stages and where each begins: the module that calls it, and by which name.
STAGES: dict[str, tuple[str, ...]] = {
    "reading the request": (
        "service.rows.parse",
        "service.rows.enquiry_from_json",
        "service.http.triage.read_json",
        "service.http.triage.enquiry_from_json",
    ),
    "reading the note": ("rules.triage.read_note",),
    "laying the case out": ("rules.triage.lay_out",),
    "chaining the rules": ("rules.chaining.engine.Chainer.run",),
    "belief": ("rules.triage._belief",),
    "two faults at once": ("rules.belief.pairs.with_pairs",),
    "choosing the next tests": ("rules.triage.choose",),
    "the tests in words": ("rules.triage.advise",),
    "conclusions and reasons": ("rules.concluding.conclude",),
    "repairs in order": ("rules.triage.order_of", "rules.triage.repair_steps", "rules.triage.next_step"),
    "the visit": ("rules.visit.plan",),
    REST: ("rules.recalling.triage",),
    "the answer dumped": ("service.http.context.json_line", "service.batching.outgoing.json_line"),
}
Spent = Counter[str]


class Clock:
    """Charges processor time to the stage that is being worked on."""

    def __init__(self) -> None:
        self.spent: Spent = Counter()
        self._within = [AROUND]
        self._since = time.thread_time_ns()

    def _charge(self) -> None:
        now = time.thread_time_ns()
        self.spent[self._within[-1]] += now - self._since
        self._since = now

    def timed(self, stage: str, work: Callable[..., Any]) -> Callable[..., Any]:
        """``work``, charged to ``stage``."""

        @functools.wraps(work)
        def done(*given: Any, **named: Any) -> Any:
            self._charge()
            self._within.append(stage)
            try:
                return work(*given, **named)
            finally:
                self._charge()
                self._within.pop()

        return done

    def over(self, work: Callable[[], object]) -> Spent:
        """What each stage is charged with while ``work`` runs, nanoseconds."""
        self.spent, self._since = Counter(), time.thread_time_ns()
        work()
        self._charge()
        return self.spent


@contextmanager
def clocked() -> Iterator[Clock]:
    """Every stage on the clock."""
    clock = Clock()
    with ExitStack() as held:
        for stage, names in STAGES.items():
            for name in names:
                owner, _, attribute = name.rpartition(".")
                place: Any = _found(owner)
                held.enter_context(patch.object(place, attribute, clock.timed(stage, getattr(place, attribute))))
        yield clock


def _found(name: str) -> Any:
    """A module, or a class in one; by name, because a package may show a function of the module's name."""
    owner, _, last = name.rpartition(".")
    return getattr(import_module(owner), last) if last[:1].isupper() else import_module(name)


def over_http(expert: Expert, count: int, clock: Clock) -> dict[str, Callable[[], object]]:
    """Requests of distinct facts through the application, without the server and its socket."""
    app = create_app(expert)
    inside: Any = app.extensions["coldleg"]
    inside.wire = clock.timed("the answer dumped", inside.wire)
    made: dict[str, Callable[[], object]] = {}
    for role in ("desk", "technician"):
        bodies = [likely_body(enquiry).encode() for enquiry in likely_sets(expert, count, role)]  # type: ignore[arg-type]
        made[f"facts, {role}, HTTP"] = functools.partial(_ask, app, bodies)
    return made


def _ask(app: Any, bodies: Sequence[bytes]) -> None:
    for body in bodies:
        status = []
        answer = app.wsgi_app(_environ(body), lambda given, _headers, status=status: status.append(given))
        assert b"".join(answer)
        assert status == ["200 OK"]


def _environ(body: bytes) -> dict[str, Any]:
    """What the server hands over of one request."""
    return {
        "REQUEST_METHOD": "POST", "PATH_INFO": "/v1/triage", "QUERY_STRING": "", "SCRIPT_NAME": "",
        "SERVER_NAME": "localhost", "SERVER_PORT": "80", "SERVER_PROTOCOL": "HTTP/1.1", "HTTP_HOST": "localhost",
        "CONTENT_TYPE": "application/json", "CONTENT_LENGTH": str(len(body)), "wsgi.input": io.BytesIO(body),
        "wsgi.url_scheme": "http", "wsgi.errors": io.StringIO(),
    }  # fmt: skip


def through_batch(expert: Expert, count: int, clock: Clock) -> dict[str, Callable[[], object]]:
    """Rows of distinct notes through a batch."""
    answerer = Answerer(expert, "ndjson")
    answerer.dump = clock.timed("the answer dumped", answerer.dump)
    rows: list[Row] = note_rows(count)

    def work() -> None:
        assert not any(answerer.answer(row).seen.failed for row in rows)

    return {"notes, batch": work}


def measured(expert: Expert, count: int, rounds: int) -> dict[str, Spent]:
    """For each kind of case, nanoseconds a case by stage; the best round for each stage."""
    with patch.dict(os.environ, COLDLEG_ANSWERS="0"), clocked() as clock:
        works = over_http(expert, count, clock) | through_batch(expert, count, clock)
        best: dict[str, Spent] = {}
        for name in works:
            clock.over(works[name])  # whatever is worked out once is worked out now
        settle()
        for _ in range(rounds):
            for name, work in works.items():
                spent = clock.over(work)
                held = best.setdefault(name, spent)
                best[name] = Counter({stage: min(held[stage], spent[stage]) for stage in spent})
    return {name: Counter({stage: took // count for stage, took in spent.items()}) for name, spent in best.items()}


def table(found: dict[str, Spent]) -> str:
    """The table in Markdown: microseconds a case, and the share of the whole."""
    lines = ["| stage | " + " | ".join(found) + " |", "|---|" + "---:|" * len(found)]
    whole = {name: sum(spent.values()) for name, spent in found.items()}
    for stage in (*STAGES, AROUND):
        cells = [_cell(spent[stage], whole[name]) for name, spent in found.items()]
        lines.append(f"| {stage} | " + " | ".join(cells) + " |")
    return "\n".join([*lines, "| whole | " + " | ".join(f"{took / 1e6:.2f} ms" for took in whole.values()) + " |"])


def _cell(took: int, whole: int) -> str:
    return f"{took / 1e3:,.0f} us, {took / whole:.0%}" if took else "-"


def main() -> None:
    """Measure, then print or write."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--cases", type=int, default=300)
    parser.add_argument("--rounds", type=int, default=7)
    parser.add_argument("--write", action="store_true", help="put the table into DEVELOPERS.md")
    given = parser.parse_args()
    made = table(measured(open_book(), given.cases, given.rounds))
    if not given.write:
        print(made)
        return
    text = DEVELOPERS.read_text(encoding="utf-8")
    before, _, rest = text.partition(START)
    _, _, after = rest.partition(END)
    DEVELOPERS.write_text(f"{before}{START}\n{made}\n{END}{after}", encoding="utf-8")


if __name__ == "__main__":
    main()
