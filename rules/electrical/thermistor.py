"""NTC thermistors: ohms fall with heat, so an open one reads cold and a shorted one hot, the other way than an RTD.

Two descriptions are in use: beta with the ohms at 25 C, and Steinhart and Hart's three coefficients, which can be
fitted to three rows of a service table. Constants printed in magazines do not always fit their own tables, so fit
from the rows of the part at hand.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from rules.electrical.sensors import c_from_f, f_from_c
from rules.electrical.verdict import Basis, Verdict, Word, cannot_tell, checked, judge, made, positive, wrong

KELVIN = 273.15
LEAST_BETA, MOST_BETA = 500.0, 20_000.0  # kelvin; no part is made near either
LEAST_C, MOST_C = -55.0, 300.0  # from memory: the range NTC beads are made for

#: Allowed share of the table's ohms; common practice, no source.
SHARE = 0.05

_BASIS = Basis(
    "R = R25 exp(B (1/T - 1/298.15)), or 1/T = A + B ln R + C (ln R)^3, T in kelvin; 5 % either way",
    "beta and Steinhart-Hart equations (found); tolerance of 5 % from the trade",
    "common practice, no source",
)


@dataclass(frozen=True)
class Thermistor:
    """An NTC: 1/T = a + b ln R + c (ln R)^3, T in kelvin, R in ohm. A beta part is one with c = 0."""

    a: float
    b: float
    c: float

    @classmethod
    def from_beta(cls, ohms_25c: float, beta: float) -> Thermistor:
        """From the ohms at 25 C and beta in kelvin. Raises InputError for values that are not above zero."""
        positive(ohms_25c, "ohms at 25 C", "ohms")
        positive(beta, "beta", "kelvin")
        return cls(1 / (25 + KELVIN) - math.log(ohms_25c) / beta, 1 / beta, 0.0)

    @classmethod
    def fitted(cls, points: Sequence[tuple[float, float]]) -> Thermistor:
        """Through exactly three points ``(temperature in C, ohms)``. Raises InputError if they describe no NTC."""
        if len(points) != 3 or len({temp for temp, _ in points}) != 3:
            raise wrong("points", "three rows at three different temperatures are wanted; write C and ohms of each")
        rows = sorted(points)
        for temp, ohms in rows:
            _kelvin(temp)
            positive(ohms, "points", "ohms")
        logs = [math.log(ohms) for _, ohms in rows]
        inverse = [1 / _kelvin(temp) for temp, _ in rows]
        if not logs[0] > logs[1] > logs[2]:
            raise wrong("points", "the ohms must fall as the temperature rises; check the rows")
        first = (inverse[1] - inverse[0]) / (logs[1] - logs[0])
        second = (inverse[2] - inverse[0]) / (logs[2] - logs[0])
        c = (second - first) / (logs[2] - logs[1]) / sum(logs)
        b = first - c * (logs[0] ** 2 + logs[0] * logs[1] + logs[1] ** 2)
        made_of = cls(inverse[0] - (b + logs[0] ** 2 * c) * logs[0], b, c)
        if not all(1 / MOST_BETA < b + 3 * c * log**2 < 1 / LEAST_BETA for log in logs):
            raise wrong("points", "no thermistor curve passes through these rows; check them")
        return made_of

    def temp_c(self, ohms: float) -> float:
        """Temperature in C. Raises InputError for ohms outside -55 to 300 C."""
        log = math.log(positive(ohms, "thermistor ohms", "ohms"))
        inverse = self.a + self.b * log + self.c * log**3
        if log > self._turn or not 1 / (MOST_C + KELVIN) <= inverse <= 1 / (LEAST_C + KELVIN):
            raise wrong("thermistor ohms", f"{ohms:.0f} ohm is off this thermistor's curve; no temperature fits")
        return 1 / inverse - KELVIN

    def ohms(self, temp_c: float) -> float:
        """Ohms at a temperature in C, from -55 to 300 C. Raises InputError outside."""
        if not LEAST_C <= checked(temp_c, "temperature") <= MOST_C:
            raise wrong("temperature", f"is outside a thermistor's {LEAST_C:.0f} to {MOST_C:.0f} C")
        target = 1 / _kelvin(temp_c)
        low, high = math.log(1e-3), min(math.log(1e10), self._turn)
        for _ in range(100):  # halving: the curve rises with ln R up to its turn
            middle = (low + high) / 2
            if self.a + self.b * middle + self.c * middle**3 < target:
                low = middle
            else:
                high = middle
        return math.exp((low + high) / 2)

    @property
    def _turn(self) -> float:
        """ln R above which the equation turns back; a fit to rounded rows may have c a little below zero."""
        return math.inf if self.c >= 0 else math.sqrt(-self.b / (3 * self.c))


def thermistor_verdict(ohms: float, part: Thermistor, temp_f: float | None = None) -> Verdict:
    """Judge an NTC's ohms (``inf`` for open line) against the temperature beside it in F, if that is known."""
    what = "thermistor"
    if math.isnan(ohms) or ohms < 0:
        raise wrong("thermistor ohms", "is not a resistance; write what the meter shows, or OL")
    if ohms > part.ohms(LEAST_C):
        return made(what, ohms, "ohm", None, "open", "Open: the control sees great cold and may overheat.", _BASIS)
    if ohms < part.ohms(MOST_C):
        return made(what, ohms, "ohm", None, "short", "Shorted: the control sees great heat and does not heat.", _BASIS)
    reads = f"{ohms:.0f} ohm is {f_from_c(part.temp_c(ohms)):.0f} F on this thermistor"
    if temp_f is None:
        return cannot_tell(what, ohms, "ohm", f"{reads}; measure the temperature beside it to judge it.", _BASIS)
    expected = part.ohms(c_from_f(checked(temp_f, "temperature")))
    means: dict[Word, str] = {
        "low": f"{reads}: low, so the control sees more heat than there is.",
        "as expected": f"{reads}, as it should be.",
        "high": f"{reads}: high, so the control sees less heat than there is.",
    }
    return judge(what, ohms, "ohm", (expected * (1 - SHARE), expected * (1 + SHARE)), _BASIS, means)


def _kelvin(temp_c: float) -> float:
    if checked(temp_c, "temperature") <= -KELVIN:
        raise wrong("temperature", "is below absolute zero; write the temperature in C")
    return temp_c + KELVIN
