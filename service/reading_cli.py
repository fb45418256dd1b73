"""``coldleg reading``: what a meter's reading is worth, at the command line.

Every subcommand reads its options as a technician writes them (``121V``, ``1.08k``, ``OL``, ``350F``), asks the
physics for its verdicts and prints them. Where a missing unit could be taken wrongly it is asked for; volts, a
breaker's amperes and percent may be written bare. Bad input ends with exit status 2 and says what to write instead.
"""

from __future__ import annotations

import functools
import json
import math
import textwrap
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import click

from rules.electrical import (
    conductors,
    elements,
    heating,
    leakage,
    load,
    ovenlog,
    sensor_reading,
    supply,
    thermistor,
    thermocouple,
)
from rules.electrical.sensors import Curve
from rules.electrical.units import parse_quantity
from rules.electrical.verdict import Verdict
from rules.terms import InputError

if TYPE_CHECKING:
    _FloatType = click.ParamType[float]
else:  # older click's has no type parameter
    _FloatType = click.ParamType

MOST_LOG_BYTES = 50_000_000
SAID = {"degF": "F", "delta_degF": "F", "mohm": "milliohm"}
CURVES = ("3750", "IEC 60751")


class Quantity(_FloatType):
    """An option that is a reading: text to a number in ``unit``."""

    def __init__(self, unit: str, bare_ok: bool = False) -> None:
        self.unit, self.bare_ok = unit, bare_ok
        self.name = unit

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        if isinstance(value, float):
            return value
        try:
            return parse_quantity(str(value), self.unit, param.name or "" if param else "", self.bare_ok)
        except InputError as error:
            self.fail("; ".join(problem.message for problem in error.problems), param, ctx)


VOLTS, LINE_AMPS = Quantity("V", bare_ok=True), Quantity("A", bare_ok=True)
AMPS, OHMS, WATTS, KW = Quantity("A"), Quantity("ohm"), Quantity("W"), Quantity("kW")
DEG_F, SECONDS, MINUTES, FEET = Quantity("degF"), Quantity("s"), Quantity("min"), Quantity("ft")


@click.group()
def reading() -> None:
    """Judge a meter's reading: value, band, verdict, what it means, and why.

    For a qualified technician. Prove dead before hands go in; ohms and megohms never on a live circuit.
    """


def command(name: str) -> Callable[[Callable[..., list[Verdict]]], click.Command]:
    """A subcommand whose function returns verdicts: they are printed, or written as JSON with ``--json``."""

    def wrap(function: Callable[..., list[Verdict]]) -> click.Command:
        @functools.wraps(function)
        def run(as_json: bool, **options: Any) -> None:
            try:
                verdicts = function(**options)
            except InputError as error:
                raise click.UsageError("\n".join(map(str, error.problems))) from error
            click.echo(to_json(verdicts) if as_json else to_text(verdicts))

        flag = click.option("--json", "as_json", is_flag=True, help="Write JSON instead of text.")
        return reading.command(name)(flag(run))

    return wrap


def to_json(verdicts: list[Verdict]) -> str:
    """The verdicts as one JSON object; an open line is the word OL."""
    return json.dumps({"verdicts": [verdict.as_json() for verdict in verdicts]}, ensure_ascii=False, allow_nan=False)


def to_text(verdicts: list[Verdict]) -> str:
    """The verdicts for a terminal: a line of value, band and word each, then what it means and why, aligned."""
    blocks = []
    for place, verdict in enumerate(verdicts):
        band = "no band" if verdict.band is None else _band(verdict)
        value = "-" if verdict.value is None else _number(verdict.value, verdict.unit)
        head = f"{verdict.what}: {value}   [{band}]   {verdict.verdict.upper()}"
        rows = [("means", verdict.means)]
        # A basis shared with the next verdict is printed once, under the last of them.
        if place + 1 == len(verdicts) or verdicts[place + 1].formula != verdict.formula:
            rows += [("formula", verdict.formula), ("source", verdict.source), ("figures", verdict.status)]
        blocks.append("\n".join([head, *(_row(name, text) for name, text in rows)]))
    return "\n\n".join(blocks)


def _row(name: str, text: str) -> str:
    return textwrap.fill(text, 100, initial_indent=f"  {name:<9}", subsequent_indent=" " * 11)


def _band(verdict: Verdict) -> str:
    low, high = verdict.band or (0.0, math.inf)
    if math.isinf(high):
        return f"{_number(low, verdict.unit)} or more"
    return f"{_number(low, verdict.unit)} to {_number(high, verdict.unit)}"


