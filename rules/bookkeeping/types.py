"""The book's typed, frozen objects, as the rest of the program sees them.

They are made only by :mod:`rules.bookkeeping.loading`, from YAML that has been validated.
"""

from __future__ import annotations

import fnmatch
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Literal

from rules.bookkeeping.yamlsource import YamlSource
from rules.terms import Role

Signal = Literal["DANGER", "WARNING", "CAUTION", "NOTICE"]
Skill = Literal["appliance_technician", "electrician", "utility", "customer"]


@dataclass(frozen=True)
class Bands:
    """Named, adjoining ranges of a number: ``{"dead": (0, 15), ...}``; lower edge included, upper edge not.

    ``between`` lists the meter points they apply to (empty: all). ``relative`` means that the edges are multiples
    of the value expected for the part on this appliance, not volts or ohms.
    """

    ranges: Mapping[str, tuple[float, float]]
    between: tuple[str, ...] = ()
    relative: bool = False

    def name_of(self, number: float) -> str:
        """The band a number falls in; the outermost bands reach to infinity."""
        name = ""
        for name, (low, high) in self.ranges.items():
            if low <= number < high:
                return name
        return name if number > 0 else next(iter(self.ranges))


@dataclass(frozen=True)
class FactTerm:
    """One word of the vocabulary: what may be said, in which unit, by whom, and how to ask it."""

    fact: str
    title: str
    kind: Literal["choice", "number"]
    values: Mapping[str, str]  # choice: value -> what it means; number: band name -> what it means
    usual: str | None  # what a sound appliance shows, if that is known
    told_by: Role
    ask: str
    place: Literal["none", "surface", "meter"]
    between: tuple[str, ...] = ()
    states: tuple[str, ...] = ()
    unit: str | None = None
    bands: tuple[Bands, ...] = ()
    least: float | None = None
    most: float | None = None
    mistaken_for: Mapping[str, Mapping[str, float]] = field(default_factory=dict)
    hazard: bool = False
    derived: bool = False  # worked out by rules or from the configuration, never told
    model: Literal["circuit", "shows", "context"] = "shows"
    recall: str | None = None  # how to ask for it from memory, when nothing may be tried, touched or looked at
    codes: Mapping[str, str] = field(default_factory=dict)  # code on the display -> value; error_code only
    yes: str | None = None  # the value that a bare yes to the question stands for
    no: str | None = None
    lead: str | None = None  # put before a short answer so that it reads as a sentence: "the display is" dim
    answers: Mapping[str, tuple[str, ...]] = field(default_factory=dict)  # value -> further words for it in an answer
    file: str = ""
    line: int = 0

    def bands_at(self, between: str | None) -> Bands:
        """The bands that apply between these meter points."""
        for bands in self.bands:
            if not bands.between or between in bands.between:
                return bands
        raise KeyError(f"{self.fact} has no bands for {between}")


@dataclass(frozen=True)
class Unit:
    """A surface unit: its rings' nominal watts (one, two or three) at the rated voltage."""

    where: str
    watts: tuple[float, ...]


@dataclass(frozen=True)
class Appliance:
    """What the machine is made of. Watts are nominal at ``rated_volts`` between the legs."""

    appliance: str
    title: str
    cooktop: Literal["coil", "radiant", "none"]
    units: tuple[Unit, ...]
    oven: bool
    bake_watts: float
    broil_watts: float
    cutout: Literal["control", "elements", "none"]  # what the oven's thermal cut-out breaks
    convection_watts: float = 0.0  # 0: no convection element or fan
    self_clean: bool = False  # with a door-lock motor
    cooling_fan: bool = True  # runs while the oven heats; without it the cut-out opens
    second_oven_watts: float = 0.0  # a double oven's other cavity, as a witness; 0: there is none
    supply: Literal["120/240", "208Y/120"] = "120/240"
    cord: Literal["3-wire", "4-wire", "hard-wired"] = "4-wire"
    rated_volts: float = 240.0
    sensor_curve: Literal["3750", "IEC 60751"] = "3750"
    breaker_amps: float = 50.0  # rating of the range's breaker
    range_fuses: bool = False  # an older range with fuses of its own for the surface units

    @cached_property
    def positions(self) -> tuple[str, ...]:
        return tuple([unit.where for unit in self.units])


