"""The four-fault example by independent programs: pyagrum, and pgmpy with tables worked out by hand.

Both need the extra `reference`. pyagrum's `addNoisyORNet` takes net links, as our flows do; its
`addNoisyOR` takes compound ones and would give other numbers.
"""

from __future__ import annotations

import itertools
from typing import Any

import pytest

from tests.core.test_odds import LEAK, LINK, PRIOR, SEEN, example

pytestmark = pytest.mark.reference


def ours() -> dict[str, float]:
    now = example((0, 1, 2, 3, 4))
    return {cause: now.of(cause) for cause in PRIOR}


def test_pyagrum_gives_the_same_posterior() -> None:
    gum: Any = pytest.importorskip("pyagrum")
    net = gum.BayesNet()
    for cause, chance in PRIOR.items():
        net.add(gum.LabelizedVariable(cause, cause, 2))
        net.cpt(cause).fillWith([1 - chance, chance])
    for k, leak in enumerate(LEAK):
        net.addNoisyORNet(gum.LabelizedVariable(f"s{k}", f"s{k}", 2), float(leak))
        for cause, link in zip(PRIOR, LINK[k], strict=True):
            if link:
                net.addWeightedArc(cause, f"s{k}", float(link))
    inference = gum.LazyPropagation(net)
    inference.setEvidence({f"s{k}": int(seen) for k, seen in enumerate(SEEN)})
    inference.makeInference()
    theirs = {cause: float(inference.posterior(cause)[1]) for cause in PRIOR}
    assert ours() == pytest.approx(theirs, abs=1e-9)


def test_pgmpy_gives_the_same_posterior() -> None:
    models: Any = pytest.importorskip("pgmpy.models")
    factors: Any = pytest.importorskip("pgmpy.factors.discrete")
    inference: Any = pytest.importorskip("pgmpy.inference")
    causes = list(PRIOR)
    net = models.DiscreteBayesianNetwork([(c, f"s{k}") for k in range(5) for c in causes if link_of(k, c)])
    for cause, chance in PRIOR.items():
        net.add_cpds(factors.TabularCPD(cause, 2, [[1 - chance], [chance]]))
    for k in range(5):
        parents = [c for c in causes if link_of(k, c)]
        absent = [
            absent_with(k, parents, states) for states in itertools.product((0, 1), repeat=len(parents))
        ]
        table = [absent, [1 - p for p in absent]]
        net.add_cpds(factors.TabularCPD(f"s{k}", 2, table, parents, [2] * len(parents)))
    query = inference.VariableElimination(net)
    evidence = {f"s{k}": int(seen) for k, seen in enumerate(SEEN)}
    theirs = {c: float(query.query([c], evidence, show_progress=False).values[1]) for c in causes}
    assert ours() == pytest.approx(theirs, abs=1e-9)


def link_of(sign: int, cause: str) -> float:
    return float(LINK[sign][list(PRIOR).index(cause)])


def absent_with(sign: int, parents: list[str], states: tuple[int, ...]) -> float:
    chance = 1 - float(LEAK[sign])
    for cause, there in zip(parents, states, strict=True):
        chance *= 1 - link_of(sign, cause) if there else 1.0
    return chance
