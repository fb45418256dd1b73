"""From volts, watts and ohms to the words of the vocabulary: what a person, or a meter, would report.

Every observer takes the :class:`~rules.appliance.operating.Runs` of many machines and gives one word a machine; an
empty word means that the question makes no sense there (how food browns in an oven that stays cold).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np
from numpy.typing import NDArray

from rules.appliance.injecting import Fleet
from rules.appliance.operating import HEATER_WATTS, Runs, display_grade, seen_by_control, total_watts
from rules.appliance.wiring import Wiring
from rules.bookkeeping.types import FactTerm
from rules.electrical.sensors import Curve, ohms_at, temp_at
from rules.terms import fact_key

Words = NDArray[np.str_]

SET_F = 350.0
OTHER_CURVE: dict[Curve, Curve] = {"3750": "IEC 60751", "IEC 60751": "3750"}
ROOM_C = 21.1  # 70 F
SOME_HEAT, FULL_HEAT = 0.02, 0.85  # shares of nominal watts: below "none", from "normal"; 208 V gives 0.75
LOW_DUTY = 0.06  # share of the time an infinite switch is closed at low; common practice, one published page agrees
AS_HOT = 0.6  # share of its own high setting from which low counts as "full"
GLOWS = 0.4  # share of nominal watts from which an element reddens; common practice
OVEN_LOSS_W_PER_K = 4.5  # illustrative lumped oven
UPPER_SHARE = 0.10  # share of the time the upper element helps once the oven is hot; from memory
LAMP_LIT, LAMP_NORMAL = 0.2, 0.75  # shares of nominal lamp watts
TRIPS_AT_ONCE, TRIPS_LATER = 5.0, 1.35  # times the breaker's rating; UL 489: 135 % within an hour; 5 is from memory
BREAKER_AMPS = 50.0
CONTACT_CLOSED_OHMS = 20.0


def observe(runs: Runs, terms: Mapping[str, FactTerm]) -> dict[str, Words]:
    """What each machine shows, by fact key. Only facts whose ``model`` is ``circuit`` and that this range has."""
    seen: dict[str, Words] = {}
    wiring = runs.fleet.wiring
    seen["breaker"] = _breaker(runs)
    if wiring.appliance.units:
        seen["indicator.off"] = _indicator_off(runs)
    for fact, at_unit in _BY_UNIT.items():
        for unit in wiring.appliance.positions:
            if _has(wiring, fact, unit):
                seen[fact_key(fact, unit)] = at_unit(runs, unit)
    if wiring.appliance.oven:
        seen |= {fact: observer(runs) for fact, observer in _OVEN.items() if _has(wiring, fact, "")}
        seen["oven.offset"] = _banded(terms["oven.offset"], _offset_f(runs), None)
        room = seen_by_control(runs.fleet, probe_ohms(runs.fleet, ROOM_C))
        seen["ohms.sensor"] = _banded(terms["ohms.sensor"], room, None)
    for points in terms["volts"].between:
        for state in terms["volts"].states:
            volts = runs.at[f"meter {points} {state}"].across(f"meter {points}")
            seen[fact_key("volts", points, state)] = _banded(terms["volts"], volts, points)
    seen["hazard.heat_when_off"] = _yes(_anything_heats_at_off(runs))
    return seen


def modelled_facts() -> frozenset[str]:
    """Names of the facts the circuit predicts; the book's ``model: circuit`` must say the same."""
    own = {"breaker", "indicator.off", "oven.offset", "ohms.sensor", "volts", "hazard.heat_when_off"}
    return frozenset({*_BY_UNIT, *_OVEN, *own})


def room_sensor_ohms(wiring: Wiring) -> float:
    """A sound sensor at 70 F on this appliance's curve, ohm."""
    return ohms_at(ROOM_C, wiring.appliance.sensor_curve)


def probe_ohms(fleet: Fleet, temp_c: float) -> NDArray[np.float64]:
    """Each machine's own sensor at a temperature, before its plug and harness, ohm."""
    curve = fleet.wiring.appliance.sensor_curve
    return np.where(fleet.other_curve, ohms_at(temp_c, OTHER_CURVE[curve]), ohms_at(temp_c, curve))


def expected_ohms(wiring: Wiring, element: str) -> float:
    """Resistance of a sound element, ohm: rated volts squared over watts."""
    return sum(wiring.impedance[half].real for half in wiring.elements[element])


