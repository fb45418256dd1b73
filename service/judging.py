"""Readings judged for a program: the subcommands of ``coldleg reading``, asked by name with JSON values.

A subcommand's options are its fields (``--before-load`` is ``before_load``), with the same units, choices and defaults,
so that the command line and HTTP can never differ. The oven log's file is its text here, as ``log``.
"""

from __future__ import annotations

import functools
import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import click

from rules import InputError, Problem
from rules.bookkeeping.yamlsource import nearest
from rules.electrical import ovenlog
from rules.electrical.units import parse_quantity
from rules.electrical.verdict import Verdict
from service.pointers import join
from service.reading_cli import Quantity, reading
from service.strictjson import shown

NOT_JUDGED = ("expect",)  # it expects readings and judges none
LOG = "log"
LARGEST = 1e12  # in any unit; a tera-ohm is more than a megohm tester shows
NO_READINGS = "cannot be worked with together; write what the meter and the plate show"


@dataclass(frozen=True)
class Kind:
    """One kind of judgement: its name, what it says, its fields, and the function behind it."""

    name: str
    about: str
    fields: Mapping[str, click.Parameter]
    judge: Callable[..., list[Verdict]]


@functools.cache
def kinds() -> Mapping[str, Kind]:
    """All kinds by name, from the command line's own declarations."""
    found = {}
    for name, command in reading.commands.items():
        judge = getattr(command.callback, "__wrapped__", None)
        if name in NOT_JUDGED or judge is None:
            continue
        fields = {_field(p): p for p in command.params if p.name != "as_json"}
        found[name] = Kind(name, (command.help or "").strip().splitlines()[0], fields, judge)
    return found


def judged(kind: Any, values: Any) -> list[Verdict]:
    """The verdicts on ``values``. Raises InputError with a problem for each wrong field."""
    known = kinds()
    if not isinstance(kind, str) or kind not in known:
        hint = nearest(str(kind)[:60], known)
        told = "missing; " if kind is None else f"{shown(str(kind))!r} is not known{hint}; "
        raise InputError([Problem("kind", f"{told}write one of {', '.join(known)}")])
    if not isinstance(values, Mapping):
        raise InputError([Problem("values", "write an object of fields, for example " + example(kind))])
    chosen = known[kind]
    options = _options(chosen, values)
    try:
        verdicts = _verdicts(chosen, options)
    except click.UsageError as error:
        raise InputError([_said(error, chosen)]) from error
    except InputError as error:
        raise InputError([_placed(problem, chosen) for problem in error.problems]) from error
    except ArithmeticError as error:
        raise InputError([Problem("values", NO_READINGS)]) from error
    if any(verdict.value is not None and math.isnan(verdict.value) for verdict in verdicts):
        raise InputError([Problem("values", NO_READINGS)])
    return verdicts


def _verdicts(kind: Kind, options: dict[str, Any]) -> list[Verdict]:
    if LOG not in kind.fields:
        return kind.judge(**options)
    log = ovenlog.read_log(options["file"], options["time_unit"], options["temp_unit"])
    return ovenlog.oven_log_verdicts(log, options["set_f"])


def example(kind: str) -> str:
    return {"supply": '{"l1_n": "121 V", "l2_n": "119 V"}', "element": '{"watts": "2585 W", "ohms": "22.3 ohm"}'}.get(
        kind, '{"' + next(iter(kinds()[kind].fields)) + '": ...}'
    )


def _field(parameter: click.Parameter) -> str:
    if isinstance(parameter.type, click.Path):
        return LOG
    return parameter.opts[0].lstrip("-").replace("-", "_")


def _options(kind: Kind, values: Mapping[str, Any]) -> dict[str, Any]:
    """The function's arguments. All wrong fields are told at once."""
    problems = [
        Problem(join("values", name), f"no such field{nearest(name[:60], kind.fields)}; write {', '.join(kind.fields)}")
        for name in values
        if name not in kind.fields
    ]
    options = {}
    for name, parameter in kind.fields.items():
        try:
            options[str(parameter.name)] = _value(name, parameter, values.get(name))
        except InputError as error:
            problems += error.problems
    if problems:
        raise InputError(problems)
    return options


def _value(name: str, parameter: click.Parameter, given: Any) -> Any:
    field = join("values", name)
    if given is None:
        if parameter.required:
            raise InputError([Problem(field, "missing; add it")])
        plain = parameter.to_info_dict().get("default")
        if plain is None or not isinstance(plain, (str, int, float, bool)):
            return None
        given = plain
    if isinstance(parameter.type, Quantity):
        return _quantity(field, parameter.type, given)
    if isinstance(parameter.type, click.Choice):
        return _choice(field, parameter.type, given)
    return _typed(field, given, *_PLAIN.get(parameter.type.name, (str, "write text")))


_PLAIN: dict[str, tuple[Any, str]] = {
    "boolean": (bool, "write true or false"),
    "integer": (int, "write a whole number"),
    "float": ((int, float), "write a number"),
}


def _quantity(field: str, wanted: Quantity, given: Any) -> float:
    if isinstance(given, bool) or not isinstance(given, (str, int, float)):
        raise InputError([Problem(field, "write a reading with its unit as text, for example '121 V'")])
    number = parse_quantity(str(given), wanted.unit, field, wanted.bare_ok)
    if LARGEST < abs(number) < math.inf:
        raise InputError([Problem(field, "is beyond every reading; write what the meter or the plate shows")])
    return number


def _choice(field: str, wanted: click.Choice[Any], given: Any) -> str:
    known = [str(choice) for choice in wanted.choices]
    if not isinstance(given, str) or given not in known:
        hint = nearest(str(given)[:60], known)
        raise InputError([Problem(field, f"{shown(str(given))!r} is not known{hint}; write one of {', '.join(known)}")])
    return given


def _typed(field: str, given: Any, kind: Any, message: str) -> Any:
    if kind is int and isinstance(given, float) and given.is_integer():
        given = int(given)
    if not isinstance(given, kind) or (isinstance(given, bool) and kind is not bool):
        raise InputError([Problem(field, message)])
    if isinstance(given, (int, float)) and abs(given) > LARGEST:
        raise InputError([Problem(field, "is beyond every reading; write what the meter or the plate shows")])
    return given


def _said(error: click.UsageError, kind: Kind) -> Problem:
    """A usage error in the words of fields instead of options."""
    text = re.sub(r"--([a-z0-9-]+)", lambda found: found[1].replace("-", "_"), error.message)
    first = text.split(" ", 1)[0]
    if first in kind.fields:
        return Problem(join("values", first), text.removeprefix(first).removeprefix(" is ").strip())
    return Problem("values", text)


def _placed(problem: Problem, kind: Kind) -> Problem:
    """The physics names its own argument; the field it came from, if it is one."""
    by_argument = {str(p.name): name for name, p in kind.fields.items()}
    name = by_argument.get(problem.field, problem.field)
    if problem.field.startswith("values/"):
        return problem
    return Problem(join("values", name) if name in kind.fields else "values", problem.message)
