"""``coldleg reading expect``: readings before they are taken."""

from __future__ import annotations

import json

import pytest
from click.testing import CliRunner, Result

from service.cli import main


def typed(*words: str) -> Result:
    return CliRunner().invoke(main, ["reading", "expect", *words])


def test_a_back_feed_is_shown_before_anybody_is_misled() -> None:
    rows = json.loads(typed("L2-N", "--while", "loaded", "--fault", "supply.leg_l2_open", "--json").stdout)
    assert [row["fault"] for row in rows] == ["sound", "supply.leg_l2_open"]
    assert rows[1]["value"] == pytest.approx(120, abs=1)
    across = json.loads(typed("L1-L2", "--while", "loaded", "--fault", "supply.leg_l2_open", "--json").stdout)
    assert across[1]["value"] < 1


def test_a_reading_marks_the_suspects_it_fits() -> None:
    words = ("bake_element", "--while", "bake", "--fault", "oven.bake_element_open", "--fault", "oven.bake_relay_open")
    rows = json.loads(typed(*words, "--reading", "239 V", "--json").stdout)
    assert {row["fault"]: row["fits"] for row in rows} == {
        "sound": True,
        "oven.bake_element_open": True,
        "oven.bake_relay_open": False,
    }


def test_the_table_is_short_and_aligned() -> None:
    result = typed("sensor", "--quantity", "ohms", "--reading", "1180 ohm")
    assert result.exit_code == 0
    lines = result.stdout.splitlines()
    assert len(lines) <= 12
    assert any("fits" in line and "oven.sensor_reads_high" in line for line in lines)
    assert "e-1" not in result.stdout  # no rounding dust


def test_an_open_line_is_ol() -> None:
    rows = json.loads(typed("bake_element", "--quantity", "ohms", "--fault", "oven.bake_element_open", "--json").stdout)
    assert rows[1]["value"] == "OL"


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("bake_elemnt",), "did you mean 'bake_element'"),
        (("L1-N", "--while", "roast"), "write one of idle"),
        (("L1-N", "--fault", "supply.leg_l3_open"), "did you mean 'supply.leg_l"),
        (("L1-N", "--fault", "surface.element_open@middle"), "left_front"),
        (("L1-N", "--reading", "20 ohm"), "volts"),
        (("L1-N", "--reading", "20"), "unit is missing"),
        (("L1-N", "--quantity", "amps"), "name a part"),
        (("L1-N", "--appliance", "kettle"), "neither a file nor one of"),
    ],
)
def test_unusable_input(words: tuple[str, ...], says: str) -> None:
    result = typed(*words)
    assert (result.exit_code, result.stdout) == (2, "")
    assert says in result.stderr
