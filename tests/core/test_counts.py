"""Exact limits and chances of counts beside published values, plain sums, scipy and statsmodels.

Published values come with their source. Those marked "computed for this test" were worked out once by
scipy 1.17.1 and statsmodels 0.15.0; the last tests ask both again where they are installed.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable
from fractions import Fraction
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bot.core.counts import (
    alarm_limit,
    at_least,
    at_most,
    chance_of_fall,
    chance_of_rise,
    clean_hours_to_show,
    e_chance,
    per_hour,
    rate_below,
    rate_limits,
    ratio_limits,
    scatter,
    share_below,
)

WHOLE = st.integers(0, 60)
HOURS = st.floats(0.5, 100)


# --- the sums, by a second method ---------------------------------------------------------------


def poisson_sum(first: int, last: int, mean: float) -> float:
    return math.fsum(math.exp(-mean) * mean**k / math.factorial(k) for k in range(first, last + 1))


def binomial_sum(first: int, last: int, share: float) -> float:
    """Of `last` trials at least `first`."""
    return math.fsum(
        math.comb(last, k) * share**k * (1 - share) ** (last - k) for k in range(first, last + 1)
    )


@given(WHOLE, st.floats(0.01, 80))
def test_a_poisson_tail_is_the_sum_of_its_terms(k: int, mean: float) -> None:
    assert at_most(k, mean) == pytest.approx(poisson_sum(0, k, mean), rel=1e-9, abs=1e-14)
    assert at_least(k, mean) == pytest.approx(1 - poisson_sum(0, k - 1, mean), abs=1e-12)


def test_a_rare_tail_keeps_its_figures() -> None:
    """1 - (nearly 1) would leave none."""
    assert at_least(20, 1.0) == pytest.approx(poisson_sum(20, 60, 1.0), rel=1e-10)
    assert at_most(3, 60.0) == pytest.approx(poisson_sum(0, 3, 60.0), rel=1e-10)


@given(st.integers(1, 60), st.integers(0, 60), st.floats(0.001, 0.999))
def test_a_binomial_tail_is_the_sum_of_its_terms(k: int, more: int, share: float) -> None:
    expected = binomial_sum(k, k + more, share)
    assert share_below(share, k, more + 1) == pytest.approx(expected, rel=1e-9, abs=1e-14)


def test_a_mean_far_above_the_count() -> None:
    """e^-1000 is no number that a float can hold."""
    assert at_least(1, 1000.0) == 1.0
    assert at_most(1, 1000.0) == 0.0
    assert at_least(900, 1000.0) + at_most(899, 1000.0) == pytest.approx(1.0)


def test_half_a_piece_lies_between_none_and_one() -> None:
    assert at_most(0, 2.0) < at_most(0.5, 2.0) < at_most(1, 2.0)
    assert chance_of_rise(2, 5, 4, 5) > chance_of_rise(2, 5, 4.5, 5) > chance_of_rise(2, 5, 5, 5)


def test_certain_and_impossible_shares() -> None:
    assert [share_below(0.3, 0, 4), share_below(1.0, 3, 4)] == [1.0, 1.0]
    assert [share_below(0.0, 3, 4), share_below(0.3, 3, 0)] == [0.0, 0.0]


# --- one rate -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("k", "low", "high"),
    [
        (0, 0.0, 3.689),  # upper end: manual of the R package epitools, pois.exact
        (25, 16.179, 36.905),  # GraphPad FAQ on the interval of a count: 16.18 to 36.90
        # the others: computed for this test
        (1, 0.025, 5.572),
        (2, 0.242, 7.225),
        (3, 0.619, 8.767),
        (4, 1.090, 10.242),
        (5, 1.623, 11.668),
        (6, 2.202, 13.059),
        (7, 2.814, 14.423),
        (8, 3.454, 15.763),
        (9, 4.115, 17.085),
        (10, 4.795, 18.390),
        (15, 8.395, 24.740),
        (20, 12.217, 30.888),
    ],
)
def test_limits_of_a_count(k: int, low: float, high: float) -> None:
    assert rate_limits(k, 1.0) == pytest.approx((low, high), abs=6e-4)


@pytest.mark.parametrize(
    ("level", "low", "high"), [(0.90, 17.38, 34.92), (0.95, 16.18, 36.90), (0.99, 14.00, 41.00)]
)
def test_twenty_five_seen_at_three_levels(level: float, low: float, high: float) -> None:
    """GraphPad FAQ on the interval of a count."""
    assert rate_limits(25, 1.0, level) == pytest.approx((low, high), abs=6e-3)


def test_fifteen_in_four_hundred() -> None:
    """statsmodels' own tests of confint_poisson and test_poisson, taken there from R."""
    assert rate_limits(15, 400) == pytest.approx((0.0209885, 0.0618505), abs=5e-8)
    assert 2 * at_most(15, 0.05 * 400) == pytest.approx(0.313026, abs=5e-7)


