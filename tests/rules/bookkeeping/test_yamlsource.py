"""YAML with lines."""

from __future__ import annotations

import pytest

from rules.bookkeeping.yamlsource import nearest, parse
from rules.terms import BookError


def test_lines_and_words() -> None:
    source = parse("a.yaml", "- name: x\n  is: on\n  no: yes\n- name: y\n  flag: true\n")
    assert source.data == [{"name": "x", "is": "on", "no": "yes"}, {"name": "y", "flag": True}]
    assert source.line_of((0, "is")) == 2
    assert source.line_of((1, "flag")) == 5
    assert source.line_of((1, "missing", 3)) == 4
    assert source.problem((0, "is"), "wrong") == "a.yaml:2: is: wrong"


def test_tags_are_not_obeyed() -> None:
    with pytest.raises(BookError, match="not valid YAML"):
        parse("a.yaml", "- !!python/object/apply:os.system [ls]\n")


def test_nearest() -> None:
    assert nearest("disply", ["display", "breaker"]) == "; did you mean 'display'?"
    assert nearest("zzz", ["display"]) == ""
