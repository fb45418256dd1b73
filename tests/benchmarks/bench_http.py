"""The service under load beside a Flask route that only echoes JSON, with the same gunicorn settings, by wrk.

    python -m tests.benchmarks.bench_http [--seconds 10] [--workers 1] [--threads 4] [--facts likely|blind]

Needs the program wrk. Every triage has another set of facts: such as one fault shows, told to the desk or measured by a
technician (likely), or drawn blindly, so that they contradict one another as no call does (blind). Prints requests a
second and latencies at 1, 8 and 32 clients with their ratios, the latencies while requests come at half the rate that
was reached, what everything outside ``triage()`` costs as a multiple of an echo, and the time to ready.
"""

from __future__ import annotations

import argparse
import http.client
import itertools
import json
import os
import random
import re
import shutil
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import requests

from rules import Enquiry, Expert, open_book
from service.app import create_app
from tests.benchmarks.cases import likely_sets
from tests.service.running import free_port, served

CLIENTS = (1, 8, 32)
BODIES = 1500
CONNECTIONS = 16  # of the steady rate
SCRIPT = """
local bodies, at = {}, 0
for line in io.lines("%s") do bodies[#bodies + 1] = line end
wrk.method = "POST"
wrk.headers["Content-Type"] = "application/json"
request = function()
  at = at %% #bodies + 1
  return wrk.format(nil, nil, nil, bodies[at])
end
"""
ECHO = """
import sys
from flask import Flask, jsonify, request
from gunicorn.app.base import BaseApplication
from service.serving import Serving, options_for

class Echo(BaseApplication):
    def load_config(self):
        given = Serving(port=int(sys.argv[1]), workers=int(sys.argv[2]), threads=int(sys.argv[3]))
        options = options_for(given) | {"worker_class": "gthread", "loglevel": "error"}
        for name, value in options.items():
            self.cfg.set(name, value)

    def load(self):
        app = Flask("echo")
        app.post("/v1/triage", endpoint="echo")(lambda: jsonify(request.get_json()))
        app.get("/readyz", endpoint="ready")(lambda: "ready")
        return app

Echo().run()
"""


@dataclass(frozen=True)
class Load:
    """What wrk measured: requests a second, and milliseconds. ``wrong``: answers other than 200, and lost ones."""

    rate: float
    p50: float
    p99: float
    wrong: int


def distinct_bodies(expert: Expert, number: int, chance: random.Random) -> list[str]:
    """Triage requests that are answered, no two with the same facts."""
    terms = [term for term in expert.book.facts.values() if term.kind == "choice" and not term.derived]
    places = expert.book.appliances["radiant_range"].positions
    client = create_app(expert).test_client()
    found: dict[str, None] = {}
    while len(found) < number:
        facts: list[dict[str, Any]] = []
        for term in chance.sample(terms, chance.randint(4, 9)):
            fact: dict[str, Any] = {
                "fact": term.fact,
                "value": chance.choice(list(term.values)),
                "source": "technician",
            }
            if term.place == "surface":
                fact["where"] = chance.choice(places)
            facts.append(fact)
        body = json.dumps({"facts": facts, "role": "technician"})
        if client.post("/v1/triage", data=body, content_type="application/json").status_code == 200:
            found[body] = None
    return list(found)


def likely_bodies(expert: Expert, number: int) -> list[str]:
    """Triage requests with the facts that one fault shows, half from the desk and half from technicians."""
    half, roles = (number + 1) // 2, ("desk", "technician")
    made = [[likely_body(enquiry) for enquiry in likely_sets(expert, half, role)] for role in roles]
    return [body for pair in zip(*made, strict=True) for body in pair][:number]


def likely_body(enquiry: Enquiry) -> str:
    """The request that asks it."""
    facts = [
        {
            "fact": f.fact,
            "value": f.value,
            "source": f.source,
            "where": f.where,
            "between": f.between,
            "while": f.during,
        }
        for f in enquiry.facts
    ]
    return json.dumps({"facts": facts, "role": enquiry.role})


class Steady:
    """Requests at a steady rate, whether or not the last is answered, over so many connections; ms of each."""

    def __init__(self, port: int, bodies: Sequence[str], rate: float, connections: int = CONNECTIONS) -> None:
        self.port, self.bodies, self.rate = port, bodies, rate
        self.took: list[float] = []
        self.due = itertools.count()
        self.threads = [threading.Thread(target=self._ask) for _ in range(connections)]

    def run(self, seconds: float) -> Load:
        self.began = time.perf_counter() + 0.1
        self.most = int(seconds * self.rate)
        for thread in self.threads:
            thread.start()
        for thread in self.threads:
            thread.join()
        cuts = statistics.quantiles(self.took, n=100)
        return Load(self.rate, cuts[49], cuts[98], self.most - len(self.took))

    def _ask(self) -> None:
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=30)
        while (number := next(self.due)) < self.most:
            due = self.began + number / self.rate
            time.sleep(max(0.0, due - time.perf_counter()))
            body = self.bodies[number % len(self.bodies)]
            connection.request("POST", "/v1/triage", body, {"Content-Type": "application/json"})
            response = connection.getresponse()
            response.read()
            if response.status == 200:
                self.took.append((time.perf_counter() - due) * 1e3)  # from when it was due, so that waiting counts
        connection.close()


