"""Cases under load: messages at many cases at once, and reading and listing among few and very many.

    python -m tests.benchmarks.bench_cases [--clients 20] [--seconds 15] [--pause 1 0] [--many 100000] [--postgres]

First a service is started and each client conducts a case of its own, message after message, --pause seconds apart on
average: by how long an agent thinks and types. A pause of 0 has as many requests under way as there are clients at
every moment, so it tells what the machine can do, and everybody waits for everybody. Each pause given is a run of its
own. Printed are messages a second and latencies, from the first byte sent to the last received; what is measured began
after a second of warming up. One request in twenty is sent again under its Idempotency-Key, as after a lost connection.
Every case is read back, and a message that is lost or doubled ends it with 1. --postgres starts a PostgreSQL for it. A
soak is --clients 50 --seconds 300 --pause 2.5 --many 0, once with and once without it. Then a
database of 1,000 cases and one of --many are filled, and one case is read, and a page listed, from each. All calls are
invented.
"""

from __future__ import annotations

import argparse
import contextlib
import http.client
import json
import random
import statistics
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from sqlalchemy import insert

from service.cases.database import Database
from service.cases.store import Case, Filter, Store, new_id
from service.cases.tables import cases, entries
from tests.service.cases.postgres import postgres, programs
from tests.service.databases import new_store
from tests.service.running import served

SAID = (
    "no burner heats but the clock is on", "no", "not sure", "yes", "no wait, the clock is dead", "why do you ask?",
    "left front", "the oven is cold too", "how do you know?", "about 40 low",
)  # fmt: skip
FEW = 1000
AT_ONCE = 5000
ENTRIES = 4  # of each case that is filled in
READS = 400
REPEATED = 0.05  # share of the messages that are sent again
WARMING = 1.0  # seconds, in which the clients come one by one; not measured


class Caller:
    """One case of a running service, and what its service took to answer, in ms."""

    def __init__(self, port: int, who: int, pause: float) -> None:
        self.connection = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
        self.who, self.took, self.said = who, list[float](), list[str]()
        self.pause, self.chance = pause, random.Random(who)
        self.heard = self.repeated = 0

    def conduct(self, begins: float, until: float) -> None:
        time.sleep(self.chance.uniform(0, max(WARMING, self.pause)))
        status, etag, form = self._send("POST", "/v1/cases", {"reference": f"bench {self.who}"})
        assert status == 201, form
        self.case = form["case"]["id"]
        while time.monotonic() < until:
            text = SAID[len(self.said) % len(SAID)]
            headers = {"If-Match": etag, "Idempotency-Key": f"{self.case}-{len(self.said)}"}
            began = time.perf_counter()
            status, etag, form = self._send("POST", f"/v1/cases/{self.case}/messages", {"text": text}, headers)
            if time.monotonic() > begins:
                self.took.append((time.perf_counter() - began) * 1000)
            assert status == 200, form
            self.said.append(text)
            self.heard += 1
            if self.chance.random() < REPEATED:
                again = self._send("POST", f"/v1/cases/{self.case}/messages", {"text": text}, headers)
                assert again == (200, etag, form), again
                self.repeated += 1
            time.sleep(self.pause * self.chance.uniform(0.5, 1.5))
            if len(self.said) % len(SAID) == 0:  # a call is not endless
                self.check()
                self.said.clear()
                _, etag, form = self._send("POST", "/v1/cases", {"reference": f"bench {self.who}"})
                self.case = form["case"]["id"]

    def check(self) -> None:
        _, _, form = self._send("GET", f"/v1/cases/{self.case}")
        heard = [entry["text"] for entry in form["history"] if entry["kind"] == "message"]
        assert heard == self.said, (heard, self.said)

    def _send(
        self, method: str, path: str, body: Any = None, headers: dict[str, str] | None = None
    ) -> tuple[int, str, dict[str, Any]]:
        sent = None if body is None else json.dumps(body)
        self.connection.request(method, path, sent, {"Content-Type": "application/json", **(headers or {})})
        response = self.connection.getresponse()
        return response.status, response.headers.get("ETag", ""), json.loads(response.read())


@dataclass(frozen=True)
class Conversed:
    """What came of messages at many cases at once: how many were heard, how many sent again, ms of those measured."""

    heard: int
    repeated: int
    took: list[float]
    failed: list[Exception]


def conversing(clients: int, seconds: float, pause: float, *options: str) -> Conversed:
    """Messages at so many cases at once; each case is then held against what was said in it."""
    failed: list[Exception] = []
    with served(*options) as service:
        callers = [Caller(service.port, who, pause) for who in range(clients)]
        begins = time.monotonic() + max(WARMING, pause)
        until = begins + seconds

        def work(caller: Caller) -> None:
            try:
                caller.conduct(begins, until)
                caller.check()
            except (AssertionError, OSError, http.client.HTTPException) as error:
                failed.append(error)
            finally:
                caller.connection.close()

        threads = [threading.Thread(target=work, args=(caller,)) for caller in callers]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
    took = sorted(ms for caller in callers for ms in caller.took)
    heard, repeated = sum(caller.heard for caller in callers), sum(caller.repeated for caller in callers)
    return Conversed(heard, repeated, took, failed)


