"""What is shown of a bike's looks: rates with exact limits, pooling of the oldest, both scales."""

from __future__ import annotations

import math
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bot.core.trend import Interval, judge
from bot.reports import trend_layout
from bot.reports.lettering import WIDTH
from bot.reports.trend_layout import lay_out
from bot.reports.trend_picture import TrendPicture, draw, text_line
from bot.reports.trend_points import (
    GROUPS,
    RECENT,
    Upwards,
    even_ticks,
    points,
    rate_ticks,
    scale_hours,
    scale_rates,
)
from tests.core.test_trend import BIKE, CLUMPED, OIL, bike, look
from tests.reports.bikes_drawn import WORDS, at, long_history, notes, of, picture

# --- points -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("k", "low", "high"), [(5, 1.623, 11.668), (10, 4.795, 18.390), (0, 0.0, 3.689), (25, 16.18, 36.90)]
)
def test_rates_with_their_exact_limits(k: int, low: float, high: float) -> None:
    """Garwood's limits of a count, as in test_counts; 25: GraphPad FAQ. In 4 h, a quarter of each."""
    (point,) = points(of(look(k, 4)))
    assert point.rate == (k / 4, k / 4)
    assert point.limits == pytest.approx((low / 4, high / 4), abs=2e-3)
    assert point.kind == "counted"


def test_a_look_stands_at_its_end_and_for_its_run() -> None:
    dot = lay_out(picture("", at(100, look(1, 5), look(2, 10)))).dots[1]
    assert dot.point.hours == (105, 115)
    assert dot.x == dot.run[1]
    whole = lay_out(picture("", at(100, look(1, 5), look(2, 10)))).dots[0].run[0]
    assert dot.run[1] - dot.run[0] == pytest.approx((dot.run[1] - whole) * 10 / 15)


def test_the_latest_limits_are_those_of_the_words_also_where_pieces_clump() -> None:
    clumps = of(*[look(k, 5) for k in CLUMPED], look(10, 5))
    assert clumps.trend.widened
    assert points(clumps)[-1].limits == clumps.trend.limits[1]
    assert "clumps" in notes(lay_out(clumps))
    assert "clumps" not in notes(lay_out(of(look(3, 5))))


def test_a_pinch_is_a_range_and_over_sixty_has_no_upper_end() -> None:
    """5 to 30 pieces in 6 to 10 h: from .5 to 5 an hour; limits of 5 in 10 h and of 30 in 6 h."""
    pinch, many = points(of(look((5, 30), (6, 10)), look((60, None), 5)))
    assert (pinch.kind, pinch.rate, pinch.open) == ("vague", (0.5, 5.0), False)
    assert pinch.limits == pytest.approx((0.1623, 42.827 / 6), abs=1e-3)  # 30: 20.241 to 42.827, same tables
    assert (many.kind, many.rate, many.open) == ("vague", (12.0, math.inf), True)


def test_a_counted_look_over_vague_hours_is_a_range_too() -> None:
    (point,) = points(of(look(2, (4, 8))))
    assert (point.kind, point.rate) == ("vague", (0.25, 0.5))
    assert point.hours == (-2.0, 6.0)  # ended at 6, the middle, and ran for 8 at most


def test_a_chunk_has_its_marker_and_other_cleaning_is_hollow() -> None:
    drawn_points = points(of(look(2, 5, OIL), look(2, 5, ""), look(2, 5, chunk=True), look(2, 5)))
    assert [point.kind for point in drawn_points] == ["counted", "counted", "chunk", "counted"]
    assert [point.other_cleaning for point in drawn_points] == [True, False, False, False]
    assert [point.kind for point in points(of(look((2, 9), 5, chunk=True)))] == ["chunk"]


def test_looks_are_put_in_the_order_of_their_hours() -> None:
    looks = bike(look(1, 5), look(2, 5), look(3, 5))
    mixed = picture("", [looks[2], looks[0], looks[1]])
    assert points(mixed) == points(picture("", looks))


# --- many, one, none ----------------------------------------------------------------------------


def test_two_thousand_looks_are_sixty_and_twelve_groups() -> None:
    """1940 older by hand: 12 groups of 162, the oldest of 158; no piece and no hour lost."""
    many = points(long_history(2000))
    assert [point.looks for point in many] == [158, *[162] * 11, *[1] * 60]
    assert (RECENT, GROUPS) == (60, 12)
    pieces = sum(p.rate[0] * 5 * p.looks for p in many)
    assert pieces == pytest.approx(sum(n % 4 for n in range(2000)))
    # 158 looks, 0 1 2 3 over and over: 39 times 6, then 0 and 1.
    assert many[0].rate == pytest.approx((235 / 790, 235 / 790))
    assert many[0].hours == (0, 790)


def test_a_group_has_the_limits_of_its_sum() -> None:
    """62 looks, the 2 oldest 5 pieces each in 2 h: a group of one each, as they are fewer than 12."""
    assert [p.looks for p in points(of(*[look(5, 2)] * 62))] == [1] * 62
    # 84 looks: 24 older in 12 groups of 2, so 10 pieces in 4 h; 10 has 4.795 to 18.390.
    first = points(of(*[look(5, 2)] * 84))[0]
    assert (first.looks, first.rate) == (2, (2.5, 2.5))
    assert first.limits == pytest.approx((4.795 / 4, 18.390 / 4), abs=2e-4)