@pytest.mark.parametrize(("level", "times"), [(0.95, 2.9957), (0.97, 3.51), (0.99, 4.605), (0.995, 5.3)])
def test_nothing_seen_leaves_three_over_the_hours(level: float, times: float) -> None:
    """Hanley and Lippman-Hand 1983 (JAMA 249); the other levels: Quality Progress, November 2007."""
    assert rate_below(0, 1.0, level) == pytest.approx(times, abs=6e-3)
    assert rate_below(0, 7.0, level) == pytest.approx(-math.log(1 - level) / 7)


@pytest.mark.parametrize(("n", "rule", "exact"), [(1500, 1 / 500, 0.0019952), (300, 1 / 100, 0.0099361)])
def test_nothing_in_many_trials(n: int, rule: float, exact: float) -> None:
    """Rule of three as published: 1/500 and 1/100. Trials instead of hours: the binomial sum."""
    assert rate_below(0, n) == pytest.approx(rule, rel=2e-3)
    assert share_below(exact, 1, n) == pytest.approx(0.95, abs=2e-5)


def test_the_published_rate_of_change() -> None:
    """100 ppm after 100 h is 1 ppm an hour: Machinery Lubrication, article 284."""
    assert per_hour(100, 100) == 1.0


@pytest.mark.parametrize(("c", "beyond"), [(1, 0.0037), (2, 0.0045), (3, 0.0038), (5, 0.0055)])
def test_three_sigma_charts_cry_wolf_at_small_counts(c: int, beyond: float) -> None:
    """Why no c + 3 sqrt(c): nominal .00135. Computed for this test."""
    limit = math.floor(c + 3 * math.sqrt(c)) + 1
    assert at_least(limit, c) == pytest.approx(beyond, abs=5e-5)
    assert beyond > 2.5 * NOMINAL


NOMINAL = 0.00135  # above three standard deviations of a bell curve


def test_a_long_history_gives_nearly_the_limits_of_the_counts_chart() -> None:
    """NIST/SEMATECH e-Handbook 6.3.3.1, figures from memory: 400 defects on 25 wafers, 16 +- 3 sqrt 16.

    28 and 4 there. Exact for 16 known very well and the chart's own 1 in 740: above 29 and below 5, as
    the tail of counts is longer above and shorter below than that of a bell curve.
    """
    known = 10**4
    assert per_hour(400, 25) == 16.0
    assert (16 + 3 * math.sqrt(16), 16 - 3 * math.sqrt(16)) == (28, 4)
    assert alarm_limit(16 * known, known, 1, level=1 - NOMINAL) == 29
    assert at_least(29, 16) > NOMINAL > at_least(30, 16)
    assert at_most(4, 16) < NOMINAL < at_most(5, 16)
    assert alarm_limit(400 * known, known, 1, level=1 - NOMINAL) == 460 + 1  # 400 + 3 sqrt 400, and one