@dataclass(frozen=True)
class Effect:
    """What a fault does to the machine: ``part`` is put into the state ``mode``.

    Several ``amounts`` (ohms, a fraction of the element, degrees F) are variants that are equally likely.
    """

    part: str
    mode: str
    amounts: tuple[float, ...] = ()


@dataclass(frozen=True)
class Fault:
    """A component and its failure mode. Weight is relative: 5 is daily work, 1 is rare (common practice, no source)."""

    fault: str
    title: str
    place: Literal["none", "surface"]
    only: Mapping[str, tuple[str, ...]]  # appliance field -> values where the fault can exist
    weight: float
    effects: tuple[Effect, ...]
    shows: Mapping[str, Mapping[str, float]]  # fact -> value -> probability, for what is not electrical
    parts: Mapping[str, tuple[str, ...]]  # by kind of cooktop; "" for any
    minutes: tuple[int, int]
    skill: Skill
    urgency: Literal["now", "soon", "routine", "none"]
    limit: Literal["range_off", "oven_off", "unit_off", "none"]  # what must stay off until it is mended
    tell: str
    source: str
    because: str
    file: str = ""
    line: int = 0

    def parts_for(self, appliance: Appliance) -> tuple[str, ...]:
        """Parts a repair of this fault may need on this appliance."""
        return self.parts.get(appliance.cooktop, self.parts.get("", ()))

    def exists_on(self, appliance: Appliance) -> bool:
        """Whether the appliance has what can fail this way."""
        has = {
            "cooktop": appliance.cooktop,
            "oven": "yes" if appliance.oven else "no",
            "cutout": appliance.cutout,
            "cord": appliance.cord,
            "convection": "yes" if appliance.convection_watts else "no",
            "self_clean": "yes" if appliance.self_clean else "no",
            "range_fuses": "yes" if appliance.range_fuses else "no",
            "rings": ("none", "one", "two", "three")[max((len(unit.watts) for unit in appliance.units), default=0)],
            "cooling_fan": "yes" if appliance.oven and appliance.cooling_fan else "no",
            "second_oven": "yes" if appliance.second_oven_watts else "no",
        }
        if self.place == "surface" and not appliance.units:
            return False
        return all(has[trait] in allowed for trait, allowed in self.only.items())


@dataclass(frozen=True)
class Setup:
    """Preparation that several tests share and that is paid once a visit."""

    setup: str
    title: str
    minutes: float


@dataclass(frozen=True)
class TestCard:
    """A question or a measurement: which fact it reads, who may do it, and what it costs."""

    __test__ = False  # not a pytest class

    test: str
    reads: str
    ask: str
    who: Role
    energised: bool
    minutes: float
    setup: str | None  # shared preparation, paid once a visit
    tools: tuple[str, ...]
    cautions: tuple[str, ...]
    between: str | None = None
    during: str | None = None
    needs_permission: bool = False  # stays out until a rule allows it
    runs_appliance: bool = False  # the appliance is switched on for it; never while a stop stands
    recall: str | None = None  # the question put to memory only, which can hurt nobody while a stop stands

    @property
    def hands_in(self) -> bool:
        """Whether it waits for a technician's dead-check."""
        return self.needs_permission and self.who == "technician"

    dont_know: float = 0.1
    error: float | None = None  # share of wrong answers, where it is not that of whoever answers
    source: str = "common practice, no source"


@dataclass(frozen=True)
class Condition:
    """One premise of a rule. Exactly one way of comparing is set."""

    fact: str
    where: str | None = None  # a position, "same" (joined), "any", "every_tried"
    between: str | None = None
    during: str | None = None
    values: tuple[str, ...] = ()  # the value or band is one of these
    not_values: tuple[str, ...] = ()  # the value or band is known and none of these
    at_least: float | None = None
    below: float | None = None
    by: Role | None = None  # only if seen by this role
    negated: bool = False  # holds while no such fact is known


@dataclass(frozen=True)
class Shift:
    """Multiply the odds of the faults named (``*`` allowed) by ``factor``."""

    faults: tuple[str, ...]
    factor: float


@dataclass(frozen=True)
class Stop:
    """A safety stop: the signal word, the sentence to say now, and who must deal with it."""

    signal: Signal
    say: str
    refer_to: Skill


@dataclass(frozen=True)
class VisitNeed:
    """What a rule asks of a visit."""

    skill: Skill | None = None
    urgency: str | None = None
    tell: str | None = None


@dataclass(frozen=True)
class Derivation:
    """A fact that a rule concludes from facts."""

    fact: str
    value: str
    where: str | None = None  # None, a position, or "same"


