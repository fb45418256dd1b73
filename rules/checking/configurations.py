"""The appliances the book is checked on, and what every fault and the sound machine look like on each."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from rules.belief.signatures import Signatures
from rules.belief.stack import Table
from rules.bookkeeping.types import Appliance, FactTerm
from rules.triage import Expert

Rows = NDArray[np.bool_]
CERTAIN = 1 - 1e-9  # probability from which a word counts as certain; tables are sums of a few decimals
POSSIBLE = 1e-9


@dataclass(frozen=True)
class Looks:
    """A configuration's signature table with the sound machine in the last row, where *none of these* stood."""

    signatures: Signatures
    shipped: bool  # the book's own appliance, not one made of it for the check
    terms: Mapping[str, FactTerm]
    _shares: dict[tuple[str, bytes], Table] = field(default_factory=dict, repr=False)

    @property
    def appliance(self) -> Appliance:
        return self.signatures.appliance

    @cached_property
    def tables(self) -> Mapping[str, Table]:
        """P(word | machine), shape (H, K); the last row is the sound machine's."""
        made = {}
        for key, table in self.signatures.tables.items():
            own = table.copy()
            words = list(self.terms[fact_of(key)].values)
            own[-1] = [float(word == self.signatures.usual[key]) for word in words]
            made[key] = own
        return made

    def share(self, key: str, mask: Rows) -> Table:
        """Probability that each machine shows one of the words marked, shape (H,)."""
        entry = (key, mask.tobytes())
        if entry not in self._shares:
            self._shares[entry] = self.tables[key] @ mask
        return self._shares[entry]

    def rows_of(self, fault: str) -> list[int]:
        """Rows of a fault: its places and variants."""
        return self._rows.get(fault, [])

    @cached_property
    def _rows(self) -> Mapping[str, list[int]]:
        rows: dict[str, list[int]] = {}
        for number, hypothesis in enumerate(self.signatures.hypotheses):
            rows.setdefault(hypothesis.name, []).append(number)
        return rows


def fact_of(key: str) -> str:
    """``volts`` of ``volts@L1-L2/loaded``."""
    return key.partition("@")[0].partition("/")[0]


def configurations(expert: Expert) -> list[Looks]:
    """The book's appliances, and variations of each that have what those lack."""
    made = []
    for appliance in expert.book.appliances.values():
        made.append(Looks(expert.signatures(appliance), True, expert.book.facts))
        made += [Looks(expert.signatures(other), False, expert.book.facts) for other in _variations(appliance)]
    return made


def _variations(appliance: Appliance) -> Iterator[Appliance]:
    """The same appliance on the other supply and cord, and an oven with all that an oven may have."""
    other = {"120/240": "208Y/120", "208Y/120": "120/240"}[appliance.supply]
    cord = "3-wire" if appliance.cord != "3-wire" else "4-wire"
    yield replace(appliance, title=f"{appliance.title}, {other} V", supply=other, cord=cord)  # type: ignore[arg-type]
    if appliance.oven:
        full = f"{appliance.title}, convection, self-clean, cut-out in the control's feed"
        convection = appliance.convection_watts or 1500.0
        yield replace(
            appliance, title=full, cutout="control", convection_watts=convection, self_clean=True, cord="hard-wired"
        )