def _number(value: float, unit: str) -> str:
    """Four figures and the unit as it is said; large ohms in kohm and Mohm; an open line as OL."""
    if math.isinf(value):
        return "OL"
    if unit == "ohm" and value >= 10_000:
        value, unit = (value / 1e6, "Mohm") if value >= 1e6 else (value / 1e3, "kohm")
    figures = f"{value:.0f}" if abs(value) >= 1000 else f"{value:.4g}"
    return f"{figures} {SAID.get(unit, unit)}"


@command("supply")
@click.option("--l1-n", type=VOLTS, help="Volts from L1 to neutral.")
@click.option("--l2-n", type=VOLTS, help="Volts from L2 to neutral.")
@click.option("--l1-l2", type=VOLTS, help="Volts between the legs.")
@click.option("--n-g", type=VOLTS, help="Volts from neutral to the supply's ground.")
@click.option("--loaded/--no-load", default=False, help="Several 240 V units were on, or none.", show_default=True)
@click.option("--before-load", type=VOLTS, help="L1-L2 at the same point without load, to judge the fall.")
@click.option("--low-impedance", is_flag=True, help="The meter was on its low-impedance range.")
@click.option("--system", type=click.Choice(list(supply.NOMINAL)), default="120/240", show_default=True)
@click.option("--point", type=click.Choice(list(supply.LEG_BANDS)), default="block", show_default=True)
def supply_command(before_load: float | None, **given: Any) -> list[Verdict]:
    """Supply volts: each against its range, and what they say together."""
    verdicts = supply.supply_verdicts(supply.Readings(**given))
    if before_load is not None:
        line = _needed(given["l1_l2"], "l1-l2", "the loaded volts between the legs, for example '236 V'")
        verdicts.append(supply.drop_under_load_verdict(before_load, line))
    return verdicts


@command("element")
@click.option("--watts", type=WATTS, help="Rated watts on the plate.")
@click.option("--rated-volts", type=VOLTS, default="240 V", show_default=True)
@click.option("--ohms", type=OHMS, help="Ohms cold, one lead lifted.")
@click.option("--volts", type=VOLTS, help="Volts across it while it is called.")
@click.option("--amps", type=AMPS, help="Amperes by clamp, together with --volts.")
def element_command(
    watts: float | None, rated_volts: float, ohms: float | None, volts: float | None, amps: float | None
) -> list[Verdict]:
    """A heating element: ohms from watts and back, and its heat at the volts it gets."""
    if watts is None:
        known = _needed(ohms, "watts", "the rated watts ('2585 W'), or the ohms ('22.3 ohm') to find them")
        return [elements.rating_from_ohms(known, rated_volts)]
    verdicts = []
    if ohms is not None:
        verdicts.append(elements.element_verdict(ohms, watts, rated_volts))
    if volts is not None:
        verdicts.append(elements.power_verdict(volts, watts, amps, rated_volts))
    elif amps is not None:
        raise click.UsageError("--volts is missing; write the volts across the element too, for example '238 V'")
    return verdicts or [elements.expected_element(watts, rated_volts)]


@command("sheath")
@click.option("--ohms", type=OHMS, required=True, help="Ohms from one end to the sheath, wires lifted.")
@click.option("--other-end", type=OHMS, help="Ohms from the other end to the sheath, to find the place.")
@click.option("--element", type=OHMS, help="Ohms end to end, to find the place.")
@click.option("--test-volts", type=VOLTS, help="Volts of the megohm tester; leave out for a hand meter.")
def sheath_command(
    ohms: float, other_end: float | None, element: float | None, test_volts: float | None
) -> list[Verdict]:
    """An element against its sheath: a leak, or a wire that touches it."""
    verdicts = [leakage.sheath_verdict(ohms, test_volts)]
    if other_end is not None or element is not None:
        second = _needed(other_end, "other-end", "the ohms from the other end to the sheath")
        verdicts.append(elements.grounded_verdict(ohms, second, _needed(element, "element", "the ohms end to end")))
    return verdicts


