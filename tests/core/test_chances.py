"""Chances of signs and answers against sums done by hand."""

from __future__ import annotations

import itertools
import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bot.core.chances import LIKELIEST, LUMPED, NONE, likelihood, net, noisy_max, noisy_or
from bot.core.family import family_of
from bot.core.flow import Flow
from bot.core.odds import prior
from tests.core.worlds import flow_of, look, one, several


def test_an_absent_sign_needs_every_source_to_fail() -> None:
    """P(absent) = (1 - leak) * prod(1 - q), Jaakkola and Jordan 1999 (JAIR 10)."""
    member = np.array([[False, False], [True, False], [True, True]])
    shown = noisy_or(np.array([0.1]), np.array([[0.5, 0.8]]), member)[0]
    assert shown == pytest.approx([0.1, 1 - 0.9 * 0.5, 1 - 0.9 * 0.5 * 0.2])


def test_a_graded_sign_is_at_the_highest_step_that_anything_reaches() -> None:
    member = np.array([[False, False], [True, True]])
    links = np.array([[0.1, 0.25, 0.35, 0.3], [0.5, 0.5, 0.0, 0.0]])
    steps = noisy_max(np.array([0.7, 0.2, 0.08, 0.02]), links, member)
    assert steps[:, 0] == pytest.approx([0.7, 0.2, 0.08, 0.02])
    upto = [0.7 * 0.1 * 0.5, 0.9 * 0.35 * 1, 0.98 * 0.7 * 1, 1]
    assert steps[:, 1] == pytest.approx(np.diff([0, *upto]))


@given(st.lists(st.floats(0.01, 0.99), min_size=1, max_size=4), st.floats(0.01, 0.99))
def test_two_steps_are_a_plain_sign(links: list[float], background: float) -> None:
    member = np.ones((1, len(links)), dtype=bool)
    plain = noisy_or(np.array([background]), np.array([links]), member)[0, 0]
    graded = noisy_max(np.array([1 - background, background]), np.array([[1 - q, q] for q in links]), member)
    assert graded[1, 0] == pytest.approx(plain)


def test_a_net_link_gives_back_what_the_look_catches_in_all() -> None:
    """A compound link says how often with the leak included (Henrion); net leaves the leak out (Diez)."""
    q = net(0.91, 0.03)
    assert 1 - (1 - 0.03) * (1 - q) == pytest.approx(0.91)
    assert net(0.02, 0.03) == 0


def bench(**more: Any) -> Flow:
    signs = {f"s{k}": {"means": "a sign", "background": 0.05 + 0.02 * k} for k in range(12)}
    shows = {"gear": {f"s{k}": 0.9 - 0.06 * k for k in range(12)}, "bush": {"s0": 0.3, "s5": 0.8}}
    causes = {c: {"name": c, "share": 45, "shows": shows[c]} for c in ("gear", "bush")}
    return flow_of(**({"signs": signs, "causes": causes} | more))


def column(flow: Flow, ask: str, cause: str) -> dict[str, float]:
    family = family_of(("gear", "bush"), (1,))
    table = likelihood(flow, family, ask)
    return dict(zip(table.labels, table.outcomes[:, ("gear", "bush").index(cause)], strict=True))


def test_one_true_answer_is_normalised_over_the_answers() -> None:
    flow = bench(questions={"q": one(a={"shows": ["s0"], "denies": ["s5"]}, b={"shows": ["s5"]}, c={})})
    s0, s5 = 1 - 0.95 * 0.7, 1 - 0.85 * 0.2
    plain = {"a": s0 * (1 - s5), "b": s5, "c": 1.0}
    wanted = {k: 0.97 * v / sum(plain.values()) + 0.03 / 3 for k, v in plain.items()}
    assert column(flow, "q", "bush") == pytest.approx(wanted)


def test_a_question_without_signs_has_no_effect() -> None:
    flow = bench(questions={"q": one(a={}, b={}), "n": {"kind": "note", "ask": "Words?"}})
    family = prior(flow, {}).family
    assert likelihood(flow, family, "q").outcomes == pytest.approx(0.5)
    assert likelihood(flow, family, "n").outcomes == pytest.approx(1.0)


def test_a_look_catches_what_it_says_and_cries_wolf_as_it_says() -> None:
    flow = bench(checks={"gear": look("gear", 0.9, false_alarm=0.02, slip=0)})
    assert column(flow, "gear", "gear")["bad"] == pytest.approx(0.9)
    assert column(flow, "gear", "bush")["bad"] == pytest.approx(0.02)


def test_a_look_for_two_causes_takes_the_worst_false_alarm() -> None:
    both = look("gear", 0.9, slip=0)
    both["finds"].append({"cause": "bush", "catches": 0.6, "false_alarm": 0.04})
    flow = bench(checks={"both": both})
    assert column(flow, "both", "gear")["bad"] == pytest.approx(0.9)
    assert column(flow, "both", "bush")["bad"] == pytest.approx(0.6)
    table = likelihood(flow, family_of(("gear", "bush"), (0, 2)), "both")
    assert table.outcomes[1] == pytest.approx([0.04, 1 - 0.1 * 0.4 / 0.96])


