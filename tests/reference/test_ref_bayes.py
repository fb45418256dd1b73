"""The posterior, against an independent program for Bayesian networks (pyAgrum)."""

from __future__ import annotations

import numpy as np
import pytest

from rules import Expert
from rules.belief.pairs import with_pairs
from rules.belief.posterior import believe, error_of, heard
from rules.belief.signatures import Signatures
from rules.casefile import Statement
from tests.rules.belief.models import invented

gum = pytest.importorskip("pyagrum", reason="pyagrum is not installed")

SOURCES = (("caller", "said"), ("caller", "hedged"), ("note", "said"), ("technician", "measured"))


def network_posterior(signatures: Signatures, said: list[Statement]) -> np.ndarray:
    """The same model as a network: one node for the fault, one child for each thing that was said."""
    net = gum.BayesNet()
    size = len(signatures.hypotheses)
    fault = net.add(gum.LabelizedVariable("fault", "", size))
    net.cpt(fault).fillWith(list(signatures.prior))
    evidence = {}
    for statement in said:
        (key, word), *_ = statement.says
        term = signatures.book.facts[key]
        child = net.add(gum.LabelizedVariable(f"s{statement.number}", "", len(term.values)))
        net.addArc(fault, child)
        error = error_of(statement.source, statement.certainty)
        net.cpt(child)[:] = heard(signatures.tables[key], term, signatures.usual[key], error)
        evidence[f"s{statement.number}"] = list(term.values).index(word)
    engine = gum.LazyPropagation(net)
    engine.setEvidence(evidence)
    engine.makeInference()
    return np.array(engine.posterior("fault").tolist())


@pytest.mark.parametrize("seed", range(60))
def test_posterior_of_an_invented_model(expert: Expert, seed: int) -> None:
    rng = np.random.default_rng(seed)
    signatures = invented(expert, rng, int(rng.integers(3, 40)), int(rng.integers(1, 9)))
    said = []
    for number, key in enumerate(signatures.tables):
        source, certainty = SOURCES[int(rng.integers(len(SOURCES)))]
        word = f"w{rng.integers(len(signatures.book.facts[key].values))}"
        said.append(Statement(number, ((key, word),), source, certainty))
    ours = believe(signatures, signatures.prior, np.ones(len(signatures.prior)), said).probability
    assert ours == pytest.approx(network_posterior(signatures, said), abs=2e-6)


def test_posterior_of_the_book_s_own_range(expert: Expert) -> None:
    signatures = expert.signatures(expert.book.appliances["coil_range"])
    pairs = {"display": "dark", "oven.lamp": "dim", "oven.bake.heat": "none", "breaker": "on"}
    said = [Statement(n, ((key, word),), "caller", "said") for n, (key, word) in enumerate(pairs.items())]
    ours = believe(signatures, signatures.prior, np.ones(len(signatures.prior)), said).probability
    assert ours == pytest.approx(network_posterior(signatures, said), abs=2e-6)


@pytest.mark.parametrize("seed", range(10))
def test_two_faults_by_noisy_maximum(expert: Expert, seed: int) -> None:
    """The word of two faults is the worse of their two words, by a deterministic node of the other program."""
    rng = np.random.default_rng(seed)
    signatures = invented(expert, rng, 8, 3)
    wider = with_pairs(signatures, [(0, 3), (2, 5)], np.ones(2))
    for key, table in signatures.tables.items():
        size = table.shape[1]
        for number, (a, b) in enumerate([(0, 3), (2, 5)]):
            net = gum.BayesNet()
            one, other, worse = (net.add(gum.LabelizedVariable(name, "", size)) for name in ("a", "b", "worse"))
            net.addArc(one, worse)
            net.addArc(other, worse)
            net.cpt(one).fillWith(list(table[a]))
            net.cpt(other).fillWith(list(table[b]))
            for i in range(size):
                for j in range(size):
                    net.cpt(worse)[{"a": i, "b": j}] = [float(k == max(i, j)) for k in range(size)]
            engine = gum.LazyPropagation(net)
            engine.makeInference()
            ours = wider.tables[key][len(signatures.hypotheses) - 1 + number]
            assert ours == pytest.approx(np.array(engine.posterior("worse").tolist()), abs=1e-9)