def test_with_no_more_than_those_wafers_the_limit_is_wider_and_at_one_in_twenty_lower() -> None:
    """The product counts the doubt of the 16 itself, and says alarm at .05. Computed for this test."""
    assert alarm_limit(400, 25, 1, level=1 - NOMINAL) == 30
    assert alarm_limit(400, 25, 1) == 23
    assert at_least(24, 16) < 0.05 < at_least(23, 16)


@pytest.mark.parametrize(("k", "chart"), [(0, 0), (1, 4), (2, 6), (3, 8), (5, 11)])
def test_the_alarm_after_few_pieces_is_not_the_charts(k: int, chart: int) -> None:
    """After none at all the chart would cry at the first piece."""
    assert math.floor(k + 3 * math.sqrt(k)) == chart
    assert alarm_limit(k, 10, 10) > chart
    assert chance_of_rise(k, 10, chart + 1, 10) > 0.05


# --- two rates ----------------------------------------------------------------------------------


def test_sixty_against_thirty() -> None:
    """60 in 51,477.5 against 30 in 54,308.7: Gu, Ng, Tang and Schucany 2008 (Biometrical Journal 50)."""
    assert chance_of_rise(30, 54308.7, 60, 51477.5) == pytest.approx(0.000428, abs=5e-7)


def test_eleven_in_eight_hundred_against_twenty_one() -> None:
    """The example of R's poisson.test (from memory); limits and chance computed for this test.

    Two-sided as R does it: this tail and all of the other that is no likelier; that ends at 2.
    """
    limits = ratio_limits(21, 3011, 11, 800)
    assert limits == pytest.approx((0.858, 4.277), abs=6e-4)
    assert per_hour(11, 800) / per_hour(21, 3011) == pytest.approx(1.971, abs=6e-4)
    other = 1 - binomial_sum(3, 32, 800 / 3811)
    assert chance_of_rise(21, 3011, 11, 800) + other == pytest.approx(0.07967, abs=5e-6)


@pytest.mark.parametrize(
    ("k1", "k2", "unconditional", "two_sided"), [(0, 3, 0.0884, 0.25), (2, 6, 0.1749, 0.289)]
)
def test_the_conditional_test_is_never_the_bolder_one(
    k1: int, k2: int, unconditional: float, two_sided: float
) -> None:
    """E-test: Krishnamoorthy and Thomson 2004 (J. Stat. Planning Inference 119), via scipy's manual."""
    ours = 2 * chance_of_rise(k1, 1, k2, 1)
    assert ours == pytest.approx(two_sided, abs=5e-4)
    assert e_chance(k1, 1, k2, 1) == pytest.approx(unconditional, abs=5e-5)
    assert ours > unconditional


REPAIRS = [
    # before, after; conditional, mid-p, E-test: computed for this test
    ((8, 10), (1, 10), 0.0195, 0.0107, 0.0086),
    ((6, 10), (1, 10), 0.0625, 0.0352, 0.0348),
    ((5, 10), (0, 10), 0.0313, 0.0156, 0.0099),
    ((12, 15), (3, 15), 0.0176, 0.0106, 0.0099),
    ((8, 10), (2, 20), 0.0034, 0.0019, 0.0020),
    ((10, 10), (4, 5), 0.4755, 0.3683, 0.3783),
]


@pytest.mark.parametrize(("before", "after", "conditional", "mid", "unconditional"), REPAIRS)
def test_did_the_repair_work(
    before: tuple[int, int], after: tuple[int, int], conditional: float, mid: float, unconditional: float
) -> None:
    fall, rise = chance_of_fall(*before, *after), chance_of_rise(*before, *after)
    assert fall == pytest.approx(conditional, abs=6e-5)
    assert (fall + 1 - rise) / 2 == pytest.approx(mid, abs=6e-5)  # half of what is just so many
    assert e_chance(*before, *after, "fall") == pytest.approx(unconditional, abs=6e-5)
    assert fall > unconditional