def _has(wiring: Wiring, fact: str, unit: str) -> bool:
    """Whether this appliance has what the fact is about."""
    if fact == "display.with_burner_on":
        return bool(wiring.appliance.units)
    needed = {
        "hot_light.cold": f"{unit}.hot_contact",
        "hot_light.hot": f"{unit}.hot_contact",
        "contact.hot_light": f"{unit}.hot_contact",
        "contact.high_limit": f"{unit}.high_limit",
        "contact.cutout": "cutout",
    }.get(fact)
    return needed is None or needed in wiring.contacts


def _words(conditions: list[NDArray[np.bool_]], words: list[str], otherwise: str) -> Words:
    return np.select(conditions, words, otherwise)


def _yes(mask: NDArray[np.bool_]) -> Words:
    return _words([mask], ["yes"], "no")


def _banded(term: FactTerm, numbers: NDArray[np.float64], between: str | None) -> Words:
    bands = term.bands_at(between)
    return np.array([bands.name_of(float(number)) for number in numbers])


def _heat(share: NDArray[np.float64]) -> Words:
    return _words([share < SOME_HEAT, share < FULL_HEAT], ["none", "weak"], "normal")


def _nominal(runs: Runs, elements: list[str]) -> float:
    return sum(runs.fleet.wiring.nominal_watts[element] for element in elements)


def _share(runs: Runs, state: str, elements: list[str]) -> NDArray[np.float64]:
    """Watts of some elements in a state, as a share of their nominal watts."""
    return total_watts(runs.at[state], elements) / _nominal(runs, elements)


def _rings(runs: Runs, unit: str) -> list[str]:
    return [e for e in runs.fleet.wiring.elements if e.startswith(f"{unit}.")]


# --- display, keys, supply ---------------------------------------------------------------------------------------
_GRADES = np.array(["lit", "dim", "flickering", "dark"])


def _display(runs: Runs) -> Words:
    words: Words = _GRADES[display_grade(runs.fleet, runs.at["idle"])]
    return words


def _display_with_burner(runs: Runs) -> Words:
    units = runs.fleet.wiring.appliance.positions
    best = np.min([display_grade(runs.fleet, runs.at[f"high {unit}"]) for unit in units], axis=0)
    words: Words = np.array(["lit", "dim", "dim", "dark"])[best]
    return words


def _keys(runs: Runs) -> Words:
    alive = display_grade(runs.fleet, runs.at["idle"]) <= 1
    return _words([~alive, runs.fleet.setting == "locked"], ["dead", "locked"], "respond")


def _symbols(runs: Runs) -> Words:
    alive = display_grade(runs.fleet, runs.at["idle"]) <= 1
    shown = [runs.fleet.setting == setting for setting in ("locked", "demo", "delayed")]
    return _words([~alive, *shown], ["", "lock", "demo", "timer"], "none")


def _breaker(runs: Runs) -> Words:
    """From the current each pole carries: a breaker opens at once far above its rating, later a little above."""
    column = runs.fleet.wiring.network.branch_number()
    poles = [column["breaker_l1"], column["breaker_l2"]]
    both_open = (runs.fleet.admittance[:, poles] == 0).all(axis=1)
    worst = (
        np.max([runs.at[state].amps(f"breaker_l{n}") for state in runs.states for n in (1, 2)], axis=0) / BREAKER_AMPS
    )
    return _words(
        [both_open, worst >= TRIPS_AT_ONCE, worst >= TRIPS_LATER], ["tripped", "trips_at_once", "trips_later"], "on"
    )


# --- surface units -----------------------------------------------------------------------------------------------
def _surface_heat(runs: Runs, unit: str) -> Words:
    return _heat(_share(runs, f"high {unit}", _rings(runs, unit)))


def _low_heat(runs: Runs, unit: str) -> Words:
    rings = _rings(runs, unit)
    high = _share(runs, f"high {unit}", rings)
    average = LOW_DUTY * high + (1 - LOW_DUTY) * _share(runs, f"low rest {unit}", rings)
    return _words([high < SOME_HEAT, average > AS_HOT * high], ["none", "full"], "low")


def _off_heat(runs: Runs, unit: str) -> Words:
    return _words([_share(runs, "idle", _rings(runs, unit)) > SOME_HEAT], ["some"], "none")


def _lamp_lit(runs: Runs, state: str, lamp: str) -> NDArray[np.bool_]:
    nominal = 120.0**2 / runs.fleet.wiring.impedance[lamp].real
    return runs.at[state].watts([lamp]) > LAMP_LIT * nominal


