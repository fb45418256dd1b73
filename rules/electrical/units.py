"""A technician's reading, as it is written on a work order, turned into a number in the unit that is wanted.

Conversions are pint's; pint is imported only when a conversion is needed, because its import and registry cost
a third of a second. A missing unit is asked for, never guessed, unless the caller of this module says that a bare
number is meant in the canonical unit. Temperatures and temperature differences are different things here: 25 F as a
temperature is -3.9 C, 25 F as a difference is 13.9 C.
"""

from __future__ import annotations

import math
import re
import unicodedata
from dataclasses import dataclass
from functools import cache
from typing import Any

from rules.terms import InputError, Problem

ABSOLUTE_ZERO = {"degC": -273.15, "degF": -459.67, "kelvin": 0.0}
LONGEST = 60  # characters; a reading is short, and a work order pasted here by mistake is not one
OVER_RANGE_OHMS = 1e6  # "more than 20M" is an open line; "more than 200" is a meter on too low a range


@dataclass(frozen=True)
class Wanted:
    """A unit a reading may be asked in: its name in pint, its kind, what to write, may it be negative."""

    pint: str
    kind: str
    write: tuple[str, ...]
    signed: bool = False


WANTED: dict[str, Wanted] = {
    "V": Wanted("volt", "volts", ("V",)),
    "mV": Wanted("millivolt", "volts", ("mV",), signed=True),
    "A": Wanted("ampere", "amperes", ("A", "mA")),
    "mA": Wanted("milliampere", "amperes", ("mA", "A")),
    "W": Wanted("watt", "watts", ("W", "kW")),
    "kW": Wanted("kilowatt", "watts", ("kW", "W")),
    "ohm": Wanted("ohm", "ohms", ("ohm", "kohm", "Mohm")),
    "mohm": Wanted("milliohm", "ohms", ("mohm", "ohm")),
    "Mohm": Wanted("megaohm", "ohms", ("Mohm", "kohm", "ohm")),
    "degF": Wanted("degF", "temperature", ("F", "C"), signed=True),
    "degC": Wanted("degC", "temperature", ("F", "C"), signed=True),
    "delta_degF": Wanted("delta_degF", "temperature difference", ("F", "C"), signed=True),
    "delta_degC": Wanted("delta_degC", "temperature difference", ("F", "C"), signed=True),
    "s": Wanted("second", "time", ("s", "min", "h")),
    "min": Wanted("minute", "time", ("min", "s", "h")),
    "h": Wanted("hour", "time", ("h", "min")),
    "day": Wanted("day", "time", ("days", "h")),
    "ft": Wanted("foot", "length", ("ft", "m")),
    "percent": Wanted("percent", "percent", ("%",)),
}

_KIND = {
    "volt": "volts",
    "ampere": "amperes",
    "watt": "watts",
    "ohm": "ohms",
    "second": "time",
    "minute": "time",
    "hour": "time",
    "day": "time",
    "foot": "length",
    "inch": "length",
    "metre": "length",
    "percent": "percent",
    "degF": "temperature",
    "degC": "temperature",
    "kelvin": "temperature",
    "delta_degF": "temperature difference",
    "delta_degC": "temperature difference",
}

# Whole words, lower case, that take no prefix.
_WHOLE = {
    **dict.fromkeys(("s", "sec", "secs", "second", "seconds"), "second"),
    **dict.fromkeys(("min", "mins", "minute", "minutes"), "minute"),
    **dict.fromkeys(("h", "hr", "hrs", "hour", "hours"), "hour"),
    **dict.fromkeys(("d", "day", "days"), "day"),
    **dict.fromkeys(("ft", "foot", "feet", "'"), "foot"),
    **dict.fromkeys(("in", "inch", "inches", '"'), "inch"),
    **dict.fromkeys(("metre", "metres", "meter", "meters"), "metre"),
    **dict.fromkeys(("%", "percent", "pct"), "percent"),
    **dict.fromkeys(("f", "degf", "fahrenheit"), "degF"),
    **dict.fromkeys(("c", "degc", "celsius", "centigrade"), "degC"),
    **dict.fromkeys(("kelvin", "kelvins"), "kelvin"),
    **dict.fromkeys(("deltadegf", "deltaf"), "delta_degF"),
    **dict.fromkeys(("deltadegc", "deltac"), "delta_degC"),
}
_BASES = {
    **dict.fromkeys(("v", "volt", "volts", "vac", "vrms"), "volt"),
    **dict.fromkeys(("a", "amp", "amps", "ampere", "amperes", "aac"), "ampere"),
    **dict.fromkeys(("w", "watt", "watts"), "watt"),
    **dict.fromkeys(("r", "ω", "ohm", "ohms"), "ohm"),
}
_PREFIXES = {"k": "kilo", "kilo": "kilo", "meg": "mega", "mega": "mega", "milli": "milli", "micro": "micro"}
_PREFIXES |= {"u": "micro", "μ": "micro", "g": "giga", "giga": "giga"}

