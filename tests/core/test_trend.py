"""A bike's looks one after another: what each of them may be called, and what it may not."""

from __future__ import annotations

import dataclasses
import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from bot.core.counts import alarm_limit, chance_of_fall, chance_of_rise, e_chance
from bot.core.trend import Interval, Trend, judge, pooled

FILTER, OIL = "filter", "oil"


def look(
    pieces: int | tuple[int, int | None],
    hours: float | tuple[float, float],
    cleaned: str = FILTER,
    *,
    work: bool = False,
    chunk: bool = False,
) -> Interval:
    counted = (pieces, pieces) if isinstance(pieces, int) else pieces
    run = hours if isinstance(hours, tuple) else (hours, hours)
    return Interval(run, counted, 0.0, cleaned, work, chunk)


def bike(*looks: Interval) -> list[Interval]:
    """The looks with the running hours of the bike at each of them."""
    total, out = 0.0, []
    for one in looks:
        total += sum(one.hours) / 2
        out.append(dataclasses.replace(one, ends=total))
    return out


def told(*looks: Interval) -> Trend:
    return judge(bike(*looks))


# --- two looks ----------------------------------------------------------------------------------


def test_the_first_look_is_no_trend() -> None:
    trend = told(look(9, 5))
    assert (trend.direction, trend.before, trend.chance) == ("first", None, None)
    assert trend.alarm == (alarm_limit(9, 5, 5),) * 2


def test_two_then_nine_is_a_rise() -> None:
    trend = told(look(2, 6), look(9, 5))
    assert trend.direction == "rising"
    assert trend.side == "rise"
    assert trend.chance == pytest.approx((0.015984, 0.015984), abs=5e-7)  # by hand in test_counts
    assert trend.latest.per_hour == (1.8, 1.8)


def test_a_rise_does_not_raise_its_own_alarm_limit() -> None:
    trend = told(look(2, 6), look(9, 5))
    assert trend.alarm == (alarm_limit(2, 6, 5),) * 2


def test_eight_then_one_is_a_fall_and_lowers_the_alarm_limit() -> None:
    trend = told(look(8, 10), look(1, 10))
    assert (trend.direction, trend.side, trend.good_news) == ("falling", "fall", True)
    assert trend.chance == pytest.approx((0.0195, 0.0195), abs=5e-5)
    assert trend.alarm == (6, 6)


def test_ten_then_nine_is_the_same_and_three_then_three_cannot_be_told() -> None:
    """A rise to three times as many: ruled out by ten and nine, open with three and three."""
    assert told(look(10, 5), look(9, 5)).direction == "same"
    assert told(look(3, 5), look(3, 5)).direction == "unclear"


def test_same_and_less_are_told_apart() -> None:
    same, less = told(look(10, 5), look(9, 5)), told(look(10, 5), look(2, 5))
    assert (same.direction, less.direction) == ("same", "falling")
    assert not same.good_news


def test_more_pieces_in_more_hours_are_no_rise() -> None:
    """8 in 4 h is 2 an hour, 16 in 8 h is 2 an hour."""
    assert told(look(8, 4), look(16, 8)).direction == "same"


def test_nothing_and_nothing_is_the_same() -> None:
    assert told(look(0, 5), look(0, 5)).direction == "same"


def test_the_pooled_history_sees_what_the_last_look_alone_does_not() -> None:
    quiet = [look(2, 5) for _ in range(6)]
    assert told(look(2, 5), look(7, 5)).direction == "unclear"
    trend = told(*quiet, look(7, 5))
    assert trend.direction == "rising"
    assert trend.chance == pytest.approx((chance_of_rise(12, 30, 7, 5),) * 2)


def test_a_gearbox_that_never_showed_any_and_then_six() -> None:
    """Reliabilityweb, "Rate of change": always 0 ppm of iron, then 6, was failing; the limit was 50."""
    assert told(*[look(0, 10) for _ in range(4)], look(6, 10)).direction == "rising"


# --- the engine was opened ----------------------------------------------------------------------


