"""The appliance as a drawing: units, rings, oven, control and feeders by place, each with what the facts prove of it.

Only places and sizes are worked out here; the template turns them into SVG. Lengths are in the drawing's own units.
"""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from rules.bookkeeping.types import Appliance
from rules.tracing import Traced
from rules.wording import place_words

WIDTH = 400.0
MARGIN, BODY_TOP = 10.0, 92.0
RAIL_TOP, RAIL_STEP = 16.0, 24.0
TOP_DEPTH, PANEL_DEPTH, OVEN_DEPTH, GAP = 252.0, 50.0, 164.0, 8.0
LARGEST_RING, SMALLEST_RING = 43.0, 10.0
LABEL = 30.0  # two lines under a unit
ROWS = 2

_FEEDERS = {"leg_l1": "Leg L1", "leg_l2": "Leg L2", "neutral": "Neutral N"}
_OVEN = {
    "bake_element": "Bake element",
    "broil_element": "Broil element",
    "convection_element": "Convection element",
    "other_element": "Other oven",
}
_RINGS = {1: ("",), 2: ("inner ring", "outer ring"), 3: ("inner ring", "middle ring", "outer ring")}
_SHORT = {"Bake element": "Bake", "Broil element": "Broil", "Convection element": "Convection", "Oven lamp": "Lamp"}
MEANS = {
    "alive": {"feeder": "brings voltage", "control": "has its supply", "lamp": "lights", "element": "heats"},
    "dead": {
        "feeder": "brings no voltage",
        "control": "gives no display",
        "lamp": "stays dark",
        "element": "stays cold",
    },
}


@dataclass(frozen=True)
class Shape:
    """One circuit in the drawing. ``kind``: feeder, ring, element, convection, lamp, control or other.

    ``x``, ``y`` are its middle; ``size`` a ring's radius, or half the width of the rest. ``label`` stands at
    ``label_y`` under ``x``; empty where another shape's stands for it. ``why``: the facts that prove it, in words.
    """

    kind: str
    part: str
    name: str
    short: str
    standing: str
    means: str
    why: tuple[str, ...]
    x: float
    y: float
    size: float
    label_y: float


@dataclass(frozen=True)
class Drawing:
    """A whole drawing. ``cooktop``, ``panel`` and ``ovens`` are (y, depth) of what is drawn as a box."""

    title: str
    height: float
    cooktop: tuple[float, float] | None
    panel: tuple[float, float] | None
    ovens: tuple[tuple[float, float], ...]
    shapes: tuple[Shape, ...]

    @property
    def told(self) -> str:
        """All of it in one sentence a circuit."""
        return " ".join(f"{shape.name}: {shape.standing}." for shape in self.shapes)


def draw(appliance: Appliance, traced: Sequence[Traced], facts: Sequence[str]) -> Drawing:
    """The drawing of an appliance. ``facts``: the words of every fact that ``traced`` refers to by its number."""
    y = BODY_TOP
    cooktop = panel = None
    ovens: list[tuple[float, float]] = []
    if appliance.units:
        cooktop, y = (y, TOP_DEPTH), y + TOP_DEPTH + GAP
    if appliance.oven:
        panel, y = (y, PANEL_DEPTH), y + PANEL_DEPTH + GAP
        for _ in range(2 if appliance.second_oven_watts else 1):
            ovens.append((y, OVEN_DEPTH))
            y += OVEN_DEPTH + GAP
    made = Drawing(appliance.title, y - GAP + MARGIN, cooktop, panel, tuple(ovens), ())
    places = _places(appliance.positions, cooktop[0] if cooktop else 0.0)
    shapes = tuple(_shape(appliance, entry, facts, made, places) for entry in traced)
    return replace(made, shapes=shapes)


@dataclass(frozen=True)
class _Place:
    """Middle of a unit and the radius there is room for."""

    x: float
    y: float
    radius: float


