"""Heat over time: the duty of an infinite switch, and how long an oven takes to reach its setting.

The preheat model is one lump of heat capacity that loses heat in proportion to its rise over the room. It is
illustrative: it shows that losing an element costs more time than watts, and where an oven never gets there. Minutes
of a real oven differ.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

from rules.electrical.elements import watts_at
from rules.electrical.sensors import c_from_f
from rules.electrical.verdict import Band, Basis, Verdict, Word, cannot_tell, checked, judge, made, not_negative, wrong

#: Percent of the time on, by knob mark: common practice, no source. A switch maker's page gives about 6 to 70 % by
#: knob and then 100 % at the top (found). The bands about them are this program's own: half to double, at the middle
#: marks two thirds to four thirds.
DUTY: dict[str, tuple[float, Band]] = {
    "LO": (6.0, (3.0, 12.0)),
    "2": (12.0, (6.0, 24.0)),
    "MED": (40.0, (27.0, 53.0)),
    "8": (65.0, (43.0, 87.0)),
    "HI": (100.0, (99.0, 100.0)),
}
PERIOD_S: Band = (15.0, 60.0)  # from memory

HEAT_CAPACITY = 18e3  # J/K, illustrative
LOSS = 4.5  # W/K, illustrative
PREHEAT_SHARE: Band = (0.7, 1.3)  # band about the model's minutes, illustrative

_DUTY = Basis(
    "percent = time on / (time on + time off), over whole cycles after some minutes",
    "marks from the trade; 6 to 70 % and then 100 % from a switch maker's page (found)",
    "common practice, no source",
)
_PREHEAT = Basis(
    "minutes = (C / UA) x ln(W / (W - UA x rise)) / 60, C 18 kJ/K, UA 4.5 W/K",
    "one-lump model of an oven, constants invented for illustration",
    "illustrative",
)


def duty_percent(on_s: float, off_s: float) -> float:
    """Percent of the time on. Raises InputError unless both are zero or more and not both zero."""
    not_negative(on_s, "time on", "seconds")
    not_negative(off_s, "time off", "seconds")
    if on_s + off_s <= 0:
        raise wrong("time on", "and time off are both zero; time at least one whole cycle")
    return 100 * (on_s / (on_s + off_s))


def duty_verdict(on_s: float, off_s: float, mark: str) -> Verdict:
    """Judge an infinite switch's duty at a knob mark: LO, 2, MED, 8 or HI."""
    name = mark.strip().upper()
    if name not in DUTY:
        raise wrong("setting", f"{mark!r} is no mark held here; write one of {', '.join(DUTY)}")
    value, (usual, band) = duty_percent(on_s, off_s), DUTY[name]
    what = f"infinite switch at {name}"
    if on_s == 0:
        means = "Never on: open contact, element, limiter or supply; measure volts across the element."
        return made(what, value, "%", band, "open", means, _DUTY)
    if off_s == 0 and name != "HI":
        means = "Never off below HI: the cycling contact is welded, or the heater of its bimetal is open."
        return made(what, value, "%", band, "high", means, _DUTY)
    pace = "" if not off_s or PERIOD_S[0] <= on_s + off_s <= PERIOD_S[1] else " The cycle is not the usual 15 to 60 s."
    low = "It cuts off at HI, where the switch should not: the limiter's work. Flat pan, right size?"
    means_of: dict[Word, str] = {
        "low": low
        if name == "HI"
        else f"Less heat than the usual {usual:.0f} %: switch and element may not match.{pace}",
        "as expected": f"About the usual {usual:.0f} %.{pace}",
        "high": f"More heat than the usual {usual:.0f} %: switch and element may not match, or it is failing.{pace}",
    }
    return judge(what, value, "%", band, _DUTY, means_of)


def preheat_minutes(watts: float, set_f: float, room_f: float = 70.0) -> float:
    """Minutes from room temperature to the setting in F with ``watts`` on throughout; inf if it never gets there."""
    not_negative(watts, "watts", "watts")
    rise = c_from_f(checked(set_f, "set temperature")) - c_from_f(checked(room_f, "room temperature"))
    if rise < 0:
        raise wrong("set temperature", "is below the room's; write what the oven is set to")
    if watts <= LOSS * rise:
        return 0.0 if rise == 0 else math.inf
    return HEAT_CAPACITY / LOSS * math.log(watts / (watts - LOSS * rise)) / 60


def preheat_times(
    elements: Mapping[str, float], set_f: float, room_f: float = 70.0, volts: float = 240.0
) -> dict[str, float]:
    """Minutes with every element, under ``"all"``, and with each one lost, under its name; watts rated at 240 V.

    Raises InputError if there are no elements.
    """
    if not elements:
        raise wrong("elements", "write the watts of at least one element that is on during preheat")
    working = {name: watts_at(watts, volts) for name, watts in elements.items()}
    total = sum(working.values())
    times = {"all": preheat_minutes(total, set_f, room_f)}
    return times | {name: preheat_minutes(total - watts, set_f, room_f) for name, watts in working.items()}


def preheat_verdict(
    took_min: float | None,
    elements: Mapping[str, float],
    set_f: float,
    room_f: float = 70.0,
    volts: float = 240.0,
) -> Verdict:
    """Judge the minutes a preheat took, or say what to expect if ``took_min`` is None."""
    times = preheat_times(elements, set_f, room_f, volts)
    usual = times.pop("all")
    table = ", ".join(f"without {name} {_minutes(time)}" for name, time in times.items())
    said = f"About {_minutes(usual)} with all elements; {table}"
    if took_min is None or math.isinf(usual):
        return cannot_tell("preheat", None if math.isinf(usual) else usual, "min", f"{said}.", _PREHEAT)
    if math.isnan(took_min) or took_min < 0:
        raise wrong("preheat time", "must be zero or more; write minutes, for example '21 min'")
    band = (usual * PREHEAT_SHARE[0], usual * PREHEAT_SHARE[1])
    nearest = min(times, key=lambda name: abs(math.log(max(times[name], 0.1) / max(took_min, 0.1))))
    means: dict[Word, str] = {
        "low": f"{said}. Faster: it did not start from cold, or stopped short of its setting.",
        "as expected": f"{said}.",
        "high": f"{said}. Nearest to the time without {nearest}: see which element reddens.",
    }
    return judge("preheat", took_min, "min", band, _PREHEAT, means)


def _minutes(time: float) -> str:
    return "never" if math.isinf(time) else f"{time:.0f} min"
