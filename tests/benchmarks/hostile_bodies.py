"""20,000 hostile bodies against the application: every answer is right or a 4xx problem, none is a 5xx.

python -m tests.benchmarks.hostile_bodies [number]
"""

from __future__ import annotations

import random
import sys
import time
from collections import Counter

from rules import open_book
from service.app import create_app
from tests.service.hostile import bodies


def main() -> None:
    number = int(sys.argv[1]) if len(sys.argv) > 1 else 20_000
    client = create_app(open_book()).test_client()
    counts: Counter[int] = Counter()
    slowest = (0.0, b"")
    for n, (path, body) in enumerate(bodies(random.Random(int(sys.argv[2]) if len(sys.argv) > 2 else 20_000))):
        if n == number:
            break
        began = time.perf_counter()
        response = client.post(path, data=body, content_type="application/json")
        slowest = max(slowest, (time.perf_counter() - began, body[:200]))
        counts[response.status_code] += 1
        wrong = response.mimetype != ("application/json" if response.status_code == 200 else "application/problem+json")
        if response.status_code >= 500 or wrong:
            print(response.status_code, response.mimetype, path, body[:1000])
    print(dict(counts), f"slowest {slowest[0]:.3f} s {slowest[1]!r}")
    sys.exit(any(status >= 500 for status in counts))


if __name__ == "__main__":
    main()
