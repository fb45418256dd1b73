"""What the README and the examples tell an integrator is run against a real server."""

from __future__ import annotations

import configparser
import importlib.util
import re
import subprocess
from types import ModuleType
from typing import Any

import pytest

from service.client import Client
from tests.service.http.conftest import ROOT
from tests.service.running import Running
from tests.test_docs import README

EXAMPLES = ROOT / "openapi" / "examples"
HERE = "http://127.0.0.1:8017"


def test_curl(service: Running) -> None:
    lines = [line for line in README.splitlines() if "curl -s" in line and line.endswith(("'", "@-", "readyz"))]
    assert len(lines) >= 6
    [opens] = [line for line in README.splitlines() if line.startswith("case=$(curl")]
    for line in lines:
        command = (f"{opens}\n{line}" if "$case" in line else line).replace(HERE, service.address)
        done = subprocess.run(["bash", "-c", command], capture_output=True, text=True, check=True)
        assert done.stdout.startswith("{"), line
        assert "/problems/" not in done.stdout


def test_python(service: Running, capsys: pytest.CaptureFixture[str]) -> None:
    blocks = re.findall(r"^```python\n(.*?)^```", README, re.MULTILINE | re.DOTALL)
    assert blocks
    for block in blocks:
        exec(compile(block.replace(HERE, service.address), "README.md", "exec"), {})
    assert "'end': True" in capsys.readouterr().out


@pytest.fixture(scope="module")
def dispatch() -> ModuleType:
    spec = importlib.util.spec_from_file_location("dispatch", EXAMPLES / "dispatch.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_the_dispatch_recipe(service: Running, dispatch: Any) -> None:
    with Client(service.address) as coldleg:
        ticket = dispatch.attach(coldleg, {"number": "T-1", "note": "sparks from the oven"})
        assert ticket["triage"]["say_now"]
        assert ticket["triage"]["send"] == "appliance_technician"
        closed = dispatch.outcome(ticket, fault="oven.bake_element_grounded", parts=["bake_element"])
        assert closed["outcome"]["decision_id"] == ticket["triage"]["decision_id"]
        assert "note" in dispatch.attach(coldleg, {"number": "T-2", "note": ""})["triage_failed"]
    with Client("http://127.0.0.1:1", tries_again=0) as nobody:
        assert "later" in dispatch.attach(nobody, {"number": "T-3", "note": "oven is dead"})["triage_failed"]


def test_the_unit_and_the_container_start_what_exists() -> None:
    from service.cli import main

    unit = configparser.RawConfigParser(strict=False)
    unit.optionxform = str  # type: ignore[assignment,method-assign]
    unit.read(EXAMPLES / "coldleg.service")
    words = unit["Service"]["ExecStart"].split()
    container = (EXAMPLES / "Containerfile").read_text()
    words += re.findall(r'"([^"]+)"', re.findall(r"^CMD (.*)$", container, re.MULTILINE)[0])
    known = {option for parameter in main.commands["serve"].params for option in parameter.opts}
    assert {word for word in words if word.startswith("--")} <= known
    assert words.count("serve") == 2
