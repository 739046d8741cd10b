"""Clean hours after a repair: what they prove, what they never prove, and what pieces take back."""

from __future__ import annotations

import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bot.core.counts import chance_of_fall
from bot.core.proof import still_wrong_factor

SHED = 0.05  # pieces an hour that the bike of these tests sheds anyway


def fixed_chance(prior: float, factor: float) -> float:
    """Bayes for two cases."""
    return prior / (prior + (1 - prior) * factor)


# --- a known rate, and one that was counted -----------------------------------------------------


@pytest.mark.parametrize(("hours", "chance"), [(5, 0.794), (10, 0.864), (20, 0.945), (30, 0.979)])
def test_a_known_rate_gives_the_plain_form(hours: float, chance: float) -> None:
    """p / (p + (1 - p) e^(-rT)) with p .7 and .1 an hour; computed for this test."""
    assert fixed_chance(0.7, math.exp(-0.1 * hours)) == pytest.approx(chance, abs=6e-4)


@pytest.mark.parametrize(("hours", "chance"), [(5, 0.794), (10, 0.864), (20, 0.945), (30, 0.979)])
def test_a_rate_counted_long_enough_is_as_good_as_known(hours: float, chance: float) -> None:
    factor = still_wrong_factor(0, hours, 100_000, 1_000_000, 0.0)
    assert fixed_chance(0.7, factor) == pytest.approx(chance, abs=6e-4)


def test_few_pieces_before_count_for_little_by_hand() -> None:
    """1 in 10 h and 10 clean: silent with chance 1/2 were it still wrong, e^-1 = .37 for a known rate."""
    assert still_wrong_factor(0, 10, 1, 10, 0.0) == pytest.approx(1 / 2)
    assert still_wrong_factor(0, 10, 3, 10, 0.0) == pytest.approx(1 / 8)
    assert fixed_chance(0.5, 1 / 2) == pytest.approx(2 / 3)


def test_silence_weighs_what_the_test_of_two_rates_says() -> None:
    for k in (1, 2, 5, 8):
        assert still_wrong_factor(0, 7, k, 10, 0.0) == pytest.approx(chance_of_fall(k, 10, 0, 7))


def test_nothing_before_and_nothing_after_says_nothing() -> None:
    assert still_wrong_factor(0, 100, 0, 10, SHED) == 1.0
    assert still_wrong_factor(3, 100, 0, 10, SHED) == 1.0


def test_clumps_before_are_fewer_events() -> None:
    assert still_wrong_factor(0, 10, 6, 10, 0.0, dispersion=3) == still_wrong_factor(0, 10, 2, 10, 0.0)


# --- pieces after the repair ---------------------------------------------------------------------


def test_one_piece_after_by_hand() -> None:
    """2 of the fault in 10 h, then 1 in 10 h with 1/2 expected anyway.

    Fault silent 1/4, one of it 2 x 1/2 x 1/4 = 1/4. The piece is not the fault's: 1/4. It is:
    1/4 for a background of 1/2 that stayed silent, so 1/4 / (1/2) = 1/2. Together 3/4.
    """
    assert still_wrong_factor(1, 10, 2.5, 10, SHED) == pytest.approx(3 / 4)


def direct(found: int, hours: float, before: float, over: float, background: float) -> float:
    """Both chances in full: background and fault added up, over background alone."""

    def poisson(k: int, mean: float) -> float:
        return math.exp(-mean) * mean**k / math.factorial(k)

    def fault(j: int) -> float:
        shape, quiet = before - background * over, over / (over + hours)
        ways = math.exp(math.lgamma(shape + j) - math.lgamma(shape) - math.lgamma(j + 1))
        return ways * quiet**shape * (1 - quiet) ** j

    mean = background * hours
    return math.fsum(fault(j) * poisson(found - j, mean) for j in range(found + 1)) / poisson(found, mean)


@given(st.integers(0, 12), st.floats(0.5, 40), st.floats(2, 30), st.floats(1, 20), st.floats(0.01, 0.09))
def test_the_factor_is_the_quotient_of_the_two_chances(
    found: int, hours: float, before: float, over: float, background: float
) -> None:
    ours = still_wrong_factor(found, hours, before, over, background)
    assert ours == pytest.approx(min(1e12, direct(found, hours, before, over, background)), rel=1e-9)


def test_pieces_with_no_background_would_be_proof_and_are_refused() -> None:
    with pytest.raises(ValueError, match="above 0"):
        still_wrong_factor(1, 10, 8, 10, 0.0)


def test_many_pieces_speak_no_stronger_than_the_cap() -> None:
    assert still_wrong_factor(500, 10, 400, 10, SHED) == 1e12


# --- hours of silence ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("pieces", "hours"), [(1, 190), (2, 34.7), (3, 17.1), (4, 11.2), (5, 8.2), (8, 4.5), (10, 3.5)]
)
def test_hours_of_silence_that_chance_would_give_one_time_in_twenty(pieces: int, hours: float) -> None:
    """After k pieces in 10 h, T = 10 (.05^(-1/k) - 1): the exact conditional test of two Poisson rates
    (Przyborowski and Wilenski 1940) worked out for no piece after; own computation.
    """
    assert still_wrong_factor(0, hours, pieces, 10, 0.0) == pytest.approx(0.05, rel=0.03)


@given(st.integers(1, 20), st.integers(0, 6), st.floats(0.5, 30), st.floats(0, 30))
def test_a_longer_run_with_no_more_pieces_speaks_more_for_fixed(
    before: int, found: int, hours: float, longer: float
) -> None:
    short, long = (still_wrong_factor(found, t, before, 10, SHED) for t in (hours, hours + longer))
    assert long <= short * (1 + 1e-9)


@given(st.integers(0, 20), st.integers(0, 8), st.integers(1, 8), st.floats(1, 4))
def test_more_pieces_after_never_speak_for_fixed(
    before: int, found: int, more: int, dispersion: float
) -> None:
    few, many = (still_wrong_factor(n, 8, before, 10, SHED, dispersion) for n in (found, found + more))
    assert many >= few * (1 - 1e-12)


@given(st.integers(0, 20), st.integers(0, 6), st.floats(0.5, 30))
def test_minutes_give_what_hours_give(before: int, found: int, hours: float) -> None:
    one = still_wrong_factor(found, hours, before, 10, SHED)
    assert still_wrong_factor(found, 60 * hours, before, 600, SHED / 60) == pytest.approx(one)


@pytest.mark.reference
@pytest.mark.parametrize("k", [1, 2, 7, 25])
def test_scipy_gives_the_same_silence(k: int) -> None:
    stats: Any = pytest.importorskip("scipy.stats")
    theirs = stats.nbinom.pmf(0, k, 10 / (10 + 4))
    assert still_wrong_factor(0, 4, k, 10, 0.0) == pytest.approx(float(theirs))
