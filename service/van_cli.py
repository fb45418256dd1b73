"""``coldleg van``: what one van carries for a day's list of calls."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO

import click

from rules import DayPlan, Enquiry, Expert, InputError, Problem, plan_day
from rules.dayplan import van_of
from service.intake import enquiry_from_json
from service.opening import book_option, opened, refuse

LARGEST_LIST = 4 * 1024 * 1024  # bytes


@click.command("van")
@click.argument("file", type=click.File("rb"))
@click.option("--van", "name", metavar="NAME", help="A van of the book; its first unless named.")
@click.option("--space", type=click.FloatRange(min=0, min_open=True), metavar="LITRES", help="Room for parts.")
@click.option("--value", type=click.FloatRange(min=0), metavar="DOLLARS", help="Most the parts may be worth together.")
@click.option("--json", "as_json", is_flag=True, help="The plan as JSON.")
@book_option
def van_command(
    file: BinaryIO, name: str | None, space: float | None, value: float | None, as_json: bool, book: Path | None
) -> None:
    """Load a van for a day: FILE (- for standard input) holds one call a line, in the order of the drive.

    A line is what POST /v1/triage takes, with an id: {"id": "Mon 9:00", "note": "oven cold, clock on"}.
    """
    expert = opened(book)
    try:
        plan = plan_day(expert, _calls(expert, file), van_of(expert, name, space, value))
    except InputError as error:
        refuse(error)
    if as_json:
        from service.schemas import DayPlanSchema

        click.echo(json.dumps(DayPlanSchema().dump(plan), indent=2, ensure_ascii=False))
    else:
        click.echo("\n".join(_lines(plan)))


def _calls(expert: Expert, file: BinaryIO) -> dict[str, Enquiry]:
    """Every call of the list. Raises InputError with all that is wrong, by line and field."""
    raw = file.read(LARGEST_LIST + 1)
    if len(raw) > LARGEST_LIST:
        raise InputError([Problem("FILE", f"is larger than {LARGEST_LIST:,} bytes; give one day's calls")])
    calls: dict[str, Enquiry] = {}
    problems: list[Problem] = []
    for number, line in enumerate(raw.splitlines(), start=1):
        if line.strip():
            try:
                name, enquiry = _call(expert, line, number)
            except InputError as error:
                problems += [Problem(f"line {number}: {p.field}".rstrip(": "), p.message) for p in error.problems]
                continue
            if name in calls:
                problems.append(Problem(f"line {number}: id", f"{name!r} is in the list already; give another id"))
            calls[name] = enquiry
    if not calls and not problems:
        problems.append(Problem("FILE", 'has no call; write one a line, for example {"id": "1", "note": "oven cold"}'))
    if problems:
        raise InputError(problems)
    return calls


def _call(expert: Expert, line: bytes, number: int) -> tuple[str, Enquiry]:
    try:
        data = json.loads(line.decode("utf-8"))
    except (ValueError, RecursionError) as error:
        message = 'is no JSON; write an object, for example {"id": "1", "note": "oven cold"}'
        raise InputError([Problem("", message)]) from error
    if not isinstance(data, dict):
        raise InputError([Problem("", 'write an object, for example {"id": "1", "note": "oven cold"}')])
    name = data.pop("id", number)
    if isinstance(name, bool) or not isinstance(name, (str, int)) or not str(name).strip():
        raise InputError([Problem("id", "write a word or a whole number")])
    return str(name).strip(), enquiry_from_json(expert, data)


def _lines(plan: DayPlan) -> Iterator[str]:
    van = plan.van
    yield f"{van.title}: {plan.space:g} of {van.space:g} litres, {plan.value:g} of {van.value:g} dollars"
    yield "Load"
    for row in plan.stock:
        yield f"  {row.units} x {row.title:32} {row.expected:5.2f} expected to be used"
    if not plan.stock:
        yield "  nothing"
    yield "Calls"
    for call in plan.calls:
        if call.ours:
            yield f"  {call.name}: mended at the first visit {call.fix:.0%}"
        else:
            yield f"  {call.name}: not for this van; {_other(call.visit.needed, call.visit.skill)}"
    mine = sum(call.ours for call in plan.calls)
    yield f"Of {mine} calls {plan.expected_fixes:.1f} are expected to be mended at the first visit."


def _other(needed: bool | None, skill: str) -> str:
    if needed is None:
        return "too little is known"
    return f"who must come: {skill.replace('_', ' ')}" if needed else "no visit is needed as it looks now"