def test_the_e_test_by_hand() -> None:
    """None in 1 h, then 2 in 1 h: clear by sqrt 2, at one an hour in both.

    Of before and later (0,2) and (0,3) are as clear, and from (1,6) on: (6-1)/sqrt 7 = 1.89, but so is
    (1,5) with 4/sqrt 6 = 1.63 and not (1,4) with 3/sqrt 5 = 1.34. After 2 before, 7: 5/3 = 1.67 is, 6:
    4/sqrt 8 = sqrt 2 just so. After 3: 8 is, 5/sqrt 11 = 1.51, 7 with 4/sqrt 10 = 1.26 not. After 4: 9,
    5/sqrt 13 = 1.39 not, 10 is. What is above 4 before comes to less than 1e-8.
    """
    later = {0: 2, 1: 5, 2: 6, 3: 8, 4: 10}
    by_hand = math.fsum(poisson_sum(k, k, 1) * poisson_sum(n, 60, 1) for k, n in later.items())
    assert e_chance(0, 1, 2, 1, "rise") == pytest.approx(by_hand, abs=1e-8)


UPTO = 90  # a count of 24 on average reaches it with 1e-23


def e_sum(k1: int, t1: int, k2: int, t2: int, is_as_clear: Callable[[Fraction, Fraction], bool]) -> float:
    """All pairs of counts below `UPTO` whose difference, in whole numbers, is as clear as the seen one."""

    def clear(x: int, y: int) -> Fraction:
        """The square of difference over standard error, with the sign of the difference."""
        apart, error = y * t1 - x * t2, y * t1 * t1 + x * t2 * t2
        return Fraction(apart * abs(apart), error or 1)

    rate, seen = (k1 + k2) / (t1 + t2), clear(k1, k2)
    earlier, later = ([poisson_sum(k, k, rate * t) for k in range(UPTO)] for t in (t1, t2))
    pairs = itertools.product(range(UPTO), range(UPTO))
    return math.fsum(earlier[x] * later[y] for x, y in pairs if is_as_clear(clear(x, y), seen))


E_GRID = [
    (k1, t1, k2, t2)
    for t1, t2 in ((1, 1), (6, 5), (3, 1), (10, 20))
    for k1, k2 in ((0, 1), (0, 4), (1, 1), (1, 6), (2, 5), (5, 2), (7, 0), (12, 20), (20, 12))
]


@pytest.mark.parametrize("seen", E_GRID[::3])
def test_the_e_test_is_the_sum_over_all_pairs_of_counts(seen: tuple[int, int, int, int]) -> None:
    """In whole numbers, so that a pair exactly as clear as the seen one is never lost by rounding."""
    assert e_chance(*seen, "rise") == pytest.approx(e_sum(*seen, lambda x, s: x >= s), abs=1e-13)
    assert e_chance(*seen, "fall") == pytest.approx(e_sum(*seen, lambda x, s: x <= s), abs=1e-13)
    assert e_chance(*seen) == pytest.approx(e_sum(*seen, lambda x, s: abs(x) >= abs(s)), abs=1e-13)


def test_the_e_test_of_nothing_of_no_change_and_of_open_counts() -> None:
    assert [e_chance(0, 5, 0, 9, side) for side in ("rise", "fall", "either")] == [1.0, 1.0, 1.0]
    assert e_chance(4, 10, 2, 5) == 1.0
    assert [e_chance(2, 5, math.inf, 5, side) for side in ("rise", "fall", "either")] == [0.0, 1.0, 0.0]
    assert [e_chance(math.inf, 5, 2, 5, side) for side in ("rise", "fall", "either")] == [1.0, 0.0, 0.0]
    assert e_chance(math.inf, 5, math.inf, 5) == 1.0


