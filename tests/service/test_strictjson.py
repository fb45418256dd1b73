"""JSON taken to the letter; Python's own reader is the oracle for what it and we agree on."""

from __future__ import annotations

import json
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.strictjson import DEEPEST, NotJsonError, parse

PLAIN = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(10**39), 10**39)
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(st.characters(exclude_categories=("Cs",))),
    lambda inner: (
        st.lists(inner, max_size=5)
        | st.dictionaries(st.text(st.characters(exclude_categories=("Cs",))), inner, max_size=5)
    ),
    max_leaves=30,
)


@given(PLAIN, st.booleans())
@settings(max_examples=80)
def test_what_python_writes_is_read_back(value: Any, escaped: bool) -> None:
    raw = json.dumps(value, ensure_ascii=escaped).encode()
    try:
        assert parse(raw) == value
    except NotJsonError as error:
        assert "nested" in str(error)


@given(st.binary(max_size=60) | st.text(max_size=60).map(lambda text: text.encode("utf-8", "surrogatepass")))
@settings(max_examples=300)
def test_any_bytes_are_read_or_refused(raw: bytes) -> None:
    try:
        value = parse(raw)
    except NotJsonError as error:
        assert str(error)
    else:
        assert value == json.loads(raw.removeprefix(b"\xef\xbb\xbf"))


@pytest.mark.parametrize(
    ("raw", "said"),
    [
        (b'{"a":1,"a":2}', "'a' stands twice"),
        (b'{"x":{"a":1,"b":2,"a":3}}', "'a' stands twice"),
        (b"NaN", "NaN"),
        (b"[-Infinity]", "Infinity"),
        (b"1e400", "beyond every number"),
        (b"-1e400", "beyond every number"),
        (b"1" * 41, "41 digits"),
        (b"\xff", "byte 0 is not UTF-8"),
        ('{"a":"é"}'.encode("latin-1"), "byte 6 is not UTF-8"),
        (b'"\\ud800"', "surrogate"),
        (b'"\\udc00\\ud800"', "surrogate"),
        (b'{"\\ud800":1}', "surrogate"),
        (b"[" * (DEEPEST + 1) + b"]" * (DEEPEST + 1), "nested"),
        (b"[" * 200_000, "nested"),
        (b'{"a":' * 100_000, "nested"),
        (b'{"a":1,}', "line 1, column"),
        (b'{"a":\n}', "line 2, column"),
        (b"", "line 1, column 1"),
        (b'{"a":1}{"a":1}', "Extra data"),
        (b'"a\nb"', "control character"),
        (b"\xef\xbb\xbf\xef\xbb\xbf{}", "line 1, column 1"),
    ],
)
def test_refused(raw: bytes, said: str) -> None:
    with pytest.raises(NotJsonError, match=said):
        parse(raw)


def test_read() -> None:
    assert parse(b'\xef\xbb\xbf{"a": 1}') == {"a": 1}
    assert parse(b'"\\ud83d\\udd25"') == "\U0001f525"
    assert parse(b'"' + b"[" * 5000 + b'"') == "[" * 5000
    assert parse(b'["\\\\", "\\"[[["]') == ["\\", '"[[[']
    assert parse(b"[" * DEEPEST + b"]" * DEEPEST) is not None
    assert parse(b'[{"a":[]},' * 1 + b"[]," * 200 + b"1]")[-1] == 1
    assert parse(b"1" * 40) == int("1" * 40)
