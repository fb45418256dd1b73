"""Facts laid out: order, repeats, places, contradictions."""

from __future__ import annotations

import pytest

from rules import Expert
from rules.casefile import CaseFile, lay_out
from rules.enquiry import fact_from_text
from rules.terms import Fact, Source


def laid(expert: Expert, *texts: str, source: Source = "caller", more: tuple[Fact, ...] = ()) -> CaseFile:
    facts = [fact_from_text(text, expert.book.facts, source) for text in texts]
    return lay_out([*facts, *more], expert.book.facts, expert.book.appliances["radiant_range"], lambda *_: 24.0)


def test_all_but_one(expert: Expert) -> None:
    words = laid(expert, "surface.heat@all=normal", "surface.heat@left_front=none").words()
    assert words["surface.heat@left_front"] == "none"
    assert words["surface.heat@right_rear"] == "normal"
    assert "surface.heat@all" not in words


def test_others_and_the_unnamed_one(expert: Expert) -> None:
    case = laid(expert, "surface.heat@unnamed=none", "surface.heat@others=normal")
    assert case.unnamed_at == "left_front"
    assert case.words()["surface.heat@left_front"] == "none"
    assert case.words()["surface.heat@right_front"] == "normal"


def test_the_unnamed_unit_is_not_one_that_was_named(expert: Expert) -> None:
    assert laid(expert, "surface.heat@left_front=normal", "surface.heat@unnamed=none").unnamed_at == "right_front"


def test_equal_sources_that_contradict_leave_nothing_standing(expert: Expert) -> None:
    case = laid(expert, "display=lit", "display=dark")
    assert [entry.key for entry in case.contradictions] == ["display"]
    assert case.contradictions[0].stands is None
    assert "display" not in case.words()
    assert len(case.statements) == 2  # both still weigh in the belief


def test_a_technician_outweighs_a_caller(expert: Expert) -> None:
    seen = fact_from_text("display=dark", expert.book.facts, "technician")
    case = laid(expert, "display=lit", more=(seen,))
    assert case.contradictions[0].stands == "dark"
    assert case.words()["display"] == "dark"


def test_a_danger_stands_against_its_denial(expert: Expert) -> None:
    case = laid(expert, "hazard.smoke=yes", "hazard.smoke=no")
    assert case.words()["hazard.smoke"] == "yes"
    assert case.contradictions


def test_numbers_in_one_band_do_not_contradict(expert: Expert) -> None:
    case = laid(expert, "volts@L1-N/loaded=121 V", "volts@L1-N/loaded=122 V", source="technician")
    assert case.contradictions == ()
    assert len(case.statements) == 1


def test_ohms_are_judged_against_the_part(expert: Expert) -> None:
    case = laid(expert, "ohms.element@left_front=24 ohm", "ohms.element@left_rear=OL", source="technician")
    assert case.words()["ohms.element@left_front"] == "right"
    assert case.words()["ohms.element@left_rear"] == "open"


@pytest.mark.parametrize("reverse", [False, True])
def test_order_is_forgotten(expert: Expert, reverse: bool) -> None:
    texts = ["oven.offset=-40 F", "display=lit", "surface.heat@all=normal", "hazard.any=no"]
    assert laid(expert, *(texts[::-1] if reverse else texts)) == laid(expert, *sorted(texts))


def test_a_don_t_know_is_kept_and_says_nothing(expert: Expert) -> None:
    plain = laid(expert, "surface.heat@all=none", "ohms.bake=23 ohm", source="technician")
    case = laid(
        expert,
        "surface.heat@all=none",
        "ohms.bake=23 ohm",
        "surface.heat@left_front=unknown",
        "ohms.broil=don't know",
        source="technician",
    )
    assert case.words() == plain.words()
    assert [s.says for s in case.statements] == [s.says for s in plain.statements]
    assert case.not_told == (("ohms.broil", "technician"), ("surface.heat@left_front", "technician"))
    assert len(case.understood) == 4


def test_a_don_t_know_for_a_number_at_all_units(expert: Expert) -> None:
    case = laid(expert, "ohms.element@all=unknown", source="technician")
    assert case.statements == ()
    assert len(case.not_told) == 4


def test_one_band_read_twice_counts_for_the_most_trusted(expert: Expert) -> None:
    measured = fact_from_text("volts@L1-N/loaded=121 V", expert.book.facts, "technician")
    case = laid(expert, "volts@L1-N/loaded=120 V", more=(measured,))
    assert [(s.source, s.certainty) for s in case.statements] == [("technician", "measured")]
