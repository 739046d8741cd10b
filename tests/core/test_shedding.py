"""A repair on a bike whose pieces were counted: its own count says how silent a fault would be."""

from __future__ import annotations

import math
from copy import deepcopy
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bot.core import plan
from bot.core.chances import likelihood, rows_of
from bot.core.findings import ABSENT, Answered, Finding, Marked, Mended, Ran, Shed, Stepped
from bot.core.flow import Flow
from bot.core.odds import Beliefs, posterior
from bot.core.proving import clean_hours_to
from bot.core.shedding import sheds_anyway, without
from tests.rattle import RATTLE, Diary, read

HOURS = 5.0


def counting() -> Flow:
    """The small flow with bits that gather, counted, and a joint that hardly ever comes loose again."""
    signs, questions = deepcopy(RATTLE["signs"]), deepcopy(RATTLE["questions"])
    for sign in ("steel-bits", "amount"):
        signs[sign]["gathers"] = HOURS
    questions["amount"]["counts"] = "pieces"
    questions["kinds"] = {
        "kind": "several",
        "ask": "What do you see?",
        "marks": {"bits": {"label": "Bits that cling", "shows": "steel-bits"}},
        "none_of_these": {"label": "None of these"},
    }
    remedies = deepcopy(RATTLE["remedies"])
    for each in remedies.values():
        each["comes_back"] = 0.001
    return read(RATTLE | {"signs": signs, "questions": questions, "remedies": remedies})


FLOW = counting()
DEBRIS = FLOW.second_looks["debris"]
BEFORE = Finding("magnet", Answered("all"), seq=1)


def after(shed: Shed | None, *looks: tuple[float, int]) -> Beliefs:
    """The beliefs after the nut was done and so many (hours, pieces) were run and looked through."""
    steps: list[Any] = [BEFORE, Mended("refit-nut", seq=2, shed=shed)]
    for n, (hours, pieces) in enumerate(looks):
        seq, step = 10 + 3 * n, "a-few" if pieces <= 5 else "some"
        marks = Marked(frozenset({"bits"} if pieces else ()))
        steps += [
            Ran(hours, seq=seq),
            Finding("amount", Stepped(frozenset({step})), round=n + 1, seq=seq + 1, pieces=(pieces, pieces)),
            Finding("kinds", marks, round=n + 1, seq=seq + 2),
        ]
    return posterior(FLOW, {}, tuple(steps))


def odds_of_still_wrong(now: Beliefs) -> float:
    """The nut alone is loose again, against nothing wrong."""
    alone = [k for k, row in enumerate(now.family.member)
             if row.sum() == 1 and row[now.family.at["nut-loose"]]]  # fmt: skip
    return float(now.weights[alone[0]] / now.weights[now.family.empty])


def test_clean_hours_weigh_by_the_bikes_own_count_by_hand() -> None:
    """8 in 10 h, then 10 clean: silent with (10/20)^a were it still wrong, a the 8 less what is shed anyway.

    The rest of the odds of "still wrong" stands as it was before the run, but for the joint that may
    have come loose in 10 h with its chance of .001.
    """
    anyway = sheds_anyway(FLOW, after(None).family)
    start, end = odds_of_still_wrong(after(Shed(8, 10))), odds_of_still_wrong(after(Shed(8, 10), (10, 0)))
    own = 0.5 ** (8 - 10 * anyway)
    assert end == pytest.approx((start + 0.001 / 0.999) * own, rel=0.01)


def test_what_is_shed_anyway_is_the_commonest_mark() -> None:
    """Bits that cling are seen seldom (.12) on a sound bike in 5 h: -ln(.88)/5 an hour."""
    assert sheds_anyway(FLOW, after(None).family) == pytest.approx(-math.log(0.88) / 5)


def test_two_runs_say_what_one_of_both_says() -> None:
    whole, parts = after(Shed(8, 10), (10, 0)), after(Shed(8, 10), (4, 0), (6, 0))
    assert odds_of_still_wrong(parts) == pytest.approx(odds_of_still_wrong(whole), rel=0.1)  # loose anew


def test_a_bike_that_shed_more_is_proved_sooner() -> None:
    fixed = [after(Shed(k, 10), (5, 0)).fixed for k in (2, 4, 8, 16)]
    assert fixed == sorted(fixed)
    wanted = [clean_hours_to(FLOW, after(Shed(k, 10)), DEBRIS, 0.95) for k in (4, 8, 16)]
    assert wanted == sorted(wanted, reverse=True)
    assert all(0 < hours < math.inf for hours in wanted)


def test_the_hours_wanted_are_those_after_which_it_is_so() -> None:
    """The odds after such a run, without what may have come loose while it ran."""
    now = after(Shed(8, 10))
    hours = clean_hours_to(FLOW, now, DEBRIS, 0.9)
    assert after(Shed(8, 10), (hours, 0)).fixed == pytest.approx(0.9, abs=0.02)


def test_pieces_again_speak_against_it() -> None:
    start = after(Shed(8, 10)).fixed
    assert after(Shed(8, 10), (10, 8)).fixed < start / 4
    assert after(Shed(8, 10), (10, 0)).fixed > start


def test_a_count_that_a_sound_bike_has_too_proves_nothing() -> None:
    """As many as are shed anyway: silence weighs 1."""
    anyway = sheds_anyway(FLOW, after(None).family)
    start, end = after(Shed(10 * anyway, 10)), after(Shed(10 * anyway, 10), (10, 0))
    assert odds_of_still_wrong(end) >= odds_of_still_wrong(start)


def test_without_a_count_nothing_changes() -> None:
    """The flow's own rates, as ever: the book knew nothing."""
    now = after(None, (5, 0))
    assert now.shedding is None
    assert after(Shed(8, 10)).fixed == pytest.approx(after(None).fixed)


@given(k=st.floats(1, 40), hours=st.floats(1, 40), short=st.floats(0.5, 20), longer=st.floats(0, 20))
def test_a_longer_clean_run_never_lowers_it(k: float, hours: float, short: float, longer: float) -> None:
    one, other = (after(Shed(k, hours), (run, 0)).fixed for run in (short, short + longer))
    assert other >= one - 0.005  # the joint may come loose with .001 in ten hours


def test_sets_lose_what_was_mended() -> None:
    family = after(None).family
    at = family.at["nut-loose"]
    gone = without(family, (at,))
    for row, bare in enumerate(gone):
        if row != family.unlisted:
            assert not family.member[bare, at]
            assert np.array_equal(np.delete(family.member[row], at), np.delete(family.member[bare], at))


def test_what_is_asked_next_is_reckoned_over_the_same_hours() -> None:
    """A look 20 minutes after the repair would tell little, and the planner knows it."""
    now = after(None, (1 / 3, 0))
    assert now.hours == pytest.approx(1 / 3)
    table = likelihood(FLOW, now.family, "magnet", {}, now.weights, now.hours)
    rate = -np.log(rows_of(FLOW, now.family, 1.0).of("steel-bits", ABSENT))
    asked = FLOW.asking("magnet")
    shows = (1 - asked.slip) * -np.expm1(-rate / 3) + asked.slip / 2
    assert table.outcomes[table.labels.index("all")] == pytest.approx(shows)
    problem = plan.beliefs(FLOW, Diary().state).hours
    assert problem is None  # before any repair: as long as the strengths speak of
