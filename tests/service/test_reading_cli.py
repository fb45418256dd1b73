"""``coldleg reading``: every subcommand prints its verdicts, writes JSON, and answers bad input with status 2."""

from __future__ import annotations

import json
from pathlib import Path

import click
import pytest
from click.testing import CliRunner, Result

from rules.electrical.verdict import WORDS
from service.reading_cli import reading

LOG = "time (s),temp (F)\n" + "".join(f"{10 * n},{350 + 20 * abs((n % 60) / 15 - 2) - 20}\n" for n in range(400))

# Arguments; the verdict words in order; what the text must say.
GOOD: list[tuple[list[str], list[str], str]] = [
    (
        ["supply", "--l1-n", "121", "--l2-n", "120V", "--l1-l2", "1.2V", "--loaded"],
        ["open", *["as expected"] * 2, "open"],
        "feeds",
    ),
    (["supply", "--l1-l2", "226", "--loaded", "--before-load", "243 V"], ["as expected", "high"], "lost on the way"),
    (
        ["supply", "--l1-l2", "207V", "--loaded", "--system", "208Y/120", "--n-g", "0.4V"],
        ["as expected"] * 2,
        "neutral holds",
    ),
    (["element", "--watts", "2585 W", "--ohms", "22.3 ohm"], ["as expected"], "2484 W"),
    (["element", "--watts", "2.585 kW", "--ohms", "OL"], ["open"], "OL"),
    (["element", "--watts", "2585W", "--volts", "120"], ["low"], "quarter of the heat"),
    (["element", "--watts", "2585W", "--volts", "238", "--amps", "10.6A"], ["as expected"], "current it should"),
    (["element", "--watts", "2400W"], ["cannot tell"], "24 ohm"),
    (["element", "--ohms", "23 ohm"], ["cannot tell"], "2408 W"),
    (["sheath", "--ohms", "OL"], ["as expected"], "hand meter"),
    (["sheath", "--ohms", "25k", "--test-volts", "500"], ["low"], "25 kohm"),
    (["sheath", "--ohms", "5.5R", "--other-end", "16.8R", "--element", "22.3R"], ["short", "short"], "24.66 %"),
    (["sensor", "--ohms", "1.08k", "--at", "70F"], ["as expected"], "1080 ohm"),
    (["sensor", "--ohms", "1.08k", "--at", "21 C", "--curve", "IEC 60751"], ["as expected"], "IEC 60751"),
    (["sensor", "--at", "350F"], ["cannot tell"], "1654 ohm"),
    (
        ["sensor", "--ohms", "1093R", "--at", "75F", "--second-ohms", "1672R", "--second-at", "350F"],
        ["as expected", "high"],
        "wrong kind",
    ),
    (["sensor", "--curve", "NTC", "--ohms-25c", "10k", "--beta", "3380", "--ohms", "OL"], ["open"], "great cold"),
    (["oven-error", "--set", "350F", "--series", "80 ohm"], ["low"], "310 F"),
    (["oven-error", "--set", "350F", "--shunt", "100k", "--fitted", "IEC 60751"], ["as expected"] * 2, "364 F"),
    (["oven-error", "--set", "177 C", "--average", "350F"], ["as expected"], "in series"),
    (["thermocouple", "--mv", "9.153 mV", "--cold-junction", "77F", "--expect", "482F"], ["as expected"], "class 2"),
    (["duty", "--on", "1 min", "--off", "0 s", "--setting", "lo"], ["high"], "welded"),
    (["drop", "--amps", "40", "--length", "50 ft", "--awg", "8"], ["as expected"], "3.11 V"),
    (["joint", "--amps", "29", "--ohms", "500 milliohm"], ["high"], "420 W"),
    (["joint", "--amps", "10", "--across", "90 mV"], ["as expected"], "9 milliohm"),
    (["breaker", "--breaker", "40", "--range", "12kW"], ["as expected"], "33.3 A"),
    (["breaker", "--breaker", "40", "--load", "30", "--tripped-after", "20 min"], ["low"], "weak breaker"),
    (["leakage", "--current", "4.7mA"], ["high"], "may trip"),
    (["leakage", "--current", "4.7mA", "--range", "12 kW"], ["as expected"], "5 mA"),
    (["leakage", "--ohms", "20k"], ["low", "high"], "5.6 s"),
    (["leakage", "--ohms", "0 ohm"], ["short"], "touches its sheath"),
    (["oven-log", "LOG", "--set", "350F"], ["as expected", "as expected"], "cycles of 600 s"),
    (
        ["preheat", "--set", "350F", "--bake", "2585W", "--broil", "1700W", "--took", "21 min"],
        ["high"],
        "without broil",
    ),
]