def _shown(clients: int, seconds: float, pause: float, done: Conversed) -> str:
    took, load = done.took, f"a message each {pause:g} s" if pause else "one message after another"
    told = f"{clients} cases at once, {load}: {done.heard:,} messages heard, {done.repeated:,} sent again"
    if took:
        p50, p99 = took[len(took) // 2], took[int(len(took) * 0.99)]
        told += f"; {len(took) / seconds:.0f} a second, p50 {p50:.1f} ms, p99 {p99:.1f} ms, longest {took[-1]:.0f} ms"
    wrong = f"\n{len(done.failed)} CASES WENT WRONG, for example: {str(done.failed[0])[:500]}" if done.failed else ""
    return told + (wrong or "\nevery message is there once")


def filled(database: Database, number: int) -> list[str]:
    """So many cases of one owner, a minute apart. Returns some of their ids."""
    chance, start = random.Random(1), datetime(2020, 1, 1, tzinfo=UTC)
    ids = []
    for first in range(0, number, AT_ONCE):
        rows, said = [], []
        for n in range(first, min(first + AT_ONCE, number)):
            at, state = start + timedelta(minutes=n), "closed" if chance.random() < 0.95 else "open"
            rows.append(Case(new_id(), "local", f"T-{n}", state, ENTRIES, at, at).__dict__)  # type: ignore[arg-type]
            body = {"text": "the oven is cold " * 5}
            said += [{"case_id": rows[-1]["id"], "number": k, "kind": "message", "at": at, "body": body}
                     for k in range(1, ENTRIES + 1)]  # fmt: skip
        with database.writing() as connection:
            connection.execute(insert(cases), rows)
            connection.execute(insert(entries), said)
        ids += [row["id"] for row in chance.sample(rows, min(len(rows), 40))]
    return ids


def reading(database: Database, ids: list[str], number: int) -> dict[str, float]:
    """Median ms of each kind of reading."""
    store, chance = Store(database), random.Random(2)
    day = datetime(2020, 1, 1, tzinfo=UTC) + timedelta(minutes=number // 2)
    ways: dict[str, Callable[[], Any]] = {
        "get one case": lambda: store.whole("local", chance.choice(ids)),
        "first page": lambda: store.page("local", Filter(), None, 50),
        "page in the middle": lambda: store.page("local", Filter(), (day, ""), 50),
        "open ones": lambda: store.page("local", Filter(state="open"), None, 50),
        "by reference": lambda: store.page("local", Filter(reference=f"T-{chance.randrange(number)}"), None, 50),
        "of a day": lambda: store.page("local", Filter(since=day, before=day + timedelta(days=1)), None, 50),
    }
    return {name: _median(way) for name, way in ways.items()}


def _median(way: Callable[[], Any]) -> float:
    took = []
    for _ in range(READS):
        began = time.perf_counter()
        way()
        took.append((time.perf_counter() - began) * 1000)
    return statistics.median(took)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--clients", type=int, default=20)
    parser.add_argument("--seconds", type=float, default=15)
    parser.add_argument("--pause", type=float, nargs="+", default=[1.0, 0.0])
    parser.add_argument("--many", type=int, default=100_000)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--threads", type=int, default=10)
    parser.add_argument("--postgres", action="store_true", help="Keep the messages in PostgreSQL; else SQLite.")
    asked = parser.parse_args()
    options = ["--workers", str(asked.workers), "--threads", str(asked.threads), "--log-level", "error"]
    sound, found = True, []
    with contextlib.ExitStack() as stack:
        server = stack.enter_context(postgres(programs() or Path())) if asked.postgres else None
        for pause in asked.pause:
            where = ["--database", server.new_database()] if server is not None else []
            done = conversing(asked.clients, asked.seconds, pause, *options, *where)
            print(_shown(asked.clients, asked.seconds, pause, done), flush=True)
            sound = sound and not done.failed
    for number in (FEW, asked.many) if asked.many else ():
        with tempfile.TemporaryDirectory() as folder:
            database = new_store(Path(folder)).database
            ids = filled(database, number)
            found.append(reading(database, ids, number))
            database.close()
    for name in found[0] if found else ():
        few, many = found[0][name], found[1][name]
        print(f"{name:20} {few:7.2f} ms of {FEW:,}, {many:7.2f} ms of {asked.many:,}: {many / few:.2f} times")
    return 0 if sound else 1


if __name__ == "__main__":
    sys.exit(main())