def _indicator_off(runs: Runs) -> Words:
    return _words([_lamp_lit(runs, "idle", "indicator_lamp")], ["lit"], "dark")


def _indicator_on(runs: Runs, unit: str) -> Words:
    return _words([_lamp_lit(runs, f"high {unit}", "indicator_lamp")], ["lit"], "dark")


def _hot_light_cold(runs: Runs, unit: str) -> Words:
    return _words([_lamp_lit(runs, "idle", f"{unit}.hot_lamp")], ["lit"], "dark")


def _hot_light_hot(runs: Runs, unit: str) -> Words:
    """Only a unit that heats has a hot top."""
    cold = _share(runs, f"high {unit}", _rings(runs, unit)) < SOME_HEAT
    return _words([cold, _lamp_lit(runs, "hot", f"{unit}.hot_lamp")], ["", "lit"], "dark")


# --- oven --------------------------------------------------------------------------------------------------------
_BOTH = ["bake_element", "broil_element"]


def _bake_heat(runs: Runs) -> Words:
    """Bake lives on the lower element; the upper one helps a small share of the time."""
    watts = total_watts(runs.at["bake"], ["bake_element"])
    watts += UPPER_SHARE * total_watts(runs.at["bake"], ["broil_element"])
    return _heat(watts / (_nominal(runs, ["bake_element"]) + UPPER_SHARE * _nominal(runs, ["broil_element"])))


def _broil_heat(runs: Runs) -> Words:
    return _heat(_share(runs, "broil", ["broil_element"]))


def _preheat(runs: Runs) -> Words:
    share = _share(runs, "bake", _BOTH)
    return _words([share < SOME_HEAT, share < FULL_HEAT], ["never", "slow"], "normal")


def _glow(runs: Runs) -> Words:
    lower = _share(runs, "bake", ["bake_element"]) >= GLOWS
    upper = _share(runs, "bake", ["broil_element"]) >= GLOWS
    return _words([lower & upper, lower, upper], ["both", "lower_only", "upper_only"], "neither")


def _browning(runs: Runs) -> Words:
    lower = _share(runs, "bake", ["bake_element"]) >= SOME_HEAT
    upper = _share(runs, "bake", ["broil_element"]) >= SOME_HEAT
    return _words([lower & upper, lower, upper], ["even", "pale_above", "pale_below"], "")


def _oven_off_heat(runs: Runs) -> Words:
    return _words([_share(runs, "idle", _BOTH) > SOME_HEAT], ["some"], "none")


def _oven_lamp(runs: Runs) -> Words:
    share = runs.at["lamp"].watts(["oven_lamp"]) * runs.fleet.wiring.impedance["oven_lamp"].real / 120.0**2
    return _words([share < LAMP_LIT, share < LAMP_NORMAL, share > 1 / LAMP_NORMAL], ["dark", "dim", "dim"], "lit")


def _anything_heats_at_off(runs: Runs) -> NDArray[np.bool_]:
    heats = [_off_heat(runs, unit) == "some" for unit in runs.fleet.wiring.appliance.positions]
    if runs.fleet.wiring.appliance.oven:
        heats.append(_oven_off_heat(runs) == "some")
    some: NDArray[np.bool_] = np.logical_or.reduce(heats)
    return some


def _offset_f(runs: Runs) -> NDArray[np.float64]:
    """Mean oven temperature less its setting, F.

    The control holds what it reads at the set value; the sensor's path decides what that means in the cavity. An
    element that no relay can switch off runs away upward; too few watts never get there.
    """
    curve = runs.fleet.wiring.appliance.sensor_curve
    held = held_temperature_f(runs, curve)
    steady = total_watts(runs.at["bake"], ["bake_element"])
    steady += UPPER_SHARE * total_watts(runs.at["bake"], ["broil_element"])
    reachable = (ROOM_C + steady / OVEN_LOSS_W_PER_K) * 1.8 + 32
    runaway = total_watts(runs.at["bake rest"], _BOTH)
    always = (ROOM_C + runaway / OVEN_LOSS_W_PER_K) * 1.8 + 32
    return np.clip(np.maximum(np.minimum(held, reachable), always) - SET_F, -399.0, 399.0)