def test_the_first_look_after_work_is_called_that_and_says_what_was_before() -> None:
    trend = told(look(8, 10), look(20, 5, work=True))
    assert trend.direction == "after_work"
    assert trend.before == pooled(bike(look(8, 10)))
    assert told(look(20, 5, work=True)).direction == "after_work"


def test_what_was_before_the_work_is_not_compared_after_it() -> None:
    trend = told(look(30, 5), look(1, 5, work=True), look(1, 5), look(9, 5))
    assert trend.before is not None
    assert (trend.before.pieces, trend.direction) == ((2, 2), "rising")


# Computed for this test: 30 (e^(-a/4) - e^(-b/4)) + 0.6 (b - a) over hours a to b, as whole pieces.
RUNNING_IN = [(7, 1), (10, 2), (9, 3), (8, 5), (8, 10), (6, 10), (6, 10)]


def new_engine(upto: int) -> list[Interval]:
    return [look(k, t, work=n == 0) for n, (k, t) in enumerate(RUNNING_IN[:upto])]


def test_the_running_in_example_is_what_its_formula_gives() -> None:
    at, exact = 0.0, []
    for pieces, hours in RUNNING_IN:
        shed = 30 * (math.exp(-at / 4) - math.exp(-(at + hours) / 4)) + 0.6 * hours
        exact.append(round(shed, 2))
        at += hours
        assert round(shed) == pieces
    assert exact == [7.24, 10.39, 9.28, 7.78, 7.76, 6.14, 6.01]


@pytest.mark.parametrize(
    ("looks", "direction"),
    [(1, "after_work"), *[(n, "running_in") for n in (2, 3, 4, 5, 6)], (7, "same")],
)
def test_running_in_is_recognised_while_the_sums_rise(looks: int, direction: str) -> None:
    """Per hour 7, 5, 3, 1.6, .8, .6, .6: it ends with the look that falls no further."""
    assert told(*new_engine(looks)).direction == direction


def test_a_rise_out_of_running_in_is_a_rise() -> None:
    """Against all looks 54 in 41 h, 1.3 an hour, 20 in 10 h might pass; against the settled ones not."""
    trend = told(*new_engine(7), look(20, 10))
    assert trend.direction == "rising"
    assert [x.pieces[0] for x in trend.higher] == [9, 8]
    assert trend.before is not None
    assert trend.before.pieces == (20, 20)
    assert chance_of_rise(54, 41, 20, 10) > 0.05


def test_a_relapse_after_a_fall_is_a_rise() -> None:
    """8, 8, 8, then 1 and 1: 24 in 30 h before the cut, 2 in 20 h after it. 7 beside all 26 is no rise."""
    trend = told(look(8, 10), look(8, 10), look(8, 10), look(1, 10), look(1, 10), look(7, 10))
    assert trend.direction == "rising"
    assert len(trend.higher) == 3
    assert chance_of_rise(26, 50, 7, 10) > 0.05


def test_a_low_look_among_others_cuts_no_history() -> None:
    """5, 4, 6, then 2: 2 or fewer beside 15 in 30 h have a chance of .19."""
    assert told(look(5, 10), look(4, 10), look(6, 10), look(2, 10), look(5, 10)).higher == ()


def test_of_many_cuts_the_best_must_be_better() -> None:
    """13 in 20 h, then 3 in 15 h: enough for one cut chosen beforehand, not for the best of six."""
    assert chance_of_fall(13, 20, 3, 15) < 0.05 < 6 * chance_of_fall(13, 20, 3, 15)
    assert told(*[look(k, 5) for k in (4, 3, 3, 3, 1, 1, 1)], look(2, 5)).higher == ()


def test_a_rise_at_the_second_look_of_a_new_engine_is_a_rise() -> None:
    assert told(look(3, 5, work=True), look(15, 5)).direction == "rising"


def test_an_old_engine_does_not_run_in() -> None:
    assert told(look(9, 5), look(7, 5)).direction != "running_in"


