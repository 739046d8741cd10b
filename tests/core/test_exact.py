"""Published and hand-worked examples that the exact solver must give before anything trusts it.

The examples and their sources stand in `examples.py`; the expected numbers were found by going
through every order, once by a program of its own and where short enough again by hand.
"""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from tests.core.exact import SmallAct, SmallCase, SmallFix, price_of, solve
from tests.core.examples import (
    ENGINE_OUT,
    FITTING,
    FLAT,
    FLAT_SEARCH,
    IN_FRAME,
    MISSING,
    SMALL_TREE,
    TREE_SEARCH,
    TWO_FAULTS,
    batch,
    one_fault,
    seven_checks,
    seven_search,
)


def in_order(case: SmallCase, order: list[tuple[int, ...]]) -> float:
    """Price of mending in this order, whatever happens."""
    sessions = iter(order)

    def next_session(*_: object) -> tuple[str, tuple[int, ...]]:
        causes = next(sessions, None)
        return ("mend", causes) if causes else ("hand over", ())

    return price_of(case, next_session)[0]


def test_three_suspects_are_best_taken_by_minutes_over_chance() -> None:
    assert solve(FLAT) == pytest.approx(11.0)  # 3 + .7 * 10 + .2 * 5
    assert in_order(FLAT, [(1,), (0,), (2,)]) == pytest.approx(11.0)


def test_cheapest_first_and_likeliest_first_are_dearer() -> None:
    assert in_order(FLAT, [(1,), (2,), (0,)]) == pytest.approx(11.5)
    assert in_order(FLAT, [(0,), (1,), (2,)]) == pytest.approx(12.5)


def test_the_last_suspect_need_not_be_looked_at() -> None:
    assert solve(FLAT_SEARCH) - FITTING == pytest.approx(6.5)  # 3 + .7 * 5

    def by_ratio(state: tuple[tuple[int, ...], ...], weights: np.ndarray) -> tuple[str, tuple[int, ...]]:
        if np.count_nonzero(weights) == 1:
            return "mend", (int(weights.argmax()),)
        return "ask", (next(act for act in (1, 0, 2) if state[0][act] < 0),)

    priced = price_of(FLAT_SEARCH, by_ratio)[0]  # type: ignore[arg-type]
    assert priced - FITTING == pytest.approx(10.0)  # 3 + .7 * 10


def test_what_lies_behind_one_cover_is_taken_as_a_bundle() -> None:
    assert solve(SMALL_TREE) == pytest.approx(9.2)  # 1 + .9 * 4 + .6 * 7 + .2 * 2
    assert in_order(SMALL_TREE, [(3,), (0,), (1,), (2,)]) == pytest.approx(9.2)
    assert in_order(SMALL_TREE, [(1,), (2,), (3,), (0,)]) == pytest.approx(9.8)


def test_the_bundle_changes_when_the_last_suspect_is_inferred() -> None:
    assert solve(TREE_SEARCH) - FITTING == pytest.approx(8.3)  # 1 + .9 * 7 + .5 * 2


@pytest.mark.parametrize(
    ("needs", "best", "blind"), [(IN_FRAME, 288.77, 487.63), (ENGINE_OUT, 362.57, 495.73)]
)
def test_seven_checks_in_two_frames(needs: tuple[int, int], best: float, blind: float) -> None:
    case = seven_checks(*needs)
    assert solve(case) == pytest.approx(best, abs=0.005)
    assert in_order(case, [(0,), (1,), (2,), (3,), (4,), (6,), (5,)]) == pytest.approx(best, abs=0.005)
    ratio = sorted(range(7), key=lambda c: -case.weights[c] / case.fixes[c].minutes)
    assert in_order(case, [(c,) for c in ratio]) == pytest.approx(blind, abs=0.005)


@pytest.mark.parametrize(("needs", "best"), [(IN_FRAME, 288.77), (ENGINE_OUT, 362.57)])
def test_seven_looks_save_the_last_one(needs: tuple[int, int], best: float) -> None:
    """The gears come last: 30 minutes in the 20 of 100 cases where all others were clean."""
    assert solve(seven_search(*needs)) - FITTING == pytest.approx(best - 0.2 * 30, abs=0.005)


