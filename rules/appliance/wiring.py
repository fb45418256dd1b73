"""The electrical network of a configured range: which part sits between which nodes, and its sound value.

Names follow the trade: legs L1 and L2, neutral N, frame CH. Every heating element is drawn as two halves with a node
between them, so that a ground fault can sit anywhere along it. Node NS is the service's neutral point, joined to
earth there, and the reference of all voltages.

Not drawn, because it is not the circuit's: the keypad, the door and lock switches' logic, the limiter and cut-out
opening as they warm (a part that fails only when hot), gaskets, and where the sensor sits.

Values without a source beside them are round numbers of common practice; they set the scale of millivolts and
milliohms only, and no conclusion rests on them.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Mapping
from dataclasses import dataclass

from rules.bookkeeping.types import Appliance, Unit
from rules.electrical.circuit import Network

LEG_VOLTS = 120.0
HERTZ = 60.0

CONTACT_OHMS = 0.003  # a clean switch or plug contact; 1-5 milliohm, from memory
FEED_OHMS = 0.025  # 50 ft of 6 AWG copper at 75 C: 0.491 ohm/kft, NEC chapter 9 table 8
PLUG_OHMS = 0.002  # a sound blade in its outlet; 1-5 milliohm, from memory
BLOCK_OHMS = 0.002  # cord and its lug on the terminal block; 1-5 milliohm, from memory
FUSE_OHMS = 0.002  # a cartridge fuse in its clips; from memory
LINK_OHMS = 0.001  # a factory link on the terminal block
FAN_OHMS = 720.0  # 20 W at 120 V, invented round number
LOCK_MOTOR_OHMS = 2880.0  # 5 W at 120 V, from memory
STRAP_OHMS = 0.01  # "< 0.1 ohm", common practice
CONTROL_OHMS = 2880.0  # 5 W at 120 V, invented round number
LAMP_OHMS = 360.0  # 40 W at 120 V
PILOT_LAMP_OHMS = 14400.0  # 1 W at 120 V, from memory
SWITCH_HEATER_OHMS = 10000.0  # 5.8 W at 240 V, parallel type, from memory
COUPLING_FARADS = 100e-12  # conductor to conductor in a cable of some metres; 100 pF to 1 nF, common practice
METER_OHMS = 10e6  # a common digital meter
LOW_IMPEDANCE_OHMS = 3000.0  # a meter's low-impedance range; 2-3 kilohm by makers' pages
BODY_OHMS = 1000.0  # a person from hand to hand or hand to foot, the round number of shock tables

#: Meter points a technician names, and the nodes they are.
METER_POINTS = {
    "L1-L2": ("L1", "L2"),
    "L1-N": ("L1", "N"),
    "L2-N": ("L2", "N"),
    "N-G": ("N", "NS"),
    "L1-G": ("L1", "NS"),
    "L2-G": ("L2", "NS"),
    "N-CH": ("N", "CH"),
    "CH-G": ("CH", "NS"),
}

#: Conductors a cord or outlet can have exchanged.
SWAPS = {
    "l1_n_swapped": ("l1", "n"),
    "l2_n_swapped": ("l2", "n"),
    "l1_g_swapped": ("l1", "g"),
    "n_g_swapped": ("n", "g"),
}
ONE_LEG_TWICE = "one_leg_twice"  # both hots of the outlet or panel on the same leg
_RANGE_SIDE = {"l1": "L1P", "l2": "L2P", "n": "NP", "g": "CH"}


@dataclass(frozen=True)
class Wiring:
    """A network with its sound values.

    ``impedance``: branch to ohms (complex) with every contact closed. ``contacts``: branches that a switch, relay or
    limiter opens and closes. ``normally_open``: branches that conduct only under a fault or a meter. ``elements``:
    element name to its branches. ``nominal_watts``: element name to watts at the appliance's rated voltage.
    """

    appliance: Appliance
    network: Network
    impedance: Mapping[str, complex]
    contacts: frozenset[str]
    normally_open: frozenset[str]
    elements: Mapping[str, tuple[str, str]]
    nominal_watts: Mapping[str, float]


def leg_phasors(supply: str) -> tuple[complex, complex]:
    """The two legs against neutral: opposite on 120/240 V, 120 degrees apart on 208Y/120 V."""
    second = {"120/240": math.pi, ONE_LEG_TWICE: 0.0}.get(supply, -2 * math.pi / 3)
    return complex(LEG_VOLTS), cmath.rect(LEG_VOLTS, second)


class _Drawing:
    """Collects branches while the parts are drawn one after the other."""

    def __init__(self) -> None:
        self.ends: dict[str, tuple[str, str]] = {}
        self.impedance: dict[str, complex] = {}
        self.contacts: set[str] = set()
        self.normally_open: set[str] = set()
        self.elements: dict[str, tuple[str, str]] = {}
        self.watts: dict[str, float] = {}

    def part(self, name: str, a: str, b: str, ohms: complex) -> None:
        if name in self.ends:
            raise ValueError(f"part {name} is drawn twice")
        self.ends[name] = (a, b)
        self.impedance[name] = complex(ohms)

    def contact(self, name: str, a: str, b: str) -> None:
        self.part(name, a, b, CONTACT_OHMS)
        self.contacts.add(name)

    def absent(self, name: str, a: str, b: str, ohms: complex) -> None:
        self.part(name, a, b, ohms)
        self.normally_open.add(name)

    def element(self, name: str, a: str, b: str, watts: float, volts: float) -> None:
        """Two halves, and a branch from the middle to the frame that conducts only when the element is grounded."""
        half = volts**2 / watts / 2
        middle = f"{name}.middle"
        self.part(f"{name}.a", a, middle, half)
        self.part(f"{name}.b", middle, b, half)
        self.absent(f"{name}.to_frame", middle, "CH", CONTACT_OHMS)
        self.elements[name] = (f"{name}.a", f"{name}.b")
        self.watts[name] = watts


def wire(appliance: Appliance) -> Wiring:
    """Draw the network of an appliance."""
    drawing = _Drawing()
    _supply(drawing, appliance)
    for unit in appliance.units:
        _surface_unit(drawing, appliance, unit)
    if appliance.units:
        drawing.part("indicator_lamp", "P", "N", PILOT_LAMP_OHMS)
    if appliance.range_fuses:
        _surface_fuses(drawing)
    if appliance.oven:
        _control_and_lamp(drawing, appliance)
        _oven(drawing, appliance)
    first, second = leg_phasors(appliance.supply)
    network = Network.draw({"NS": 0j, "L1S": first, "L2S": second}, drawing.ends)
    return Wiring(
        appliance=appliance,
        network=network,
        impedance=drawing.impedance,
        contacts=frozenset(drawing.contacts),
        normally_open=frozenset(drawing.normally_open),
        elements=drawing.elements,
        nominal_watts=drawing.watts,
    )


def _supply(drawing: _Drawing, appliance: Appliance) -> None:
    """Breaker, wire, for a cord its plug, terminal block, conductor by conductor; ground and strap as the cord asks.

    The cable with the outlet's own joints is the wall's side (``leg_l1``, ``neutral``, ``ground_wire``), the cord and
    its lugs on the terminal block the range's (``block_l1``, ``block_n``).
    """
    for leg in ("1", "2"):
        drawing.contact(f"breaker_l{leg}", f"L{leg}S", f"L{leg}R")
        _conductor(drawing, appliance, f"leg_l{leg}", f"l{leg}", f"L{leg}R", f"L{leg}P")
        drawing.part(f"block_l{leg}", f"L{leg}P", f"L{leg}", BLOCK_OHMS)
    _conductor(drawing, appliance, "neutral", "n", "NS", "NP")
    drawing.part("block_n", "NP", "N", BLOCK_OHMS)
    if appliance.cord == "3-wire":
        drawing.absent("ground_wire", "NS", "CH", FEED_OHMS)
    else:
        _conductor(drawing, appliance, "ground_wire", "g", "NS", "CH")
    drawing.part("bond_strap", "N", "CH", STRAP_OHMS)
    if appliance.cord != "3-wire":
        drawing.normally_open.add("bond_strap")
    if appliance.cord != "hard-wired":
        for ends in SWAPS.values():
            for a, b in (ends, ends[::-1]) if appliance.cord == "4-wire" or "g" not in ends else ():
                drawing.absent(f"cross_{a}_{b}", f"{a.upper()}W", _RANGE_SIDE[b], PLUG_OHMS)
    stray = 1 / (2j * math.pi * HERTZ * COUPLING_FARADS)
    for name, a, b in (("stray_l1_l2", "L1", "L2"), ("stray_l1_g", "L1", "NS"), ("stray_l2_g", "L2", "NS")):
        drawing.part(name, a, b, stray)
    drawing.absent("person", "CH", "NS", BODY_OHMS)
    for name, a, b in (
        ("l1_l2", "L1", "L2"),
        ("l1_ch", "L1", "CH"),
        ("l2_ch", "L2", "CH"),
        ("l1_n", "L1", "N"),
        ("l2_n", "L2", "N"),
    ):
        drawing.absent(f"short_{name}", a, b, CONTACT_OHMS)  # charred or chewed insulation
    drawing.absent("l2_load", "L2", "N", LAMP_OHMS)  # some ranges hang a lamp or fan on the other leg
    for points, (a, b) in METER_POINTS.items():
        drawing.absent(f"meter {points}", a, b, METER_OHMS)


def _conductor(drawing: _Drawing, appliance: Appliance, name: str, short: str, a: str, b: str) -> None:
    """A conductor of the branch circuit, ending in a plug blade unless the appliance is hard-wired."""
    if appliance.cord == "hard-wired":
        drawing.part(name, a, b, FEED_OHMS)
    else:
        drawing.part(name, a, f"{short.upper()}W", FEED_OHMS)
        drawing.part(f"plug_{short}", f"{short.upper()}W", b, PLUG_OHMS)


def _surface_fuses(drawing: _Drawing) -> None:
    """An older range's own fuses: everything that hangs a surface unit on a leg hangs behind them."""
    for name, (a, b) in list(drawing.ends.items()):
        if a in ("L1", "L2") and name.endswith("_contact"):
            drawing.ends[name] = (f"{a}F", b)
    for leg in ("1", "2"):
        drawing.part(f"surface_fuse_l{leg}", f"L{leg}", f"L{leg}F", FUSE_OHMS)