def test_running_in_is_over_once_the_rate_has_not_fallen() -> None:
    trend = told(look(20, 5, work=True), look(20, 5), look(22, 5), look(4, 5))
    assert trend.direction == "falling"


# --- like with like -----------------------------------------------------------------------------


def test_looks_after_other_cleaning_are_left_out_and_named() -> None:
    trend = told(look(30, 5, OIL), look(2, 5), look(9, 5))
    assert trend.direction == "rising"
    assert trend.before is not None
    assert trend.before.pieces == (2, 2)
    assert [x.pieces for x in trend.other_cleaning] == [(30, 30)]


def test_with_nothing_but_other_cleaning_it_cannot_be_told() -> None:
    trend = told(look(2, 10, OIL), look(30, 10))
    assert (trend.direction, trend.before, trend.chance) == ("unclear", None, None)


def test_a_cleaning_that_nobody_noted_is_compared_and_that_is_said() -> None:
    trend = told(look(2, 6, ""), look(9, 5))
    assert (trend.direction, trend.cleaning_unknown) == ("rising", True)
    assert not told(look(2, 6), look(9, 5)).cleaning_unknown


def test_runs_of_unlike_hours_are_left_out_while_others_remain() -> None:
    trend = told(look(4, 1), look(2, 5), look(3, 5))
    assert [x.hours for x in trend.other_hours] == [(1, 1)]
    assert not trend.far_hours
    assert told(look(4, 1.25), look(2, 5), look(3, 5)).other_hours == ()  # four times is still like


def test_unlike_hours_are_better_than_none_and_that_is_said() -> None:
    trend = told(look(1, 10), look(6, 0.5))
    assert (trend.direction, trend.far_hours, trend.other_hours) == ("rising", True, ())


# --- vague counts and meters --------------------------------------------------------------------


def test_a_pinch_that_may_or_may_not_be_a_rise_cannot_be_told() -> None:
    trend = told(look(2, 6), look((5, 30), 5))
    assert (trend.direction, trend.vague) == ("unclear", True)
    assert trend.chance is not None
    assert trend.chance == pytest.approx((chance_of_rise(2, 6, 30, 5), chance_of_rise(2, 6, 5, 5)))


def test_a_pinch_that_is_a_rise_at_its_lower_end_is_a_rise() -> None:
    assert told(look(2, 6), look((9, 30), 5)).direction == "rising"


def test_a_span_that_reaches_into_a_rise_is_not_the_same() -> None:
    """100 then 100 is the same, 100 then 150 is a rise of half as many again."""
    assert told(look(100, 50), look(100, 50)).direction == "same"
    assert told(look(100, 50), look(150, 50)).direction == "rising"
    assert told(look(100, 50), look((100, 150), 50)).direction == "unclear"


def test_more_than_sixty_is_a_rise_and_sets_no_limit() -> None:
    assert told(look(2, 6), look((60, None), 5)).direction == "rising"
    assert told(look((60, None), 5)).alarm[1] is None


def test_after_more_than_sixty_nothing_is_a_rise() -> None:
    assert told(look((60, None), 5), look(300, 5)).direction == "unclear"
    assert told(look((60, None), 5), look(3, 5)).direction == "falling"


def test_a_vague_hour_meter_can_hide_a_rise() -> None:
    """9 in 5 h is one; 9 in 4 to 9 h may be 1 an hour after a third."""
    trend = told(look(2, 6), look(9, (4, 9)))
    assert (trend.direction, trend.vague) == ("unclear", True)


# --- clumps -------------------------------------------------------------------------------------

CLUMPED = [0, 8, 1, 9, 2, 4, 6, 2]  # variance to mean 78 / 28, by hand in test_stretches


def test_clumps_take_a_rise_back() -> None:
    """32 in 40 h, then 10 in 5 h; with 2.79 to the clump 11.5 and 3.6 clumps."""
    trend = told(*[look(k, 5) for k in CLUMPED], look(10, 5))
    assert chance_of_rise(32, 40, 10, 5) < 0.05
    assert trend.dispersion == pytest.approx(78 / 28)
    assert (trend.widened, trend.direction) == (True, "unclear")
    assert trend.chance == pytest.approx((chance_of_rise(32, 40, 10, 5, 78 / 28),) * 2)
    assert trend.alarm[1] == alarm_limit(42, 45, 5, dispersion=78 / 28)