@command("sensor")
@click.option("--ohms", type=OHMS, help="Ohms of the sensor, unplugged.")
@click.option("--at", "at_f", type=DEG_F, help="Temperature beside the sensor.")
@click.option("--second-ohms", type=OHMS, help="Ohms at a second temperature.")
@click.option("--second-at", "second_f", type=DEG_F, help="The second temperature.")
@click.option("--curve", type=click.Choice([*CURVES, "NTC"]), default="3750", show_default=True)
@click.option("--ohms-25c", type=OHMS, help="NTC: ohms at 25 C.")
@click.option("--beta", type=float, help="NTC: beta in kelvin.")
def sensor_command(
    curve: Literal[Curve, "NTC"], ohms_25c: float | None, beta: float | None, **given: Any
) -> list[Verdict]:
    """The oven sensor: ohms to temperature and back, by the appliance's curve."""
    ohms, at_f = given["ohms"], given["at_f"]
    second_given = given["second_ohms"] is not None or given["second_f"] is not None
    if curve == "NTC":
        if second_given:
            raise click.UsageError(
                "--second-ohms and --second-at are for the RTD curves; judge each NTC reading by itself"
            )
        at_25 = _needed(ohms_25c, "ohms-25c", "the thermistor's ohms at 25 C, for example '10 kohm'")
        part = thermistor.Thermistor.from_beta(at_25, _needed(beta, "beta", "its beta in kelvin, for example 3380"))
        return [thermistor.thermistor_verdict(_needed(ohms, "ohms", "the reading, for example '11.5k'"), part, at_f)]
    if beta is not None or ohms_25c is not None:
        raise click.UsageError("--beta and --ohms-25c belong to --curve NTC; add it, or leave them out")
    if ohms is None:
        at_f = _needed(at_f, "ohms", "the sensor's ohms, or --at with a temperature to get the ohms to expect")
        return [sensor_reading.expected_sensor(at_f, curve)]
    verdicts = [sensor_reading.sensor_verdict(ohms, curve, at_f)]
    if second_given:
        first = ohms, _needed(at_f, "at", "the first temperature, for example '72 F'")
        second_f = _needed(given["second_f"], "second-at", "the second temperature, for example '350 F'")
        second = _needed(given["second_ohms"], "second-ohms", "the ohms at the second temperature"), second_f
        verdicts.append(sensor_reading.two_point_verdict(first, second, curve))
    return verdicts


@command("oven-error")
@click.option("--set", "set_f", type=DEG_F, required=True, help="What the oven is set to.")
@click.option("--average", "average_f", type=DEG_F, help="What it averages over three cycles.")
@click.option("--series", type=OHMS, help="Ohms in series with the sensor.")
@click.option("--shunt", type=OHMS, help="Ohms of a leak across the sensor.")
@click.option("--fitted", type=click.Choice(CURVES), help="Curve of the sensor that is fitted.")
@click.option("--curve", type=click.Choice(CURVES), default="3750", show_default=True, help="Curve of the control.")
def oven_error_command(set_f: float, curve: Curve, **given: Any) -> list[Verdict]:
    """The oven error a resistance causes, and the resistance that explains an error."""
    verdicts = []
    if given["average_f"] is not None:
        verdicts.append(sensor_reading.observed_error_verdict(set_f, given["average_f"], curve))
    if given["series"] is not None:
        verdicts.append(sensor_reading.added_resistance_verdict(set_f, given["series"], "series", curve))
    if given["shunt"] is not None:
        verdicts.append(sensor_reading.added_resistance_verdict(set_f, given["shunt"], "shunt", curve))
    if given["fitted"] is not None:
        verdicts.append(sensor_reading.wrong_curve_verdict(set_f, given["fitted"], curve))
    if not verdicts:
        raise click.UsageError("nothing to work from; add --average, --series, --shunt or --fitted")
    return verdicts


@command("thermocouple")
@click.option("--mv", type=Quantity("mV"), required=True, help="Millivolts on the meter.")
@click.option("--cold-junction", type=DEG_F, required=True, help="Temperature at the meter's terminals.")
@click.option("--expect", type=DEG_F, help="Temperature it should show.")
@click.option("--class", "tolerance", type=click.Choice(["1", "2"]), default="2", show_default=True)
def thermocouple_command(mv: float, cold_junction: float, expect: float | None, tolerance: str) -> list[Verdict]:
    """A type K thermocouple: millivolts to temperature."""
    return [thermocouple.thermocouple_verdict(mv, cold_junction, expect, 1 if tolerance == "1" else 2)]


@command("duty")
@click.option("--on", "on_s", type=SECONDS, required=True, help="Time on in one cycle, or over several.")
@click.option("--off", "off_s", type=SECONDS, required=True, help="Time off in the same.")
@click.option("--setting", required=True, help=f"Knob mark: {', '.join(heating.DUTY)}.")
def duty_command(on_s: float, off_s: float, setting: str) -> list[Verdict]:
    """The duty cycle of an infinite switch."""
    return [heating.duty_verdict(on_s, off_s, setting)]


@command("drop")
@click.option("--amps", type=LINE_AMPS, required=True)
@click.option("--length", "feet", type=FEET, required=True, help="Length of the run, one way.")
@click.option("--awg", type=int, required=True, help="Copper size.")
@click.option("--volts", type=VOLTS, default="240 V", show_default=True)
@click.option("--make", type=click.Choice(["stranded", "solid"]), default="stranded", show_default=True)
@click.option("--wire-temp", "temp_c", type=Quantity("degC"), default="75 C", show_default=True)
def drop_command(**given: Any) -> list[Verdict]:
    """Volts lost in a run of copper cable."""
    return [conductors.drop_verdict(**given)]


