"""The order in which rules fire: always the same for the same facts, and never a rule that no longer holds.

experta's own strategies look for a withdrawn activation only at one spot of the agenda and its two neighbours; among
rules of equal salience it is often elsewhere, stays, and fires although its conditions have ceased to hold. Their ties
are broken by memory addresses. This one takes withdrawn activations out wherever they are, and breaks every tie.
"""

from __future__ import annotations

from operator import attrgetter
from typing import Any

from rules.chaining.experta_import import Activation, Agenda, Fact, Strategy


def firing_order(activation: Activation) -> tuple[Any, ...]:
    """Sort key, smallest first: higher salience, then rule name, then the facts bound, then all facts matched.

    Facts are compared by the number experta gave them when they were declared. The order is total for rules that bind
    every pattern to a name, as the compiler's do: experta's stand-in names hold memory addresses and are left out.
    """
    bound = sorted(
        (name, fact["__factid__"])
        for name, fact in activation.context.items()
        if isinstance(fact, Fact) and not name.startswith("__")
    )
    matched = sorted(fact["__factid__"] for fact in activation.facts)
    return (-activation.rule.salience, activation.rule.__name__, bound, matched)


class StableStrategy(Strategy):
    """Keeps the agenda sorted by :func:`firing_order`; holds nothing of a case and nothing shared between engines."""

    def _update_agenda(self, agenda: Agenda, added: list[Activation], removed: list[Activation]) -> None:
        for activation in (*removed, *added):
            if activation.key is None:  # the book's own matcher has worked it out already
                activation.key = firing_order(activation)
        if removed:
            keys = [activation.key for activation in removed]
            agenda.activations = [
                standing
                for standing in agenda.activations
                # the key is cheap and rules nearly all out; equality of rule, facts and bindings decides
                if standing.key not in keys or standing not in removed
            ]
        if added:
            agenda.activations.extend(added)
            agenda.activations.sort(key=attrgetter("key"), reverse=True)
