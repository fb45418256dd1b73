"""What machines show, remembered between runs, and never believed blindly."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from rules import Expert
from rules.appliance import remembering
from rules.belief import signatures
from rules.belief.signatures import Signatures, build


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv(remembering.VARIABLE, str(tmp_path / "kept"))
    return tmp_path / "kept"


@pytest.fixture
def solved(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Appliances that were simulated."""
    asked: list[str] = []
    observe = signatures.observe_machines

    def counted(wiring, rows, facts):  # type: ignore[no-untyped-def]
        asked.append(wiring.appliance.appliance)
        return observe(wiring, rows, facts)

    monkeypatch.setattr(signatures, "observe_machines", counted)
    return asked


def cooktop(expert: Expert, **changed: object) -> Signatures:
    return build(expert.book, replace(expert.book.appliances["radiant_cooktop"], **changed))  # type: ignore[arg-type]


def same(one: Signatures, other: Signatures) -> bool:
    return one.stack.spans == other.stack.spans and np.array_equal(one.stack.true, other.stack.true)


def test_the_second_time_nothing_is_simulated(expert: Expert, folder: Path, solved: list[str]) -> None:
    first, second = cooktop(expert), cooktop(expert)
    assert same(first, second)
    assert solved == ["radiant_cooktop"]
    assert len(list(folder.iterdir())) == 1


def test_another_appliance_or_vocabulary_is_another_question(expert: Expert, folder: Path, solved: list[str]) -> None:
    cooktop(expert)
    cooktop(expert, supply="208Y/120")
    term = expert.book.facts["surface.heat"]
    facts = {**expert.book.facts, "surface.heat": replace(term, values=dict(reversed(term.values.items())))}
    other = build(replace(expert.book, facts=facts), expert.book.appliances["radiant_cooktop"])
    assert other.stack.words["surface.heat"] == tuple(reversed(term.values))
    assert len(solved) == 3


def cut(content: bytes) -> bytes:
    return content[: len(content) // 2]


def flipped(content: bytes) -> bytes:
    return content[:-1] + bytes([content[-1] ^ 1])


def resealed(content: bytes) -> bytes:
    """Nonsense under a checksum that holds."""
    return hashlib.sha256(b"nonsense").digest() + b"nonsense"


@pytest.mark.parametrize("spoil", [cut, flipped, resealed, lambda _: b""])
def test_a_spoilt_file_is_worked_out_anew(
    expert: Expert, folder: Path, solved: list[str], spoil: Callable[[bytes], bytes]
) -> None:
    first = cooktop(expert)
    (path,) = folder.iterdir()
    whole = path.read_bytes()
    path.write_bytes(spoil(whole))
    assert same(cooktop(expert), first)
    assert len(solved) == 2
    assert path.read_bytes()[:32] == hashlib.sha256(path.read_bytes()[32:]).digest()


def test_a_file_others_may_write_is_not_believed(expert: Expert, folder: Path, solved: list[str]) -> None:
    cooktop(expert)
    (path,) = folder.iterdir()
    path.chmod(0o666)
    cooktop(expert)
    assert len(solved) == 2


def test_a_folder_that_cannot_be_made_does_no_harm(
    expert: Expert, tmp_path: Path, solved: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "file").write_text("in the way")
    monkeypatch.setenv(remembering.VARIABLE, str(tmp_path / "file"))
    assert same(cooktop(expert), cooktop(expert))
    assert len(solved) == 2


def test_the_oldest_go(folder: Path) -> None:
    folder.mkdir()
    for number in range(remembering.MOST_FILES + 5):
        (folder / f"{number}{remembering.SUFFIX}").touch()
    remembering._tidy(folder)
    assert len(list(folder.iterdir())) == remembering.MOST_FILES


def test_where_files_are_kept(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv(remembering.VARIABLE, "OFF")
    assert remembering.cache_folder() is None
    monkeypatch.delenv(remembering.VARIABLE)
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    assert remembering.cache_folder() == tmp_path / "coldleg"
    monkeypatch.delenv("XDG_CACHE_HOME")
    monkeypatch.setenv("HOME", str(tmp_path))
    assert remembering.cache_folder() == tmp_path / ".cache" / "coldleg"
