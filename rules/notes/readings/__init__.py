"""Figures in a note: meter readings, oven temperatures, times, codes, ages, parts replaced. One grammar a module.

Every grammar works on one sentence of the normalised text and gives :class:`~rules.notes.told.Told` facts whose span
covers the number and the words that make it a reading. A number without such words is an age, a price or a house
number, and is left alone.
"""

from __future__ import annotations

from rules.notes.readings.codes import codes
from rules.notes.readings.days import self_clean_days
from rules.notes.readings.ohms import ohms
from rules.notes.readings.oven import oven_offsets, preheat_times, stays_cold
from rules.notes.readings.past import age, breaker_cycled, replaced_parts
from rules.notes.readings.volts import volts

__all__ = [
    "age",
    "breaker_cycled",
    "codes",
    "ohms",
    "oven_offsets",
    "preheat_times",
    "replaced_parts",
    "self_clean_days",
    "stays_cold",
    "volts",
]
