"""Shares as cases teach them: limits beside closed forms, plain sums and scipy; new shares by hand."""

from __future__ import annotations

import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bot.core.flow import Flow, read
from bot.core.outcomes import (
    apportioned,
    conditional,
    differing,
    interval,
    learned,
    quantile,
    shares,
    weights,
    written,
)
from tests.rattle import FLOW, RATTLE

CASES = {"nut-loose": 1, "basket-worn": 14, "kick-gear": 4, "": 1}  # 20 of them
COUNTS = st.lists(st.integers(0, 60), min_size=5, max_size=5)


def counted(counts: list[int]) -> dict[str, int]:
    return dict(zip(written(FLOW), counts, strict=True))


# --- one share --------------------------------------------------------------------------------


@pytest.mark.parametrize("chance", [0.025, 0.05, 0.5, 0.9, 0.975])
@pytest.mark.parametrize("n", [1, 2, 7, 40])
def test_limits_where_the_distribution_has_a_closed_form(chance: float, n: int) -> None:
    """Beta(1, n): 1 - (1 - x)^n. Beta(n, 1): x^n. Beta(1, 1): x itself."""
    assert quantile(chance, 1, n) == pytest.approx(1 - (1 - chance) ** (1 / n), abs=1e-12)
    assert quantile(chance, n, 1) == pytest.approx(chance ** (1 / n), abs=1e-12)


@pytest.mark.parametrize("x", [0.1, 0.25, 0.5, 0.9])
def test_limits_of_two_and_two(x: float) -> None:
    """Beta(2, 2): P(X <= x) = 3 x^2 - 2 x^3, by hand from its density 6 x (1 - x)."""
    assert quantile(3 * x**2 - 2 * x**3, 2, 2) == pytest.approx(x, abs=1e-12)


@pytest.mark.parametrize("chance", [0.025, 0.5, 0.975])
def test_limits_of_a_half_and_a_half(chance: float) -> None:
    """Beta(1/2, 1/2) is the arcsine law: P(X <= x) = 2/pi * arcsin(sqrt(x))."""
    assert quantile(chance, 0.5, 0.5) == pytest.approx(math.sin(math.pi * chance / 2) ** 2, abs=1e-12)


@given(st.integers(1, 40), st.integers(1, 40), st.floats(0.02, 0.98))
def test_limits_by_the_binomial_sum(a: int, b: int, chance: float) -> None:
    """P(Beta(a, b) <= x) is P(at least a of a + b - 1 trials), each with chance x."""
    x, n = quantile(chance, a, b), a + b - 1
    told = math.fsum(math.comb(n, k) * x**k * (1 - x) ** (n - k) for k in range(a, n + 1))
    assert told == pytest.approx(chance, abs=1e-9)


@pytest.mark.reference
def test_limits_are_those_of_scipy() -> None:
    stats: Any = pytest.importorskip("scipy.stats")
    for a, b in ((0.02, 20), (0.02, 400), (0.8, 19.2), (8.5, 52.5), (14, 6), (300, 2000), (0.5, 0.02)):
        for chance in (0.025, 0.05, 0.5, 0.95, 0.975):
            assert quantile(chance, a, b) == pytest.approx(float(stats.beta.ppf(chance, a, b)), abs=1e-9)


# --- all shares of a flow -----------------------------------------------------------------------


def test_twenty_cases_weigh_as_much_as_the_author() -> None:
    """40, 30, 10, 10 and 10 of 100 are 8, 6, 2, 2 and 2 of 20; with 1, 14, 4, 0 and 1 more of 20: of 40."""
    assert list(weights(FLOW, CASES)) == pytest.approx([9, 20, 6, 2, 3])
    here = {one.cause: one.here for one in learned(FLOW, FLOW, CASES)}
    expected = {"nut-loose": 22.5, "basket-worn": 50, "kick-gear": 15, "fines": 5, "": 7.5}
    assert here == pytest.approx(expected)


