"""``coldleg faults``: the catalogue with filters, and one fault drawn."""

from __future__ import annotations

import pytest
from click.testing import CliRunner, Result

from rules import Expert
from service.faults_cli import faults_group
from service.opening import opened


@pytest.fixture(autouse=True)
def opened_once(expert: Expert, monkeypatch: pytest.MonkeyPatch) -> None:
    """The shipped book is open already; another one is opened as ever."""
    monkeypatch.setattr("service.faults_cli.opened", lambda book: expert if book is None else opened(book))


def run(*arguments: str) -> Result:
    return CliRunner().invoke(faults_group, list(arguments))


def listed(*arguments: str) -> set[str]:
    done = run(*arguments)
    assert done.exit_code == 0, done.output
    heading, *rows = done.stdout.splitlines()
    assert heading.split() == ["fault", "title", "weight", "skill", "urgency", "minutes"]
    return {row.split()[0] for row in rows}


def test_the_list_and_its_filters(expert: Expert) -> None:
    faults = expert.book.faults
    oven = expert.book.appliances["wall_oven"]
    assert listed() == set(faults)
    assert listed("--component", "supply") == {name for name in faults if name.startswith("supply.")}
    assert listed("--skill", "customer") == {f.fault for f in faults.values() if f.skill == "customer"}
    assert listed("--urgency", "now") == {f.fault for f in faults.values() if f.urgency == "now"}
    assert listed("--appliance", "wall_oven") == {f.fault for f in faults.values() if f.exists_on(oven)}
    both = listed("--component", "supply", "--skill", "electrician")
    assert both == {f.fault for f in faults.values() if f.fault.startswith("supply.") and f.skill == "electrician"}


def test_show_draws_a_fault() -> None:
    done = run("show", "supply.leg_l2_open")
    assert done.exit_code == 0
    assert "heat of a surface unit on its highest setting (every unit): none; usual is normal" in done.output
    assert "(L1-L2; an element on): dead; usual is norm" in done.output
    for label in ("To a caller", "On a meter, power off", "Parts ", "Who ", "Tell ", "Rules ", "Tests that tell it"):
        assert f"\n{label}" in done.output


def test_show_at_a_unit_of_an_appliance() -> None:
    done = run("show", "surface.element_open", "--where", "right_rear", "--appliance", "coil_range")
    assert done.output.startswith("surface.element_open, right rear: ")
    assert "(right rear): open; usual is right" in done.output


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("show", "supply.leg_l2_opn"), "did you mean 'supply.leg_l2_open'"),
        (("show", "surface.element_open", "--where", "middle"), "write one of left_front"),
        (("show", "surface.element_open", "--appliance", "wall_oven"), "cannot have"),
        (("show", "surface.element_open", "--appliance", "toaster"), "neither a file nor one of"),
        (("--component", "ovn"), "did you mean 'oven'"),
        (("--appliance", "toaster"), "neither a file nor one of"),
        (("--component", "oven", "show", "oven.lamp_dead"), "filters belong to the list"),
    ],
)
def test_wrong_names_end_with_2(arguments: tuple[str, ...], told: str) -> None:
    done = run(*arguments)
    assert done.exit_code == 2
    assert told in done.output