def test_seven_looks_do_not_tell_clumps() -> None:
    trend = told(*[look(k, 5) for k in CLUMPED[:-1]], look(10, 5))
    assert (trend.dispersion, trend.looks_needed, trend.widened) == (None, 1, False)


def test_even_looks_are_not_widened() -> None:
    trend = told(*[look(k, 5) for k in (4, 5, 3, 4, 4, 5, 3, 4)], look(4, 5))
    assert trend.dispersion is not None
    assert trend.dispersion < 1
    assert not trend.widened


def test_a_rise_does_not_excuse_itself_as_a_clump() -> None:
    trend = told(*[look(4, 5) for _ in range(8)], look(40, 5))
    assert (trend.dispersion, trend.direction) == (0.0, "rising")


# --- a chunk outranks counts --------------------------------------------------------------------


def test_less_after_a_chunk_is_no_good_news() -> None:
    trend = told(look(8, 10, chunk=True), look(0, 10))
    assert (trend.direction, trend.chunk_before, trend.good_news) == ("falling", True, False)


def test_a_chunk_stays_on_record_through_work_and_running_in() -> None:
    trend = told(look(8, 10, chunk=True), look(9, 5, work=True), look(2, 5))
    assert (trend.direction, trend.chunk_before, trend.good_news) == ("running_in", True, False)


def test_a_chunk_in_the_latest_look_is_said_as_that() -> None:
    trend = told(look(8, 10), look(1, 10, chunk=True))
    assert (trend.chunk_now, trend.chunk_before, trend.good_news) == (True, False, False)


def test_looks_that_are_none_are_refused() -> None:
    for wrong in (look(2, 0), look((3, 2), 5), look(-1, 5), look(1, (6, 5)), look(1, math.inf)):
        with pytest.raises(ValueError, match="no span"):
            judge([wrong])
    with pytest.raises(ValueError, match="no look"):
        judge([])


# --- what always holds --------------------------------------------------------------------------

PIECES = st.tuples(st.integers(0, 15), st.one_of(st.just(0), st.integers(0, 20), st.none())).map(
    lambda s: (s[0], None if s[1] is None else s[0] + s[1])
)
RUNS = st.tuples(st.sampled_from([0.5, 1.0, 2.0, 5.0, 6.0, 10.0]), st.sampled_from([0.0, 0.0, 1.5])).map(
    lambda s: (s[0], s[0] + s[1])
)
LOOK = st.builds(
    Interval,
    RUNS,
    PIECES,
    st.just(0.0),
    st.sampled_from([FILTER, FILTER, OIL, ""]),
    st.sampled_from([False, False, False, True]),
    st.booleans(),
)
BIKE = st.lists(LOOK, min_size=1, max_size=10).map(lambda looks: bike(*looks))


@given(BIKE, st.integers(1, 30))
def test_more_pieces_never_lower_the_urgency(looks: list[Interval], more: int) -> None:
    *past, latest = looks
    low, high = latest.pieces
    raised = dataclasses.replace(latest, pieces=(low + more, None if high is None else high + more))
    assert judge([*past, raised]).urgency >= judge(looks).urgency


@given(BIKE)
def test_an_open_end_never_lowers_the_urgency(looks: list[Interval]) -> None:
    *past, latest = looks
    opened = dataclasses.replace(latest, pieces=(latest.pieces[0], None))
    before, after = judge(looks), judge([*past, opened])
    assert after.urgency >= before.urgency


@given(BIKE, st.randoms(use_true_random=False))
def test_the_order_in_which_looks_are_given_changes_nothing(looks: list[Interval], chance: object) -> None:
    shuffled = list(looks)
    chance.shuffle(shuffled)  # type: ignore[attr-defined]
    assert judge(shuffled) == judge(looks)


