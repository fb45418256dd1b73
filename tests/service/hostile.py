"""Bodies that no honest caller sends, and some that differ from an honest one in one place. All invented."""

from __future__ import annotations

import copy
import json
import random
from collections.abc import Callable, Iterator
from typing import Any

GOOD: tuple[tuple[str, dict[str, Any]], ...] = (
    (
        "/v1/triage",
        {
            "note": "the oven is dead but the clock is on",
            "facts": [
                {"fact": "surface.heat", "where": "left_front", "value": "none", "source": "caller"},
                {"fact": "volts", "between": "L1-L2", "while": "loaded", "value": 1.2, "unit": "V"},
                {"fact": "self_clean_days", "value": "1 day", "certainty": "said"},
            ],
            "appliance": {"based_on": "coil_range", "cord": "3-wire", "rated_volts": 240},
            "role": "technician",
            "explain": "full",
        },
    ),
    (
        "/v1/readings/expected",
        {
            "appliance": "coil_range",
            "quantity": "volts",
            "at": "L1-L2",
            "while": "loaded",
            "meter": "digital",
            "lifted": True,
            "at_temperature": "70 F",
            "suspects": [{"fault": "supply.leg_l2_open", "where": None}],
            "reading": "118 V",
        },
    ),
    ("/v1/readings/judged", {"kind": "supply", "values": {"l1_n": "121 V", "l2_n": 119, "loaded": True}}),
    ("/v1/readings/judged", {"kind": "sensor", "values": {"ohms": "1.08k", "at": "72 F", "curve": "3750"}}),
    ("/v1/readings/judged", {"kind": "element", "values": {"watts": "2585 W", "ohms": "22.3 ohm", "volts": "238"}}),
    ("/v1/readings/judged", {"kind": "oven-log", "values": {"log": "time_s,temp_F\n0,70\n60,350\n", "set": "350 F"}}),
    ("/v1/readings/judged", {"kind": "breaker", "values": {"breaker": "40 A", "range": "12 kW", "awg": 8}}),
    ("/v1/readings/judged", {"kind": "duty", "values": {"on": "10 s", "off": "20 s", "setting": "medium"}}),
    ("/v1/readings/judged", {"kind": "drop", "values": {"amps": 40, "length": "50 ft", "awg": 8}}),
    ("/v1/readings/judged", {"kind": "preheat", "values": {"set": "350 F", "bake": "2500 W", "took": "12 min"}}),
    ("/v1/readings/judged", {"kind": "thermocouple", "values": {"mv": "7.3 mV", "cold_junction": "72 F"}}),
    ("/v1/readings/judged", {"kind": "sheath", "values": {"ohms": "2 Mohm", "test_volts": 500}}),
    ("/v1/readings/judged", {"kind": "leakage", "values": {"ohms": "100 kohm", "range": "12 kW"}}),
    ("/v1/readings/judged", {"kind": "joint", "values": {"amps": 40, "across": "2 V"}}),
    ("/v1/readings/judged", {"kind": "oven-error", "values": {"set": "350 F", "series": "10 ohm"}}),
)
STRANGE: tuple[Any, ...] = (
    None, True, False, 0, -1, 1e308, -1e308, 1e-320, 10**39, -(10**39), 2**53, 0.1, "", " ", "\x00", "\u200b", "\ufeff",
    "e\u0301" * 40, "\u202e", "\U0001f525" * 50, "a" * 5000, "0" * 300, "1e400 V", "nan", "NaN V", "inf", "-inf ohm",
    "OL", "12", "12 parsecs",
    "-5 ohm", "1/0", "0 s", "0 V", "0 ohm", "0 W", "1e-300 ohm", "1e300 ohm", "-459.67 F",
    "-500 F", "9e99 F", "__class__", "../../etc/passwd", "<script>", "{}", "[]", [], {}, [[]], [None], [{}], {"": 0},
    {"a": {"b": {"c": []}}}, ["a"] * 600, {"value": 1, "unit": "V"}, "left_front", "all", "supply.leg_l2_open",
)  # fmt: skip
RAW: tuple[bytes, ...] = (
    b"", b" ", b"\x00", b"\xff\xfe", b"\xc3\x28", b"\xed\xa0\x80", b"{", b"}", b"[", b'"', b"nul", b"NaN", b"Infinity",
    b'{"note":NaN}', b'{"note":-Infinity}', b'{"facts":1e999}', b'{"note":"a","note":"b"}', b'{"note":"\\ud800"}',
    b'{"note":"\\udc00\\ud800"}', b"{'note':'a'}", b'{"note":"a",}', b'{"note":"a"}x', b'{"note":"a"}{"note":"b"}',
    b'{"note":01}', b'{"note":+1}', b'{"note":.5}', b'{"note":0x10}', b'{"note":"a\nb"}',
    b'{"note":"\\x41"}', b"//\n{}",
    b"[" * 50_000, b"[" * 21 + b"]" * 21, b'{"a":' * 30 + b"1" + b"}" * 30, b"1" * 5000,
    b"-" * 5000, b'"' + b"\\" * 999,
    b'{"facts":[' + b"1," * 999 + b"1]}", '{"note":"é"}'.encode("latin-1"), '{"note":"a"}'.encode("utf-16"),
    '{"note":"a"}'.encode("utf-32"),
)  # fmt: skip


