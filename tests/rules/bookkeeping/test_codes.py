"""The shop's table of codes: read tolerantly, refused with file, line and field where it is wrong."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from rules import Expert
from rules.bookkeeping.codes import group_of, plain
from rules.bookkeeping.loading import BOOK_FOLDER, load_book
from rules.enquiry import fact_from_mapping, fact_from_text
from rules.terms import BookError, InputError

TABLE = '- {code: "A-1", group: sensor, says: one}\n- {code: "B 20", group: door_lock, says: two}\n'


def with_table(folder: Path, text: str) -> Path:
    book = folder / "book"
    shutil.copytree(BOOK_FOLDER, book)
    (book / "codes.yaml").write_text(text, encoding="utf-8")
    return book


def problems(folder: Path, text: str) -> list[str]:
    with pytest.raises(BookError) as caught:
        load_book(with_table(folder, text))
    return caught.value.problems


@pytest.mark.parametrize("text", ["ZS-11", "zs11", " Zs 1-1 ", "zs\u201311", "ZS.11", "zs_11", "Z S 1 1"])
def test_a_code_however_it_is_written(expert: Expert, text: str) -> None:
    assert group_of(text, expert.book.facts["error_code"].codes) == "sensor"
    assert fact_from_text(f"error_code={text}", expert.book.facts, "caller").value == "sensor"


def test_every_shipped_code_gives_its_group(expert: Expert) -> None:
    term = expert.book.facts["error_code"]
    assert {code.group for code in expert.book.codes.values()} == set(term.values) - {"none"}
    for code in expert.book.codes.values():
        given = {"fact": "error_code", "value": code.code.lower()}
        assert fact_from_mapping(given, expert.book.facts, "caller", field="facts/0").value == code.group


def test_a_group_is_taken_as_well(expert: Expert) -> None:
    assert fact_from_text("error_code=door_lock", expert.book.facts, "caller").value == "door_lock"
    assert fact_from_text("error_code=none", expert.book.facts, "caller").value == "none"


@pytest.mark.parametrize("value", ["ZS-13", "", 99, True, None, ["ZS-11"], {"code": "ZS-11"}, 1.5])
def test_an_unknown_code_is_refused_with_those_there_are(expert: Expert, value: object) -> None:
    with pytest.raises(InputError) as caught:
        given = {"fact": "error_code", "value": value}
        fact_from_mapping(given, expert.book.facts, "caller", field="facts/0")
    (problem,) = caught.value.problems
    assert problem.field == "facts/0/value"
    assert "ZS-11" in problem.message
    assert "group: none, sensor" in problem.message


def test_a_near_miss_is_named(expert: Expert) -> None:
    with pytest.raises(InputError, match="did you mean 'ZS-12'"):
        fact_from_text("error_code=zs-13", expert.book.facts, "caller")


def test_a_code_takes_no_unit(expert: Expert) -> None:
    with pytest.raises(InputError, match="leave unit out"):
        given = {"fact": "error_code", "value": "ZS-11", "unit": "V"}
        fact_from_mapping(given, expert.book.facts, "caller", field="facts/0")


def test_the_shop_s_own_table_takes_the_example_s_place(tmp_path: Path) -> None:
    book = load_book(with_table(tmp_path, TABLE))
    assert fact_from_text("error_code=b20", book.facts, "caller").value == "door_lock"
    with pytest.raises(InputError):
        fact_from_text("error_code=ZS-11", book.facts, "caller")
    assert book.version != load_book().version


def test_a_shop_without_codes_says_groups(tmp_path: Path) -> None:
    book = load_book(with_table(tmp_path, "[]\n"))
    assert fact_from_text("error_code=sensor", book.facts, "caller").value == "sensor"
    with pytest.raises(InputError, match="write one of none, sensor"):
        fact_from_text("error_code=ZS-11", book.facts, "caller")


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (TABLE + '- {code: "a1", group: sensor, says: again}\n', "codes.yaml:3: code: a1 is already in codes.yaml:1"),
        (TABLE + '- {code: "A-1", group: sensor, says: again}\n', "codes.yaml:3: code: A-1 is already in codes.yaml:1"),
        (
            TABLE + '- {code: "C3", group: sensr, says: x}\n',
            "codes.yaml:3: group: no group 'sensr'; did you mean 'sensor'",
        ),
        (TABLE + '- {code: "C3", group: none, says: x}\n', "codes.yaml:3: group: no group 'none'"),
        (TABLE + "- {code: 010, group: sensor, says: x}\n", "codes.yaml:3: code: put the code in quotes"),
        (TABLE + '- {code: "--", group: sensor, says: x}\n', "codes.yaml:3: code: '--' is no code"),
        (
            TABLE + '- {code: "Door Lock", group: sensor, says: x}\n',
            "codes.yaml:3: code: Door Lock is the name of a group",
        ),
        (TABLE + '- {code: "C3", group: sensor}\n', "codes.yaml:3: says: missing"),
        (TABLE + '- {code: "C3", group: sensor, says: x, means: y}\n', "codes.yaml:3: means: no such field here"),
        ("code: C3\n", "codes.yaml:1: (file): write a list of records"),
    ],
)
def test_a_wrong_table_is_refused(tmp_path: Path, text: str, said: str) -> None:
    found = problems(tmp_path, text)
    assert any(line.startswith(said) for line in found), found


def test_plain_text_keeps_letters_and_figures_only() -> None:
    assert plain("Zs \u2011 1.1_x") == "zs11x"
