"""``coldleg faults``: the fault catalogue with filters, and what one fault looks like, worked out from the circuit."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import get_args

import click

from rules import InputError, Problem
from rules.bookkeeping.types import Fault, Skill
from rules.bookkeeping.yamlsource import nearest
from rules.checking import Portrait, Separating, Sight, portrait
from rules.terms import split_key
from rules.wording import place_words
from service.intake import appliance_from_file
from service.opening import book_option, opened, refuse

URGENCIES = ("now", "soon", "routine", "none")
_STATES = {"idle": "everything off", "loaded": "an element on"}
_LIMITS = {
    "range_off": "the range stays off until it is mended",
    "oven_off": "the oven stays off until it is mended",
    "unit_off": "that unit stays off until it is mended",
    "none": "nothing need stay off",
}


@click.group("faults", invoke_without_command=True)
@click.option("--component", metavar="NAME", help="First word of the fault's id, e.g. supply, oven, surface.")
@click.option("--skill", type=click.Choice(get_args(Skill)), help="Who may mend it.")
@click.option("--appliance", metavar="NAME|FILE", help="Only faults this appliance can have.")
@click.option("--urgency", type=click.Choice(URGENCIES))
@book_option
@click.pass_context
def faults_group(
    context: click.Context,
    component: str | None,
    skill: str | None,
    appliance: str | None,
    urgency: str | None,
    book: Path | None,
) -> None:
    """List the faults the book knows; `coldleg faults show ID` draws one."""
    context.obj = book
    if context.invoked_subcommand is not None:
        if any((component, skill, appliance, urgency)):
            refuse(InputError([Problem("faults", "filters belong to the list; write options of show after its ID")]))
        return
    expert = opened(book)
    faults = list(expert.book.faults.values())
    components = list(dict.fromkeys(fault.fault.split(".")[0] for fault in faults))
    if component is not None and component not in components:
        known = f"{nearest(component, components)}; write one of {', '.join(components)}"
        refuse(InputError([Problem("--component", f"no fault of {component!r}{known}")]))
    try:
        machine = appliance_from_file(expert, appliance) if appliance is not None else None
    except InputError as error:
        refuse(error)
    chosen = [
        fault
        for fault in faults
        if (component is None or fault.fault.split(".")[0] == component)
        and (skill is None or fault.skill == skill)
        and (urgency is None or fault.urgency == urgency)
        and (machine is None or fault.exists_on(machine))
    ]
    click.echo("\n".join(_table(chosen)))
    click.echo(f"{len(chosen)} of {len(faults)} faults.", err=True)


def _table(faults: Sequence[Fault]) -> list[str]:
    rows = [("fault", "title", "weight", "skill", "urgency", "minutes")]
    for f in faults:
        minutes = f"{f.minutes[0]}-{f.minutes[1]}" if f.minutes[0] != f.minutes[1] else str(f.minutes[0])
        rows.append((f.fault, f.title, f"{f.weight:g}", f.skill, f.urgency, minutes))
    widths = [max(len(row[column]) for row in rows) for column in range(6)]
    return ["  ".join(f"{cell:{width}}" for cell, width in zip(row, widths, strict=True)).rstrip() for row in rows]


@faults_group.command("show")
@click.argument("fault_id", metavar="ID")
@click.option("--where", metavar="UNIT", help="The unit it sits at, e.g. left_front.")
@click.option("--appliance", metavar="NAME|FILE", help="On this appliance.")
@book_option
@click.pass_context
def show_command(
    context: click.Context, fault_id: str, where: str | None, appliance: str | None, book: Path | None
) -> None:
    """Draw one fault: what a caller and a meter see, parts, who mends it, what to say, rules and tests."""
    expert = opened(book or context.obj)
    try:
        machine = appliance_from_file(expert, appliance) if appliance is not None else None
        drawn = portrait(expert, fault_id, where, machine)
    except InputError as error:
        refuse(error)
    click.echo("\n".join(_drawn(drawn, {part.part: part.title for part in expert.book.parts.values()})))


def _drawn(drawn: Portrait, titles: dict[str, str]) -> list[str]:
    fault = drawn.fault
    place = f", {place_words(drawn.where)}" if drawn.where else ""
    lines = [f"{fault.fault}{place}: {fault.title}", f"  {fault.because}", f"  shown on: {drawn.appliance.title}", ""]
    for heading, sights in (
        ("To a caller", drawn.caller),
        ("On a meter, power off", drawn.meter_dead),
        ("On a meter, power on", drawn.meter_live),
    ):
        lines += [heading, *_sights(sights, drawn.appliance.positions), ""]
    low, high = fault.minutes
    lines += [
        f"Parts       {', '.join(titles[part] for part in drawn.parts) or 'none'}",
        f"Who         {fault.skill.replace('_', ' ')}; {low} to {high} minutes; urgency {fault.urgency}",
        f"Meanwhile   {_LIMITS[fault.limit]}",
        f"Tell        {fault.tell}",
        f"Weight      {fault.weight:g} ({fault.source})",
        f"Rules       {', '.join(rule.rule for rule in drawn.pointed_at_by) or 'none points at it'}",
        "Tests that tell it best from other faults",
        *_tests(drawn.tests),
    ]
    return lines


def _sights(sights: Iterable[Sight], units: Sequence[str]) -> list[str]:
    """One line for each thing that differs; units that look alike share a line."""
    alike: dict[tuple[str, str, str], list[str]] = {}
    for sight in sights:
        _, place, during = split_key(sight.key)
        words = " or ".join(_likely(word, share) for word, share in sight.words.items())
        state = _STATES.get(during or "", during or "")
        alike.setdefault((sight.title, state, f"{words}; usual is {_word(sight.usual)}"), []).append(place or "")
    lines = []
    for (title, state, words), places in alike.items():
        every = len(units) > 1 and set(places) == set(units)
        shown = "every unit" if every else ", ".join(place_words(place) for place in places)
        about = "; ".join(filter(None, (shown, state)))
        lines.append(f"  {title}{f' ({about})' if about else ''}: {words}")
    return lines or ["  nothing that differs from a sound appliance"]


def _likely(word: str, share: float) -> str:
    return _word(word) if share > 0.995 else f"{_word(word)} ({share:.0%})"


def _word(word: str) -> str:
    return word.replace("_", " ")


def _tests(tests: Iterable[Separating]) -> list[str]:
    lines = []
    for test in tests:
        at = f" at {place_words(test.where)}" if test.where else ""
        lines.append(f"  {test.test + at:34} {test.bits:.2f} bit  {test.minutes:g} min")
    return lines or ["  none"]