def bodies(chance: random.Random) -> Iterator[tuple[str, bytes]]:
    """Without end: a path and a body to post there."""
    while True:
        path, good = chance.choice(GOOD)
        yield path, hostile(chance, good)


def hostile(chance: random.Random, good: dict[str, Any]) -> bytes:
    """A body that differs from a good one in a place or more, or has nothing to do with it."""
    return chance.choice(_WAYS)(chance, good)


def _raw(chance: random.Random, _good: dict[str, Any]) -> bytes:
    return chance.choice(RAW)


def _changed(chance: random.Random, good: dict[str, Any]) -> bytes:
    """One to three values anywhere in the request replaced, removed or renamed."""
    made = json.loads(json.dumps(good))
    for _ in range(chance.randint(1, 3)):
        _change(chance, made)
    return json.dumps(made, ensure_ascii=chance.random() < 0.5).encode("utf-8", "surrogatepass")


def _change(chance: random.Random, made: Any) -> None:
    at: Any = made
    while isinstance(at, (dict, list)) and at:
        key: Any = chance.choice(list(at)) if isinstance(at, dict) else chance.randrange(len(at))
        inner = at[key]
        if not isinstance(inner, (dict, list)) or not inner or chance.random() < 0.35:
            what = chance.random()
            if what < 0.7:
                at[key] = copy.deepcopy(chance.choice(STRANGE))
            elif what < 0.85:
                del at[key]
            elif isinstance(at, dict):
                at[chance.choice(("", "/", "~", "a/b~c", "x" * 300, str(key) + "s", "__proto__"))] = at.pop(key)
            return
        at = inner


def _bytes_broken(chance: random.Random, good: dict[str, Any]) -> bytes:
    """A few bytes of the honest request overwritten, dropped or doubled."""
    raw = bytearray(json.dumps(good).encode())
    for _ in range(chance.randint(1, 4)):
        place = chance.randrange(len(raw))
        what = chance.randrange(3)
        if what == 0:
            raw[place] = chance.randrange(256)
        elif what == 1:
            del raw[place : place + chance.randint(1, 20)]
        else:
            raw[place:place] = raw[place : place + chance.randint(1, 20)]
        if not raw:
            raw += b"{"
    return bytes(raw)


_WAYS: tuple[Callable[[random.Random, dict[str, Any]], bytes], ...] = (
    _raw,
    _changed,
    _changed,
    _changed,
    _bytes_broken,
)
