"""A logged oven: columns, units, clocks, cycles, and every way a log can be wrong."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.electrical.ovenlog import Sample, analyse, oven_log_verdicts, read_log, turning_points
from rules.terms import InputError


def cycling(middle: float = 350, swing: float = 20, cycles: int = 6, period: int = 600, step: int = 10) -> list[Sample]:
    """A heat-up with overshoot, then triangular cycles."""
    samples = [(float(clock), 70 + (middle + 2 * swing - 70) * clock / 900) for clock in range(0, 900, step)]
    for clock in range(0, cycles * period, step):
        share = (clock % period) / period
        samples.append((900.0 + clock, middle + swing * (abs(4 * share - 2) - 1)))
    return samples


def as_csv(samples: list[Sample], header: str = "time (s),temp (F)") -> str:
    return header + "\n" + "\n".join(f"{clock},{temp}" for clock, temp in samples) + "\n"


@given(middle=st.floats(250, 500), swing=st.floats(5, 40), cycles=st.integers(6, 9))
def test_middle_and_swing_of_any_cycle(middle: float, swing: float, cycles: int) -> None:
    log = analyse(cycling(middle, swing, cycles))
    assert log is not None
    assert log.middle_f == pytest.approx(middle, abs=0.05 * swing)
    assert log.swing_f == pytest.approx(swing, rel=0.05)
    assert log.mean_f == pytest.approx(middle, abs=0.1 * swing)
    assert log.period_s == pytest.approx(600, abs=11)
    assert log.lowest_f <= log.mean_f <= log.highest_f


@pytest.mark.parametrize(
    ("middle", "swing", "words"),
    [
        (350, 20, ["as expected", "as expected"]),
        (310, 20, ["low", "as expected"]),
        (390, 20, ["high", "as expected"]),
        (350, 45, ["as expected", "high"]),
    ],
)
def test_verdicts(middle: float, swing: float, words: list[str]) -> None:
    assert [verdict.verdict for verdict in oven_log_verdicts(cycling(middle, swing), 350)] == words


def test_too_few_cycles() -> None:
    [verdict] = oven_log_verdicts(cycling(cycles=3), 350)
    assert (verdict.verdict, verdict.value) == ("cannot tell", None)


def test_a_steady_oven_does_not_cycle() -> None:
    samples = [(float(clock), 351 + (clock // 30) % 2) for clock in range(0, 3600, 30)]
    average, swing = oven_log_verdicts(samples, 350)
    assert average.value == pytest.approx(1.5)
    assert "holds steady" in average.means
    assert (swing.verdict, swing.value) == ("as expected", pytest.approx(0.5))


@pytest.mark.parametrize(("seconds", "flicker", "verdicts"), [(1200, 3.9, 2), (1170, 3.9, 1)])
def test_how_long_an_oven_must_hold_to_count_as_steady(seconds: int, flicker: float, verdicts: int) -> None:
    samples = [(float(clock), 350 + flicker * ((clock // 30) % 2)) for clock in range(0, seconds + 1, 30)]
    assert len(oven_log_verdicts(samples, 350)) == verdicts
    assert len(oven_log_verdicts(samples[:2], 350)) == 1


def test_a_slow_drift_is_not_steady() -> None:
    drift = [(float(clock), 300 + clock / 100) for clock in range(0, 3600, 30)]
    assert oven_log_verdicts(drift, 350)[0].verdict == "cannot tell"


def test_flicker_is_no_cycle() -> None:
    flicker = [(clock, temp + (1.5 if place % 2 else -1.5)) for place, (clock, temp) in enumerate(cycling(step=30))]
    assert len(turning_points(flicker)) == len(turning_points(cycling(step=30)))


@pytest.mark.parametrize(
    ("header", "seconds", "fahrenheit"),
    [
        ("time (s),temp (F)", 1, True),
        ("Elapsed min,Oven temperature °F", 60, True),
        ("time_h,temp_c", 3600, False),
        ("seconds,celsius", 1, False),
        ("minutes;probe degC", 60, False),
        ("Time [s]\tT1 [F]", 1, True),
    ],
)
def test_headers(header: str, seconds: float, fahrenheit: bool) -> None:
    mark = next((mark for mark in ";\t" if mark in header), ",")
    samples = read_log(f"{header}\n1{mark}100\n2{mark}200\n")
    assert samples == [(seconds, 100 if fahrenheit else 212), (2 * seconds, 200 if fahrenheit else pytest.approx(392))]


def test_columns_in_any_place_and_order() -> None:
    assert read_log("id,min temp (F),note,time (min)\n7,300,x,1\n8,310,y,2\n") == [(60, 300), (120, 310)]


def test_units_given_from_outside() -> None:
    assert read_log("time,temp\n1,100\n2,101\n", "min", "C") == [(60, 212), (120, pytest.approx(213.8))]


def test_clock_times_may_pass_midnight() -> None:
    samples = read_log("clock,temp F\n23:59:50,300\n2026-01-02T00:00:05,301\n00:00:20,302\n")
    assert [round(clock - samples[0][0]) for clock, _ in samples] == [0, 15, 30]


def test_byte_order_mark_and_blank_lines() -> None:
    assert read_log("\ufefftime (s),temp (F)\r\n\r\n1,100\r\n,\r\n2,101\r\n") == [(1, 100), (2, 101)]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "is empty"),
        ("time (s),temp (F)\n", "is empty"),
        ("1,100\n2,101\n", "log line 1: names no time column"),
        ("time (s),level\n1,100\n", "names no temperature column"),
        ("time,temp (F)\n1,100\n", "names no unit; write 'time (s)'"),
        ("time (s),temp\n1,100\n", "names no unit; write 'temp (F)'"),
        ("time (s),temp (F)\n1,100\n2,OL\n", "log line 3: 'OL' is no temperature"),
        ("time (s),temp (F)\n1,100\n2,nan\n", "log line 3"),
        ("time (s),temp (F)\n1,100\n2\n", "log line 3: has too few columns"),
        ("time (s),temp (F)\n2,100\n1,101\n", "log line 3: is not later"),
        ("time (s),temp (F)\n1,100\n1,101\n", "log line 3: is not later"),
        ("time (s),temp (F)\n1,-500\n2,100\n", "below absolute zero"),
        ("time (s),temp (C)\n1,-300\n2,100\n", "below absolute zero"),
        ("clock,temp (F)\n10:00:00,300\nnoon,301\n", "log line 3: 'noon' is no clock time"),
        ("time (s),temp (F)\n1," + "9" * 200_000 + "\n", "log line 2: is not CSV"),
    ],
)
def test_logs_that_cannot_be_read(text: str, says: str) -> None:
    with pytest.raises(InputError) as caught:
        read_log(text)
    assert says in str(caught.value)


@given(text=st.text(max_size=200))
def test_any_text_gives_a_log_or_an_error(text: str) -> None:
    for head in ("", "time (s),temp (F)\n", "clock;temp C\n"):
        try:
            samples = read_log(head + text)
        except InputError:
            continue
        assert all(math.isfinite(clock) and math.isfinite(temp) for clock, temp in samples)
        oven_log_verdicts(samples, 350)


def test_set_temperature_that_is_none() -> None:
    with pytest.raises(InputError, match="set temperature"):
        oven_log_verdicts(cycling(), math.nan)
