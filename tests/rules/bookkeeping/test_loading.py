"""A broken book is refused with file, line, field and what to write instead."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from rules.bookkeeping.loading import BOOK_FOLDER, load_appliance, load_book
from rules.bookkeeping.yamlsource import parse
from rules.terms import BookError

Breaker = Callable[[str, str, str], list[str]]


@pytest.fixture
def broken(tmp_path: Path) -> Breaker:
    """Change one thing in a copy of the book and return its problems."""

    def change(file: str, old: str, new: str) -> list[str]:
        folder = tmp_path / "book"
        shutil.copytree(BOOK_FOLDER, folder)
        path = folder / file
        text = path.read_text(encoding="utf-8")
        assert old in text
        path.write_text(text.replace(old, new, 1), encoding="utf-8")
        with pytest.raises(BookError) as caught:
            load_book(folder)
        return caught.value.problems

    return change


def line_of(file: str, text: str) -> int:
    """The line of a text in the book as it stands."""
    return (BOOK_FOLDER / file).read_text(encoding="utf-8").partition(text)[0].count("\n") + 1


def test_version_is_the_content_s(tmp_path: Path) -> None:
    folder = tmp_path / "book"
    shutil.copytree(BOOK_FOLDER, folder)
    assert load_book(folder).version == load_book().version
    (folder / "parts.yaml").write_text((folder / "parts.yaml").read_text() + "# a remark\n")
    assert load_book(folder).version != load_book().version


@pytest.mark.parametrize(
    ("file", "old", "new", "field", "says"),
    [
        ("facts/supply.yaml", "kind: choice", "kind: chioce", "kind", "choice"),
        ("facts/supply.yaml", "  usual: lit", "  usual: lti", "usual", "lit, dim"),
        ("facts/supply.yaml", "told_by: caller", "toldby: caller", "toldby", "told_by"),
        ("facts/supply.yaml", "  yes: lit", "  yes: on", "yes", "lit, dim"),
        ("facts/supply.yaml", "  no: dark", "  no: lit", "no", "a value of its own"),
        ("facts/supply.yaml", "    dim: [faint, weak]", "    dimm: [faint, weak]", "dimm", "lit, dim"),
        ("facts/supply.yaml", "    dim: [faint, weak]", "    dim: [faint, blank]", "dim", "stands for dark already"),
        ("facts/supply.yaml", "recall: Before it was switched off, was", "recall: Turn it on. #", "recall", "question"),
        ("trade/supply.yaml", "{fact: display, is: lit}", "{fact: disply, is: lit}", "fact", "'display'"),
        ("trade/supply.yaml", "{fact: display, is: lit}", "{fact: display, is: bright}", "is", "lit, dim"),
        ("trade/supply.yaml", "[supply.leg_l2_open,", "[supply.leg_l3_open,", "points_to", "supply.leg_l"),
        ("trade/supply.yaml", "where: every_tried", "where: everywhere", "where", "every_tried"),
        ("trade/supply.yaml", "between: L1-L2, while: loaded", "between: L1-L3, while: loaded", "between", "L1-L2"),
        ("trade/supply.yaml", "factor: 4", "factor: 4000", "factor", "100"),
        (
            "trade/supply.yaml",
            "- {display: lit, surface.heat@left_front: none, s",
            "- {display: on, s",
            "display",
            "lit",
        ),
        (
            "trade/oven.yaml",
            "{fact: ohms.bake, is: open, by: technician}",
            "{fact: ohms.bake, is: open}",
            "establishes",
            "by: technician",
        ),
        ("trade/permissions.yaml", "hot_contact,", "hot_contakt,", "allow", "'hot_contact'"),
        ("trade/codes.yaml", "ask: [ask_which_code]", "ask: [ask_wich_code]", "ask", "'ask_which_code'"),
        ("trade/codes.yaml", "ask: [ask_which_code]", "ask: [ask_burner_heat]", "ask", "whole appliance"),
        ("faults/oven.yaml", "parts: [bake_element]", "parts: [bake_elment]", "parts", "'bake_element'"),
        ("faults/oven.yaml", "hazard.sparks: {yes: 0.05}", "hazard.sparks: {maybe: 0.05}", "sparks", "yes"),
        ("faults/oven.yaml", "minutes: [15, 30]", "minutes: [30, 15]", "minutes", "smaller"),
        ("faults/oven.yaml", "weight: 5", "weight: heavy", "weight", "number"),
        ("tests/questions.yaml", "reads: display,", "reads: displai,", "reads", "'display'"),
        ("tests/measurements.yaml", "setup: open_back", "setup: open_bak", "setup", "'open_back'"),
        ("appliances.yaml", "cooktop: radiant", "cooktop: ceramic", "cooktop", "coil, radiant, none"),
        ("cautions.yaml", "signal: DANGER", "signal: PERIL", "signal", "WARNING"),
        (
            "facts/readings.yaml",
            "values: {open: open, closed: closed}",
            "values: {unknown: open, closed: closed}",
            "",
            "nobody",
        ),
        ("pairs.yaml", "factor: 3", "factor: 0.3", "factor", "1"),
        ("pairs.yaml", "[oven.bake_element_open,", "[oven.bake_elment_open,", "faults", "'oven.bake_element_open'"),
        ("pairs.yaml", "[oven.bake_element_open,", "[oven.broil_element_open,", "faults", "two faults"),
        ("pairs.yaml", "[oven.bake_element_open, oven.broil_element_open]", "[oven.lamp_dead]", "faults", "two"),
        ("vans.yaml", "space: 160", "space: 0", "space", "greater"),
        ("parts.yaml", "value: 30", "value: -1", "value", "0"),
        ("tests/questions.yaml", "minutes: 0.5, dont_know", "error: 0.5, minutes: 0.5, dont_know", "error", "0.45"),
    ],
)
def test_a_wrong_entry_is_named(broken: Breaker, file: str, old: str, new: str, field: str, says: str) -> None:
    problems = broken(file, old, new)
    match = [p for p in problems if p.startswith(f"{file}:") and field in p and says in p]
    assert match, problems
    line = int(match[0].split(":")[1])
    assert abs(line - line_of(file, old)) <= 1


def test_a_repeated_name_is_refused(broken: Breaker) -> None:
    problems = broken("parts.yaml", "- {part: cord_set, title", "- {part: terminal_block, title")
    assert any("parts.yaml:4: part: terminal_block is already in parts.yaml:3" in problem for problem in problems)


def test_a_repeated_key_is_refused(broken: Breaker) -> None:
    problems = broken("parts.yaml", "title: range cord", "title: range cord, title: cord")
    assert problems == ["parts.yaml:4: title: written twice; keep one"]


def test_yaml_that_is_none_is_refused_with_its_line(broken: Breaker) -> None:
    problems = broken("parts.yaml", "- {part: cord_set, title: range cord,", "- {part: cord_set, title: [,")
    assert problems
    assert problems[0].startswith("parts.yaml:4: (file): not valid YAML")


def test_an_effect_the_circuit_does_not_have_is_refused(tmp_path: Path) -> None:
    from rules import open_book

    folder = tmp_path / "book"
    shutil.copytree(BOOK_FOLDER, folder)
    path = folder / "faults" / "oven.yaml"
    path.write_text(path.read_text().replace("part: bake_element, mode: open", "part: bake_elements, mode: open"))
    with pytest.raises(BookError) as caught:
        open_book(folder)
    assert any("faults/oven.yaml:2" in p and "'bake_element'" in p for p in caught.value.problems)


def test_a_missing_file_and_a_missing_folder(tmp_path: Path) -> None:
    folder = tmp_path / "book"
    shutil.copytree(BOOK_FOLDER, folder)
    shutil.rmtree(folder / "facts")
    with pytest.raises(BookError, match=r"facts/\*.yaml:1: \(file\): missing"):
        load_book(folder)
    with pytest.raises(BookError, match="no such folder"):
        load_book(tmp_path / "nowhere")


def test_bytes_that_are_no_text(tmp_path: Path) -> None:
    folder = tmp_path / "book"
    shutil.copytree(BOOK_FOLDER, folder)
    (folder / "parts.yaml").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(BookError, match="cannot be read as UTF-8"):
        load_book(folder)


def test_an_own_appliance_starts_from_one_of_the_book() -> None:
    book = load_book()
    own = load_appliance(parse("own.yaml", "based_on: coil_range\nsupply: 208Y/120\n"), book)
    assert (own.cooktop, own.supply) == ("coil", "208Y/120")
    with pytest.raises(BookError, match=r"own.yaml:2: cooktop: write one of coil, radiant, none"):
        load_appliance(parse("own.yaml", "based_on: coil_range\ncooktop: gas\n"), book)
    with pytest.raises(BookError, match="no appliance 'coal_range'"):
        load_appliance(parse("own.yaml", "based_on: coal_range\n"), book)
