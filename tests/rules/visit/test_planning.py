"""The visit of a case: parts under the van's limits, with the chance of a first-visit fix."""

from __future__ import annotations

from dataclasses import replace
from types import MappingProxyType

import pytest

from rules import Expert, Fact, triage
from rules.bookkeeping.types import Van
from rules.enquiry import fact_from_text
from rules.triage import Enquiry
from rules.visit import plan
from tests.conftest import Asker

SLOW = ("oven.preheat=slow", "oven.glow=upper_only", "display=lit", "surface.heat@all=normal")


def facts(expert: Expert) -> tuple[Fact, ...]:
    return tuple(fact_from_text(text, expert.book.facts, "caller") for text in SLOW)


def test_parts_come_with_their_use_and_the_visit_with_its_chance(ask: Asker) -> None:
    visit = ask(None, *SLOW).visit
    assert visit.needed is True
    assert visit.skill == "appliance_technician"
    assert visit.load_parts[0].part == "bake_element"
    shares = [part.probability_used for part in visit.load_parts]
    assert shares == sorted(shares, reverse=True)
    assert max(shares) <= visit.first_visit_fix <= 1
    assert visit.no_room_for == ()
    assert visit.minutes[0] <= visit.minutes[1]


def test_a_small_van_takes_what_mends_most(expert: Expert) -> None:
    whole = triage(expert, Enquiry(facts=facts(expert))).visit
    small = {"van": Van("van", "van", 9.0, 400.0, "invented")}
    signatures = expert.signatures(expert.book.appliances["radiant_range"])
    tight = replace(signatures, book=replace(expert.book, vans=MappingProxyType(small)))
    from rules.triage import consider

    belief = consider(expert, Enquiry(facts=facts(expert))).belief
    visit = plan(tight, belief.probability, None, (), True)
    assert [part.part for part in visit.load_parts] == ["bake_element"]
    assert "control_board" in [part.part for part in visit.no_room_for]
    assert visit.first_visit_fix < whole.first_visit_fix
    shares = belief.signatures.by_repair(belief.probability)
    aboard = [
        share
        for share, repair in zip(shares, belief.signatures.repairs, strict=True)
        if repair.skill in ("appliance_technician", "customer") and set(repair.parts) <= {"bake_element"}
    ]
    assert visit.first_visit_fix == pytest.approx(sum(aboard), abs=1e-3)


def test_an_electrician_s_fault_is_no_fix_of_the_technician_s(ask: Asker) -> None:
    answer = ask("nothing on the stove heats, no burner and no oven, but the clock is lit")
    assert answer.visit.skill == "electrician"
    mine = sum(step.probability for step in answer.repair_order if step.skill in ("electrician", "customer"))
    assert answer.visit.first_visit_fix <= mine + 0.05