def test_a_group_keeps_its_chunk_and_is_hollow_only_if_all_of_it_was_cleaned_otherwise() -> None:
    older = [look(1, 5, OIL, chunk=True), look(1, 5, OIL), look(1, 5, OIL), look(1, 5)]
    first, second = points(of(*older, *[look(1, 5)] * 80))[:2]
    assert (first.looks, first.kind, first.other_cleaning) == (2, "chunk", True)
    assert (second.kind, second.other_cleaning) == ("pooled", False)


def test_the_last_sixty_get_most_of_the_width_and_the_axis_is_cut() -> None:
    layout = lay_out(long_history(2000))
    assert layout.gap is not None
    recent = [dot.x for dot in layout.dots if dot.point.looks == 1]
    assert recent[0] > layout.gap[1]
    assert recent[-1] - recent[0] > 0.59 * WIDTH
    assert all(dot.x <= layout.gap[0] for dot in layout.dots if dot.point.looks > 1)
    assert layout.crowded
    assert "1940 oldest looks pooled, up to 162" in notes(layout)
    assert lay_out(of(*[look(1, 5)] * 70)).gap is None  # 60 of 70 have room enough as they are


def test_a_single_look_and_nothing_found_at_all() -> None:
    assert len(lay_out(of(look(3, 5))).dots) == 1
    clean = lay_out(of(*[look(0, 5)] * 3))
    assert not clean.narrow
    for dot in clean.dots:
        assert dot.y == clean.zero
        assert dot.limits[1] - clean.zero > 100  # nothing seen is not nothing there
        assert dot.marker[1] > clean.plot[1]  # whole, above the lower side


def test_no_look_is_told_in_a_sentence() -> None:
    empty = TrendPicture("Old Goat", (), (), judge([look(1, 5)]), WORDS)
    for ask in (lay_out, draw, text_line):
        with pytest.raises(ValueError, match="there is no look to draw yet"):
            ask(empty)


@pytest.mark.parametrize("ends", [math.nan, math.inf, 1e300])
def test_hours_that_are_none_are_refused(ends: float) -> None:
    looks = (Interval((5, 5), (1, 1), ends),)
    with pytest.raises(ValueError, match="finite running hours"):
        lay_out(TrendPicture("", looks, (), judge([look(1, 5)]), WORDS))


# --- scales -------------------------------------------------------------------------------------


def test_rates_near_each_other_get_an_even_scale() -> None:
    scale = scale_rates(points(of(look(10, 5), look(5, 5))), (), 0.0, 600.0)
    assert scale.knee == 0
    assert scale.highest == 4.0  # 18.390 / 5 is 3.68, and 5 in 100 above it 3.86
    assert [scale(rate) for rate in (0, 1, 2, 4)] == [0, 150, 300, 600]


def test_nothing_and_forty_an_hour_can_both_be_read() -> None:
    layout = lay_out(of(look(0, 5), look(1, 10), look(200, 5)))
    assert layout.narrow
    nothing, one, forty = (dot.y for dot in layout.dots)
    assert nothing == layout.zero
    assert one - nothing > 2 * trend_layout.DOT
    assert forty - one > 100
    assert "narrows" in notes(layout)
    assert {"0", "1", "10", "50"} <= {label.text for label in layout.labels if label.role == "tick"}


@given(st.floats(1e-3, 1e3), st.just(0.0) | st.floats(1e-3, 0.9), st.floats(1e-3, 0.1))
def test_a_scale_rises_from_nothing_to_its_top(highest: float, knee: float, step: float) -> None:
    scale = Upwards(50.0, 650.0, highest, knee * highest)
    assert (scale(0), scale(highest), scale(math.inf)) == pytest.approx((50, 650, 650))
    assert scale(step * highest) < scale(2 * step * highest)


@given(BIKE)
def test_everything_drawn_lies_within_the_plot(looks: list[Interval]) -> None:
    layout = lay_out(picture("Old Goat", looks))
    left, lower, right, upper = layout.plot
    assert upper - lower > 400
    for dot in layout.dots:
        assert lower < dot.limits[0] <= dot.rate[0] <= dot.y <= dot.rate[1] <= upper
        assert dot.rate[1] <= dot.limits[1] <= upper
        assert left <= dot.run[0] <= dot.run[1] <= right
    assert all(lower < level.y <= upper for level in layout.levels)


def test_even_ticks_by_hand() -> None:
    assert even_ticks(0, 100, 5) == [0, 20, 40, 60, 80, 100]
    assert even_ticks(3, 17, 3) == [5, 10, 15]
    assert even_ticks(120, 147, 6) == [120, 125, 130, 135, 140, 145]


def test_ticks_of_a_scale_that_narrows_are_apart_and_have_both_ends() -> None:
    scale = Upwards(0.0, 600.0, 50.0, 0.1)
    ticks = rate_ticks(scale, 62.0)
    assert ticks[0] == 0
    assert ticks[-1] == 50
    assert all(scale(b) - scale(a) >= 62 for a, b in pairwise(ticks))


def test_some_of_the_next_run_is_left_free() -> None:
    along = scale_hours(points(of(*[look(1, 10)] * 10)), 10.0, 0.0, 1100.0)
    assert along.span == (0, 110)
    assert along(100) == pytest.approx(1000)
    assert scale_hours(points(of(look(1, 10))), 500.0, 0.0, 1.0).span == (0, 11.5)
