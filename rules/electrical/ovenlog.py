"""An oven's temperature log, as CSV: its average and swing over whole cycles after settling.

The thermocouple is at the middle of the cavity, the door shut. The average that is judged is the mean of the highest
and the lowest temperature of each cycle, over at least three cycles, as the trade does it; the true mean over time is
given beside it (for an exponential cycle from 330 to 370 F they are 350 and 349.8). The first heat-up and the overshoot
after it are left out.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal, TypeVar

from rules.electrical.sensor_reading import OVEN_BAND_F
from rules.electrical.sensors import f_from_c
from rules.electrical.verdict import Basis, Verdict, Word, cannot_tell, checked, judge, wrong

T = TypeVar("T", bound=str)
Sample = tuple[float, float]  # seconds, F
TimeUnit = Literal["s", "min", "h"]
TempUnit = Literal["F", "C"]

LONGEST_FIELD = 1000  # characters of one cell
MOST_ROWS = 500_000
LEAST_CYCLES = 3
REVERSAL_F = 4.0  # a turn counts once the temperature has come back this far; a thermometer's flicker is less
STEADY_S = 1200.0  # an oven that does not cycle counts as steady after this long

_SECONDS: dict[TimeUnit, float] = {"s": 1.0, "min": 60.0, "h": 3600.0}
_TIME_WORDS: dict[str, TimeUnit] = {
    **dict.fromkeys(("s", "sec", "secs", "second", "seconds"), "s"),
    **dict.fromkeys(("min", "mins", "minute", "minutes"), "min"),
    **dict.fromkeys(("h", "hr", "hrs", "hour", "hours"), "h"),
}
_TEMP_WORDS: dict[str, TempUnit] = {
    **dict.fromkeys(("f", "degf", "fahrenheit"), "F"),
    **dict.fromkeys(("c", "degc", "celsius"), "C"),
}
#: Words that name a column, the surest first: "min temp (F)" is no column of minutes.
_TIME_NAMES: tuple[set[str], ...] = ({"time", "elapsed", "clock", "timestamp"}, set(_TIME_WORDS))
_TEMP_NAMES: tuple[set[str], ...] = ({"temp", "temperature", "oven", "probe"}, set(_TEMP_WORDS))

_AVERAGE = Basis(
    "mean of (highest + lowest) / 2 of each cycle, three cycles or more after settling, less the setting",
    "trade; 25 F either way counts as normal, some say 15 F",
    "common practice, no source",
)
_SWING = Basis(
    "half of (highest - lowest), mean of the cycles after settling",
    "trade; up to 30 F either way counts as normal",
    "common practice, no source",
)


@dataclass(frozen=True)
class OvenLog:
    """What a log shows after settling, in F and s. ``cycles`` is 0 for an oven that holds steady without cycling."""

    middle_f: float
    mean_f: float
    highest_f: float
    lowest_f: float
    swing_f: float  # half of peak to peak, mean of the cycles
    cycles: int
    period_s: float | None


def read_log(text: str, time_unit: TimeUnit | None = None, temp_unit: TempUnit | None = None) -> list[Sample]:
    """Rows of a CSV as (seconds, F). The first row names the columns and their units: ``time (min), temp (F)``.

    A unit given as an argument stands in for one the column does not name. Clock times ``hh:mm:ss`` need no unit and
    may pass midnight once. Raises InputError naming the line for what cannot be read.
    """
    rows = [(number, row) for number, row in _rows(text) if any(cell.strip() for cell in row)]
    if len(rows) < 2:
        raise wrong("log", "is empty; write a first line 'time (s),temp (F)' and a line for each sample")
    time_at, temp_at = _columns(rows[0][1])
    header = rows[0][1]
    clock = ":" in rows[1][1][time_at] if time_at < len(rows[1][1]) else False
    seconds = (
        1.0 if clock else _SECONDS[_unit(header[time_at], _TIME_WORDS, time_unit, "time", "'time (s)' or 'time (min)'")]
    )
    degrees = _unit(header[temp_at], _TEMP_WORDS, temp_unit, "temperature", "'temp (F)' or 'temp (C)'")
    samples: list[Sample] = []
    for number, row in rows[1:]:
        if len(row) <= max(time_at, temp_at):
            raise wrong(f"log line {number}", "has too few columns; write a time and a temperature, or take it out")
        when = _clock(row[time_at], number) if clock else _number(row[time_at], number, "time") * seconds
        temp = _number(row[temp_at], number, "temperature")
        _append(samples, when, f_from_c(temp) if degrees == "C" else temp, number, clock)
    return samples


def _rows(text: str) -> list[tuple[int, list[str]]]:
    before = csv.field_size_limit(LONGEST_FIELD)  # a limit of the whole process, which others set too
    try:
        return _read(text)
    finally:
        csv.field_size_limit(before)


def _read(text: str) -> list[tuple[int, list[str]]]:
    lines = text.lstrip("\ufeff")
    delimiter = ";" if ";" in lines.partition("\n")[0] else "\t" if "\t" in lines.partition("\n")[0] else ","
    reader = csv.reader(io.StringIO(lines, newline=""), delimiter=delimiter)
    rows: list[tuple[int, list[str]]] = []
    try:
        for row in reader:
            rows.append((reader.line_num, row))
            if len(rows) > MOST_ROWS:
                raise wrong("log", f"has more than {MOST_ROWS} lines; log every few seconds, or cut it")
    except csv.Error as error:
        raise wrong(f"log line {reader.line_num}", f"is not CSV ({error}); save the log as plain CSV") from error
    return rows


def _words(cell: str) -> list[str]:
    return re.findall(r"[a-z]+", cell.lower().replace("°", " deg"))


def _columns(header: Sequence[str]) -> tuple[int, int]:
    """Places of the time and the temperature column. Raises InputError if either is not named."""
    temp = _column(header, _TEMP_NAMES, None)
    time = _column(header, _TIME_NAMES, temp)
    for place, word in ((time, "time"), (temp, "temperature")):
        if place is None:
            raise wrong("log line 1", f"names no {word} column; write a first line such as 'time (s),temp (F)'")
    return time or 0, temp or 0


def _column(header: Sequence[str], tiers: tuple[set[str], ...], taken: int | None) -> int | None:
    for names in tiers:
        for place, cell in enumerate(header):
            if place != taken and names & set(_words(cell)):
                return place
    return None


def _unit(cell: str, words: dict[str, T], given: T | None, what: str, write: str) -> T:
    for word in _words(cell):
        if word in words:
            return words[word]
    if given is None:
        raise wrong("log line 1", f"the {what} column {cell.strip()!r} names no unit; write {write}")
    return given


def _number(cell: str, line: int, what: str) -> float:
    try:
        return checked(float(cell.strip()), f"log line {line}")
    except ValueError as error:
        raise wrong(
            f"log line {line}", f"{cell.strip()!r} is no {what}; write a number, or take the line out"
        ) from error


def _clock(cell: str, line: int) -> float:
    found = re.search(r"(\d{1,2}):(\d{2}):(\d{2}(?:\.\d+)?)Z?\s*$", cell)
    if not found:
        raise wrong(f"log line {line}", f"{cell.strip()!r} is no clock time; write hh:mm:ss")
    return 3600.0 * int(found[1]) + 60.0 * int(found[2]) + float(found[3])


def _append(samples: list[Sample], when: float, temp_f: float, line: int, clock: bool) -> None:
    if temp_f < -459.67:
        raise wrong(f"log line {line}", "is below absolute zero; check the temperature's unit")
    last = samples[-1][0] if samples else when - 1
    if clock and when < last - 43200:
        when += 86400
    if when <= last:
        raise wrong(f"log line {line}", "is not later than the line before; sort the log and drop repeats")
    samples.append((when, temp_f))


def turning_points(samples: Sequence[Sample]) -> list[tuple[int, Literal["high", "low"]]]:
    """Places of the highs and lows, alternating; a turn counts once the temperature came back by REVERSAL_F."""
    turns: list[tuple[int, Literal["high", "low"]]] = []
    high = low = 0
    rising: bool | None = None
    for place, (_, temp) in enumerate(samples):
        high = place if temp > samples[high][1] else high
        low = place if temp < samples[low][1] else low
        if rising is not False and samples[high][1] - temp >= REVERSAL_F:
            turns.append((high, "high"))
            rising, low = False, place
        elif rising is not True and temp - samples[low][1] >= REVERSAL_F:
            turns.append((low, "low"))
            rising, high = True, place
    return turns


def analyse(samples: Sequence[Sample]) -> OvenLog | None:
    """Average and swing after settling; None if there are fewer than three whole cycles and the oven is not steady.

    A cycle runs from one high to the next. The first high, the overshoot of the heat-up, is left out.
    """
    highs = [place for place, kind in turning_points(samples) if kind == "high"][1:]
    if len(highs) - 1 < LEAST_CYCLES:
        return _steady(samples)
    pairs = list(pairwise(highs))
    middles, swings = [], []
    for start, end in pairs:
        top = (samples[start][1] + samples[end][1]) / 2
        bottom = min(temp for _, temp in samples[start : end + 1])
        middles.append((top + bottom) / 2)
        swings.append((top - bottom) / 2)
    settled = samples[highs[0] : highs[-1] + 1]
    return _summary(settled, _mean(middles), _mean(swings), len(pairs))


def _steady(samples: Sequence[Sample]) -> OvenLog | None:
    """The last twenty minutes, if nothing in them differs by as much as a reversal."""
    if len(samples) < 3 or samples[-1][0] - samples[0][0] < STEADY_S:
        return None
    last = [sample for sample in samples if sample[0] >= samples[-1][0] - STEADY_S]
    temps = [temp for _, temp in last]
    if len(last) < 3 or max(temps) - min(temps) >= REVERSAL_F:
        return None
    return _summary(last, (max(temps) + min(temps)) / 2, (max(temps) - min(temps)) / 2, 0)


def _summary(settled: Sequence[Sample], middle: float, swing: float, cycles: int) -> OvenLog:
    temps, span = [temp for _, temp in settled], settled[-1][0] - settled[0][0]
    area = sum((b[0] - a[0]) * (a[1] + b[1]) / 2 for a, b in pairwise(settled))
    return OvenLog(middle, area / span, max(temps), min(temps), swing, cycles, span / cycles if cycles else None)


def _mean(numbers: Sequence[float]) -> float:
    return sum(numbers) / len(numbers)


def oven_log_verdicts(samples: Sequence[Sample], set_f: float) -> list[Verdict]:
    """Judge a log against the oven's setting in F: the average's error, and the swing either way."""
    checked(set_f, "set temperature")
    log = analyse(samples)
    if log is None:
        means = "Fewer than three whole cycles after the first: log for 45 to 60 minutes with the door shut."
        return [cannot_tell("oven average less setting", None, "delta_degF", means, _AVERAGE)]
    kind = f"{log.cycles} cycles of {log.period_s:.0f} s" if log.period_s else "it holds steady without cycling"
    said = f"Average {log.middle_f:.1f} F, true mean over time {log.mean_f:.1f} F, {kind}"
    average: dict[Word, str] = {
        "low": f"{said}: cold. User offset, sensor, its joints, its place; then the elements.",
        "as expected": f"{said}.",
        "high": f"{said}: hot. User offset, a leak across the sensor, its place, a welded relay.",
    }
    swing: dict[Word, str] = {
        "as expected": f"From {log.lowest_f:.0f} to {log.highest_f:.0f} F after settling, as ovens do.",
        "high": f"From {log.lowest_f:.0f} to {log.highest_f:.0f} F: sensor out of place, a slow relay, or the fan.",
    }
    return [
        judge(
            "oven average less setting",
            log.middle_f - set_f,
            "delta_degF",
            (-OVEN_BAND_F, OVEN_BAND_F),
            _AVERAGE,
            average,
        ),
        judge("swing either way", log.swing_f, "delta_degF", (0.0, 30.0), _SWING, swing),
    ]
