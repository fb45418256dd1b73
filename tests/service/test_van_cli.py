"""``coldleg van``, as typed."""

from __future__ import annotations

import json

import pytest
from click.testing import CliRunner, Result

from service.cli import main

DAY = (
    b'{"id": "8:00", "note": "slow to preheat, pale on the bottom, broil works fine"}\n\n'
    b'{"id": 930, "appliance": "wall_oven", '
    b'"facts": [{"fact": "oven.lamp", "value": "dark"}, {"fact": "display", "value": "lit"}]}\n'
)


def typed(*words: str, given: bytes = DAY) -> Result:
    return CliRunner().invoke(main, ["van", "-", *words], input=given)


def test_a_day_s_load_as_text_and_as_json() -> None:
    text = typed()
    assert text.exit_code == 0, text.output
    assert "1 x bake element" in text.stdout
    assert "8:00: mended at the first visit" in text.stdout
    plan = json.loads(typed("--json").stdout)
    assert [call["id"] for call in plan["calls"]] == ["8:00", "930"]
    assert {"bake_element", "oven_lamp"} <= {row["part"] for row in plan["stock"]}
    assert 0 < plan["expected_fixes"] <= 2


def test_limits_of_one_s_own() -> None:
    plan = json.loads(typed("--json", "--space", "1", "--value", "50").stdout)
    assert plan["van"]["space"] == 1
    assert {row["part"] for row in plan["stock"]} == {"oven_lamp", "lamp_socket"}
    assert plan["space"] <= 1 and plan["value"] <= 50


@pytest.mark.parametrize(
    ("given", "says"),
    [
        (b"", "has no call"),
        (b"oven cold\n", "line 1: is no JSON"),
        (b"[]\n", "line 1: write an object"),
        (b'{"note": "oven"}\n{"id": 1, "note": "oven"}\n', "line 2: id: '1' is in the list already"),
        (b'{"id": null, "note": "oven"}\n', "line 1: id: write a word"),
        (b'{"id": "1", "nots": "oven"}\n', "line 1: nots"),
        (b'{"id": "1", "note": "oven", "facts": [{"fact": "display", "value": "bright"}]}\n', "facts/0/value"),
        (b"\xff\n", "line 1: is no JSON"),
        (b"[" * 100_000, "line 1: is no JSON"),
    ],
)
def test_lists_that_cannot_be_used(given: bytes, says: str) -> None:
    result = typed(given=given)
    assert (result.exit_code, result.stdout) == (2, "")
    assert says in result.stderr
    assert "Traceback" not in result.stderr


def test_a_van_the_book_does_not_have() -> None:
    result = typed("--van", "lorry")
    assert result.exit_code == 2
    assert "write one of service_van" in result.stderr
