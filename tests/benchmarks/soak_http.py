"""Ten minutes at four fifths of what the service can do; the workers' memory must stay flat.

    python -m tests.benchmarks.soak_http [--minutes 10] [--clients 4]

Measures the highest rate for a few seconds first, then holds 80 % of it. Prints the workers' resident memory each half
minute and ends with 1 if it grows by more than 3 % from the first fifth of the time to the end, or an answer is wrong.
"""

from __future__ import annotations

import argparse
import http.client
import random
import sys
import threading
import time
from collections import Counter
from pathlib import Path

from rules import open_book
from tests.benchmarks.bench_http import distinct_bodies
from tests.service.running import Running, served

SHARE, GROWTH = 0.8, 1.03
PROBING = 8.0  # seconds at full rate


def resident(service: Running) -> float:
    """MiB of all workers together, shared pages counted once (proportional set size)."""
    total = 0
    for worker in service.workers():
        for line in Path(f"/proc/{worker}/smaps_rollup").read_text().splitlines():
            if line.startswith("Pss:"):
                total += int(line.split()[1])
    return total / 1024


class Clients:
    """Ask over kept connections; ``pause`` seconds between two requests of each."""

    def __init__(self, port: int, bodies: list[str], number: int, pause: float) -> None:
        self.port, self.bodies, self.pause = port, bodies, pause
        self.counts: Counter[int] = Counter()
        self.end = 0.0
        self.threads = [threading.Thread(target=self._ask, args=(who,)) for who in range(number)]

    def run(self, seconds: float) -> None:
        """Start asking, for so long."""
        self.end = time.monotonic() + seconds
        for thread in self.threads:
            thread.start()

    def wait(self) -> None:
        for thread in self.threads:
            thread.join()

    def _ask(self, who: int) -> None:
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=30)
        chance = random.Random(who)
        due = time.monotonic()
        while time.monotonic() < self.end:
            connection.request("POST", "/v1/triage", chance.choice(self.bodies), {"Content-Type": "application/json"})
            response = connection.getresponse()
            response.read()
            self.counts[response.status] += 1
            due += self.pause
            time.sleep(max(0.0, due - time.monotonic()))
        connection.close()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--minutes", type=float, default=10)
    parser.add_argument("--clients", type=int, default=4)
    given = parser.parse_args()
    bodies = distinct_bodies(open_book(), 1000, random.Random(4))
    with served("--workers", "1", "--threads", "4", "--log-level", "warning") as service:
        probe = Clients(service.port, bodies, given.clients, 0.0)
        probe.run(PROBING)
        probe.wait()
        rate = probe.counts[200] / PROBING * SHARE
        print(f"full rate {rate / SHARE:.0f} a second; holding {rate:.0f} for {given.minutes:g} min")
        load = Clients(service.port, bodies, given.clients, given.clients / rate)
        seconds = given.minutes * 60
        load.run(seconds)
        began, held = time.monotonic(), []
        while (now := time.monotonic() - began) < seconds - 1:
            held.append((now, resident(service)))
            print(f"{now:6.0f} s {held[-1][1]:8.1f} MiB {sum(load.counts.values()):8} answers", flush=True)
            time.sleep(min(30.0, seconds / 20))
        load.wait()
    early = [mib for now, mib in held if now <= seconds / 5][-1]
    wrong = sum(number for status, number in load.counts.items() if status != 200)
    print(f"{dict(load.counts)}; {early:.1f} MiB after a fifth, {held[-1][1]:.1f} MiB at the end")
    sys.exit(held[-1][1] > early * GROWTH or wrong > 0)


if __name__ == "__main__":
    main()
