"""Supply voltages: every row of the signature table, each reading's range, and nothing that crashes."""

from __future__ import annotations

import json
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.electrical.supply import (
    Readings,
    back_feed_volts,
    drop_under_load_verdict,
    ghost_volts,
    neutral_verdict,
    open_neutral_volts,
    pattern_verdict,
    supply_verdicts,
)
from rules.electrical.verdict import WORDS
from rules.terms import InputError

# The signature table at the terminal block (recomputed by nodal analysis): L1-N, L2-N, L1-L2, low impedance, verdict,
# and what the explanation must speak of.
SIGNATURES = [
    ("sound", 120, 120, 240, False, "as expected", "hold under load"),
    ("A, L2 open, element on", 120, 120, 0, False, "open", "feeds the lost one back"),
    ("A', the same on low impedance", 120, 119, 0.9, True, "open", "low-impedance meter does not clear"),
    ("B, L2 open, element and lamp", 120, 113, 7, False, "open", "feeds the lost one back"),
    ("C, L2 open, nothing on, 100 pF", 120, 36, 45, False, "cannot tell", "36 to 59 V"),
    ("C, 1 nF", 120, 59, 59, False, "cannot tell", "ghost"),
    ("C on low impedance", 120, 0.1, 119, True, "open", "Leg L2 is open"),
    ("a small load feeds it", 120, 40, 80, True, "open", "fed back through a load"),
    ("D, L1 open, burner on", 119, 120, 1, False, "open", "feeds the lost one back"),
    ("E, L1 open, all off", 0, 120, 118, False, "open", "Leg L1 is open"),
    ("F, neutral open, lamp on L2", 213, 27, 240, False, "open", "neutral is open"),
    ("F', fan on L2", 192, 48, 240, False, "open", "neutral is open"),
    ("G, neutral open, control only", 0, 240, 240, False, "open", "neutral is open"),
    ("poor neutral, 50 ohm", 133, 107, 240, False, "high", "poor neutral joint"),
    ("poor neutral or leg, in range", 124, 116, 240, False, "cannot tell", "pushes one leg up"),
    ("H, 208 V building", 120, 120, 208, False, "low", "three-phase"),
    ("utility low", 104, 104, 208, False, "low", "utility"),
    ("utility high", 128, 128, 256, False, "high", "utility"),
    ("burnt joint on L2", 121, 98, 219, False, "low", "Leg L2 loses volts"),
    ("swapped neutral and L1", 120, 240, 120, False, "high", "swapped"),
    ("swapped neutral and L2", 240, 120, 120, False, "high", "swapped"),
    ("nothing", 0, 0.2, 0.1, False, "open", "breaker off"),
    ("does not add up", 120, 120, 120, False, "cannot tell", "do not fit together"),
]


@pytest.mark.parametrize("row", SIGNATURES, ids=lambda row: row[0])
def test_signatures(row: tuple[str, float, float, float, bool, str, str]) -> None:
    _, l1_n, l2_n, l1_l2, low_impedance, word, says = row
    readings = Readings(l1_n, l2_n, l1_l2, loaded=True, low_impedance=low_impedance)
    verdict = pattern_verdict(readings)
    assert verdict.verdict == word
    assert says in verdict.means
    assert supply_verdicts(readings)[0] == verdict


@pytest.mark.parametrize(
    ("l1_n", "l2_n", "l1_l2", "word"),
    [(120, 120, 208, "as expected"), (120, 120, 0, "open"), (100, 100, 173, "low"), (121, 98, 190, "low")],
)
def test_208_building_as_configured(l1_n: float, l2_n: float, l1_l2: float, word: str) -> None:
    assert pattern_verdict(Readings(l1_n, l2_n, l1_l2, loaded=True, system="208Y/120")).verdict == word


def test_the_legs_change_places_and_so_does_the_name() -> None:
    assert "Leg L1 loses" in pattern_verdict(Readings(98, 121, 219, loaded=True)).means


def test_without_load_a_good_reading_proves_little() -> None:
    verdicts = supply_verdicts(Readings(120, 121, 241))
    assert [verdict.verdict for verdict in verdicts] == ["as expected"] * 4
    assert all("prove" in verdict.means for verdict in verdicts)
    assert pattern_verdict(Readings(133, 107, 240)).verdict == "cannot tell"


def test_at_the_service_the_range_is_narrower() -> None:
    block, service = Readings(l1_l2=220.0), Readings(l1_l2=220.0, point="service")
    assert supply_verdicts(block)[0].verdict == "as expected"
    assert supply_verdicts(service)[0].verdict == "low"
    assert "utility" in supply_verdicts(service)[0].means


@pytest.mark.parametrize(
    ("readings", "says"),
    [
        (Readings(l1_n=106, loaded=True), "Range B allows it"),
        (Readings(l1_n=103.9, loaded=True), "Outside range B"),
        (Readings(l1_n=127, loaded=True), "Range B allows it"),
        (Readings(l1_l2=208, loaded=True), "Range B allows it"),
        (Readings(l1_l2=207.9, loaded=True), "Outside range B"),
        (Readings(l1_l2=219.9, point="service"), "Outside range B"),
        (Readings(l1_l2=180, loaded=True, system="208Y/120"), "Range B allows it"),
        (Readings(l1_l2=190, point="service", system="208Y/120"), "Outside range B"),
    ],
)
def test_outside_range_a_it_is_said_whether_range_b_allows_it(readings: Readings, says: str) -> None:
    [verdict] = supply_verdicts(readings)
    assert verdict.verdict in ("low", "high")
    assert says in verdict.means