def test_two_independent_faults_go_by_their_odds() -> None:
    assert solve(TWO_FAULTS) == pytest.approx(11.875)  # 10 + .3 / .72 * 4.5
    assert in_order(TWO_FAULTS, [(1,), (0,)]) == pytest.approx(12.8333, abs=5e-5)


def test_looks_that_miss_are_made_again() -> None:
    assert solve(MISSING) == pytest.approx(35.3345, abs=1e-3)
    first = [(c,) for c in (0, 2, 0, 1, 0, 0, 2, 0, 1)]
    rest = [(c,) for c in (0, 2, 0, 1) * 8][: 30 - 9]
    others = itertools.permutations(first[:4])
    assert in_order(MISSING, first + rest) <= min(in_order(MISSING, [*o, *first[4:], *rest]) for o in others)


def test_three_in_one_go_beat_one_at_a_time() -> None:
    assert solve(batch()) == pytest.approx(100.0)  # 40 + 3 * 10 + 30
    assert in_order(batch(), [(0,), (1,), (2,)]) == pytest.approx(136.0)


def test_one_at_a_time_is_what_is_left_when_sessions_are_single() -> None:
    assert solve(batch(session=1)) == pytest.approx(136.0)  # 80 * (1 + .5 + .2)


def test_handing_over_at_once_when_it_costs_less_than_any_work() -> None:
    case = one_fault([0.5, 0.5], [SmallFix(40), SmallFix(60)], hand_over=30.0)
    assert solve(case) == pytest.approx(30.0)


def by_trying_everything(case: SmallCase, weights: np.ndarray, state: tuple[tuple[int, ...], ...]) -> float:
    """Least price of one state by plain recursion over conditional chances, nothing kept."""
    asked, mended, standing = state[0], state[1], state[2][0]
    prices = [case.hand_over + case.to_close(standing)]
    for act in set(range(len(case.acts))) - set(asked):
        minutes, after = case.ask(act, standing)
        for likelihood in case.acts[act].likelihood:
            told = weights * likelihood
            rest = by_trying_everything(case, told / told.sum(), ((*asked, act), mended, (after,)))
            minutes += float(told.sum()) * rest
        prices.append(minutes)
    for session in case.sessions:
        if set(session) & set(mended):
            continue
        minutes, after = case.mend(session, standing)
        left = weights * still_wrong(case, (*mended, *session)) / still_wrong(case, mended)
        if left.sum() > 1e-12:
            rest = by_trying_everything(case, left / left.sum(), (asked, (*mended, *session), (after,)))
            minutes += float(left.sum()) * rest
        prices.append(minutes)
    return min(prices)


def still_wrong(case: SmallCase, mended: tuple[int, ...]) -> np.ndarray:
    """(H,): chance that a test still fails once each of these was mended."""
    held = [case.fixes[c].holds if c in mended else 0.0 for c in range(len(case.fixes))]
    return np.array([1 - np.prod([held[c] for c in causes]) for causes in case.sets])


@pytest.mark.parametrize("seed", range(5))
def test_the_induction_gives_what_trying_everything_gives(seed: int) -> None:
    rng = np.random.default_rng(seed)
    sets = ((0,), (1,), (2,), (0, 1), (0, 2), (1, 2))
    acts = []
    for need, closed in ((0, False), (1, False), (0, True)):
        shown = rng.uniform(0.05, 0.95, len(sets))
        acts.append(SmallAct(rng.uniform(2, 10), np.array([shown, 1 - shown]), need, closed))
    fixes = tuple(SmallFix(rng.uniform(20, 90), 0.9, need) for need in (0, 1, 3))
    weights = rng.dirichlet(np.ones(6))
    case = SmallCase(sets, weights, tuple(acts), fixes, (10.0, 40.0), (15.0, 20.0), 300.0, 20.0)
    assert solve(case) == pytest.approx(by_trying_everything(case, weights, ((), (), (0,))))