def wrk(port: int, clients: int, seconds: int, script: Path) -> Load:
    command = ["wrk", "-t1", f"-c{clients}", f"-d{seconds}s", "--latency", "-s", str(script)]
    told = subprocess.run([*command, f"http://127.0.0.1:{port}/v1/triage"], capture_output=True, text=True, check=True)
    text = told.stdout
    wrong = sum(map(int, re.findall(r"Non-2xx or 3xx responses: (\d+)", text)))
    wrong += sum(map(int, re.findall(r"(?:connect|read|write|timeout) (\d+)", text)))
    rate = float(re.search(r"Requests/sec:\s+([\d.]+)", text)[1])  # type: ignore[index]
    return Load(rate, _ms(text, "50%"), _ms(text, "99%"), wrong)


def _ms(text: str, share: str) -> float:
    number, unit = re.search(rf"{share}\s+([\d.]+)(us|ms|s)\b", text).groups()  # type: ignore[union-attr]
    return float(number) * {"us": 1e-3, "ms": 1.0, "s": 1e3}[unit]


@contextmanager
def echoing(workers: int, threads: int) -> Iterator[int]:
    port = free_port()
    process = subprocess.Popen([sys.executable, "-c", ECHO, str(port), str(workers), str(threads)])
    try:
        for _ in range(100):
            try:
                requests.get(f"http://127.0.0.1:{port}/readyz", timeout=2)
                break
            except requests.ConnectionError:
                time.sleep(0.05)
        yield port
    finally:
        process.terminate()
        process.wait(30)


def so_far(port: int) -> tuple[float, float, float]:
    """Seconds in triage(), how many, and seconds in the application, as the service itself counts them."""
    text = requests.get(f"http://127.0.0.1:{port}/metrics", timeout=10).text

    def number(name: str) -> float:
        found = re.search(rf"^{re.escape(name)} (\S+)", text, re.MULTILINE)
        return float(found[1]) if found else 0.0

    return (
        number("coldleg_decision_duration_seconds_sum"),
        number("coldleg_decision_duration_seconds_count"),
        number('coldleg_http_request_duration_seconds_sum{route="/v1/triage"}'),
    )


def main() -> None:
    os.environ["COLDLEG_ANSWERS"] = "0"  # every body is another one, and is to be worked out
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=int, default=10)
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--threads", type=int, default=4)
    parser.add_argument("--facts", choices=("likely", "blind"), default="likely")
    given = parser.parse_args()
    if shutil.which("wrk") is None:
        sys.exit("wrk is not installed (Debian: apt-get install wrk)")
    folder = Path(tempfile.mkdtemp(prefix="coldleg-bench-"))
    expert = open_book()
    blind = given.facts == "blind"
    bodies = distinct_bodies(expert, BODIES, random.Random(1)) if blind else likely_bodies(expert, BODIES)
    (folder / "bodies").write_text("\n".join(bodies) + "\n")
    script = folder / "post.lua"
    script.write_text(SCRIPT % (folder / "bodies"))
    try:
        _measure(given, script, bodies)
    finally:
        shutil.rmtree(folder)


def _measure(given: argparse.Namespace, script: Path, bodies: Sequence[str]) -> None:
    options = ("--workers", str(given.workers), "--threads", str(given.threads), "--log-level", "warning")
    print(f"{given.workers} workers, {given.threads} threads, {given.seconds} s each, {BODIES} distinct fact sets")
    print(f"{'clients':>7} {'':10}{'echo':>10}{'triage':>10}{'ratio':>8}")
    with echoing(given.workers, given.threads) as echo_port, served(*options) as service:
        print(f"ready after {service.ready_after:.2f} s")
        for clients in CLIENTS:
            before = so_far(service.port)
            echo, triage = (wrk(port, clients, given.seconds, script) for port in (echo_port, service.port))
            deciding, count, answering = (b - a for a, b in zip(before, so_far(service.port), strict=True))
            _told(str(clients), echo, triage)
            if clients == 1:
                inside, around = deciding / count * 1e3, (answering - deciding) / count * 1e3
                echo_ms = 1e3 / echo.rate
        ports = ((echo_port, echo.rate), (service.port, triage.rate))
        echo, triage = (Steady(port, bodies, rate / 2).run(given.seconds) for port, rate in ports)
        _told("half", echo, triage)
        print(f"one client: {inside:.2f} ms in triage(), {around:.2f} ms around it in the application,")
        print(f"which is {around / echo_ms:.2f} times a whole echo of {echo_ms:.2f} ms")


def _told(clients: str, echo: Load, triage: Load) -> None:
    for name, a, b in (
        ("req/s", echo.rate, triage.rate),
        ("p50 ms", echo.p50, triage.p50),
        ("p99 ms", echo.p99, triage.p99),
    ):
        print(f"{clients:>7} {name:10}{a:10.2f}{b:10.2f}{b / a:8.2f}")
    print(f"{clients:>7} {'wrong':10}{echo.wrong:10}{triage.wrong:10}")


if __name__ == "__main__":
    main()
