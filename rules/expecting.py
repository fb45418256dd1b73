"""Before a reading is taken: what the meter should show under each fault still in play, and on a sound appliance."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from rules.appliance.injecting import Machine, machines
from rules.appliance.measuring import UNITS, Expected, Probe, expected
from rules.belief.signatures import Signatures
from rules.bookkeeping.types import Fault
from rules.bookkeeping.yamlsource import nearest
from rules.terms import InputError, Problem

SOUND = "sound"


@dataclass(frozen=True)
class ExpectedReading:
    """What the meter shows under one fault. ``low`` to ``high`` covers supply, tolerances, the meter and the fault's

    own variants; ``value`` is the first variant's nominal reading. ``inf`` is an open line. ``fits`` tells whether the
    reading that was given lies in the band; None if none was given.
    """

    fault: str
    where: str | None
    title: str
    value: float
    low: float
    high: float
    unit: str
    fits: bool | None


def expected_readings(
    signatures: Signatures,
    probe: Probe,
    suspects: Sequence[tuple[str, str | None]] | None = None,
    reading: float | None = None,
) -> list[ExpectedReading]:
    """The reading under each suspect, after that of a sound appliance.

    ``suspects``: fault and place, as conclusions name them; None asks for every fault of this appliance. ``reading``:
    what the meter did show, in V, A or ohm. Raises InputError for unknown faults, places and states.
    """
    chosen = _chosen(signatures, suspects)
    rows: list[Machine] = [Machine()]
    spans = [(0, 1)]
    for fault, where in chosen:
        made = machines(signatures.wiring, fault.effects, where)
        spans.append((len(rows), len(rows) + len(made)))
        rows += made
    shown = expected(signatures.wiring, rows, probe)
    names = [(SOUND, None, "a sound appliance"), *((fault.fault, where, fault.title) for fault, where in chosen)]
    found = []
    for (name, where, title), (start, end) in zip(names, spans, strict=True):
        variants = shown[start:end]
        low, high = min(v.low for v in variants), max(v.high for v in variants)
        fits = None if reading is None else any(variant.holds(reading) for variant in _spread(variants))
        found.append(ExpectedReading(name, where, title, variants[0].value, low, high, UNITS[probe.quantity], fits))
    return found


def _spread(variants: Sequence[Expected]) -> list[Expected]:
    """The variants and, where none is an open line, the whole range between them."""
    finite = [v for v in variants if v.high != float("inf")]
    if len(finite) != len(variants):
        return list(variants)
    return [Expected(variants[0].value, min(v.low for v in finite), max(v.high for v in finite))]


def _chosen(
    signatures: Signatures, suspects: Sequence[tuple[str, str | None]] | None
) -> list[tuple[Fault, str | None]]:
    """Faults with an effect in the circuit, by name and place; a place left open stands for the first unit."""
    known = [(h.fault, h.where) for h in signatures.hypotheses if h.fault and h.fault.effects and not h.variant]
    if suspects is None:
        return known
    names = {fault.fault for fault, _ in known}
    chosen, problems = [], []
    for name, where in suspects:
        match = [(f, w) for f, w in known if f.fault == name and where in (None, w)]
        if match:
            chosen.append(match[0])
        elif name in names:
            places = ", ".join(w for f, w in known if f.fault == name and w)
            problems.append(Problem("faults", f"{name} has no place {where!r}; write one of {places}"))
        else:
            problems.append(Problem("faults", f"no electrical fault {name!r} on this appliance{nearest(name, names)}"))
    if problems:
        raise InputError(problems)
    return chosen
