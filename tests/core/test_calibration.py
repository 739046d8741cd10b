"""Whether stated chances were right: the score beside a published example, tenths and limits by hand."""

from __future__ import annotations

import random
from statistics import fmean
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bot.core.calibration import Tenth, brier, reliability, share_limits, tenths

CHANCES = st.dictionaries(
    st.sampled_from(["nut", "basket", "kick", "fines", ""]), st.floats(0, 1), min_size=1
)


def test_the_published_example_of_four_forecasts() -> None:
    """scikit-learn's documentation of brier_score_loss: events 0 1 1 0, stated .1 .9 .8 .3, score 0.0375.

    That is for one event; over both kinds of outcome each difference comes twice, so it is 0.075.
    """
    stated, came = [0.1, 0.9, 0.8, 0.3], [0, 1, 1, 0]
    scores = [brier({"it": p, "": 1 - p}, "it" if true else "") for p, true in zip(stated, came, strict=True)]
    assert fmean(scores) == pytest.approx(2 * 0.0375)


def test_the_best_the_worst_and_no_opinion() -> None:
    """All on the right one 0; all on a wrong one 1 + 1; a quarter on each of four 9/16 + 3/16 = 0.75."""
    assert brier({"nut": 1.0, "basket": 0.0}, "nut") == 0
    assert brier({"nut": 1.0, "basket": 0.0}, "basket") == 2
    assert brier(dict.fromkeys(("nut", "basket", "kick", ""), 0.25), "kick") == pytest.approx(0.75)


def test_a_cause_of_which_nothing_was_said_was_held_impossible() -> None:
    assert brier({"nut": 0.5, "": 0.5}, "basket") == pytest.approx(0.25 + 0.25 + 1)
    assert tenths({"nut": 0.5}, "basket") == (Tenth(0, 1, 0.0, 1), Tenth(5, 1, 0.5, 0))


@given(CHANCES, st.sampled_from(["nut", ""]))
def test_a_score_is_the_sum_over_all_that_was_stated(chances: dict[str, float], cause: str) -> None:
    plain = sum((p - (id == cause)) ** 2 for id, p in chances.items()) + (cause not in chances)
    assert brier(chances, cause) == pytest.approx(plain)


def test_chances_go_to_their_tenths() -> None:
    found = tenths({"nut": 0.62, "basket": 0.1, "kick": 0.19, "fines": 0.0999, "": 0.0}, "basket")
    assert [(t.bin, t.held, t.hits) for t in found] == [(0, 2, 0), (1, 2, 1), (6, 1, 0)]
    assert [t.chances for t in found] == pytest.approx([0.0999, 0.29, 0.62])


def test_a_certain_cause_belongs_to_the_last_tenth() -> None:
    assert tenths({"nut": 1.0}, "nut") == (Tenth(9, 1, 1.0, 1),)


@given(CHANCES, st.sampled_from(["nut", ""]))
def test_every_chance_is_in_one_tenth_and_one_is_a_hit(chances: dict[str, float], cause: str) -> None:
    found = tenths(chances, cause)
    assert sum(t.held for t in found) == len({*chances, cause})
    assert sum(t.hits for t in found) == 1
    assert sum(t.chances for t in found) == pytest.approx(sum(chances.values()))


def test_a_line_of_the_table() -> None:
    """Ten times held 0.2 likely on average, three times it was so. Limits: see below."""
    [line] = reliability([Tenth(4, 0, 0.0, 0), Tenth(1, 10, 2.0, 3)])
    assert (line.bin, line.held, line.said, line.seen) == (1, 10, 0.2, 0.3)
    assert (line.low, line.high) == pytest.approx((0.0667, 0.6525), abs=5e-5)


@pytest.mark.parametrize(
    ("hits", "trials", "low", "high"),
    [
        (0, 10, 0.0, 0.3085),  # closed form: 1 - 0.025^(1/10)
        (10, 10, 0.6915, 1.0),  # closed form: 0.025^(1/10)
        (1, 1, 0.025, 1.0),
        (3, 10, 0.0667, 0.6525),  # computed for this test by scipy 1.17.1
    ],
)
def test_exact_limits_of_a_share(hits: int, trials: int, low: float, high: float) -> None:
    assert share_limits(hits, trials) == pytest.approx((low, high), abs=5e-5)


@pytest.mark.reference
@pytest.mark.parametrize(("hits", "trials"), [(0, 7), (3, 10), (17, 200), (40, 41), (9, 9)])
def test_limits_are_those_of_scipy(hits: int, trials: int) -> None:
    stats: Any = pytest.importorskip("scipy.stats")
    told = stats.binomtest(hits, trials).proportion_ci(0.95, "exact")
    assert share_limits(hits, trials) == pytest.approx((told.low, told.high), abs=1e-9)


def test_chances_that_are_right_look_right() -> None:
    """Causes drawn by the very chances that were stated: in each tenth what was said lies in the limits."""
    drawn, added = random.Random(7), dict[int, list[float]]()
    for _ in range(400):
        first = drawn.random()
        stated = {"nut": first, "basket": (1 - first) * 0.7, "": (1 - first) * 0.3}
        came = drawn.choices(list(stated), list(stated.values()))[0]
        for t in tenths(stated, came):
            into = added.setdefault(t.bin, [0, 0.0, 0])
            into[0], into[1], into[2] = into[0] + t.held, into[1] + t.chances, into[2] + t.hits
    table = reliability(Tenth(k, int(n), said, int(hits)) for k, (n, said, hits) in added.items())
    assert len(table) == 10
    assert sum(line.low <= line.said <= line.high for line in table) >= 9  # each is 95 of 100 by itself