@given(st.lists(LOOK, min_size=2, max_size=6), st.randoms(use_true_random=False))
def test_not_even_with_looks_at_the_same_hours(looks: list[Interval], chance: object) -> None:
    shuffled = list(looks)
    chance.shuffle(shuffled)  # type: ignore[attr-defined]
    assert judge(shuffled) == judge(looks)


@given(BIKE)
def test_minutes_give_what_hours_give(looks: list[Interval]) -> None:
    minutes = [
        dataclasses.replace(x, hours=(60 * x.hours[0], 60 * x.hours[1]), ends=60 * x.ends) for x in looks
    ]
    one, other = judge(looks), judge(minutes)
    assert (one.direction, one.alarm, one.widened, one.vague) == (
        other.direction, other.alarm, other.widened, other.vague,
    )  # fmt: skip
    if one.chance is not None and other.chance is not None:
        assert other.chance == pytest.approx(one.chance)
    assert [60 * x for x in other.limits[1]] == pytest.approx(list(one.limits[1]))


@given(BIKE)
def test_rising_and_falling_hold_at_both_ends_of_every_span(looks: list[Interval]) -> None:
    trend = judge(looks)
    shown = trend.chance is not None and trend.chance[1] <= 0.05
    rises = shown and trend.side == "rise" and trend.direction != "after_work"
    assert (trend.direction == "rising") == rises
    if trend.direction == "falling":
        assert shown
        assert trend.side == "fall"


@given(BIKE)
def test_every_look_since_the_work_is_compared_or_named_as_left_out(looks: list[Interval]) -> None:
    trend = judge(looks)
    opened = [n for n, x in enumerate(looks[:-1]) if x.fresh_work]
    since = len(looks) - 1 - (opened[-1] if opened else 0)
    left = len(trend.other_cleaning) + len(trend.other_hours) + len(trend.higher)
    assert (trend.before.looks if trend.before else 0) + left == since


@given(BIKE)
def test_less_is_never_good_news_after_a_chunk(looks: list[Interval]) -> None:
    assume(any(x.chunk for x in looks))
    assert not judge(looks).good_news


@given(st.integers(0, 30), st.integers(0, 30), st.floats(1, 20), st.floats(1, 20))
def test_the_alarm_limit_is_where_the_next_look_would_be_called_rising(
    k: int, first: int, run: float, ahead: float
) -> None:
    """For bikes that go on as they were, or lower."""
    looks = bike(look(k, run), look(first, run))
    trend = judge(looks, next_hours=ahead)
    assume(trend.direction != "rising" and ahead < 4 * run and run < 4 * ahead)
    limit = trend.alarm[1]
    assert limit is not None
    assert judge(bike(*looks, look(limit + 1, ahead))).direction == "rising"
    assert judge(bike(*looks, look(limit, ahead))).direction != "rising"


def test_a_fall_is_the_same_test_from_the_other_side() -> None:
    trend = told(look(12, 15), look(3, 15))
    assert trend.chance == pytest.approx((chance_of_fall(12, 15, 3, 15),) * 2)


def test_the_e_test_is_shown_beside_it_and_judges_nothing() -> None:
    """5, then none in as many hours: .0313 and .0099; 4, then none: .0625 and .0206, and that is no fall."""
    five, four = (told(look(k, 10), look(0, 10)) for k in (5, 4))
    assert five.e_chance == pytest.approx((0.0099, 0.0099), abs=5e-5)
    assert four.e_chance == pytest.approx((e_chance(4, 10, 0, 10, "fall"),) * 2)
    assert four.e_chance is not None
    assert four.e_chance[1] < 0.05
    assert [five.direction, four.direction] == ["falling", "same"]
    assert told(look(4, 10)).e_chance is None


def test_the_e_test_has_no_figure_for_clumps() -> None:
    """It is for pieces that come singly, and takes whole counts only."""
    trend = told(*[look(k, 5) for k in CLUMPED], look(10, 5))
    assert (trend.widened, trend.e_chance) == (True, None)