def _places(units: Sequence[str], top: float) -> dict[str, _Place]:
    """Where each unit sits, from the words of its name; side by side in two rows where these would overlap."""
    named = {unit: _by_name(unit, top) for unit in units}
    if all(_apart(*pair) for pair in itertools.combinations(named.values(), 2)):
        return named
    across = math.ceil(len(units) / ROWS)
    radius = min(LARGEST_RING, (WIDTH - 2 * MARGIN) / across / 2 - 4)
    ordered = sorted(units, key=lambda unit: (named[unit].y, named[unit].x))
    return {
        unit: _Place(
            MARGIN + (WIDTH - 2 * MARGIN) * (number % across + 0.5) / across,
            top + TOP_DEPTH * (0.21, 0.69)[number // across],
            radius,
        )
        for number, unit in enumerate(ordered)
    }


def _by_name(unit: str, top: float) -> _Place:
    words = set(re.split(r"[_\W]+", unit))
    across = 0.25 if "left" in words else 0.75 if "right" in words else 0.5
    down = 0.21 if words & {"rear", "back"} else 0.69 if "front" in words else 0.45
    return _Place(WIDTH * across, top + TOP_DEPTH * down, LARGEST_RING)


def _apart(first: _Place, second: _Place) -> bool:
    """Whether two units and their labels lie clear of each other."""
    return abs(first.x - second.x) >= 2 * LARGEST_RING + 8 or abs(first.y - second.y) >= 2 * LARGEST_RING + LABEL


def _shape(
    appliance: Appliance, entry: Traced, facts: Sequence[str], made: Drawing, places: dict[str, _Place]
) -> Shape:
    part, standing = entry.circuit.part, entry.standing
    why = tuple(facts[number] for number in entry.facts)
    kind, name, x, y, size, label_y = _placed(appliance, entry, made, places)
    short = _SHORT.get(name, name)
    family = "element" if kind in ("ring", "convection", "other") else kind
    means = MEANS.get(standing, {}).get(family, "nothing proves it either way")
    return Shape(kind, part, name, short, standing, means, why, x, y, size, label_y)


def _placed(
    appliance: Appliance, entry: Traced, made: Drawing, places: dict[str, _Place]
) -> tuple[str, str, float, float, float, float]:
    """Kind, name, middle, size and height of the label."""
    part, unit = entry.circuit.part, entry.circuit.unit
    if unit is not None:
        return _ring(appliance, part, unit, places)
    if part in _FEEDERS:
        y = RAIL_TOP + RAIL_STEP * list(_FEEDERS).index(part)
        return "feeder", _FEEDERS[part], WIDTH / 2, y, WIDTH / 2 - MARGIN, y
    panel, oven = made.panel or (0.0, 0.0), made.ovens[0] if made.ovens else (0.0, 0.0)
    if part == "control":
        y = panel[0] + PANEL_DEPTH / 2
        return "control", "Control and display", WIDTH / 2, y, 118.0, y + 5
    if part == "oven_lamp":
        y = oven[0] + 80
        return "lamp", "Oven lamp", WIDTH - 62, y, 12.0, y + 30
    down = {"broil_element": 22.0, "bake_element": OVEN_DEPTH - 32.0, "convection_element": 80.0}.get(part, 60.0)
    y = (made.ovens[1] if part == "other_element" else oven)[0] + down
    if part == "convection_element":
        return "convection", _OVEN[part], WIDTH / 2, y, 16.0, y + 32
    kind = "other" if part == "other_element" else "element"
    return kind, _OVEN.get(part, part), WIDTH / 2, y, 120.0, y + 22


def _ring(
    appliance: Appliance, part: str, unit: str, places: dict[str, _Place]
) -> tuple[str, str, float, float, float, float]:
    """The element of a unit is its inner ring, ``ring2`` and ``ring3`` lie round it."""
    count = max(len(entry.watts) for entry in appliance.units if entry.where == unit)
    number = int(part[-1]) if part.rpartition(".")[2].startswith("ring") else 1
    place = places[unit]
    size = max(place.radius * number / count, SMALLEST_RING)
    rings = _RINGS.get(count, tuple(f"ring {n}" for n in range(1, count + 1)))
    name = f"{place_words(unit).capitalize()} unit" + (f", {rings[number - 1]}" if rings[number - 1] else "")
    return "ring", name, place.x, place.y, size, place.y + place.radius + 13


def units_told(drawing: Drawing) -> Iterator[tuple[float, float, str, str]]:
    """For each surface unit its label's place, its name and what is proved of its rings, as one line."""
    named: dict[str, list[Shape]] = {}
    for shape in drawing.shapes:
        if shape.kind == "ring":
            named.setdefault(shape.part.partition(".")[0], []).append(shape)
    for unit, shapes in named.items():
        states = [shape.standing for shape in shapes]
        said = states[0] if len(set(states)) == 1 else ", ".join(_each(shapes))
        yield shapes[0].x, shapes[0].label_y, place_words(unit), said


def _each(shapes: Sequence[Shape]) -> Iterator[str]:
    for shape in shapes:
        yield f"{shape.name.partition(', ')[2].partition(' ')[0]} {shape.standing}"
