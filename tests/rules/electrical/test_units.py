"""A technician's reading to a number: every way of writing that is read, and every one that is asked about."""

from __future__ import annotations

import math
import subprocess
import sys

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.electrical.units import WANTED, convert, parse_quantity
from rules.terms import InputError


@pytest.mark.parametrize(
    ("text", "unit", "number"),
    [
        ("121V", "V", 121),
        ("121 VAC", "V", 121),
        ("121 volts", "V", 121),
        ("0.5 mV", "V", 0.0005),
        ("1.08k", "ohm", 1080),
        ("1.08 kΩ", "ohm", 1080),
        ("1k08", "ohm", 1080),
        ("22.3 ohms", "ohm", 22.3),
        ("22R", "ohm", 22),
        ("2R2", "ohm", 2.2),
        ("20 meg", "ohm", 20e6),
        ("20M", "ohm", 20e6),
        ("2 megohms", "Mohm", 2),
        ("1,080 ohm", "ohm", 1080),
        ("50 milliohm", "ohm", 0.05),
        ("20 mohm", "mohm", 20),
        ("0.5 mV", "mV", 0.5),
        ("9.1 mVDC", "mV", 9.1),
        ("-0.3 mV", "mV", -0.3),
        ("350F", "degF", 350),
        ("350 °F", "degC", 176.6667),
        ("350ºF", "degF", 350),
        ("175 C", "degF", 347),
        ("300 K", "degC", 26.85),
        ("-10 C", "degF", 14),
        ("25 F", "delta_degF", 25),
        ("10 C", "delta_degF", 18),
        ("-25 F", "delta_degF", -25),
        ("4.7 mA", "mA", 4.7),
        ("4.7 MA", "mA", 4.7),
        ("0.0047 amps", "mA", 4.7),
        ("300 µA", "mA", 0.3),
        ("12 kW", "W", 12000),
        ("12 kW", "kW", 12),
        ("90 s", "min", 1.5),
        ("2 days", "day", 2),
        ("15 m", "ft", 49.2126),
        ("50'", "ft", 50),
        ("40 %", "percent", 40),
        ("about 22 ohms", "ohm", 22),
        ("1e3 ohm", "ohm", 1000),
    ],
)
def test_reads(text: str, unit: str, number: float) -> None:
    assert parse_quantity(text, unit, "reading") == pytest.approx(number, rel=1e-6)


@pytest.mark.parametrize(
    "text",
    [
        *("OL", "ol", "O.L.", "0L", "0.L", "O L", "OL Mohm", "OLM", "overload", "over limit"),
        *("open", "open line", "open circuit", "no continuity", "inf", "Infinity", "infinite ohms", "∞"),
        *(">20M", "> 20 Mohm", "more than 20 megohm"),
    ],
)
def test_open_line(text: str) -> None:
    assert parse_quantity(text, "ohm", "reading") == math.inf
    with pytest.raises(InputError, match="reading: "):
        parse_quantity(text, "V", "reading")


