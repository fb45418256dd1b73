"""Whether a change of code changed any answer.

``python -m tests.benchmarks.same_answers FILE`` writes the answers to some hundred invented cases, on every appliance
and by every role, each as the JSON that goes out; where FILE is there already, it compares and names what differs.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

from rules import Enquiry, Expert, open_book, triage
from service.schemas import TriageSchema
from tests.benchmarks.cases import fact_sets, note_enquiries

FACT_SETS, NOTES = 500, 300


def answers(expert: Expert, enquiries: Iterable[Enquiry]) -> Iterator[str]:
    """Each answer as one line of JSON."""
    dump = TriageSchema(expert.book.facts).dump
    for enquiry in enquiries:
        yield json.dumps(dump(triage(expert, enquiry)), ensure_ascii=False)


def changes(old: Any, new: Any, path: str = "") -> Iterator[str]:
    """Each place in which two answers differ, with what stands there."""
    if isinstance(old, dict) and isinstance(new, dict) and old.keys() == new.keys():
        for name in old:
            yield from changes(old[name], new[name], f"{path}/{name}")
    elif isinstance(old, list) and isinstance(new, list) and len(old) == len(new):
        for number, (one, other) in enumerate(zip(old, new, strict=True)):
            yield from changes(one, other, f"{path}/{number}")
    elif old != new:
        yield f"{path}: {str(old)[:200]} -> {str(new)[:200]}"


def main(path: Path) -> None:
    """Write or compare."""
    expert = open_book()
    enquiries = [*fact_sets(expert, FACT_SETS, appliance=None), *note_enquiries(NOTES)]
    made = list(answers(expert, enquiries))
    if not path.exists():
        path.write_text("\n".join(made) + "\n", encoding="utf-8")
        print(f"{len(made)} answers written")
        return
    before = path.read_text(encoding="utf-8").splitlines()
    changed = [n for n, (old, new) in enumerate(zip(before, made, strict=True)) if old != new]
    for number in changed[:5]:
        print(number, *changes(json.loads(before[number]), json.loads(made[number])), sep="\n  ")
    print(f"{len(made)} answers, {len(changed)} differ")
    sys.exit(bool(changed))


if __name__ == "__main__":
    main(Path(sys.argv[1]))
