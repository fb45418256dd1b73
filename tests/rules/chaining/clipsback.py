"""The same rules written for CLIPS, run through clipspy: an engine of another make, to compare with."""

from __future__ import annotations

from collections.abc import Sequence

import clips  # type: ignore[import-untyped]

from rules.bookkeeping.types import Condition, Rule
from rules.chaining import KnownFact
from rules.chaining.strata import strata
from tests.rules.chaining.plainly import Firings, Ref

TEMPLATE = (
    """(deftemplate known (slot ref) (slot name) (slot place) (slot state) (slot value) (slot number) (slot by))"""
)


class ClipsBook:
    """A rule set as CLIPS constructs; :meth:`run` gives derived facts and firings of one case."""

    def __init__(self, rules: Sequence[Rule]) -> None:
        self._environment = clips.Environment()
        self._environment.define_function(self._note, "note")
        self._environment.build(TEMPLATE)
        band = strata(rules)
        for rule in rules:
            for number, premises in enumerate(rule.alternatives):
                self._environment.build(_construct(rule, number, premises, -band[rule.rule]))
        self._template = self._environment.find_template("known")
        self._firings: dict[tuple[str, str | None], set[Ref]] = {}

    def _note(self, rule: str, place: str, *refs: str) -> None:
        self._firings.setdefault((rule, place or None), set()).update(map(_read_ref, refs))

    def run(self, facts: Sequence[KnownFact]) -> tuple[set[Ref], Firings]:
        """Derived facts, and for each rule and place the facts it rests on."""
        self._firings = {}
        self._environment.reset()
        for fact in facts:
            number = clips.Symbol("nil") if fact.number is None else fact.number
            self._template.assert_fact(
                ref=str(fact.id),
                name=fact.name,
                place=fact.place,
                state=fact.state,
                value=fact.value,
                number=number,
                by=fact.by,
            )
        self._environment.run()
        refs = (_read_ref(fact["ref"]) for fact in self._environment.facts() if fact.template.name == "known")
        derived: set[Ref] = {ref for ref in refs if isinstance(ref, tuple)}
        return derived, {key: frozenset(found) for key, found in self._firings.items()}


def _read_ref(text: str) -> Ref:
    if "|" not in text:
        return int(text)
    name, place, state, value = text.split("|")
    return name, place, state, value


def _construct(rule: Rule, number: int, premises: Sequence[Condition], salience: int) -> str:
    positive = [premise for premise in premises if not premise.negated]
    patterns = [_known(premise, f"{at}", ref=True) for at, premise in enumerate(positive)]
    for at, premise in enumerate(premises):
        if premise.negated:
            patterns.append(f"(not {_known(premise, f'n{at}')})")
        elif premise.where == "every_tried":
            patterns.append(f"(not {_known(premise, f'e{at}', other=True)})")
    joined = any(premise.where == "same" for premise in premises)
    place = "?same" if joined else '""'
    refs = " ".join(f"?ref{at}" for at in range(len(positive)))
    actions = [f'(note "{rule.rule}" {place} {refs})']
    for derived in rule.derive:
        place = "?same" if derived.where == "same" else f'"{derived.where or ""}"'
        actions.append(
            f'(assert (known (ref (str-cat "{derived.fact}|" {place} "||{derived.value}")) (name "{derived.fact}") '
            f'(place {place}) (state "") (value "{derived.value}") (number nil) (by "rule")))'
        )
    head = f"(defrule {rule.rule}-{number} (declare (salience {salience}))"
    return " ".join([head, *patterns, "=>", *actions, ")"])


def _known(premise: Condition, tag: str, *, ref: bool = False, other: bool = False) -> str:
    slots = [f'(name "{premise.fact}")']
    if ref:
        slots.append(f"(ref ?ref{tag})")
    if premise.where == "same":
        slots.append("(place ?same)")
    elif premise.where not in (None, "any", "every_tried") or premise.between:
        slots.append(f'(place "{premise.between or premise.where}")')
    if premise.during:
        slots.append(f'(state "{premise.during}")')
    if premise.by and not other:
        slots.append(f'(by "{premise.by}")')
    slots.append(_comparison(premise, f"?x{tag}", other=other))
    return f"(known {' '.join(slots)})"


def _comparison(premise: Condition, variable: str, *, other: bool) -> str:
    words = premise.values or premise.not_values
    if words:
        wanted = bool(premise.values) != other
        sign, joint = ("", "|") if wanted else ("~", "&")
        return "(value " + joint.join(f'{sign}"{word}"' for word in words) + ")"
    tests = [f"(numberp {variable})"]
    tests += [] if premise.at_least is None else [f"(>= {variable} {premise.at_least})"]
    tests += [] if premise.below is None else [f"(< {variable} {premise.below})"]
    test = f"(and {' '.join(tests)} TRUE)"
    test = f"(not {test})" if other else test
    return f"(number {variable}&:{test})"
