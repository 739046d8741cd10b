"""The stored benchmark is what its programs make, and it is hard enough to be worth passing."""

from __future__ import annotations

import numpy as np
import pytest

from bot.core.choose import EPS, Choice
from tests.bench.generate import SEEDS, STORED, Flow, build, draw, refuse_easy, stored
from tests.core.exact import price_of, solve
from tests.core.played import Played

FLOWS = {flow["seed"]: flow for flow in stored()}
SMALLEST = sorted(FLOWS.values(), key=lambda flow: flow["states"])[:5]


def first_choice(flow: Flow) -> Choice:
    case = build(flow)
    return Played(case).choice(((-1,) * len(case.acts), (0,) * len(case.fixes), 0), case.weights)


def test_the_generator_makes_the_stored_flows_again() -> None:
    assert sorted(FLOWS) == list(SEEDS)
    for seed, flow in FLOWS.items():
        assert {key: flow[key] for key in draw(seed)} == draw(seed)


@pytest.mark.parametrize("flow", SMALLEST, ids=lambda flow: f"seed {flow['seed']}")
def test_the_five_smallest_are_solved_again(flow: Flow) -> None:
    case = build(flow)
    assert case.states == flow["states"]
    assert solve(case) == pytest.approx(flow["optimum"], abs=1e-5)


def test_a_changed_solver_or_generator_is_noticed(monkeypatch: pytest.MonkeyPatch, tmp_path) -> None:
    text = STORED.read_text(encoding="utf-8")
    for name in ("solver", "generator"):
        kept = tmp_path / f"{name}.json"
        start = text.index(f'"{name}": "') + len(f'"{name}": "')
        kept.write_text(text[:start] + "0" + text[start + 1 :], encoding="utf-8")
        if text[start] == "0":
            kept.write_text(text[:start] + "1" + text[start + 1 :], encoding="utf-8")
        monkeypatch.setattr("tests.bench.generate.STORED", kept)
        with pytest.raises(ValueError, match="has changed"):
            stored()


def test_the_flows_are_flows_as_promised() -> None:
    for flow in FLOWS.values():
        case = build(flow)
        assert len(case.fixes) in (5, 6)
        assert len(case.acts) in (6, 7, 8)
        assert len(case.opening) in (3, 4)
        paired = case.weights[[len(causes) == 2 for causes in case.sets]].sum()
        assert 0.035 < paired < 0.175
        for act in case.acts:
            np.testing.assert_allclose(act.likelihood.sum(axis=0), 1.0)
        assert 0 < flow["optimum"] <= flow["hand_over"]


def test_the_set_is_not_too_easy() -> None:
    refuse_easy(list(FLOWS.values()))


def test_an_easy_set_is_refused() -> None:
    hopeless = [flow | {"optimum": flow["hand_over"]} for flow in FLOWS.values()]
    with pytest.raises(ValueError, match="too easy"):
        refuse_easy(hopeless)
    with pytest.raises(ValueError, match="fixed order"):
        refuse_easy(list(FLOWS.values()), fixed_ratio=1.05)


@pytest.mark.parametrize("seed", [92, 131, 160])
def test_bikes_that_one_act_ahead_gives_up_for_want_of_a_second_question(seed: int) -> None:
    """No single act pays and the leaf plan is to hand over, 5 to 18 per cent too dear."""
    choice = first_choice(FLOWS[seed])
    assert choice.leaf.name == "hand_over"
    assert choice.leaf.minutes / FLOWS[seed]["optimum"] > 1.04
    assert max(gain.net for gain in choice.gains) <= EPS
    assert choice.kind == "act"
    price = price_of(build(FLOWS[seed]), Played(build(FLOWS[seed])).move, 1e-4)[0]
    assert price / FLOWS[seed]["optimum"] < 1.03
