"""Shared by all tests: the open book, made once."""

from __future__ import annotations

import os

import pytest

from rules import Enquiry, Expert, open_book, triage
from rules.answer import Triage
from rules.enquiry import fact_from_text
from rules.terms import Role

os.environ["COLDLEG_CACHE"] = "off"  # what is tested is worked out, here and in every process that a test starts


@pytest.fixture(scope="session")
def expert() -> Expert:
    return open_book()


class Asker:
    """Asks through the front door, with facts as on the command line."""

    def __init__(self, expert: Expert) -> None:
        self.expert = expert

    def __call__(self, note: str | None = None, *facts: str, role: Role = "desk", **options: object) -> Triage:
        source = "technician" if role == "technician" else "caller"
        read = tuple(fact_from_text(fact, self.expert.book.facts, source) for fact in facts)
        return triage(self.expert, Enquiry(note=note, facts=read, role=role, **options))  # type: ignore[arg-type]


@pytest.fixture(scope="session")
def ask(expert: Expert) -> Asker:
    return Asker(expert)
