"""The solver on small networks with answers from elsewhere."""

from __future__ import annotations

import math

import numpy as np
import pytest

from rules.electrical.circuit import Network, NetworkError


def test_open_neutral_worked_example() -> None:
    """Published: 100 W and 200 W on 120 V are 144 and 72 ohm; neutral open: 160 and 80 V (domain S8)."""
    network = Network.draw({"L1": 120, "L2": -120}, {"a": ("L1", "N"), "b": ("N", "L2")})
    solution = network.solve(np.array([[1 / 144, 1 / 72]]))
    assert solution.across("a")[0] == pytest.approx(160)
    assert solution.across("b")[0] == pytest.approx(80)


def test_a_capacitor_divides_as_its_reactance() -> None:
    """Ghost voltage, 100 pF to each side and a 10 megohm meter: 120 |jwC / (2jwC + 1/R)| = 36 V (domain C14)."""
    y = 1j * 2 * math.pi * 60 * 100e-12
    network = Network.draw({"G": 0, "L1": 120}, {"c1": ("L1", "X"), "c2": ("X", "G"), "meter": ("X", "G")})
    volts = network.solve(np.array([[y, y, 1e-7], [y, y, 1 / 3000]])).across("meter")
    assert volts[0] == pytest.approx(36.1, abs=0.1)
    assert volts[1] == pytest.approx(0.0136, abs=0.001)


def test_power_and_current() -> None:
    network = Network.draw({"G": 0, "L": 240}, {"element": ("L", "G")})
    solution = network.solve(np.array([[1 / 24]]))
    assert solution.watts(["element"])[0] == pytest.approx(2400)
    assert solution.amps("element")[0] == pytest.approx(10)


def test_a_floating_node_has_no_voltage_and_no_neighbour_suffers() -> None:
    network = Network.draw({"G": 0, "L": 120}, {"a": ("L", "X"), "b": ("X", "G"), "c": ("Y", "Z")})
    solution = network.solve(np.array([[1, 1, 1], [0, 0, 1]]))
    assert solution.node("X")[0] == pytest.approx(60)
    assert np.isnan(solution.node("Y")).all()
    assert np.isnan(solution.node("X")[1])
    assert solution.between("X", "Y").tolist() == [0, 0]


def test_what_floats_shows_nothing_against_a_leg_of_three_phases() -> None:
    """A leg at 120 degrees has an imaginary part; that is no voltage against a node without a path."""
    network = Network.draw({"G": 0, "L": -60 + 104j}, {"a": ("L", "X")})
    assert network.solve(np.zeros((1, 1))).across("a").tolist() == [0]


def test_sources_may_differ_by_case() -> None:
    network = Network.draw({"G": 0, "L": 120}, {"a": ("L", "X"), "b": ("X", "G")})
    solution = network.solve(np.ones((2, 2)), np.array([[0, 120], [0, 208]]))
    assert solution.node("X").tolist() == [60, 104]


def test_impedance_seen_between_two_nodes() -> None:
    """Sources at rest: 2 ohm beside 3 ohm are 1.2 ohm; from X to Y 1.2 + 4; a floating node counts for nothing."""
    network = Network.draw({"G": 0, "L": 120}, {"a": ("L", "X"), "b": ("X", "G"), "c": ("Y", "G")})
    seen = network.port_ohms(np.array([[1 / 2, 1 / 3, 1 / 4]]), [("X", "G"), ("X", "Y"), ("L", "G")])
    assert seen[0].real == pytest.approx([1.2, 5.2, 0.0])
    volts = network.solve(np.array([[1 / 2, 1 / 3, 1 / 4]])).between("X", "G")[0]
    loaded = Network.draw({"G": 0, "L": 120}, {"a": ("L", "X"), "b": ("X", "G"), "m": ("X", "G")})
    fitted = loaded.solve(np.array([[1 / 2, 1 / 3, 1 / 6]])).across("m")[0]
    assert volts / (1 + 1.2 / 6) == pytest.approx(fitted)


@pytest.mark.parametrize(
    ("admittance", "says"),
    [([[1.0]], "1 admittances for 2 branches"), ([[1.0, np.inf]], "branch b"), ([[np.nan, 1.0]], "branch a")],
)
def test_what_cannot_be_solved_is_said(admittance: list[list[float]], says: str) -> None:
    network = Network.draw({"G": 0, "L": 120}, {"a": ("L", "X"), "b": ("X", "G")})
    with pytest.raises(NetworkError, match=says):
        network.solve(np.array(admittance))


def test_resonance_is_an_error_not_a_number() -> None:
    network = Network.draw({"G": 0}, {"a": ("G", "X"), "b": ("X", "G")})
    with pytest.raises(NetworkError, match="no single solution"):
        network.solve(np.array([[1j, -1j]]))


def test_bad_drawings() -> None:
    with pytest.raises(NetworkError, match="both ends"):
        Network.draw({"G": 0}, {"a": ("X", "X")})
    with pytest.raises(NetworkError, match="pinned"):
        Network.draw({}, {"a": ("X", "Y")})
    with pytest.raises(NetworkError, match="no node Q"):
        Network.draw({"G": 0}, {"a": ("G", "X")}).solve(np.array([[1]])).node("Q")


def test_cases_that_differ_only_where_no_current_flows_share_an_answer() -> None:
    """Each of many cases comes out as it does alone, whatever stands beside it."""
    network = Network.draw(
        {"G": 0, "L": 120}, {"a": ("L", "X"), "b": ("X", "G"), "switch": ("L", "Y"), "c": ("Y", "Z"), "d": ("Z", "W")}
    )
    cases = np.array([[1, 2, 0, 3, 0], [1, 2, 0, 5, 7], [1, 4, 0, 3, 0], [1, 2, 1, 3, 0], [1, 2, 0, 3, 0]])
    pins = np.array([[0, 120], [0, 120], [0, 120], [0, 120], [0, 60]], dtype=complex)
    together = network.solve(cases, pins)
    for row, (case, pin) in enumerate(zip(cases, pins, strict=True)):
        alone = network.solve(case[None, :], pin[None, :])
        assert together.volts[row] == pytest.approx(alone.volts[0], nan_ok=True)
        assert together.watts(["a", "c"])[row] == pytest.approx(alone.watts(["a", "c"])[0])
    assert together.node("X").real == pytest.approx([40, 40, 24, 40, 20])
    assert np.isnan(together.node("Z")).tolist() == [True, True, True, False, True]


def test_cases_that_are_alike_share_one_answer() -> None:
    """Solved together, alike or not, every case gives what it gives alone, whatever its sources."""
    network = Network.draw({"G": 0, "L": 120}, {"a": ("L", "x"), "b": ("x", "G")})
    cases = np.array([[1, 1], [1, 3], [1, 1], [0, 1], [1, 1]], dtype=complex)
    pins = np.array([[0, 120], [0, 120], [0, 240], [0, 120], [0, 120]], dtype=complex)
    together = network.solve(cases, pins).node("x")
    assert together == pytest.approx([60, 30, 120, 0, 60])
    alone = [network.solve(case[None], pin[None]).node("x")[0] for case, pin in zip(cases, pins, strict=True)]
    assert together == pytest.approx(alone)
