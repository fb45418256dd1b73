"""Cross-references of the book: every name used is a name defined, and every value one the vocabulary allows."""

from __future__ import annotations

import fnmatch
from collections.abc import Iterable, Mapping, Sequence
from itertools import pairwise
from typing import Any

from rules.bookkeeping import codes
from rules.bookkeeping.yamlsource import Path, YamlSource, nearest
from rules.terms import ALL, OTHERS, ROLES, UNNAMED, split_key

Records = Mapping[str, Mapping[str, Any]]
Origin = Mapping[str, Mapping[str, tuple[YamlSource, int]]]


def check(records: Records, origin: Origin) -> list[str]:
    """Every wrong reference in the book, as ``file:line: field: what to write instead``."""
    checker = _Checker(records, origin)
    for fact in records["facts"]:
        checker.fact(fact)
    for fault in records["faults"]:
        checker.fault(fault)
    for test in records["tests"]:
        checker.test(test)
    for rule in records["rules"]:
        checker.rule(rule)
    for pair in records["pairs"]:
        checker.pair(pair)
    checker.codes()
    return checker.problems


class _Checker:
    """Collects problems while it walks the records."""

    def __init__(self, records: Records, origin: Origin) -> None:
        self.records = records
        self.origin = origin
        self.problems: list[str] = []
        units = (unit for appliance in records["appliances"].values() for unit in appliance["units"])
        self.positions = sorted({unit["where"] for unit in units})

    def say(self, kind: str, name: str, path: Path, message: str) -> None:
        source, number = self.origin[kind][name]
        self.problems.append(source.problem((number, *path), message))

    def known(self, kind: str, name: str, path: Path, word: str, among: str) -> bool:
        """Whether ``word`` is a record of kind ``among``; says so if it is not."""
        if word in self.records[among]:
            return True
        self.say(kind, name, path, f"no {among[:-1]} named {word!r}{nearest(word, self.records[among])}")
        return False

    # --- kinds of records -----------------------------------------------------------------------------------------
    def fact(self, name: str) -> None:
        term = self.records["facts"][name]
        for value, others in term["mistaken_for"].items():
            for word in (value, *others):
                self._value("facts", name, ("mistaken_for",), name, word)
        self._answers(name, term)
        if term["recall"] is not None and (term["told_by"] == "technician" or not term["recall"].endswith("?")):
            message = "asks what a caller remembers; write a question, and only for a fact that is told by a caller"
            self.say("facts", name, ("recall",), message)
        if (term["place"] == "meter") != bool(term["between"]):
            self.say(
                "facts", name, ("between",), "a fact with place: meter lists its meter points, and only such a fact"
            )
        if term["kind"] == "number":
            self._bands(name, term)
        elif term["bands"]:
            self.say("facts", name, ("bands",), "only a number has bands; leave them out")

    def _answers(self, name: str, term: dict[str, Any]) -> None:
        """What yes, no and other short answers stand for."""
        for word in ("yes", "no"):
            if term[word] is not None:
                self._value("facts", name, (word,), name, term[word])
        if term["yes"] is not None and term["yes"] == term["no"]:
            self.say("facts", name, ("no",), f"yes and no both stand for {term['no']}; give each a value of its own")
        earlier: dict[str, str] = {}
        for value, words in term["answers"].items():
            self._value("facts", name, ("answers", value), name, value)
            for word in words:
                plain = " ".join(word.lower().split())
                if earlier.setdefault(plain, value) != value:
                    message = f"{word!r} stands for {earlier[plain]} already; keep it for one value"
                    self.say("facts", name, ("answers", value), message)

    def _bands(self, name: str, term: dict[str, Any]) -> None:
        for number, bands in enumerate(term["bands"]):
            path: Path = ("bands", number, "ranges")
            edges = list(bands["ranges"].items())
            for band, (low, high) in edges:
                if band not in term["values"]:
                    self.say("facts", name, path, f"band {band!r} is not in values{nearest(band, term['values'])}")
                if not low < high:
                    self.say("facts", name, path, f"band {band!r} must rise from its first edge to its second")
            for (band, (_, high)), (following, (low, _)) in pairwise(edges):
                if high != low:
                    self.say("facts", name, path, f"band {following!r} must start where {band!r} ends, at {high:g}")

    def fault(self, name: str) -> None:
        fault = self.records["faults"][name]
        for fact, table in fault["shows"].items():
            if self.known("faults", name, ("shows", fact), fact, "facts"):
                if fault["effects"] and self.records["facts"][fact]["model"] == "circuit":
                    self.say("faults", name, ("shows", fact), f"{fact} is computed from the effects; leave it out here")
                for value in table:
                    self._value("faults", name, ("shows", fact), fact, value)
                if sum(table.values()) > 1 + 1e-9:
                    self.say("faults", name, ("shows", fact), "probabilities add up to more than 1")
        for part in (part for names in fault["parts"].values() for part in names):
            self.known("faults", name, ("parts",), part, "parts")

    def test(self, name: str) -> None:
        test = self.records["tests"][name]
        if self.known("tests", name, ("reads",), test["reads"], "facts"):
            self._place("tests", name, (), test, test["reads"])
            self._safe("tests", name, test)
        for caution in test["cautions"]:
            self.known("tests", name, ("cautions",), caution, "cautions")
        if test["setup"] is not None:
            self.known("tests", name, ("setup",), test["setup"], "setups")

    def _safe(self, kind: str, name: str, test: dict[str, Any]) -> None:
        """A caller is asked only what a caller can tell; covers off or live parts mean a technician with permission."""
        term = self.records["facts"][test["reads"]]
        if ROLES.index(test["who"]) < ROLES.index(term["told_by"]):
            self.say(
                kind, name, ("who",), f"only a {term['told_by']} can tell {test['reads']}; write who: {term['told_by']}"
            )
        live = test["energised"]
        if live and test["who"] != "technician":
            self.say(kind, name, ("energised",), "a live test is a technician's; write who: technician")
        if live and "live_work" not in test["cautions"]:
            self.say(kind, name, ("cautions",), "a live test shows its caution; add live_work")
        hands_in = test["who"] == "technician" and term["told_by"] == "technician" and test["reads"] != "dead_check"
        if (live or hands_in) and not test["needs_permission"]:
            message = "a test with the covers off waits for the dead-check; write needs_permission: true"
            self.say(kind, name, ("needs_permission",), message)

    def pair(self, name: str) -> None:
        first, second = self.records["pairs"][name]["faults"]
        for fault in (first, second):
            self.known("pairs", name, ("faults",), fault, "faults")
        if first == second:
            self.say("pairs", name, ("faults",), f"{first} twice; name two faults")

    def rule(self, name: str) -> None:
        rule = self.records["rules"][name]
        premises = [(("when", part, i), p) for part in ("all", "any") for i, p in enumerate(rule["when"][f"{part}_"])]
        for path, premise in premises:
            self._premise(name, path, premise)
        for act in ("points_to", "establishes", "rules_out"):
            for fault in rule[act]:
                self.known("rules", name, (act,), fault, "faults")
        for number, shift in enumerate(rule["shift"]):
            self._globs(name, ("shift", number, "faults"), shift["faults"], "faults")
        for act in ("allow", "forbid"):
            self._globs(name, (act,), rule[act], "tests")
        self._asked_next(name, rule["ask"])
        for number, derivation in enumerate(rule["derive"]):
            if self.known("rules", name, ("derive", number, "fact"), derivation["fact"], "facts"):
                self._value("rules", name, ("derive", number, "value"), derivation["fact"], derivation["value"])
        if (rule["establishes"] or rule["rules_out"]) and not self._measured(rule["when"]):
            message = (
                "only a technician's measurement may establish or rule out a fault; add by: technician to a condition"
            )
            self.say("rules", name, ("establishes" if rule["establishes"] else "rules_out",), message)
        opened = [test for pattern in rule["allow"] for test in fnmatch.filter(self.records["tests"], pattern)]
        hands_in = [test for test in opened if self.records["tests"][test]["who"] == "technician"]
        if hands_in and not self._measured(rule["when"]):
            self.say("rules", name, ("allow",), "only what a technician has proved opens a test; add by: technician")
        for act in ("fires_on", "silent_on"):
            for number, example in enumerate(rule[act]):
                self._example(name, (act, number), example)

    @staticmethod
    def _measured(when: dict[str, Any]) -> bool:
        def by_technician(premise: dict[str, Any]) -> bool:
            return premise.get("by") == "technician"

        return any(map(by_technician, when["all_"])) or (bool(when["any_"]) and all(map(by_technician, when["any_"])))

    def codes(self) -> None:
        """The table of codes: each text once, each group a value of the fact."""
        earlier: dict[str, str] = {}
        for name, code in self.records["codes"].items():
            for field, message in codes.problems_of(code, earlier, self.records["facts"].get(codes.FACT)):
                self.say("codes", name, (field,), message)
            source, number = self.origin["codes"][name]
            earlier.setdefault(codes.plain(name), f"{source.file}:{source.line_of((number,))}")

    # --- parts of records -----------------------------------------------------------------------------------------
    def _premise(self, name: str, path: Path, premise: dict[str, Any]) -> None:
        if premise.get("not_") is not None:
            return self._premise(name, (*path, "not"), premise["not_"])
        fact = premise["fact"]
        if not self.known("rules", name, (*path, "fact"), fact, "facts"):
            return None
        self._place("rules", name, path, premise, fact)
        term = self.records["facts"][fact]
        where = premise["where"]
        if where is not None:
            allowed = ("same", "any", "every_tried", ALL, *self.positions)
            if term["place"] != "surface":
                self.say("rules", name, (*path, "where"), f"{fact} has no place; leave where out")
            elif where not in allowed:
                self.say("rules", name, (*path, "where"), f"write one of {', '.join(allowed)}, not {where!r}")
        unlike = premise["is_not"] if isinstance(premise["is_not"], list) else [premise["is_not"]]
        for value in (premise["is_"], *premise["in_"], *unlike):
            if value is not None:
                self._value("rules", name, (*path, "is"), fact, str(value))
        if (premise["at_least"] is not None or premise["below"] is not None) and term["kind"] != "number":
            self.say("rules", name, (*path, "at_least"), f"{fact} is no number; compare it with is or in")
        return None

    def _place(self, kind: str, name: str, path: Path, record: dict[str, Any], fact: str) -> None:
        term = self.records["facts"][fact]
        for field, known in (("between", term["between"]), ("during", term["states"])):
            word = record.get(field)
            label = "while" if field == "during" else field
            if word is not None and word not in known:
                instead = f"write one of {', '.join(known)}" if known else f"{fact} takes no {label}; leave it out"
                self.say(kind, name, (*path, label), f"{instead}, not {word!r}")
            if word is None and known and kind == "tests":
                self.say(kind, name, (*path, label), f"missing; write one of {', '.join(known)}")

    def _value(self, kind: str, name: str, path: Path, fact: str, value: str) -> None:
        values = self.records["facts"][fact]["values"]
        if value not in values:
            self.say(kind, name, path, f"{fact} is never {value!r}; write one of {', '.join(values)}")

    def _asked_next(self, name: str, tests: Sequence[str]) -> None:
        """A rule that wants a question next does not say at which unit or between which points."""
        for test in tests:
            if self.known("rules", name, ("ask",), test, "tests"):
                fact = self.records["facts"].get(self.records["tests"][test]["reads"])
                if fact is not None and fact["place"] != "none":
                    self.say("rules", name, ("ask",), f"{test} is asked at a place; name a test of the whole appliance")

    def _globs(self, name: str, path: Path, patterns: Iterable[str], among: str) -> None:
        for pattern in patterns:
            if not fnmatch.filter(self.records[among], pattern):
                self.say(
                    "rules", name, path, f"no {among[:-1]} matches {pattern!r}{nearest(pattern, self.records[among])}"
                )

    def _example(self, name: str, path: Path, example: dict[str, Any]) -> None:
        if not set(example) - {"by"}:
            self.say("rules", name, path, "an example names at least one fact and its value")
        for key, value in example.items():
            if key == "by":
                if value not in ROLES:
                    self.say("rules", name, (*path, "by"), f"write one of {', '.join(ROLES)}")
                continue
            fact, place, during = split_key(key)
            if not self.known("rules", name, (*path, key), fact, "facts"):
                continue
            term = self.records["facts"][fact]
            places = {"none": [], "surface": [*self.positions, ALL, OTHERS, UNNAMED], "meter": term["between"]}[
                term["place"]
            ]
            if (place is None) == bool(places) or (place and place not in places):
                wanted = f"write {fact}@ and one of {', '.join(places)}" if places else f"{fact} has no place"
                self.say("rules", name, (*path, key), wanted)
            if (during is None) == bool(term["states"]) or (during and during not in term["states"]):
                self.say(
                    "rules", name, (*path, key), f"write a state after /: {', '.join(term['states']) or 'none here'}"
                )
            if term["kind"] == "choice":
                self._value("rules", name, (*path, key), fact, str(value))
            elif isinstance(value, bool) or (not isinstance(value, (int, float)) and value != "OL"):
                self.say("rules", name, (*path, key), f"write a number of {term['unit']}, or OL for an open line")
