"""20,000 hostile requests against the application: every answer is right or a 4xx problem, none is a 5xx.

python -m tests.benchmarks.hostile_bodies [number] [seed]

Half are bodies for the routes that keep nothing; half are about cases, with hostile addresses, If-Match and
Idempotency-Key besides. At the end every entry of the case is still there once.
"""

from __future__ import annotations

import itertools
import random
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

from rules import open_book
from service.app import create_app
from service.settings import Settings
from tests.service.databases import new_store
from tests.service.hostile import bodies
from tests.service.hostile_cases import Sent, requests_about, send, wrong_in


def main() -> None:
    number, seed = (int(given) for given in [*sys.argv[1:], *("20000", "20000")[len(sys.argv) - 1 :]])
    with tempfile.TemporaryDirectory() as folder:
        store = new_store(Path(folder))
        client = create_app(open_book(), Settings(store=store)).test_client()
        case = client.post("/v1/cases", json={"text": "the oven is cold"}).get_json()["case"]["id"]
        counts: Counter[int] = Counter()
        failed, slowest = 0, (0.0, b"")
        for sent in itertools.islice(_mixed(case, seed), number):
            began = time.perf_counter()
            response = send(client, sent)
            slowest = max(slowest, (time.perf_counter() - began, (sent.body or b"")[:200]))
            counts[response.status_code] += 1
            if wrong := wrong_in(response):
                failed += 1
                print(wrong, sent.method, sent.path, sent.headers, (sent.body or b"")[:1000])
        whole = store.whole("local", case)
        sound = [entry.number for entry in whole.entries] == list(range(1, whole.case.version + 1))
        print(dict(counts), f"slowest {slowest[0]:.3f} s {slowest[1]!r}")
        print(f"{failed} wrong; the case has {len(whole.entries)} entries, {'each once' if sound else 'NOT SOUND'}")
        store.database.close()
    sys.exit(bool(failed) or not sound)


def _mixed(case: str, seed: int) -> Iterator[Sent]:
    about_cases, others = requests_about(case, random.Random(seed)), bodies(random.Random(seed))
    while True:
        path, body = next(others)
        yield Sent("POST", path, {}, body)
        yield next(about_cases)


if __name__ == "__main__":
    main()