def test_what_is_shown_of_a_cause() -> None:
    """Beta(20, 20) is the same on both sides of one half. Limits computed for this test by scipy 1.17.1."""
    [basket] = learned(FLOW, FLOW, CASES, ["basket-worn"])
    assert (basket.file, basket.cases) == (30, 14)
    assert basket.low + basket.high == pytest.approx(100)
    assert (basket.low, basket.high) == pytest.approx((34.780, 65.220), abs=5e-4)


def test_without_cases_the_file_is_right() -> None:
    assert {one.cause: one.here for one in learned(FLOW, FLOW, {})} == pytest.approx(written(FLOW))
    assert shares(FLOW, {}) == written(FLOW)
    assert differing(FLOW, FLOW, {}, 5) == ()


def test_those_that_differ_most_come_first() -> None:
    """From 40, 30, 10, 10, 10 to 22.5, 50, 15, 5, 7.5: by 17.5, 20, 5, 5 and 2.5; of two alike the first."""
    found = [one.cause for one in differing(FLOW, FLOW, CASES, 4)]
    assert found == ["basket-worn", "nut-loose", "kick-gear", "fines"]


def test_shares_that_were_taken_over_are_judged_by_the_authors_own() -> None:
    """Else each acceptance would count the same cases once more."""
    new = {id: {**cause, "share": shares(FLOW, CASES)[id]} for id, cause in RATTLE["causes"].items()}
    taken = read({**RATTLE, "version": 3, "causes": new, "unlisted": {"share": 7.5}})
    assert differing(taken, FLOW, CASES, 5) == ()
    assert differing(taken, FLOW, {**CASES, "fines": 20}, 1)[0].cause == "fines"


@given(COUNTS)
def test_each_interval_holds_its_mean(counts: list[int]) -> None:
    for one in learned(FLOW, FLOW, counted(counts)):
        assert one.low <= one.here <= one.high


def test_the_interval_of_the_smallest_share_holds_its_mean() -> None:
    """Beta(0.02, n) has nearly all of itself at nothing, and its mean far out."""
    for total in (20, 60, 1000, 30_000):
        low, high = interval(0.02, total - 0.02)
        assert low <= 0.02 / total <= high


@given(st.integers(0, 4), st.integers(1, 8), st.integers(1, 8))
def test_cases_that_agree_with_the_author_narrow_every_interval(k: int, some: int, more: int) -> None:
    """8, 6, 2, 2 and 2 of every 20: the means stay."""
    few, many = (
        {id: n * times for id, n in counted([8, 6, 2, 2, 2]).items()} for times in (some, some + more)
    )
    before, after = learned(FLOW, FLOW, few)[k], learned(FLOW, FLOW, many)[k]
    assert after.here == pytest.approx(before.here)
    assert after.high - after.low < before.high - before.low


# --- new shares ---------------------------------------------------------------------------------


def test_new_shares_by_hand() -> None:
    assert shares(FLOW, CASES) == {
        "nut-loose": 22.5, "basket-worn": 50.0, "kick-gear": 15.0, "fines": 5.0, "": 7.5,
    }  # fmt: skip


def test_one_decimal_adds_up_where_plain_rounding_does_not() -> None:
    """8, 6, 2, 2, 2 and one more kick gear: of 21. 38.095, 28.571, 14.286, 9.524, 9.524 round to 99.9."""
    new = shares(FLOW, {"kick-gear": 1})
    assert sum(round(10 * share) for share in new.values()) == 1000
    assert new == {"nut-loose": 38.1, "basket-worn": 28.6, "kick-gear": 14.3, "fines": 9.5, "": 9.5}


def test_nobody_is_at_nothing() -> None:
    """2 of 20 and 5,000 cases of another: under 0.04 of 100."""
    new = shares(FLOW, {"nut-loose": 5000})
    assert [new["kick-gear"], new["fines"], new[""]] == [0.1, 0.1, 0.1]
    assert sum(round(10 * share) for share in new.values()) == 1000