# Arguments; what the error must say.
BAD: list[tuple[list[str], str]] = [
    (["supply"], "write at least one of L1-N"),
    (["supply", "--l1-n", "OL"], "'--l1-n': 'OL' is an open line on an ohms range; write volts"),
    (["supply", "--l1-n", "120", "--before-load", "243"], "--l1-l2 is missing"),
    (["element"], "--watts is missing; write the rated watts"),
    (["element", "--watts", "2585"], "'--watts': the unit is missing in '2585'; write '2585 W'"),
    (["element", "--watts", "2585W", "--ohms", "-5 ohm"], "below zero, which no resistance is"),
    (["element", "--watts", "2585W", "--ohms", "22.3"], "write '22.3 ohm'"),
    (["element", "--watts", "2585W", "--amps", "10A"], "--volts is missing"),
    (["element", "--watts", "0W", "--ohms", "22R"], "rated watts: must be above zero"),
    (["sheath", "--ohms", "5R", "--element", "22R"], "--other-end is missing"),
    (["sheath", "--ohms", "5R", "--other-end", "5R", "--element", "22R"], "do not fit the element's own ohms"),
    (["sensor"], "--ohms is missing"),
    (["sensor", "--ohms", "1080"], "write '1080 ohm' or '1080 kohm'"),
    (["sensor", "--ohms", "1.08k", "--at", "70"], "write '70 F' or '70 C'"),
    (["sensor", "--ohms", "1.08k", "--at", "-500F"], "below absolute zero"),
    (["sensor", "--at", "2000F"], "off the 3750 curve"),
    (["sensor", "--ohms", "1.08k", "--at", "70F", "--second-ohms", "1.6k"], "--second-at is missing"),
    (["sensor", "--ohms", "1.08k", "--beta", "3380"], "belong to --curve NTC"),
    (["sensor", "--curve", "NTC", "--ohms", "10k"], "--ohms-25c is missing"),
    (["sensor", "--curve", "NTC", "--ohms", "10k", "--second-at", "90F"], "for the RTD curves"),
    (["oven-error", "--set", "350F"], "nothing to work from"),
    (["oven-error", "--set", "350F", "--average", "2000F"], "off the 3750 curve"),
    (["thermocouple", "--mv", "9", "--cold-junction", "77F"], "write '9 mV'"),
    (["thermocouple", "--mv", "900 mV", "--cold-junction", "77F"], "outside type K"),
    (["duty", "--on", "0 s", "--off", "0 s", "--setting", "LO"], "time at least one whole cycle"),
    (["duty", "--on", "5 s", "--off", "5 s", "--setting", "simmer"], "write one of LO, 2, MED"),
    (["drop", "--amps", "40", "--length", "50", "--awg", "8"], "write '50 ft' or '50 m'"),
    (["drop", "--amps", "40", "--length", "50ft", "--awg", "7"], "write one of 16, 14"),
    (["joint", "--amps", "29"], "either the volts across the joint or its ohms"),
    (["joint", "--amps", "29", "--ohms", "20 mohm"], "milliohm or megaohm"),
    (["breaker", "--breaker", "40"], "--range is missing"),
    (["breaker", "--breaker", "40", "--range", "40kW"], "write the plate's kW"),
    (["breaker", "--breaker", "40", "--range", "12kW", "--tripped-after", "5 min"], "--load is missing"),
    (["leakage"], "--current is missing"),
    (["leakage", "--current", "4.7"], "write '4.7 mA' or '4.7 A'"),
    (["preheat", "--set", "350", "--bake", "2585W"], "write '350 F' or '350 C'"),
    (["preheat", "--set", "30F", "--bake", "2585W"], "below the room's"),
]