@dataclass(frozen=True)
class Rule:
    """A trade rule. ``alternatives`` are the joined premises of ``all`` with each entry of ``any``."""

    rule: str
    alternatives: tuple[tuple[Condition, ...], ...]
    because: str
    source: str
    derive: tuple[Derivation, ...] = ()
    stop: Stop | None = None
    points_to: tuple[str, ...] = ()
    establishes: tuple[str, ...] = ()
    rules_out: tuple[str, ...] = ()
    shift: tuple[Shift, ...] = ()
    allow: tuple[str, ...] = ()
    forbid: tuple[str, ...] = ()
    ask: tuple[str, ...] = ()  # questions that come next
    visit: VisitNeed | None = None
    not_when: str | None = None
    fires_on: tuple[Mapping[str, object], ...] = ()
    silent_on: tuple[Mapping[str, object], ...] = ()
    file: str = ""
    line: int = 0


@dataclass(frozen=True)
class Part:
    """A spare part that may ride on the van: the room it takes in litres, its value in dollars."""

    part: str
    title: str
    space: float
    value: float
    source: str = "invented"


@dataclass(frozen=True)
class Van:
    """A van's limits for parts: room in litres, value of the stock in dollars."""

    van: str
    title: str
    space: float
    value: float
    source: str


@dataclass(frozen=True)
class Pair:
    """Two faults that come together: ``factor`` times as often as chance would have it, at one unit if each has one."""

    pair: str
    faults: tuple[str, str]
    factor: float
    because: str
    source: str


@dataclass(frozen=True)
class ErrorCode:
    """A code that a display shows, as the shop's own table has it: its text, its group, what it says."""

    code: str
    group: str
    says: str


@dataclass(frozen=True)
class Caution:
    """A caution card that tests and answers refer to by name."""

    caution: str
    signal: Signal
    say: str
    source: str


@dataclass(frozen=True)
class Book:
    """The knowledge as a whole. ``version`` is ``sha256:`` and the hash of the files' content."""

    version: str
    facts: Mapping[str, FactTerm]
    appliances: Mapping[str, Appliance]
    faults: Mapping[str, Fault]
    tests: Mapping[str, TestCard]
    rules: Mapping[str, Rule]
    parts: Mapping[str, Part]
    cautions: Mapping[str, Caution]
    setups: Mapping[str, Setup]
    vans: Mapping[str, Van]
    pairs: Mapping[str, Pair]
    codes: Mapping[str, ErrorCode]
    words: tuple[YamlSource, ...]  # the lexicon's files, as rules.notes compiles them

    @cached_property
    def set_up_for(self) -> tuple[tuple[str, str], ...]:
        """Facts that a test reads after a set-up, each with that set-up."""
        return tuple((card.reads, card.setup) for card in self.tests.values() if card.setup)

    @cached_property
    def positions(self) -> tuple[str, ...]:
        """The units of all appliances, each once."""
        return tuple(dict.fromkeys(place for appliance in self.appliances.values() for place in appliance.positions))

    @cached_property
    def on_demand(self) -> frozenset[str]:
        """Questions that a rule must allow, because they mean something only where something else was told."""
        return frozenset(card.test for card in self.tests.values() if card.needs_permission and not card.hands_in)

    @cached_property
    def test_reading(self) -> Mapping[str, TestCard]:
        """The first test that reads each fact."""
        return {card.reads: card for card in reversed(list(self.tests.values()))}

    def cautions_in_words(self, names: tuple[str, ...]) -> tuple[str, ...]:
        """Some cautions, each with its signal word."""
        found = self._cautions_in_words.get(names)
        if found is None:
            found = tuple(f"{self.cautions[name].signal}: {self.cautions[name].say}" for name in names)
            self._cautions_in_words[names] = found
        return found

    @cached_property
    def _cautions_in_words(self) -> dict[tuple[str, ...], tuple[str, ...]]:
        return {}

    def tests_like(self, patterns: tuple[str, ...]) -> frozenset[str]:
        """The tests whose names match some pattern of a rule's."""
        found = self._tests_like.get(patterns)
        if found is None:
            found = frozenset(test for pattern in patterns for test in fnmatch.filter(self.tests, pattern))
            self._tests_like[patterns] = found
        return found

    @cached_property
    def _tests_like(self) -> dict[tuple[str, ...], frozenset[str]]:
        return {}
