"""Whole evaluations, small: repeatable, complete, sound."""

from __future__ import annotations

import numpy as np
import pytest

from rules import Expert
from rules.evaluating import Evaluation, Options, evaluate
from rules.evaluating.plan import cells
from rules.evaluating.ranking import Ranker, assuming, error_of
from rules.evaluating.soundness import FLOOR, Probe, examine
from rules.evaluating.submodels import COLDLEG, MOST, cut, ratios
from rules.evaluating.walking import Judge
from rules.triage import DEFAULT_APPLIANCE

SMALL = Options(
    cases=40,
    configurations=(DEFAULT_APPLIANCE, "wall_oven"),
    orders=0.2,
    submodels=4,
    grid=1,
    every=40,
    probe=Probe(depth=1, width=1, paths=1, wrong=1),
)


@pytest.fixture(scope="module")
def made(expert: Expert) -> Evaluation:
    return evaluate(expert, SMALL)


def test_the_same_start_gives_the_same_numbers_in_any_number_of_processes(expert: Expert, made: Evaluation) -> None:
    counted: list[tuple[int, int]] = []
    assert evaluate(expert, SMALL, processes=2, progress=lambda done, of: counted.append((done, of))) == made
    assert counted[0][0] == 0
    assert counted[-1][0] == counted[-1][1] == len(counted) - 1


def test_another_start_gives_other_numbers(expert: Expert) -> None:
    few = Options(cases=12, orders=0, submodels=2, grid=0, every=60, probe=Probe(depth=0, width=0, paths=1, wrong=0))
    one, other = (evaluate(expert, Options(**{**few.__dict__, "seed": seed})) for seed in (1, 2))
    assert one.configurations[0].phone != other.configurations[0].phone


def test_every_part_of_the_protocol_is_there(made: Evaluation) -> None:
    assert [report.configuration for report in made.configurations] == list(SMALL.configurations)
    assert [cell.name for cell in made.grid] == [cell.name for cell in cells()]
    for report in made.configurations:
        assert (
            report.count
            == {"radiant_range": 40, "wall_oven": 8}[report.configuration]
            == sum(right.of for _, right in report.families.values())
        )
        assert list(report.phone.at) == [0, 3, 5, 8]
        assert len(report.from_complaint) == 5
        assert report.ratio is not None
        assert report.soundness is not None
        assert report.phone_calibration is not None
        assert report.outside is not None
        assert report.pairs is not None
    assert len(made.targets) == 9


def test_more_questions_never_lose_the_truth_altogether(made: Evaluation) -> None:
    for report in made.configurations:
        before, after = report.phone.at[0], report.phone.at[8]
        assert after.top3.hits >= before.top3.hits - 2


def test_coldleg_saves_minutes_against_every_fixed_order(made: Evaluation) -> None:
    ways = made.configurations[0].from_complaint
    assert next(iter(ways)) == COLDLEG
    fixed = [way for name, way in ways.items() if name not in (COLDLEG, "cheapest useful")]
    assert all(ways[COLDLEG].to_fix < way.to_fix for way in fixed)


# --- sub-models ------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("start", range(6))
def test_nothing_in_a_cut_beats_its_optimum(ranker: Ranker, start: int) -> None:
    small = cut(ranker, np.random.default_rng(start))
    assert small is not None
    assert len(small.members) <= MOST
    assert len(small.asks) <= MOST
    found = ratios(ranker, small)
    assert min(found.repairing.values()) >= 1 - 1e-9
    assert min(found.isolating.values()) >= 1 - 1e-9


def test_a_cut_is_of_the_real_table(ranker: Ranker) -> None:
    small = cut(ranker, np.random.default_rng(3))
    assert small is not None
    for row, ask in enumerate(small.asks):
        table = ranker.signatures.tables[ask.key]
        assert list(small.model.outcomes[row]) == list(table[small.members].argmax(axis=1))
        assert small.model.minutes[row] == ask.card.minutes


# --- soundness, robustness -----------------------------------------------------------------------------------------
def test_correct_answers_never_talk_the_truth_away(ranker: Ranker, judge: Judge) -> None:
    rng = np.random.default_rng(4)
    count = len(ranker.signatures.hypotheses) - 1
    for number in rng.choice(count, size=10, replace=False):
        sound = examine(ranker, judge, int(number), Probe(depth=2, width=1, paths=1, wrong=0), rng)
        assert sound.least >= FLOOR, sound


def test_an_assumed_error_lasts_as_long_as_the_block() -> None:
    usual = error_of("caller", "said")
    with assuming(0.02):
        assert error_of("caller", "said") == 0.02
    assert error_of("caller", "said") == usual
    with pytest.raises(RuntimeError), assuming(0.15):
        raise RuntimeError
    assert error_of("caller", "said") == usual