def run(arguments: list[str], folder: Path) -> Result:
    if "LOG" in arguments:
        (folder / "oven.csv").write_text(LOG, encoding="utf-8")
        arguments = [str(folder / "oven.csv") if argument == "LOG" else argument for argument in arguments]
    return CliRunner().invoke(reading, arguments, prog_name="coldleg reading")


@pytest.mark.parametrize(
    ("arguments", "words", "says"), GOOD, ids=lambda value: " ".join(value) if isinstance(value, list) else ""
)
def test_judges(arguments: list[str], words: list[str], says: str, tmp_path: Path) -> None:
    text = run(arguments, tmp_path)
    assert (text.exit_code, text.stderr) == (0, "")
    assert says in " ".join(text.stdout.split())
    assert all(f"   {word.upper()}" in text.stdout for word in words)
    assert max(map(len, text.stdout.splitlines())) <= 110

    data = run([*arguments, "--json"], tmp_path)
    verdicts = json.loads(data.stdout)["verdicts"]
    assert [verdict["verdict"] for verdict in verdicts] == words
    assert set(words) <= set(WORDS)
    for verdict in verdicts:
        assert all(verdict[part] for part in ("what", "unit", "means", "formula", "source", "status"))


@pytest.mark.parametrize(
    ("arguments", "says"), BAD, ids=lambda value: " ".join(value) if isinstance(value, list) else ""
)
def test_bad_input_ends_with_status_2_and_says_what_to_write(arguments: list[str], says: str, tmp_path: Path) -> None:
    result = run(arguments, tmp_path)
    assert (result.exit_code, result.stdout) == (2, "")
    assert says in result.stderr
    assert "Traceback" not in result.stderr


def test_every_subcommand_is_tried_with_good_and_bad_input() -> None:
    assert isinstance(reading, click.Group)
    elsewhere = {"expect"}  # test_expect_cli.py
    assert {arguments[0] for arguments, _, _ in GOOD} == set(reading.commands) - elsewhere
    assert {arguments[0] for arguments, _ in BAD} == set(reading.commands) - elsewhere - {"oven-log"}


def test_a_basis_shared_by_several_verdicts_is_printed_once(tmp_path: Path) -> None:
    shown = run(["supply", "--l1-n", "120", "--l2-n", "120", "--loaded"], tmp_path).stdout
    assert shown.count("  formula  ") == shown.count("  source   ") == 1
    assert shown.count("  means    ") == 2


@pytest.mark.parametrize(
    ("content", "options", "says"),
    [
        (b"time,temp\n1,300\n2,301\n", [], "names no unit; write 'time (s)'"),
        (b"time (s),temp (F)\n1,300\n2,hot\n", [], "log line 3: 'hot' is no temperature"),
        (b"\xff\xfe\x00", [], "plain UTF-8 CSV"),
        (b"", ["--time-unit", "s"], "is empty"),
    ],
)
def test_logs_that_cannot_be_read(content: bytes, options: list[str], says: str, tmp_path: Path) -> None:
    file = tmp_path / "oven.csv"
    file.write_bytes(content)
    result = run(["oven-log", str(file), "--set", "350F", *options], tmp_path)
    assert result.exit_code == 2
    assert says in result.stderr


def test_log_units_may_be_given(tmp_path: Path) -> None:
    file = tmp_path / "oven.csv"
    file.write_text(LOG.replace("time (s),temp (F)", "time,temp"), encoding="utf-8")
    result = run(["oven-log", str(file), "--set", "350F", "--time-unit", "s", "--temp-unit", "F", "--json"], tmp_path)
    assert json.loads(result.stdout)["verdicts"][0]["value"] == pytest.approx(0, abs=1)


def test_a_log_that_is_not_there(tmp_path: Path) -> None:
    assert run(["oven-log", str(tmp_path / "none.csv"), "--set", "350F"], tmp_path).exit_code == 2


def test_large_logs_are_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("service.reading_cli.MOST_LOG_BYTES", 1000)
    assert "log every few seconds" in run(["oven-log", "LOG", "--set", "350F"], tmp_path).stderr


def test_help_names_every_subcommand(tmp_path: Path) -> None:
    shown = run(["--help"], tmp_path).stdout
    assert all(name in shown for name in reading.commands)  # type: ignore[attr-defined]