def test_bad_but_something_else_is_a_third_side_of_the_look() -> None:
    flow = bench(checks={"gear": look("gear", 0.9, other_damage=True, slip=0.03)})
    table = likelihood(flow, prior(flow, {}).family, "gear")
    assert table.labels == ("good", "bad", "other")
    assert table.outcomes[2] == pytest.approx([0.97 * 0.02 + 0.01] * 3 + [0.97 * 0.5 + 0.01])
    assert table.outcomes[1, 0] == pytest.approx(0.97 * 0.98 * 0.9 + 0.01)


def test_marks_are_signs_of_their_own_with_half_the_slip_each() -> None:
    flow = bench(questions={"q": several({"x": {"shows": "s0"}, "y": {"shows": "s5"}}, slip=0.1)})
    s0, s5 = (0.9 * p + 0.05 for p in (1 - 0.95 * 0.7, 1 - 0.85 * 0.2))
    wanted = {NONE: (1 - s0) * (1 - s5), "x": s0 * (1 - s5), "y": (1 - s0) * s5, "x+y": s0 * s5}
    assert column(flow, "q", "bush") == pytest.approx(wanted)


def test_two_marks_of_one_sign_are_one_mark() -> None:
    flow = bench(questions={"q": several({"x": {"shows": "s0"}, "y": {"shows": "s0"}, "z": {}})})
    assert set(column(flow, "q", "gear")) == {NONE, "x"}


def test_the_likeliest_mark_sets_are_told_apart_and_the_rest_lumped() -> None:
    """Against all 4,096 sets of twelve marks, gone through one by one."""
    flow = bench(questions={"q": several({f"m{k}": {"shows": f"s{k}"} for k in range(12)})})
    now = prior(flow, {})
    table = likelihood(flow, now.family, "q", {}, now.weights)
    assert (len(table.labels), table.lumped, table.labels[-1]) == (LIKELIEST + 1, LIKELIEST, LUMPED)
    ticked = np.array([likelihood(flow, now.family, "q", known).outcomes[1] for known in only_one(12)])
    every = {}
    for picked in itertools.product([False, True], repeat=12):
        name = "+".join(f"m{k}" for k, on in enumerate(picked) if on) or NONE
        every[name] = np.prod([t if on else 1 - t for t, on in zip(ticked, picked, strict=True)], axis=0)
    weight = {name: float(row @ now.weights) for name, row in every.items()}
    likeliest = sorted(weight, key=lambda name: -weight[name])[:LIKELIEST]
    assert set(table.labels[:-1]) == set(likeliest)
    for label, row in zip(table.labels[:-1], table.outcomes, strict=False):
        assert row == pytest.approx(every[label])
    assert table.outcomes.sum(axis=0) == pytest.approx(1.0)


def only_one(marks: int) -> list[dict[str, bool]]:
    """All signs known but one, so that a question of many marks is a question of one."""
    return [{f"s{j}": False for j in range(marks) if j != k} for k in range(marks)]


def test_no_step_is_quite_impossible() -> None:
    signs = {"much": {"means": "how much", "steps": ["a", "b"], "background": [100, 0]}}
    causes = {"gear": {"name": "Gear", "share": 90, "shows": {"much": [0, 100]}}}
    asked = {
        "kind": "graded",
        "ask": "?",
        "sign": "much",
        "slip": 0,
        "classes": {c: {"label": c} for c in "ab"},
    }
    flow = flow_of(signs=signs, causes=causes, questions={"q": asked})
    table = likelihood(flow, family_of(("gear",), (0, 1)), "q")
    assert table.outcomes[1, 0] == pytest.approx(0.001, rel=0.01)
    assert 0 < table.outcomes[0, 1] < 0.002


@pytest.mark.parametrize(
    ("background", "link", "steps", "said"),
    [
        ([50, 50], 0.5, ["a", "b"], "each strength needs 2"),
        (0.5, [50, 50], ["a", "b"], "each strength needs 2"),
        ([50, 30, 20], [50, 50], ["a", "b", "c"], "each strength needs 3"),
        (0.5, [50, 50], None, "has no steps"),
        ([50, 50], 0.5, None, "has no steps"),
    ],
)
def test_a_strength_that_does_not_fit_its_sign_is_an_error(
    background: Any, link: Any, steps: list[str] | None, said: str
) -> None:
    sign = {"means": "a sign", "background": background} | ({"steps": steps} if steps else {})
    causes = {"gear": {"name": "Gear", "share": 90, "shows": {"s": link}}}
    flow = flow_of(signs={"s": sign}, causes=causes, questions={"q": one(a={"shows": ["s"]}, b={})})
    with pytest.raises(ValueError, match=said):
        likelihood(flow, family_of(("gear",), (1,)), "q")


def test_there_is_no_such_question() -> None:
    with pytest.raises(KeyError):
        likelihood(bench(), family_of(("gear", "bush"), (1,)), "no-such")


def test_thirty_five_causes_make_the_family_of_all_pairs() -> None:
    names = tuple(f"c{k}" for k in range(35))
    family = family_of(names, (1, 2), unlisted=True)
    assert family.rows == 35 + math.comb(35, 2) + 1
    assert family_of(names, (1, 2), alone=frozenset(names[:3])).rows == 35 + math.comb(32, 2)