def held_temperature_f(runs: Runs, curve: Curve) -> NDArray[np.float64]:
    """Cavity temperature at which the control reads its set value, with any user offset, F."""
    wanted = ohms_at((SET_F - 32) / 1.8, curve)
    held = np.empty(len(runs.fleet))
    for row, (series, shunt) in enumerate(zip(runs.fleet.sensor_series, runs.fleet.sensor_shunt, strict=True)):
        if shunt <= wanted:
            held[row] = np.inf  # the control can never read the set value: it heats until something else stops it
            continue
        chain = wanted if np.isinf(shunt) else wanted * shunt / (shunt - wanted)
        fitted = OTHER_CURVE[curve] if runs.fleet.other_curve[row] else curve
        probe = chain - series
        least, most = ohms_at(-40.0, fitted), ohms_at(540.0, fitted)
        held[row] = -np.inf if probe < least else np.inf if probe > most else temp_at(probe, fitted) * 1.8 + 32
    return held + runs.fleet.offset_f


# --- meter on a dead appliance ------------------------------------------------------------------------------------
def _resistance(runs: Runs, branches: list[str], state: str) -> NDArray[np.float64]:
    """Ohms of some branches in a row, with contacts as they stand in a state."""
    column = runs.fleet.wiring.network.branch_number()
    with np.errstate(divide="ignore"):
        parts = [1 / np.abs(runs.at[state].admittance[:, column[branch]]) for branch in branches]
    total: NDArray[np.float64] = np.add.reduce(parts)
    return total


def _element_ohms(element_of: Callable[[str], str]) -> Callable[[Runs, str], Words]:
    def observer(runs: Runs, unit: str) -> Words:
        element = element_of(unit)
        ratio = _resistance(runs, list(runs.fleet.wiring.elements[element]), "idle")
        ratio = ratio / expected_ohms(runs.fleet.wiring, element)
        return _words([ratio < 0.2, ratio < 0.85, ratio < 1.15, ratio < 5], ["short", "low", "right", "high"], "open")

    return observer


def _contact(name: str, state: str) -> Callable[[Runs, str], Words]:
    def observer(runs: Runs, unit: str) -> Words:
        place = state.replace("{unit}", unit)
        ohms = _resistance(runs, [name.replace("{unit}", unit)], place)
        return _words([ohms < CONTACT_CLOSED_OHMS], ["closed"], "open")

    return observer


def _cycling(runs: Runs, unit: str) -> Words:
    """The test needs a warm run: where a sound bimetal gets no heat it tells nothing about the contact."""
    name = [f"{unit}.cycling_contact"]
    heater = _resistance(runs, [f"{unit}.switch_heater"], "idle")
    cold = ~np.isinf(heater) & (runs.at[f"low {unit}"].watts([f"{unit}.switch_heater"]) < HEATER_WATTS)
    closes = _resistance(runs, name, f"high {unit}") < CONTACT_CLOSED_OHMS
    stays = _resistance(runs, name, f"low rest {unit}") < CONTACT_CLOSED_OHMS
    return _words([~closes, cold, stays], ["stays_open", "", "stays_closed"], "opens")


_BY_UNIT: dict[str, Callable[[Runs, str], Words]] = {
    "surface.heat": _surface_heat,
    "surface.low_heat": _low_heat,
    "surface.off_heat": _off_heat,
    "indicator.on": _indicator_on,
    "hot_light.cold": _hot_light_cold,
    "hot_light.hot": _hot_light_hot,
    "ohms.element": _element_ohms(lambda unit: f"{unit}.element"),
    "contact.hot_light": _contact("{unit}.hot_contact", "idle"),
    "contact.high_limit": _contact("{unit}.high_limit", "idle"),
    "contact.pilot": _contact("{unit}.pilot_contact", "idle"),
    "contact.line": _contact("{unit}.line_contact", "high {unit}"),
    "contact.cycling": _cycling,
}

_OVEN: dict[str, Callable[[Runs], Words]] = {
    "display": _display,
    "display.with_burner_on": _display_with_burner,
    "oven.keys": _keys,
    "symbols": _symbols,
    "oven.bake.heat": _bake_heat,
    "oven.broil.heat": _broil_heat,
    "oven.preheat": _preheat,
    "oven.glow": _glow,
    "oven.browning": _browning,
    "oven.off_heat": _oven_off_heat,
    "oven.lamp": _oven_lamp,
    "ohms.bake": lambda runs: _element_ohms(lambda _: "bake_element")(runs, ""),
    "ohms.broil": lambda runs: _element_ohms(lambda _: "broil_element")(runs, ""),
    "contact.cutout": lambda runs: _contact("cutout", "idle")(runs, ""),
    "contact.bake_relay": lambda runs: _contact("bake_relay", "idle")(runs, ""),
}