@pytest.mark.parametrize(("volts", "word"), [(14.9, "open"), (15.1, "low"), (107.9, "low"), (108, "as expected")])
def test_edges_of_a_leg(volts: float, word: str) -> None:
    assert supply_verdicts(Readings(l2_n=volts, loaded=True))[0].verdict == word


def test_edges_of_the_patterns() -> None:
    assert "Leg L2 is open" in pattern_verdict(Readings(120, 14.9, 118, loaded=True)).means
    assert "ghost" in pattern_verdict(Readings(120, 15.1, 80, loaded=True)).means
    assert "Leg L2 is open" in pattern_verdict(Readings(120, 10, 139, loaded=True)).means
    assert "feeds the lost one" in pattern_verdict(Readings(120, 118, 35.9, loaded=True)).means
    assert pattern_verdict(Readings(120, 118, 36.1, loaded=True)).verdict == "cannot tell"
    assert "Leg L2 loses" in pattern_verdict(Readings(121, 80, 201, loaded=True)).means
    assert "Leg L2 loses" not in pattern_verdict(Readings(121, 80, 150, loaded=True)).means


def test_how_unequal_the_legs_may_be() -> None:
    # 2 % of the higher leg, and half a volt for the meter's last figures.
    assert pattern_verdict(Readings(122, 119.1, 241.1, loaded=True)).verdict == "as expected"
    assert pattern_verdict(Readings(122, 119.0, 241.0, loaded=True)).verdict == "cannot tell"


def test_what_is_missing_is_not_judged() -> None:
    assert [verdict.what for verdict in supply_verdicts(Readings(l1_n=121, loaded=True))] == ["L1-N, loaded"]
    assert pattern_verdict(Readings(l1_n=121)).verdict == "cannot tell"


@pytest.mark.parametrize(
    "readings",
    [
        Readings(),
        Readings(l1_n=-1),
        Readings(l2_n=math.nan),
        Readings(l1_l2=math.inf),
        Readings(n_g=-0.1),
        Readings(l1_n=120, system="230"),  # type: ignore[arg-type]
        Readings(l1_n=120, point="plug"),  # type: ignore[arg-type]
    ],
)
def test_readings_that_are_none(readings: Readings) -> None:
    with pytest.raises(InputError, match="write"):
        supply_verdicts(readings)


volts = st.one_of(st.none(), st.floats(0, 400))


@given(
    l1_n=volts,
    l2_n=volts,
    l1_l2=volts,
    n_g=volts,
    loaded=st.booleans(),
    low_impedance=st.booleans(),
    system=st.sampled_from(["120/240", "208Y/120"]),
)
def test_every_set_of_readings_gets_a_verdict(**given_readings: object) -> None:
    readings = Readings(**given_readings)  # type: ignore[arg-type]
    if {readings.l1_n, readings.l2_n, readings.l1_l2, readings.n_g} == {None}:
        return
    verdicts = supply_verdicts(readings)
    assert verdicts
    assert all(verdict.verdict in WORDS and verdict.means for verdict in verdicts)
    json.dumps([verdict.as_json() for verdict in verdicts], allow_nan=False)


@pytest.mark.parametrize(
    ("volts", "loaded", "word"),
    [
        (0.5, True, "as expected"),
        (0.5, False, "cannot tell"),
        (5, True, "high"),
        (5, False, "high"),
        (30, True, "high"),
        (30.1, True, "open"),
        (72, False, "open"),
    ],
)
def test_neutral_to_ground(volts: float, loaded: bool, word: str) -> None:
    assert neutral_verdict(volts, loaded).verdict == word


@pytest.mark.parametrize(
    ("no_load", "loaded", "word"),
    [
        (243, 238, "as expected"),
        (243, 226, "high"),
        (240, 232.8, "as expected"),
        (240, 232.7, "high"),
        (240, 241.3, "low"),
        (240, 244, "low"),
        (240, 240.5, "as expected"),
    ],
)
def test_fall_under_load(no_load: float, loaded: float, word: str) -> None:
    verdict = drop_under_load_verdict(no_load, loaded)
    assert (verdict.verdict, verdict.value) == (word, pytest.approx(100 * (no_load - loaded) / no_load))


@pytest.mark.parametrize(("no_load", "loaded"), [(0, 240), (-1, 1), (240, math.nan), (math.inf, 240)])
def test_fall_of_nothing(no_load: float, loaded: float) -> None:
    with pytest.raises(InputError):
        drop_under_load_verdict(no_load, loaded)


@given(first=st.floats(1, 1e5), second=st.floats(1, 1e5))
def test_open_neutral_shares_add_up(first: float, second: float) -> None:
    one, other = open_neutral_volts(first, second)
    assert one + other == pytest.approx(240)
    assert one / first == pytest.approx(other / second)


def test_open_neutral_with_one_side_empty() -> None:
    assert open_neutral_volts(math.inf, 72) == (240, 0)
    assert open_neutral_volts(72, math.inf) == (0, 240)
    for pair in ((math.inf, math.inf), (0, 72), (72, math.nan)):
        with pytest.raises(InputError, match="load ohms"):
            open_neutral_volts(*pair)


def test_ghost_and_back_feed_refuse_bad_input() -> None:
    with pytest.raises(InputError):
        ghost_volts(0, 0)
    with pytest.raises(InputError):
        ghost_volts(100, 100, meter_ohms=0)
    with pytest.raises(InputError):
        back_feed_volts(-1)