@given(COUNTS)
def test_new_shares_always_come_to_a_hundred(counts: list[int]) -> None:
    new = shares(FLOW, counted(counts))
    assert list(new) == [*FLOW.causes, ""]
    assert sum(round(10 * share) for share in new.values()) == 1000
    assert all(share >= 0.1 and round(10 * share) == pytest.approx(10 * share) for share in new.values())


@given(COUNTS, st.integers(0, 4), st.integers(1, 30))
def test_more_cases_of_a_cause_never_lower_its_share(counts: list[int], k: int, more: int) -> None:
    before, cause = counted(counts), list(written(FLOW))[k]
    after = {**before, cause: before[cause] + more}
    assert learned(FLOW, FLOW, after)[k].here > learned(FLOW, FLOW, before)[k].here
    assert shares(FLOW, after)[cause] >= shares(FLOW, before)[cause]


@given(st.lists(st.integers(1, 400), min_size=2, max_size=40), st.integers(0, 39), st.integers(1, 50))
def test_no_step_is_lost_by_growing(wanted: list[int], k: int, more: int) -> None:
    """Rounding by largest remainders fails this: it is why seats are not given out so."""
    k %= len(wanted)
    grown = [*wanted[:k], wanted[k] + more, *wanted[k + 1 :]]
    assert apportioned(grown, 1000)[k] >= apportioned(wanted, 1000)[k]


def test_steps_as_seats_are_given_out() -> None:
    """By hand, the eight highest of votes over 0.5, 1.5, 2.5, ...: 20000, 6667, 4000 and 2857 are of the
    first, 12000, 4000 and 2400 of the second, 3000 is of the third."""
    assert apportioned([10_000, 6_000, 1_500], 8, least=0) == [4, 3, 1]


@given(COUNTS)
def test_other_names_change_nothing(counts: list[int]) -> None:
    renamed = read({**RATTLE, "causes": {f"other-{id}": cause for id, cause in RATTLE["causes"].items()}})
    cases = counted(counts)
    theirs = {f"other-{id}" if id else "": n for id, n in cases.items()}
    assert [*shares(renamed, theirs).values()] == [*shares(FLOW, cases).values()]
    ours = [(one.here, one.low, one.high) for one in learned(FLOW, FLOW, cases)]
    assert [(one.here, one.low, one.high) for one in learned(renamed, renamed, theirs)] == ours


# --- shares of one kind of bike -------------------------------------------------------------------


def with_share_if(**shares_: float) -> Flow:
    """The basket notches less or more on a bike with that starter."""
    basket = {**RATTLE["causes"]["basket-worn"], "share_if": {"starter": shares_}}
    return read({**RATTLE, "causes": {**RATTLE["causes"], "basket-worn": basket}})


def test_a_share_of_one_kind_of_bike_keeps_its_ratio_of_odds() -> None:
    """30 to 50 of 100 is 3/7 to 1, times 7/3. 10 of 100 is 1/9; 7/27 of it is 7/34 = 20.588. 60 is 3/2; 7/2
    is 7/9 = 77.778, where plain scaling would give 100."""
    moved = conditional(with_share_if(kick=10, button=60), shares(FLOW, CASES))
    assert moved == {("basket-worn", "starter", "kick"): 20.6, ("basket-worn", "starter", "button"): 77.8}


def test_a_share_of_one_kind_of_bike_never_leaves_the_hundred() -> None:
    few = conditional(with_share_if(kick=0.2, button=99), {**written(FLOW), "basket-worn": 0.1})
    many = conditional(with_share_if(kick=0.2, button=99), {**written(FLOW), "basket-worn": 99})
    assert few[("basket-worn", "starter", "kick")] == 0.1
    assert many[("basket-worn", "starter", "button")] == 99.9