def _surface_unit(drawing: _Drawing, appliance: Appliance, unit: Unit) -> None:
    """Infinite switch, the wire with its push-on terminals, receptacle (coil) or limiter (radiant), then the rings."""
    k = unit.where
    near, switched, far = f"{k}.H1", f"{k}.H2", f"{k}.F2"
    drawing.contact(f"{k}.line_contact", "L1", near)
    drawing.contact(f"{k}.cycling_contact", "L2", switched)
    drawing.contact(f"{k}.pilot_contact", "L1", "P")
    drawing.part(f"{k}.switch_heater", near, switched, SWITCH_HEATER_OHMS)
    drawing.part(f"{k}.lead", switched, far, CONTACT_OHMS)
    drawing.absent(f"{k}.to_neutral", "N", far, CONTACT_OHMS)  # the wire landed on neutral instead of the switch
    ring_near, ring_far = near, f"{k}.R2"
    if appliance.cooktop == "coil":
        ring_near = f"{k}.E1"
        drawing.part(f"{k}.receptacle", near, f"{k}.E0", CONTACT_OHMS)
        drawing.contact(f"{k}.coil_limiter", f"{k}.E0", ring_near)
        drawing.part(f"{k}.receptacle_far", far, ring_far, CONTACT_OHMS)
    else:
        drawing.contact(f"{k}.high_limit", far, ring_far)
        drawing.contact(f"{k}.hot_contact", "L1", f"{k}.HS")
        drawing.part(f"{k}.hot_lamp", f"{k}.HS", "N", PILOT_LAMP_OHMS)
    for number, watts in enumerate(unit.watts, start=1):
        ring = f"{k}.element" if number == 1 else f"{k}.ring{number}"
        start = ring_near
        if number > 1:
            start = f"{k}.S{number}"
            drawing.contact(f"{k}.ring{number}_contact", ring_near, start)
        drawing.element(ring, start, ring_far, watts, appliance.rated_volts)


