"""``coldleg reading expect``: what the meter should show under each suspect, before it is put on."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import click

from rules import InputError
from rules.appliance.measuring import METERS, QUANTITIES, UNITS, Probe
from rules.electrical.units import parse_quantity
from rules.expecting import ExpectedReading, expected_readings
from service.intake import appliance_from_file
from service.opening import book_option, opened, refuse
from service.reading_cli import reading

MOST_ROWS = 4  # suspects named in one row of the table
SMALLEST = 0.005  # V, A or ohm; below this the table shows 0


@reading.command("expect")
@click.argument("at")
@click.option("--quantity", type=click.Choice(QUANTITIES), default="volts", show_default=True)
@click.option("--while", "state", default="idle", show_default=True, help="State of the appliance, e.g. loaded, bake.")
@click.option("--meter", type=click.Choice(list(METERS)), default="digital", show_default=True)
@click.option("--at-temp", default="70F", show_default=True, help="Temperature of the sensor, for its ohms.")
@click.option("--in-circuit", is_flag=True, help="Ohms with no lead lifted.")
@click.option("--fault", "faults", multiple=True, metavar="FAULT[@UNIT]", help="Only these suspects.")
@click.option("--reading", help="What the meter showed; marks the suspects it fits.")
@click.option("--appliance", metavar="NAME|FILE", default="radiant_range", show_default=True)
@click.option("--json", "as_json", is_flag=True)
@book_option
def expect_command(
    at: str,
    faults: tuple[str, ...],
    reading: str | None,
    appliance: str,
    as_json: bool,
    book: Path | None,
    **probe: Any,
) -> None:
    """Show what a meter AT a pair of points (L1-N) or a part (bake_element) reads under each suspect."""
    expert = opened(book)
    try:
        signatures = expert.signatures(appliance_from_file(expert, appliance))
        warm = parse_quantity(probe["at_temp"], "degC", "--at-temp")
        wanted = Probe(probe["quantity"], at, probe["state"], probe["meter"], not probe["in_circuit"], warm)
        number = None if reading is None else parse_quantity(reading, UNITS[wanted.quantity], "--reading")
        suspects = [(name, where or None) for name, _, where in (fault.partition("@") for fault in faults)]
        rows = expected_readings(signatures, wanted, suspects or None, number)
    except InputError as error:
        refuse(error)
    if as_json:
        click.echo(json.dumps([_plain(row) for row in rows], indent=2))
    else:
        click.echo("\n".join(_table(_merged(rows), all_of_them=bool(faults))))


def _plain(row: ExpectedReading) -> dict[str, Any]:
    ends = {name: "OL" if math.isinf(getattr(row, name)) else getattr(row, name) for name in ("value", "low", "high")}
    return {**row.__dict__, **ends}


def _shown(number: float) -> str:
    """Three figures, as a meter shows them; dust of the arithmetic is 0."""
    if math.isinf(number):
        return "OL"
    return "0" if abs(number) < SMALLEST else f"{number:.3g}" if number < 1000 else f"{number:.0f}"


def _merged(rows: list[ExpectedReading]) -> list[tuple[ExpectedReading, list[str]]]:
    """Suspects that read alike in one row; the sound appliance's row comes first."""
    merged: dict[tuple[str, str, bool | None], tuple[ExpectedReading, list[str]]] = {}
    for row in rows:
        key = (_shown(row.low), _shown(row.high), row.fits)
        name = row.fault + (f"@{row.where}" if row.where else "")
        merged.setdefault(key, (row, []))[1].append(name)
    return list(merged.values())


def _table(rows: list[tuple[ExpectedReading, list[str]]], *, all_of_them: bool) -> list[str]:
    lines = []
    for row, names in rows:
        band = f"{_shown(row.low)} to {_shown(row.high)} {row.unit}"
        mark = {None: "", True: "  fits", False: "  no"}[row.fits]
        kept = names if all_of_them or len(names) <= MOST_ROWS else [*names[:3], f"and {len(names) - 3} more"]
        lines.append(f"{_shown(row.value):>8} {row.unit:4} {band:28}{mark:6} {', '.join(kept)}")
    return lines