_ABOUT = re.compile(r"^(?:about|approximately|approx\.?|around|circa|~|≈|=)\s*", re.IGNORECASE)
_OPEN = re.compile(
    r"^(?:\.?[o0]\.?\s?l\.?|over\s?(?:load|limit|range)|open(?:[\s-]?(?:line|circuit|loop))?|no continuity"
    r"|\+?inf(?:inite|inity)?|∞)\s*(?:k|m|meg|mega|kilo)?\s?(?:r|ω|ohms?)?$",
    re.IGNORECASE,
)
_MORE_THAN = re.compile(r"^(?:>=?|≥|over|more than|greater than|above)\s*", re.IGNORECASE)
_NUMBER = re.compile(r"^([+-]?(?:[0-9][0-9,]*\.?[0-9]*|\.[0-9]+)(?:e[+-]?[0-9]+)?)\s*(.*)$", re.IGNORECASE | re.DOTALL)
_PREFIXED = re.compile(rf"(kilo|mega|meg|milli|micro|giga|[kmgμu])?({'|'.join(_BASES)})?")
_INSIDE = re.compile(r"^([0-9]+)([kKMR])([0-9]+)$")  # 1k08, 2R2: the prefix in the place of the point


def parse_quantity(text: str, unit: str, field: str, bare_ok: bool = False) -> float:
    """Read ``text`` ("121V", "1.08k", "22R", "OL", ">20M", "350F") as a number in ``unit``, one of :data:`WANTED`.

    An open line gives ``inf``, for ohms only. A bare number is taken to be in ``unit`` only if ``bare_ok``. Raises
    InputError naming ``field`` and what to write instead for a missing unit, one that does not fit, a number that
    cannot be (negative ohms, a temperature below absolute zero, nan) and text that is no reading at all.
    """
    wanted = WANTED[unit]
    clean = unicodedata.normalize("NFKC", str(text).replace("º", "°")).replace("−", "-").strip()
    if not clean or len(clean) > LONGEST:
        raise _wrong(field, f"a reading is wanted, a number with its unit; write for example {_example('12', wanted)}")
    clean = _ABOUT.sub("", clean)
    if _is_open(clean, wanted, field):
        return math.inf
    number, rest = _split(clean, wanted, field)
    written = _unit_of(rest, unit, wanted, clean, field)
    if written == "":
        if not bare_ok:
            raise _wrong(field, f"the unit is missing in {clean!r}; write {_example(clean, wanted)}")
        written = wanted.pint
    return _checked(_convert(number, written, wanted), wanted, clean, field)


def convert(number: float, from_unit: str, to_unit: str) -> float:
    """A number in one unit of :data:`WANTED` as a number in another. Raises InputError if their kinds differ."""
    source, target = WANTED[from_unit], WANTED[to_unit]
    if source.kind != target.kind:
        raise _wrong("unit", f"{from_unit} is a unit of {source.kind}; one of {target.kind} is wanted")
    return _convert(number, source.pint, target)


@cache
def _registry() -> Any:
    import pint

    return pint.UnitRegistry()


def _convert(number: float, written: str, wanted: Wanted) -> float:
    if written == wanted.pint:
        return number
    return float(_registry().Quantity(number, written).to(wanted.pint).magnitude)


def _is_open(clean: str, wanted: Wanted, field: str) -> bool:
    """Whether the reading is an open line, by word or as more than a meter's highest ohms range."""
    if _OPEN.match(clean):
        if wanted.kind != "ohms":
            raise _wrong(field, f"{clean!r} is an open line on an ohms range; {_want(wanted)}")
        return True
    more = _MORE_THAN.match(clean)
    if not more:
        return False
    if wanted.kind != "ohms":
        raise _wrong(field, f"{clean!r} gives a limit, not a reading; {_want(wanted)}")
    limit = parse_quantity(clean[more.end() :], "ohm", field)
    if limit < OVER_RANGE_OHMS:
        raise _wrong(
            field, f"{clean!r} only says that the range was too low; turn it up; write OL if the highest reads so"
        )
    return True


def _split(clean: str, wanted: Wanted, field: str) -> tuple[float, str]:
    """The number and what follows it. ``1k08`` becomes 1.08 and ``k``."""
    inside = _INSIDE.match(clean)
    if inside and wanted.kind == "ohms":
        return float(f"{inside[1]}.{inside[3]}"), inside[2]
    found = _NUMBER.match(clean)
    if not found:
        raise _wrong(field, f"{clean!r} is not a reading; {_want(wanted)}")
    digits, rest = found[1], found[2]
    if "," in digits:
        if not re.fullmatch(r"[+-]?[0-9]{1,3}(?:,[0-9]{3})+(?:\.[0-9]*)?", digits) or rest[:1] in {"k", "K", "M"}:
            raise _wrong(
                field, f"the comma in {clean!r} can be read two ways; write decimals with a point and no thousands mark"
            )
        digits = digits.replace(",", "")
    return float(digits), rest