def test_the_e_test_of_thousands_of_pieces_still_adds_up() -> None:
    """A bell curve by then: 9,900 and 10,100 are sqrt 2 standard errors apart, one-sided .0786."""
    assert e_chance(9900, 10, 10100, 10, "rise") == pytest.approx(math.erfc(1) / 2, abs=5e-4)


@given(st.integers(0, 30), HOURS, st.integers(0, 30), HOURS)
def test_the_e_test_in_minutes_and_from_the_other_end(k1: int, t1: float, k2: int, t2: float) -> None:
    rise = e_chance(k1, t1, k2, t2, "rise")
    assert 0 <= rise <= 1 + 1e-12
    assert e_chance(k1, 60 * t1, k2, 60 * t2, "rise") == pytest.approx(rise, abs=1e-9)
    assert e_chance(k2, t2, k1, t1, "fall") == rise
    assert rise <= e_chance(k1, t1, k2, t2) + 1e-12 or k2 * t1 < k1 * t2


@given(st.integers(0, 30), HOURS, st.integers(0, 30), HOURS)
def test_more_pieces_later_are_never_likelier_by_the_e_test(k1: int, t1: float, k2: int, t2: float) -> None:
    assert e_chance(k1, t1, k2 + 1, t2, "rise") <= e_chance(k1, t1, k2, t2, "rise") + 1e-12


@given(st.integers(0, 30), HOURS, st.integers(1, 30), HOURS)
def test_the_e_test_is_the_bolder_one_wherever_it_is_shown_as_a_figure(
    k1: int, t1: float, k2: int, t2: float
) -> None:
    """Rarer than 1 in 10,000 both are shown as that."""
    conditional, unconditional = chance_of_rise(k1, t1, k2, t2), e_chance(k1, t1, k2, t2, "rise")
    assert k2 * t1 <= k1 * t2 or unconditional <= conditional + 1e-12 or unconditional < 1e-4


def test_two_then_nine_by_hand() -> None:
    """2 in 6 h, then 9 in 5 h: of 11 pieces at least 9 fall in 5 of 11 hours.

    (55 x 5^9 x 6^2 + 11 x 5^10 x 6 + 5^11) / 11^11 = 4,560,546,875 / 285,311,670,611.
    """
    assert chance_of_rise(2, 6, 9, 5) == pytest.approx(4_560_546_875 / 285_311_670_611)


def test_more_than_was_counted_is_the_extreme() -> None:
    assert [chance_of_rise(2, 5, math.inf, 5), chance_of_fall(2, 5, math.inf, 5)] == [0.0, 1.0]
    assert [chance_of_rise(math.inf, 5, 2, 5), chance_of_fall(math.inf, 5, 2, 5)] == [1.0, 0.0]


def test_a_ratio_that_nothing_bounds() -> None:
    assert ratio_limits(0, 5, 4, 5)[1] == math.inf
    assert ratio_limits(4, 5, 0, 5)[0] == 0.0


@given(WHOLE, HOURS, WHOLE, HOURS)
def test_a_rise_seen_from_the_other_end_is_a_fall(k1: int, t1: float, k2: int, t2: float) -> None:
    assert chance_of_rise(k1, t1, k2, t2) == pytest.approx(chance_of_fall(k2, t2, k1, t1), abs=1e-12)


@given(st.integers(1, 30), HOURS, st.integers(1, 30), HOURS)
def test_the_limits_of_a_ratio_are_where_the_chance_runs_out(k1: int, t1: float, k2: int, t2: float) -> None:
    low, high = ratio_limits(k1, t1, k2, t2)
    assert chance_of_rise(k1, t1, k2, t2 * low) == pytest.approx(0.025, abs=1e-9)
    assert chance_of_fall(k1, t1, k2, t2 * high) == pytest.approx(0.025, abs=1e-9)


# --- the next count -----------------------------------------------------------------------------


