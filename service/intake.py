"""What comes in, from HTTP or the command line, into an Enquiry. All problems are told at once, by field."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any, cast

from rules import EXPLAINS, BookError, Enquiry, Expert, Fact, InputError, Problem, load_appliance
from rules.bookkeeping.schemas import ApplianceSchema
from rules.bookkeeping.types import Appliance
from rules.bookkeeping.yamlsource import YamlSource, nearest, parse
from rules.enquiry import check_note, check_tools, facts_from_list, field_of
from rules.terms import ROLES, Role, Source
from rules.triage import Explain
from service.plain_types import wrong_types
from service.pointers import join
from service.strictjson import shown

FIELDS = ("appliance", "facts", "note", "role", "explain", "tools")
LARGEST_APPLIANCE_FILE = 64 * 1024


def source_of(role: Role) -> Source:
    """Who saw a fact that does not say: the one who speaks, and for the desk, the caller it speaks with."""
    return "caller" if role == "desk" else role


def enquiry_from_json(expert: Expert, data: Any) -> Enquiry:
    """Read a request body. Raises InputError with one problem for each wrong field."""
    if not isinstance(data, Mapping):
        raise InputError([Problem("", 'write a JSON object, for example {"note": "oven is dead but the clock is on"}')])
    problems = [
        Problem(
            field_of(str(n)),
            f"no such field {shown(str(n))!r}{nearest(str(n)[:60], FIELDS)}; write {', '.join(FIELDS)}",
        )
        for n in data
        if n not in FIELDS
    ]
    role = cast(Role, _word(data, "role", ROLES, "desk", problems))
    explain = cast(Explain, _word(data, "explain", EXPLAINS, "brief", problems))
    note = data.get("note")
    facts: list[Fact] = []
    appliance = None
    try:
        if note is not None:
            check_note(note)
    except InputError as error:
        problems += error.problems
    try:
        given = data.get("facts")
        facts = facts_from_list([] if given is None else given, expert.book.facts, source_of(role))
    except InputError as error:
        problems += error.problems
    try:
        appliance = appliance_from(expert, data.get("appliance"))
    except InputError as error:
        problems += error.problems
    tools = _tools(data.get("tools"), expert, problems)
    if not problems and note is None and not facts:
        problems.append(Problem("note", "missing; give a note, facts, or both"))
    if problems:
        raise InputError(problems)
    return Enquiry(note, tuple(facts), appliance, role, explain, tools)


def _tools(given: Any, expert: Expert, problems: list[Problem]) -> tuple[str, ...] | None:
    """The tools at hand; absent or null stands for all."""
    if given is None:
        return None
    if not isinstance(given, list) or not all(isinstance(tool, str) for tool in given):
        problems.append(Problem("tools", 'write a list of tools, for example ["ohmmeter"], or leave it out for all'))
        return None
    try:
        check_tools(given, expert.book.tests)
    except InputError as error:
        problems += error.problems
    return tuple(given)


def _word(data: Mapping[str, Any], name: str, known: tuple[str, ...], default: str, problems: list[Problem]) -> str:
    value = data.get(name)
    if value is None:
        return default
    if not isinstance(value, str) or value not in known:
        shown = f"{str(value)[:60]!r} is not known{nearest(str(value)[:60], known)}"
        problems.append(Problem(name, f"{shown}; write one of {', '.join(known)}"))
        return default
    return str(value)


def appliance_from(expert: Expert, given: Any) -> Appliance | None:
    """An appliance by the book's name, or a mapping of its fields. Raises InputError."""
    if given is None:
        return None
    if isinstance(given, str):
        if given not in expert.book.appliances:
            known = ", ".join(expert.book.appliances)
            hint = nearest(given[:60], expert.book.appliances)
            message = f"no appliance {given[:60]!r}{hint}; write one of {known}, or an object"
            raise InputError([Problem("appliance", message)])
        return expert.book.appliances[given]
    wrong = list(wrong_types(ApplianceSchema(), given, ("appliance",)))
    try:
        made = load_appliance(_JsonSource("appliance", given, {}), expert.book)
    except BookError as error:
        told = {problem.field for problem in wrong}
        more = [placed for placed in map(_placed, error.problems) if placed.field not in told]
        raise InputError([*wrong, *more]) from error
    if wrong:
        raise InputError(wrong)
    return made


class _Placed(str):
    """A problem of the book's loader that still knows which field it is about."""

    path: tuple[str | int, ...] = ()
    told: str = ""


class _JsonSource(YamlSource):
    """A mapping out of a request: its problems have a path instead of a line."""

    def problem(self, path: tuple[str | int, ...], message: str) -> str:
        made = _Placed(super().problem(path, message))
        made.path, made.told = path, message
        return made


def _placed(problem: str) -> Problem:
    if isinstance(problem, _Placed):
        return Problem(join("appliance", *problem.path), problem.told)
    return Problem("appliance", problem)


def appliance_from_file(expert: Expert, name: str) -> Appliance:
    """An appliance by the book's name or from a YAML or JSON file. Raises InputError naming file and line."""
    if name in expert.book.appliances:
        return expert.book.appliances[name]
    path = Path(name)
    if not path.is_file():
        known = ", ".join(expert.book.appliances)
        raise InputError([Problem("appliance", f"{name} is neither a file nor one of {known}")])
    try:
        return load_appliance(parse(name, read_appliance_file(path)), expert.book)
    except BookError as error:
        raise InputError([Problem("appliance", problem) for problem in error.problems]) from error


def read_appliance_file(path: Path) -> str:
    """The text of a file that describes an appliance. Raises InputError."""
    try:
        if path.stat().st_size > LARGEST_APPLIANCE_FILE:
            raise InputError(
                [Problem("appliance", f"{path} is larger than any description of an appliance; give another file")]
            )
        return path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise InputError([Problem("appliance", f"{path} cannot be read as UTF-8 text: {error}")]) from error