def _unit_of(rest: str, unit: str, wanted: Wanted, clean: str, field: str) -> str:
    """The pint name of the unit written, or an empty string for none. Raises InputError for one that does not fit."""
    word = re.sub(r"(?i)\b(ac|rms)\b", "", rest).replace("°", "deg").strip(" .")
    word = re.sub(r"(?i)^deg(rees?)?\.?\s*", "", word) if wanted.kind.startswith("temperature") else word
    if re.fullmatch(r"(?i).*\bdc|m?vdc|m?adc", word):
        if unit != "mV":
            raise _wrong(field, f"{clean!r} was taken on a DC range; measure on AC and {_want(wanted)}")
        word = re.sub(r"(?i)\s*dc$", "", word)
    name = _name(re.sub(r"[\s_.-]", "", word), unit, wanted, clean, field)
    if name == "":
        return ""
    base = re.sub(r"^(kilo|mega|milli|micro|giga)", "", name)
    kind = _KIND[base]
    if wanted.kind == "temperature difference" and name in ("degF", "degC", "kelvin"):
        return {"degF": "delta_degF"}.get(name, "delta_degC")
    if kind != wanted.kind:
        raise _wrong(field, f"{clean!r} is in {_plural(name)}; {_want(wanted)}")
    return name


def _name(word: str, unit: str, wanted: Wanted, clean: str, field: str) -> str:
    """The pint name of ``word`` ("kohm", "Mohm", "F"); a prefix alone is that prefix on the wanted unit, for ohms."""
    lower = word.lower()
    if lower == "":
        return ""
    if lower == "k" and wanted.kind.startswith("temperature"):
        return "kelvin"
    if lower == "m" and wanted.kind == "length":
        return "metre"
    if lower in _WHOLE:
        return _WHOLE[lower]
    parts = _PREFIXED.fullmatch(lower)
    if not parts:
        raise _wrong(field, f"{word!r} in {clean!r} is no unit known here; {_want(wanted)}")
    prefix, base = parts[1] or "", _BASES.get(parts[2] or "", "")
    if not base:
        if wanted.kind != "ohms":
            raise _wrong(field, f"{clean!r} has a multiplier and no unit; {_want(wanted)}")
        base = "ohm"
    if prefix == "m":
        return _milli_or_mega(word[0], base, unit, clean, field)
    return _PREFIXES.get(prefix, "") + base


def _milli_or_mega(letter: str, base: str, unit: str, clean: str, field: str) -> str:
    """The letter m or M: only milli is likely on volts and amperes; on ohms a small m is asked about."""
    if base in ("volt", "ampere"):
        return "milli" + base
    if base == "ohm" and letter == "M":
        return "megaohm"
    if base == "ohm" and unit == "mohm":
        return "milliohm"
    raise _wrong(field, f"{clean!r} could be thousandths or millions; write milli{base} or mega{base} in full")


def _checked(number: float, wanted: Wanted, clean: str, field: str) -> float:
    if not math.isfinite(number):
        raise _wrong(field, f"{clean!r} is too large to be a reading; {_want(wanted)}")
    if wanted.kind == "temperature" and number < ABSOLUTE_ZERO[wanted.pint]:
        raise _wrong(field, f"{clean!r} is below absolute zero; write the temperature the thermometer shows, in F or C")
    if number < 0 and wanted.kind == "ohms":
        raise _wrong(
            field,
            f"{clean!r} is below zero, which no resistance is; zero the leads, prove the circuit dead, measure again",
        )
    if number < 0 and not wanted.signed:
        raise _wrong(field, f"{clean!r} is below zero; write the size of the reading without a sign")
    return number


def _example(number: str, wanted: Wanted) -> str:
    found = _NUMBER.match(number)
    bare = found[1] if found else "12"
    return " or ".join(f"'{bare} {unit}'" for unit in wanted.write)


def _want(wanted: Wanted) -> str:
    kind = wanted.kind if wanted.kind.endswith(("s", "percent")) else "a " + wanted.kind
    return f"write {kind}, for example {_example('12', wanted)}"


def _plural(pint_name: str) -> str:
    special = {"degF": "degrees F", "degC": "degrees C", "kelvin": "kelvin", "foot": "feet", "inch": "inches"}
    special |= {"delta_degF": "degrees F of difference", "delta_degC": "degrees C of difference", "percent": "percent"}
    return special.get(pint_name, pint_name + "s")


def _wrong(field: str, message: str) -> InputError:
    return InputError([Problem(field, message)])
