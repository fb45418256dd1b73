"""Requests that the OpenAPI document and the documentation page show; a test sends every one of them."""

from __future__ import annotations

from typing import Any

TRIAGE: dict[str, Any] = {
    "note": {"note": "the oven is dead and no burner heats, but the clock is on"},
    "facts": {
        "facts": [
            {"fact": "display", "value": "lit"},
            {"fact": "surface.heat", "where": "all", "value": "none"},
            {"fact": "oven.bake.heat", "value": "none"},
        ],
        "role": "caller",
    },
    "readings": {
        "note": "no burner heats",
        "facts": [
            {"fact": "volts", "between": "L1-L2", "while": "loaded", "value": 1.2, "unit": "V"},
            {"fact": "volts", "between": "L1-N", "while": "loaded", "value": "121 V"},
        ],
        "role": "technician",
        "explain": "full",
    },
    "own_appliance": {
        "note": "all burners are weak and preheat is slow",
        "appliance": {"based_on": "coil_range", "supply": "208Y/120"},
    },
}
BATCH: dict[str, Any] = {
    "two_calls": '{"id": "T-1001", "note": "left front burner is dead"}\n'
    '{"id": "T-1002", "note": "sparks from the oven"}\n'
}
EXPECTED: dict[str, Any] = {
    "one_pair": {"at": "L1-L2", "while": "loaded", "reading": "118 V"},
    "two_suspects": {
        "quantity": "ohms",
        "at": "bake_element",
        "suspects": [{"fault": "oven.bake_element_open"}],
        "reading": "OL",
    },
}
JUDGED: dict[str, Any] = {
    "supply": {"kind": "supply", "values": {"l1_n": "121 V", "l2_n": "119 V", "l1_l2": "240 V", "loaded": True}},
    "element": {"kind": "element", "values": {"watts": "2585 W", "ohms": "22.3 ohm"}},
    "sensor": {"kind": "sensor", "values": {"ohms": "1.08k", "at": "72 F"}},
}
CASES: dict[str, Any] = {
    "call": {"reference": "T-1001", "text": "no burner heats, but the clock is on"},
    "facts": {"facts": [{"fact": "display", "value": "lit"}], "appliance": "coil_range", "role": "caller"},
    "nothing_said_yet": {"reference": "T-1002"},
}
MESSAGES: dict[str, Any] = {
    "answer": {"text": "yes"},
    "correction": {"text": "no wait, the clock is dead"},
    "why": {"text": "why do you ask?"},
    "on_site": {
        "role": "technician",
        "facts": [{"fact": "volts", "between": "L1-L2", "while": "loaded", "value": "1 V"}],
    },
    "another_speaks": {"role": "technician"},
}
OUTCOMES: dict[str, Any] = {
    "fixed": {
        "fixed": True,
        "fault": "surface.element_open",
        "where": "left_front",
        "minutes": 35,
        "call_back": False,
    },
    "by_others": {"fixed": False, "found": "loose at the meter; the utility came"},
}