def _control_and_lamp(drawing: _Drawing, appliance: Appliance) -> None:
    """The oven's section hangs on links from the terminal block; the control behind the cut-out if that breaks it."""
    drawing.part("link_l1", "L1", "L1K", LINK_OHMS)
    drawing.part("link_l2", "L2", "L2K", LINK_OHMS)
    feed = "L1K"
    if appliance.cutout == "control":
        drawing.contact("cutout", "L1K", "L1C")
        feed = "L1C"
    drawing.part("control_supply", feed, "CT", CONTACT_OHMS)
    drawing.part("control", "CT", "N", CONTROL_OHMS)
    _lamp(drawing)
    if appliance.cooling_fan:
        _switched_load(drawing, "cooling_fan_relay", "cooling_fan", FAN_OHMS)
    if appliance.convection_watts:
        _switched_load(drawing, "convection_fan_relay", "convection_fan", FAN_OHMS)
    if appliance.self_clean:
        _switched_load(drawing, "lock_relay", "lock_motor", LOCK_MOTOR_OHMS)


def _switched_load(drawing: _Drawing, contact: str, load: str, ohms: float) -> None:
    """A 120 V load from L1 to neutral behind a contact of its own."""
    drawing.contact(contact, "L1K", f"{load}.K")
    drawing.part(load, f"{load}.K", "N", ohms)


