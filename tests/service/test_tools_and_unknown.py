"""Tools at hand and answers nobody could give, over the command line and HTTP."""

from __future__ import annotations

import json

import pytest
from click.testing import CliRunner

from rules import Expert
from service.app import create_app
from service.cli import main

KNOWN = ["oven.bake.heat=none", "display=lit", "dead_check=proved"]


def test_the_same_answer_both_ways(expert: Expert) -> None:
    words = [
        "triage",
        "--role",
        "technician",
        "--json",
        "--explain",
        "--tool",
        "ohmmeter",
        "--fact",
        "ohms.bake=unknown",
    ]
    for fact in KNOWN:
        words += ["--fact", fact]
    typed = json.loads(CliRunner().invoke(main, words).stdout)
    facts = [{"fact": fact.split("=")[0], "value": fact.split("=")[1]} for fact in KNOWN]
    facts.append({"fact": "ohms.bake", "value": "don't know"})
    body = {"facts": facts, "role": "technician", "tools": ["ohmmeter"], "explain": "full"}
    sent = create_app(expert).test_client().post("/v1/triage", json=body).get_json()
    assert {**sent, "decision_id": "", "nearly": []} == {**typed, "decision_id": "", "nearly": []}
    unknown = next(fact for fact in typed["understood"] if fact["fact"] == "ohms.bake")
    assert (unknown["value"], unknown["unit"]) == ("unknown", "ohm")
    assert "ohms_bake" not in {test["test"] for test in typed["next_tests"]}
    assert {tool for test in typed["next_tests"] for tool in test["tools"]} == {"ohmmeter"}


def test_the_screen_says_that_it_is_not_known() -> None:
    result = CliRunner().invoke(main, ["triage", "oven cold", "--fact", "symbols=unknown"])
    assert "not known" in result.stdout
    assert result.exit_code == 0


@pytest.mark.parametrize(
    ("tools", "pointer"), [("ohmmeter", "/tools"), ([7], "/tools"), (["ohmmeter", "hammer"], "/tools/1")]
)
def test_tools_that_cannot_be_used(expert: Expert, tools: object, pointer: str) -> None:
    answer = create_app(expert).test_client().post("/v1/triage", json={"note": "oven cold", "tools": tools})
    assert answer.status_code == 422
    assert pointer in [error["pointer"] for error in answer.get_json()["errors"]]
    typed = CliRunner().invoke(main, ["triage", "oven cold", "--tool", "hammer"])
    assert (typed.exit_code, typed.stdout) == (2, "")
    assert "no test needs 'hammer'" in typed.stderr
