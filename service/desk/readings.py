"""What each suspect would show at a test, before it is made, and what a value that was read says of each at once."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from rules import Fact, InputError, expected_readings
from rules.answer import Conclusion
from rules.appliance.measuring import Probe
from rules.appliance.wiring import Wiring, element_of
from rules.belief.signatures import Signatures
from rules.bookkeeping.types import FactTerm
from rules.enquiry import fact_from_text
from rules.expecting import SOUND, ExpectedReading
from rules.terms import DONT_KNOW, split_key
from rules.triage import expected_at
from service.desk.showing import amount, figure, percent, question_where, with_unit

MOST_SUSPECTS = 8
SHOWN_FROM = 0.02  # probability from which a word is told
_LIVE = {"amps.bake": "bake", "amps.broil": "broil", "amps.convection": "convection"}


@dataclass(frozen=True)
class Expectation:
    """What the test shows under one suspect. ``fits``: whether what was read is among it; None if nothing was read.

    A reading fits by its number, or by its band, which is what the belief goes by.
    """

    fault: str | None
    where: str | None
    title: str
    shows: str
    fits: bool | None

    @property
    def key(self) -> tuple[str | None, str | None]:
        return self.fault, self.where


@dataclass(frozen=True)
class Judged:
    """A value that was read: as it is shown, its word, and what the word means."""

    value: str
    word: str
    means: str


@dataclass(frozen=True)
class Outlook:
    """Expectations at a test, the sound appliance first; ``judged`` where a value was given."""

    rows: tuple[Expectation, ...]
    judged: Judged | None


def outlook(signatures: Signatures, reads: str, conclusions: Sequence[Conclusion], read: Fact | None) -> Outlook | None:
    """What is expected of a test, by what it reads; None for one of which nothing can be worked out beforehand."""
    suspects = [c for c in conclusions if not c.also and c.fault in signatures.book.faults][:MOST_SUSPECTS]
    if read is not None and read.value == DONT_KNOW:
        read = None
    judged = judge(signatures, read) if read is not None else None
    worded = tuple(_by_word(signatures, reads, suspects, judged.word if judged is not None else None))
    rows = tuple(_by_number(signatures, reads, suspects, read, {row.key: row.fits for row in worded})) or worded
    return Outlook(rows, judged) if rows or judged else None


def reading_of(signatures: Signatures, reads: str, text: str) -> Fact:
    """What a technician read, as a fact. Raises InputError that says what to write instead."""
    terms = signatures.book.facts
    fact = fact_from_text(f"{reads}={with_unit(reads, text, terms)}", terms, "technician")
    term = signatures.book.facts[fact.fact]
    if term.kind == "number" and fact.value != DONT_KNOW:
        _word(signatures, fact, term)
    return fact


def judge(signatures: Signatures, read: Fact) -> Judged:
    """The band a reading falls in and what that means. Raises InputError for what this appliance does not have."""
    term = signatures.book.facts[read.fact]
    word = _word(signatures, read, term)
    shown = amount(float(read.value), _unit(term)) if term.kind == "number" else str(read.value).replace("_", " ")
    return Judged(shown, word, term.values[word])


def _word(signatures: Signatures, read: Fact, term: FactTerm) -> str:
    if term.kind == "choice":
        return str(read.value)
    bands = term.bands_at(read.between)
    number = float(read.value)
    return bands.name_of(
        number / expected_at(signatures, read.fact, question_where(read.where) or "") if bands.relative else number
    )


def _unit(term: FactTerm) -> str:
    return {"delta_degF": "F"}.get(str(term.unit), str(term.unit or ""))


# --- in volts, amperes and ohms --------------------------------------------------------------------------------------
def probe_for(reads: str, wiring: Wiring) -> Probe | None:
    """The probe that takes the reading a test asks for, where there is one that the circuit can be asked about."""
    fact, place, during = split_key(reads)
    if fact == "volts" and place:
        return Probe("volts", place, during or "idle")
    if fact == "ohms.sensor":
        return Probe("ohms", "sensor")
    element = element_of(fact, place or "")
    if element not in wiring.elements:
        return None
    if fact.startswith("ohms."):
        return Probe("ohms", element)
    return Probe("amps", element, _LIVE[fact]) if fact in _LIVE else None


def _by_number(
    signatures: Signatures,
    reads: str,
    suspects: Sequence[Conclusion],
    read: Fact | None,
    by_band: Mapping[tuple[str | None, str | None], bool | None],
) -> Iterator[Expectation]:
    probe = probe_for(reads, signatures.wiring)
    if probe is None:
        return
    reading = None if read is None else float(read.value)
    wanted = [(c.fault, question_where(c.where)) for c in suspects]
    electrical = [entry for entry in wanted if signatures.book.faults[entry[0]].effects]
    try:
        found = expected_readings(signatures, probe, electrical, reading)
    except InputError:  # a state or a place that this appliance has not got
        return
    for row, (_, where) in zip(found, [(None, None), *electrical], strict=True):
        named = row.fault if row.fault != SOUND else None
        fits = row.fits or by_band.get((named, where)) if row.fits is not None else None
        yield Expectation(named, where, _title(row.title, where), _span(row), fits)


def _span(row: ExpectedReading) -> str:
    if math.isinf(row.value) and math.isinf(row.high):
        return amount(row.value, row.unit)
    if math.isinf(row.high):
        return f"from {amount(row.low, row.unit)} up"
    low, high = figure(row.low), figure(row.high)
    return f"{low} {row.unit}" if low == high else f"{low} to {high} {row.unit}"


# --- in the vocabulary's words ---------------------------------------------------------------------------------------
def _by_word(
    signatures: Signatures, reads: str, suspects: Sequence[Conclusion], word: str | None
) -> Iterator[Expectation]:
    table = signatures.tables.get(reads)
    if table is None:
        return
    words = list(signatures.book.facts[split_key(reads)[0]].values)
    usual = signatures.usual[reads]
    fits = None if word is None else word == usual
    yield Expectation(None, None, "A sound appliance", usual.replace("_", " "), fits)
    for suspect in suspects:
        where = question_where(suspect.where)
        rows = [n for n, h in enumerate(signatures.hypotheses) if h.name == suspect.fault and where in (None, h.where)]
        if not rows:
            continue
        shares = dict(zip(words, np.mean(table[rows], axis=0).tolist(), strict=True))
        likely = sorted(((share, w) for w, share in shares.items() if share >= SHOWN_FROM), reverse=True)
        told = " or ".join(
            f"{w.replace('_', ' ')} ({percent(s)})" if s < 0.995 else w.replace("_", " ") for s, w in likely
        )
        fits = None if word is None else shares[word] >= SHOWN_FROM
        yield Expectation(suspect.fault, where, _title(suspect.title, where), told, fits)


def _title(title: str, where: str | None) -> str:
    return title[:1].upper() + title[1:] + (f", {where.replace('_', ' ')}" if where else "")


def _likely(word: str, share: float) -> str:
    """A word, with its share where it is not the only one."""
    shown = word.replace("_", " ")
    return shown if share > 0.995 else f"{shown} ({percent(share)})"