def _lamp(drawing: _Drawing) -> None:
    """The oven lamp in its socket, behind the control's contact and the door's switch side by side."""
    drawing.contact("lamp_switch", "L1K", "oven_lamp.K")
    drawing.contact("door_switch", "L1K", "oven_lamp.K")
    drawing.part("lamp_socket", "oven_lamp.K", "oven_lamp.S", CONTACT_OHMS)
    drawing.part("oven_lamp", "oven_lamp.S", "N", LAMP_OHMS)


def _oven(drawing: _Drawing, appliance: Appliance) -> None:
    """Single-sided element relays on L1; the double-line-break relay on the common L2 side.

    An element hangs on its wire by a push-on terminal. A second oven shares the links and the control, no more.
    """
    second = "L2K"
    if appliance.cutout == "elements":
        drawing.contact("cutout", "L2K", "L2T")
        second = "L2T"
    drawing.contact("double_line_break", second, "L2B")
    elements = {"bake": appliance.bake_watts, "broil": appliance.broil_watts, "convection": appliance.convection_watts}
    for name, watts in elements.items():
        if watts:
            drawing.contact(f"{name}_relay", "L1K", f"{name}.K")
            drawing.part(f"{name}_terminal", f"{name}.K", f"{name}.T", CONTACT_OHMS)
            drawing.element(f"{name}_element", f"{name}.T", "L2B", watts, appliance.rated_volts)
    if appliance.second_oven_watts:
        drawing.contact("other_relay", "L1K", "other.K")
        drawing.contact("other_line_break", "L2K", "other.L2")
        drawing.element("other_element", "other.K", "other.L2", appliance.second_oven_watts, appliance.rated_volts)


def expected_ohms(wiring: Wiring, element: str) -> float:
    """Resistance of a sound element, ohm: rated volts squared over watts."""
    return sum(wiring.impedance[half].real for half in wiring.elements[element])


def expected_reading(wiring: Wiring, fact: str, element: str) -> float:
    """What a fact's relative bands are multiples of: a sound element's ohms, or for ``amps.`` its amperes."""
    ohms = expected_ohms(wiring, element)
    return wiring.appliance.rated_volts / ohms if fact.startswith("amps.") else ohms


def element_of(fact: str, place: str) -> str:
    """The element a fact speaks of: ``ohms.bake`` and ``amps.bake`` the bake element, ``ohms.element`` a unit's."""
    name = fact.partition(".")[2]
    return f"{place}.{name}" if place else f"{name}_element"
