"""A ranker on the common range, and a small world of its own."""

from __future__ import annotations

import numpy as np
import pytest

from rules import Expert
from rules.evaluating.people import Case, cases
from rules.evaluating.ranking import Ranker, ranker_for
from rules.evaluating.strain import PERTURBED
from rules.evaluating.walking import Judge
from rules.evaluating.world import World
from rules.triage import DEFAULT_APPLIANCE


@pytest.fixture(scope="session")
def ranker(expert: Expert) -> Ranker:
    return ranker_for(expert, DEFAULT_APPLIANCE)


@pytest.fixture(scope="session")
def judge() -> Judge:
    return Judge()


@pytest.fixture(scope="session")
def drawn(ranker: Ranker) -> list[Case]:
    world = World(ranker.book, ranker.signatures, PERTURBED, np.random.default_rng(11))
    return cases(ranker, world, 30)[0]