@pytest.mark.parametrize(("k", "limit"), [(0, 4), (1, 6), (2, 8), (3, 9), (5, 12), (10, 19)])
def test_alarm_limit_of_an_equal_run(k: int, limit: int) -> None:
    """Computed for this test. By hand for none: five or more in the second half have .5^5 = .031."""
    assert alarm_limit(k, 10, 10) == limit


def test_alarm_limit_of_a_short_run_by_hand() -> None:
    """2 in 9 h, next 1 h. At least 2 of 4 in a tenth: .0523, in line; 3 of 5: .0086. So above 2."""
    assert binomial_sum(2, 4, 0.1) == pytest.approx(0.0523)
    assert binomial_sum(3, 5, 0.1) == pytest.approx(0.00856)
    assert alarm_limit(2, 9, 1) == 2


@given(st.integers(0, 20), HOURS, HOURS)
def test_the_alarm_limit_is_the_last_count_in_line(k: int, hours: float, ahead: float) -> None:
    limit = alarm_limit(k, hours, ahead)
    assert chance_of_rise(k, hours, limit, ahead) > 0.05
    assert chance_of_rise(k, hours, limit + 1, ahead) <= 0.05


# The published formula for k pieces in 10 h, t (.05^(-1/k) - 1); computed for this test.
CLEAN = [(1, 190.0), (2, 34.7), (3, 17.1), (4, 11.1), (5, 8.2), (8, 4.5), (10, 3.5)]


@pytest.mark.parametrize(("k", "hours"), CLEAN)
def test_clean_hours_that_show_something(k: int, hours: float) -> None:
    clean = clean_hours_to_show(k, 10)
    assert clean == pytest.approx(hours, abs=0.05)
    assert chance_of_fall(k, 10, 0, clean) == pytest.approx(0.05)


def test_no_clean_run_shows_anything_when_nothing_came_before() -> None:
    assert clean_hours_to_show(0, 10) == math.inf


# --- clumps -------------------------------------------------------------------------------------


def test_scatter_by_hand() -> None:
    """0 8 1 9 2 4 in 5 h each: 4 expected; squares 16 16 9 25 4 0 make 70; 70 / 4 / 5 = 3.5."""
    assert scatter([0, 8, 1, 9, 2, 4], [5] * 6) == pytest.approx(3.5)


def test_scatter_of_unlike_runs_by_hand() -> None:
    """1 in 2 h and 5 in 4 h: 2 and 4 expected, 1/2 + 1/4 over one."""
    assert scatter([1, 5], [2, 4]) == pytest.approx(0.75)


def test_scatter_of_one_count_or_of_nothing_cannot_be_told() -> None:
    assert scatter([4], [5]) is None
    assert scatter([0, 0, 0], [5, 5, 5]) is None


def test_clumps_of_two_are_half_as_many_events() -> None:
    assert chance_of_rise(4, 10, 12, 10, dispersion=2) == chance_of_rise(2, 10, 6, 10)
    assert chance_of_fall(12, 10, 4, 10, dispersion=2) == chance_of_fall(6, 10, 2, 10)
    low, high = rate_limits(5, 10)
    assert rate_limits(10, 10, dispersion=2) == pytest.approx((2 * low, 2 * high))
    assert rate_below(0, 10, dispersion=2) == pytest.approx(2 * rate_below(0, 10))


@given(st.integers(0, 20), HOURS, st.floats(1, 6))
def test_clumps_never_make_an_alarm_come_sooner(k: int, ahead: float, dispersion: float) -> None:
    assert alarm_limit(k, 10, ahead, dispersion=dispersion) >= alarm_limit(k, 10, ahead)


# --- live, beside independent programs ----------------------------------------------------------


@pytest.mark.reference
@pytest.mark.parametrize("k", [0, 1, 2, 5, 10, 25, 100])
@pytest.mark.parametrize("level", [0.9, 0.95, 0.99])
def test_scipy_gives_the_same_limits(k: int, level: float) -> None:
    stats: Any = pytest.importorskip("scipy.stats")
    tail = (1 - level) / 2
    low = stats.chi2.ppf(tail, 2 * k) / 2 if k else 0.0
    high = stats.chi2.ppf(1 - tail, 2 * k + 2) / 2
    assert rate_limits(k, 4.0, level) == pytest.approx((low / 4, high / 4), rel=1e-9)


