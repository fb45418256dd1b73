"""JSON Pointers (RFC 6901) to the wrong fields of a request."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from rules import Fact, Problem
from rules.enquiry import field_of


def join(*names: str | int) -> str:
    """Steps as :class:`rules.Problem` holds them: escaped, without the first slash."""
    path = ""
    for name in names:
        path = field_of(str(name), path)
    return path


def pointer(problem: Problem) -> str:
    """The pointer of a problem whose field is a path of escaped steps; the whole document is the empty pointer."""
    return "/" + problem.field if problem.field else ""


def located(problems: Iterable[Problem], facts: Sequence[Fact]) -> list[Problem]:
    """Problems that name a fact by its key, as the command line writes it, at that fact's place in the request."""
    keys: dict[str, list[int]] = {}
    for number, fact in enumerate(facts):
        for name in {fact.key, fact.fact}:
            keys.setdefault(name, []).append(number)
    found = []
    for problem in problems:
        if problem.field not in keys:
            found.append(problem)
        for number in keys.get(problem.field, ()):
            field = "where" if facts[number].where is not None else "fact"
            found.append(Problem(join("facts", number, field), problem.message))
    return found