@command("joint")
@click.option("--amps", type=LINE_AMPS, required=True, help="Amperes through it.")
@click.option("--across", "volts", type=VOLTS, help="Volts across it under load.")
@click.option("--ohms", type=OHMS, help="Its ohms, for example '50 milliohm'.")
def joint_command(**given: Any) -> list[Verdict]:
    """Heat in a joint, from the volts across it or its ohms."""
    return [conductors.joint_verdict(**given)]


@command("breaker")
@click.option("--breaker", "breaker_amps", type=LINE_AMPS, required=True, help="Its rating.")
@click.option("--range", "rating_kw", type=KW, help="The range's rating on its plate.")
@click.option("--volts", type=VOLTS, default="240 V", show_default=True)
@click.option("--awg", type=int, help="Copper size of the circuit.")
@click.option("--load", "load_amps", type=LINE_AMPS, help="Amperes by clamp.")
@click.option("--tripped-after", type=SECONDS, help="Time under that load until it tripped.")
def breaker_command(
    breaker_amps: float, rating_kw: float | None, volts: float, awg: int | None, **given: Any
) -> list[Verdict]:
    """A breaker against the range's demand, and against the load that tripped it."""
    verdicts = []
    if rating_kw is not None:
        verdicts.append(load.breaker_verdict(breaker_amps, rating_kw, volts, awg))
    if given["load_amps"] is not None:
        verdicts.append(load.trip_verdict(given["load_amps"], breaker_amps, given["tripped_after"]))
    elif given["tripped_after"] is not None:
        raise click.UsageError("--load is missing; write the amperes that tripped it, for example '44 A'")
    if not verdicts:
        raise click.UsageError(
            "--range is missing; write the plate's rating ('12 kW'), or --load with the clamp's amperes"
        )
    return verdicts


@command("leakage")
@click.option("--current", "milliamps", type=Quantity("mA"), help="Leakage clamp round L1, L2 and N together.")
@click.option("--ohms", type=OHMS, help="Insulation ohms, to get the current they let through.")
@click.option("--range", "rating_kw", type=KW, help="Judge by IEC 60335-1 for this rating.")
def leakage_command(milliamps: float | None, ohms: float | None, rating_kw: float | None) -> list[Verdict]:
    """Current to the frame, and whether a ground-fault breaker trips."""
    if milliamps is not None:
        return [leakage.leakage_verdict(milliamps, rating_kw)]
    insulation = leakage.sheath_verdict(_needed(ohms, "current", "the clamp's reading ('4.7 mA'), or --ohms"))
    if insulation.verdict == "short" or ohms is None:
        return [insulation]
    return [insulation, leakage.leakage_verdict(leakage.leak_ma(ohms), rating_kw)]


@command("oven-log")
@click.argument("file", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.option("--set", "set_f", type=DEG_F, required=True, help="What the oven is set to.")
@click.option("--time-unit", type=click.Choice(["s", "min", "h"]), help="If the file does not name it.")
@click.option("--temp-unit", type=click.Choice(["F", "C"]), help="If the file does not name it.")
def oven_log_command(file: Path, set_f: float, time_unit: Any, temp_unit: Any) -> list[Verdict]:
    """Average and swing of an oven from a logged temperature series (CSV)."""
    if file.stat().st_size > MOST_LOG_BYTES:
        raise click.UsageError(
            f"{file} is larger than {MOST_LOG_BYTES // 1_000_000} MB; log every few seconds, or cut it"
        )
    try:
        text = file.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise click.UsageError(f"{file} cannot be read as text; save the log as plain UTF-8 CSV") from error
    return ovenlog.oven_log_verdicts(ovenlog.read_log(text, time_unit, temp_unit), set_f)


@command("preheat")
@click.option("--set", "set_f", type=DEG_F, required=True, help="What the oven is set to.")
@click.option("--bake", type=WATTS, required=True, help="Rated watts of the bake element.")
@click.option("--broil", type=WATTS, help="Rated watts of the broil element, if it helps preheat.")
@click.option("--convection", type=WATTS, help="Rated watts of the convection element, if it helps preheat.")
@click.option("--took", "took_min", type=MINUTES, help="Minutes it took from cold.")
@click.option("--room", "room_f", type=DEG_F, default="70 F", show_default=True)
@click.option("--volts", type=VOLTS, default="240 V", show_default=True)
def preheat_command(set_f: float, took_min: float | None, room_f: float, volts: float, **watts: Any) -> list[Verdict]:
    """Preheat time with all elements and with one lost (illustrative model)."""
    working = {name: number for name, number in watts.items() if number is not None}
    return [heating.preheat_verdict(took_min, working, set_f, room_f, volts)]


def _needed(value: float | None, option: str, write: str) -> Any:
    """The value of an option that this use of the subcommand needs, or a usage error that says what to write."""
    if value is None:
        raise click.UsageError(f"--{option} is missing; write {write}")
    return value