@pytest.mark.parametrize(
    ("text", "unit", "says"),
    [
        ("121", "V", "write '121 V'"),
        ("1080", "ohm", "write '1080 ohm' or '1080 kohm'"),
        ("350", "degF", "write '350 F' or '350 C'"),
        ("12 degrees", "degF", "write '12 F' or '12 C'"),
        ("12k", "W", "multiplier and no unit"),
        ("20m", "ohm", "milliohm or megaohm in full"),
        ("20 mohm", "ohm", "milliohm or megaohm in full"),
        ("20 mW", "W", "milliwatt or megawatt in full"),
        (">200 ohm", "ohm", "range was too low"),
        (">120V", "V", "a limit, not a reading"),
        ("1,08k", "ohm", "two ways"),
        ("1,080k", "ohm", "two ways"),
        ("-5 ohm", "ohm", "below zero, which no resistance is"),
        ("-120 V", "V", "without a sign"),
        ("-500 F", "degF", "below absolute zero"),
        ("-1 K", "degC", "below absolute zero"),
        ("22 ohm", "V", "is in ohms; write volts"),
        ("350 F", "ohm", "is in degrees F; write ohms"),
        ("25 delta_degF", "degF", "degrees F of difference"),
        ("120 VDC", "V", "DC range"),
        ("120 V DC", "V", "DC range"),
        ("nan", "ohm", "is not a reading"),
        ("", "V", "a reading is wanted"),
        ("continuity", "ohm", "is not a reading"),
        ("22/23 ohm", "ohm", "no unit known here"),
        ("5 bananas", "ohm", "no unit known here"),
        ("1e999 V", "V", "too large"),
        ("1e308 kW", "W", "too large"),
        ("9" * 70 + " V", "V", "a reading is wanted"),
        ("٣ ohm", "ohm", "is not a reading"),
    ],
)
def test_asks_instead_of_guessing(text: str, unit: str, says: str) -> None:
    with pytest.raises(InputError) as caught:
        parse_quantity(text, unit, "the field")
    assert [problem.field for problem in caught.value.problems] == ["the field"]
    assert says in str(caught.value)


def test_bare_number_only_where_it_is_allowed() -> None:
    assert parse_quantity("121", "V", "volts", bare_ok=True) == 121
    assert parse_quantity("0.12 kV", "V", "volts", bare_ok=True) == pytest.approx(120)


def test_a_temperature_is_not_a_difference() -> None:
    assert convert(25, "degF", "degC") == pytest.approx(-3.889, abs=1e-3)
    assert convert(25, "delta_degF", "delta_degC") == pytest.approx(13.889, abs=1e-3)
    with pytest.raises(InputError, match="temperature difference"):
        convert(25, "degF", "delta_degF")


@given(text=st.text(max_size=30), unit=st.sampled_from(sorted(WANTED)), bare_ok=st.booleans())
def test_any_text_gives_a_number_or_a_question(text: str, unit: str, bare_ok: bool) -> None:
    try:
        number = parse_quantity(text, unit, "reading", bare_ok)
    except InputError as error:
        assert error.problems[0].field == "reading"
    else:
        assert not math.isnan(number)
        assert math.isfinite(number) or WANTED[unit].kind == "ohms"


@given(
    number=st.floats(0, 1e6),
    written=st.sampled_from(
        ["", "k", "M", "V", "ohm", "Mohm", "F", "C", "mA", "kW", "min", "ft", "%", "OL", ">", ",", "e"]
    ),
    unit=st.sampled_from(sorted(WANTED)),
)
def test_any_number_and_unit_gives_a_number_or_a_question(number: float, written: str, unit: str) -> None:
    for text in (f"{number!r}{written}", f"{written}{number!r}", f"-{number!r} {written}"):
        try:
            assert not math.isnan(parse_quantity(text, unit, "reading"))
        except InputError as error:
            assert "write" in str(error) or "measure" in str(error)


@given(ohms=st.floats(0.01, 9e8))
def test_prefixes_agree(ohms: float) -> None:
    plain = parse_quantity(f"{ohms!r} ohm", "ohm", "r")
    assert parse_quantity(f"{ohms / 1e3!r} kohm", "ohm", "r") == pytest.approx(plain, rel=1e-12)
    assert parse_quantity(f"{ohms / 1e6!r}M", "ohm", "r") == pytest.approx(plain, rel=1e-12)


def test_pint_is_not_imported_until_it_is_needed() -> None:
    program = (
        "import sys, service.reading_cli as c; from rules.electrical.units import parse_quantity as p;"
        "p('121V', 'V', 'v'); assert 'pint' not in sys.modules; p('1 kV', 'V', 'v'); assert 'pint' in sys.modules"
    )
    assert subprocess.run([sys.executable, "-c", program], check=False, timeout=60).returncode == 0