@pytest.mark.reference
@pytest.mark.parametrize(("before", "after"), [repair[:2] for repair in REPAIRS])
def test_scipy_gives_the_same_chances(before: tuple[int, int], after: tuple[int, int]) -> None:
    stats: Any = pytest.importorskip("scipy.stats")
    (k1, t1), (k2, t2) = before, after
    for alternative, ours in (("less", chance_of_fall), ("greater", chance_of_rise)):
        theirs = stats.binomtest(k2, k1 + k2, t2 / (t1 + t2), alternative=alternative).pvalue
        assert ours(k1, t1, k2, t2) == pytest.approx(theirs, rel=1e-9)


@pytest.mark.reference
@pytest.mark.parametrize("seen", [(0, 1, 3, 1), (2, 1, 6, 1), *E_GRID, *[(*b, *a) for b, a, *_ in REPAIRS]])
def test_scipy_gives_the_same_e_test(seen: tuple[int, int, int, int]) -> None:
    """But for pairs exactly as clear as the seen one, of which scipy loses some by rounding.

    It also has no figure for no piece at all, which here is no change.
    """
    stats: Any = pytest.importorskip("scipy.stats")
    sides = {"rise": "less", "fall": "greater", "either": "two-sided"}
    ties = e_sum(*seen, lambda x, s: x in (s, -s) or x == 0)
    for side, alternative in sides.items():
        with np.errstate(all="ignore"):
            theirs = float(stats.poisson_means_test(*seen, alternative=alternative).pvalue)
        assert theirs - 1e-9 <= e_chance(*seen, side) <= theirs + ties + 1e-9  # type: ignore[arg-type]
    if seen[1::2] == (1, 1) and seen[0] < seen[2]:  # nothing to round, and a rise
        theirs = float(stats.poisson_means_test(*seen, alternative="less").pvalue)
        assert e_chance(*seen, "rise") == pytest.approx(theirs, abs=1e-9)


@pytest.mark.reference
@pytest.mark.parametrize("x", [0.02, 0.3, 0.5, 0.9, 0.999])
@pytest.mark.parametrize(("a", "b"), [(0.4, 1.3), (2.7, 5.1), (33.3, 7.7), (1.0, 250.5)])
def test_scipy_gives_the_same_between_whole_counts(x: float, a: float, b: float) -> None:
    special: Any = pytest.importorskip("scipy.special")
    assert share_below(x, a, b) == pytest.approx(float(special.betainc(a, b, x)), rel=1e-9)
    mean = 40 * x
    assert at_least(a, mean) == pytest.approx(float(special.gammainc(a, mean)), rel=1e-9)
    assert at_most(a, mean) == pytest.approx(float(special.gammaincc(a + 1, mean)), rel=1e-9)


@pytest.mark.reference
def test_statsmodels_gives_the_same() -> None:
    rates: Any = pytest.importorskip("statsmodels.stats.rates")
    for k in (0, 1, 8, 25):
        theirs = rates.confint_poisson(k, 10, method="exact-c")
        assert rate_limits(k, 10) == pytest.approx([max(0.0, float(x)) for x in theirs], rel=1e-8)
    for (k1, t1), (k2, t2), *_ in [*REPAIRS, ((30, 54308.7), (60, 51477.5))]:
        for alternative, ours in (("smaller", chance_of_fall), ("larger", chance_of_rise)):
            test = rates.test_poisson_2indep(k2, t2, k1, t1, method="exact-cond", alternative=alternative)
            assert ours(k1, t1, k2, t2) == pytest.approx(float(test.pvalue), rel=1e-8)
