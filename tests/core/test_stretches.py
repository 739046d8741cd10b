"""Best and worst case of vague counts and hours, beside trying every case within the spans."""

from __future__ import annotations

import itertools
import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from bot.core.counts import Side, alarm_limit, chance_of_fall, chance_of_rise, e_chance, ratio_limits
from bot.core.stretches import LOOKS, Stretch, pool

SPAN = st.tuples(st.integers(0, 12), st.integers(0, 6)).map(lambda s: (s[0], s[0] + s[1]))
HOURS = st.tuples(st.floats(1, 20), st.floats(0, 8)).map(lambda s: (s[0], s[0] + s[1]))
STRETCH = st.builds(Stretch, SPAN, HOURS)


def cases(one: Stretch, other: Stretch) -> list[tuple[int, float, int, float]]:
    """Every count of both, at the ends and in the middle of the hours."""

    def inside(s: Stretch) -> list[tuple[int, float]]:
        hours = (s.hours[0], sum(s.hours) / 2, s.hours[1])
        return list(itertools.product(range(s.pieces[0], (s.pieces[1] or 0) + 1), hours))

    return [(*a, *b) for a, b in itertools.product(inside(one), inside(other))]


@given(STRETCH, STRETCH)
def test_the_span_of_chances_holds_every_case(before: Stretch, now: Stretch) -> None:
    for span, chance in ((before.rise(now), chance_of_rise), (before.fall(now), chance_of_fall)):
        every = [chance(*case) for case in cases(before, now)]
        assert span == pytest.approx((min(every), max(every)), abs=1e-12)


@given(st.builds(Stretch, st.tuples(st.integers(4, 5), st.integers(5, 6)), HOURS))
def test_the_span_of_ratios_holds_the_extreme_cases(now: Stretch) -> None:
    before = Stretch((3, 4), (8.0, 10.0))
    every = [ratio_limits(*case) for case in cases(before, now)]
    assert before.times(now)[0] == pytest.approx(min(low for low, _ in every))
    assert before.times(now)[1] == pytest.approx(max(high for _, high in every))


RUN = st.floats(1, 20).map(lambda t: (t, t))


@given(st.builds(Stretch, SPAN, RUN), st.builds(Stretch, SPAN, RUN), st.sampled_from(["rise", "fall"]))
def test_the_span_by_the_e_test_holds_every_count(before: Stretch, now: Stretch, side: Side) -> None:
    """But for no piece in either: that is no change, and one piece may be likelier either way."""
    assume(before.pieces[0] and now.pieces[0])
    every = [e_chance(*case, side) for case in cases(before, now)]
    assert before.by_e_test(now, side) == pytest.approx((min(every), max(every)), abs=1e-12)


@given(STRETCH, STRETCH, st.sampled_from(["rise", "fall"]))
def test_over_vague_hours_a_case_lies_hardly_outside_the_span(
    before: Stretch, now: Stretch, side: Side
) -> None:
    assume(before.pieces[0] and now.pieces[0])
    low, high = before.by_e_test(now, side)
    assert all(low - 0.05 <= e_chance(*case, side) <= high + 0.05 for case in cases(before, now))


def test_the_e_test_of_an_open_count() -> None:
    many, few = Stretch((60, None), (5.0, 5.0)), Stretch((2, 2), (6.0, 6.0))
    assert few.by_e_test(many, "rise") == (0.0, e_chance(2, 6, 60, 5, "rise"))
    assert many.by_e_test(few, "fall") == (0.0, e_chance(60, 5, 2, 6, "fall"))


def test_an_open_count_has_no_upper_end() -> None:
    many = Stretch((60, None), (5.0, 5.0))
    few = Stretch((2, 2), (6.0, 6.0))
    assert many.per_hour == (12.0, math.inf)
    assert many.middle == 12.0
    assert many.limits()[1] == math.inf
    assert many.alarm(5.0) == (alarm_limit(60, 5, 5), None)
    assert few.rise(many) == (0.0, chance_of_rise(2, 6, 60, 5))
    assert many.fall(few) == (0.0, chance_of_fall(60, 5, 2, 6))
    assert few.times_below(many) == math.inf


def test_a_vague_run_moves_both_alarm_limits() -> None:
    assert Stretch((2, 4), (4.0, 8.0)).alarm(5.0) == (alarm_limit(2, 8, 5), alarm_limit(4, 4, 5))


def test_pooling_sums_pieces_and_hours() -> None:
    whole = pool([((2, 4), (5.0, 6.0)), ((1, 1), (3.0, 3.0))])
    assert (whole.pieces, whole.hours, whole.looks) == ((3, 5), (8.0, 9.0), 2)
    assert pool([((2, 4), (5.0, 6.0)), ((60, None), (3.0, 3.0))]).pieces == (62, None)


def test_scatter_is_told_from_eight_looks_on() -> None:
    """0 8 1 9 2 4 6 2: 4 expected; squares 16 16 9 25 4 0 4 4 make 78; 78 / 4 / 7."""
    looks = [((k, k), (5.0, 5.0)) for k in (0, 8, 1, 9, 2, 4, 6, 2)]
    assert len(looks) == LOOKS
    assert pool(looks).dispersion == pytest.approx(78 / 28)
    assert pool(looks).looks_needed == 0
    assert pool(looks[:-1]).dispersion is None
    assert pool(looks[:-1]).looks_needed == 1


def test_scatter_takes_spans_in_the_middle_and_leaves_open_counts_out() -> None:
    looks = [((k, k), (5.0, 5.0)) for k in (0, 8, 1, 9, 2, 4, 6)]
    vague = [*looks, ((1, 3), (4.0, 6.0))]
    assert pool(vague).dispersion == pytest.approx(78 / 28)
    assert pool([*looks, ((60, None), (5.0, 5.0))]).looks_needed == 1


@pytest.mark.reference
def test_single_pieces_exceed_two_by_chance_one_time_in_twenty() -> None:
    """The reason for eight looks and not five."""
    stats = pytest.importorskip("scipy.stats")
    assert stats.chi2.sf(2 * (LOOKS - 1), LOOKS - 1) == pytest.approx(1 / 20, abs=2e-3)
    assert stats.chi2.sf(2 * 4, 4) == pytest.approx(1 / 11, abs=2e-3)
