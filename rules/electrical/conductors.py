"""Copper conductors and joints: ohms per foot, volts lost on the way, and watts in a poor contact.

Ohms are those of NEC chapter 9 table 8, uncoated copper, direct current, 75 C. Several pages print the solid wires'
values under the word stranded; the values here are told apart as a copy of the 2023 table does and as the resistivity
of copper confirms (stranded is 2 % higher, for the lay of its strands).
"""

from __future__ import annotations

import math
from typing import Literal

from rules.electrical.verdict import Basis, Verdict, Word, checked, judge, made, not_negative, positive, wrong

Make = Literal["stranded", "solid"]

#: Ohms per 1000 ft at 75 C. Found: stranded 16, 10, 8, 6, solid 10, 8. From memory: the rest.
OHMS_PER_KFT: dict[Make, dict[int, float]] = {
    "stranded": {16: 4.99, 14: 3.14, 12: 1.98, 10: 1.24, 8: 0.778, 6: 0.491, 4: 0.308},
    "solid": {16: 4.89, 14: 3.07, 12: 1.93, 10: 1.21, 8: 0.764},
}
COPPER_SLOPE = 0.00323  # per C about 75 C, note 2 of the same table, from memory
DROP_BAND = (0.0, 3.0)
JOINT_BAND = (0.0, 0.010)  # ohm: 0.1 V at 10 A, common practice, no source

_DROP = Basis(
    "volts = 2 x amperes x one-way feet x ohms per 1000 ft / 1000",
    "NEC chapter 9 table 8, 2023 edition; 3 % of the branch is advice in a note to 210.19. Ask the authority having"
    " jurisdiction",
    "found",
)
_JOINT = Basis(
    "ohms = volts across the joint / amperes; watts = amperes^2 x ohms; under 10 milliohm",
    "Ohm's and Joule's law; limit from the trade. Joints of 30-40 W at 15-20 A are reported to glow (found)",
    "common practice, no source",
)


def ohms_per_kft(awg: int, make: Make = "stranded", temp_c: float = 75.0) -> float:
    """Ohms of 1000 ft of one copper conductor at a temperature in C. Raises InputError for a size not held."""
    held = OHMS_PER_KFT.get(make, {})
    if awg not in held:
        sizes = ", ".join(map(str, held)) or "stranded or solid for the make"
        raise wrong("wire size", f"{make} AWG {awg} is not held; write one of {sizes}")
    if not -50 <= checked(temp_c, "wire temperature") <= 150:
        raise wrong("wire temperature", "must be -50 to 150 C; write the temperature of the copper")
    return held[awg] * (1 + COPPER_SLOPE * (temp_c - 75.0))


def volts_lost(amps: float, feet: float, awg: int, make: Make = "stranded", temp_c: float = 75.0) -> float:
    """Volts lost in the two conductors of a run ``feet`` long, one way."""
    not_negative(amps, "amperes", "amperes")
    return 2 * amps * not_negative(feet, "length", "feet") * ohms_per_kft(awg, make, temp_c) / 1000


def drop_verdict(
    amps: float, feet: float, awg: int, volts: float = 240.0, make: Make = "stranded", temp_c: float = 75.0
) -> Verdict:
    """The volts a run of copper should lose, judged as a share of the supply in percent."""
    lost = volts_lost(amps, feet, awg, make, temp_c)
    share = 100 * lost / positive(volts, "supply volts", "volts")
    said = f"{lost:.2f} V of {volts:.0f} V is lost in {feet:.0f} ft of {awg} AWG at {amps:.0f} A"
    means: dict[Word, str] = {
        "low": said,
        "as expected": f"{said}. More than this at the block is lost in a joint.",
        "high": f"{said}: long or thin for this load. Its replacement is an electrician's.",
    }
    return judge("volts lost in the cable", share, "%", DROP_BAND, _DROP, means)


def joint_watts(amps: float, ohms: float) -> float:
    """Watts of heat in a joint."""
    return not_negative(amps, "amperes", "amperes") ** 2 * not_negative(ohms, "joint ohms", "ohms")


def joint_verdict(amps: float, ohms: float | None = None, volts: float | None = None) -> Verdict:
    """Judge a joint from the volts across it under load, or from its ohms; value in milliohm.

    Raises InputError unless exactly one of ``ohms`` and ``volts`` is given, and for volts without current.
    """
    positive(amps, "amperes", "amperes")
    if (ohms is None) == (volts is None):
        raise wrong("joint", "write either the volts across the joint or its ohms, one of the two")
    if ohms is not None and math.isinf(ohms):
        return made("joint", ohms, "mohm", (0.0, 1e3 * JOINT_BAND[1]), "open", "The joint is open.", _JOINT)
    if volts is not None:
        ohms = not_negative(volts, "volts across the joint", "volts") / amps
    watts = joint_watts(amps, ohms or 0.0)
    means: dict[Word, str] = {
        "as expected": f"A sound joint: {watts:.1f} W in it at {amps:.0f} A.",
        "high": f"{watts:.0f} W of heat in the joint at {amps:.0f} A: it will brown and get worse. {_how_bad(watts)}",
    }
    band = (0.0, 1e3 * JOINT_BAND[1])
    # The division above may land a hair over a band's edge: 0.1 V at 10 A is 10 milliohm, and passes.
    return judge("joint", round(1e3 * (ohms or 0.0), 9), "mohm", band, _JOINT, means)


def _how_bad(watts: float) -> str:
    if watts >= 30:
        return "Joints with this much heat are reported to glow: breaker off, replace both halves."
    return "Replace both halves of it, not one."
