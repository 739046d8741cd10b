"""Clean hours after a repair: what they prove, what they never prove, and what pieces take back."""

from __future__ import annotations

import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bot.core.counts import chance_of_fall, clean_hours_to_show
from bot.core.proof import clean_hours_needed, fixed_chance, prove, still_wrong_factor
from bot.core.trend import Interval

SHED = 0.05  # pieces an hour that the bike of these tests sheds anyway


def run(
    pieces: int | tuple[int, int | None], hours: float | tuple[float, float], chunk: bool = False
) -> Interval:
    counted = (pieces, pieces) if isinstance(pieces, int) else pieces
    over = hours if isinstance(hours, tuple) else (float(hours), float(hours))
    return Interval(over, counted, 0.0, chunk=chunk)


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


# --- hours still needed --------------------------------------------------------------------------


def test_hours_needed_by_hand() -> None:
    """Even chance, 2 in 10 h, for 90 of 100: silence of 1/9, so (1 + T/10)^2 = 9 and T = 20."""
    assert clean_hours_needed(0.5, 2, 10, 0.90) == pytest.approx(20)
    assert clean_hours_needed(0.5, 1, 10, 0.90) == pytest.approx(80)
    assert clean_hours_needed(0.5, 6, 10, 0.90, dispersion=3) == pytest.approx(20)


def test_hours_needed_at_the_ends() -> None:
    assert clean_hours_needed(0.96, 2, 10, 0.95) == 0.0
    assert clean_hours_needed(0.5, 0, 10, 0.95) == math.inf


def test_an_even_prior_and_nineteen_to_one_need_what_the_test_needs() -> None:
    """Silence of 1/19 instead of 1/20."""
    needed = clean_hours_needed(0.5, 5, 10, 0.95)
    assert needed == pytest.approx(clean_hours_to_show(5, 10, 1 / 19))
    assert needed < clean_hours_to_show(5, 10)


@given(st.floats(0.05, 0.9), st.integers(1, 30), st.floats(1, 30), st.sampled_from([0.9, 0.95]))
def test_the_hours_needed_just_reach_the_level(prior: float, k: int, hours: float, level: float) -> None:
    needed = clean_hours_needed(prior, k, hours, level)
    reached = fixed_chance(prior, still_wrong_factor(0, needed, k, hours, 0.0))
    assert reached == pytest.approx(max(level, prior))


# --- a repair and its running --------------------------------------------------------------------


def test_a_repair_is_proved_in_steps() -> None:
    """8 in 10 h at prior .7; .1 an hour of it is the bike's own, so 7 are the fault's.

    Silence of 7/27 for 90 of 100, 7/57 for 95: T = 10 ((27/7)^(1/7) - 1) = 2.13 and 3.49 in all.
    """
    early = prove(0.7, run(8, 10), run(0, 1), 0.1)
    assert dict(early.more_hours) == pytest.approx({0.9: 1.1269, 0.95: 2.4931}, abs=1e-3)
    assert not early.proved
    middle = prove(0.7, run(8, 10), run(0, 3), 0.1)
    assert [hours > 0 for _, hours in middle.more_hours] == [False, True]
    assert prove(0.7, run(8, 10), run(0, 4), 0.1).proved


def test_one_piece_before_is_never_called_proof() -> None:
    lone = prove(0.7, run(1, 10), run(0, 10_000), SHED)
    assert (lone.too_few, lone.proved) == (True, False)
    assert prove(0.94, run(1, 10), run(0, 10_000), SHED).more_hours[-1][1] == 0
    assert not prove(0.94, run(1, 10), run(0, 10_000), SHED).proved
    assert not prove(0.9, run(2, 10), run(0, 10_000), SHED).too_few


def test_one_clump_before_is_one_event() -> None:
    assert prove(0.7, run(3, 10), run(0, 100), SHED, dispersion=3).too_few


def test_after_a_chunk_silence_proves_nothing_and_pieces_still_count() -> None:
    silent = prove(0.7, run(8, 10, chunk=True), run(0, 50), SHED)
    assert silent.chance == pytest.approx((0.7, 0.7))
    assert silent.more_hours[-1][1] == math.inf
    assert prove(0.7, run(8, 10, chunk=True), run(6, 5), SHED).chance[1] < 0.05


def test_vague_pieces_before_leave_a_span() -> None:
    proof = prove(0.7, run((5, 20), (8, 12)), run(0, 5), SHED)
    assert proof.chance[0] == pytest.approx(fixed_chance(0.7, still_wrong_factor(0, 5, 5, 12, SHED)))
    assert proof.chance[1] == pytest.approx(fixed_chance(0.7, still_wrong_factor(0, 5, 20, 8, SHED)))


def test_a_vague_run_after_counts_at_its_shorter_end() -> None:
    proof, short = (prove(0.7, run(8, 10), run(0, hours), SHED) for hours in ((1, 5), 1))
    assert proof.chance == (short.chance[0], prove(0.7, run(8, 10), run(0, 5), SHED).chance[1])
    assert proof.more_hours == short.more_hours


def test_open_counts_before_and_after() -> None:
    assert prove(0.7, run((60, None), 10), run(0, 1), SHED).chance[1] == 1.0
    assert prove(0.7, run(8, 10), run((60, None), 5), SHED).chance[0] == 0.0


@given(st.floats(0.05, 0.95), st.integers(0, 20), st.integers(0, 6), st.floats(0.5, 30), st.floats(0, 30))
def test_a_longer_clean_run_never_lowers_the_chance(
    prior: float, before: int, found: int, hours: float, longer: float
) -> None:
    short = prove(prior, run(before, 10), run(found, hours), SHED)
    long = prove(prior, run(before, 10), run(found, hours + longer), SHED)
    assert long.chance[0] >= short.chance[0] - 1e-12


@given(st.floats(0.05, 0.95), st.integers(0, 20), st.integers(0, 8), st.integers(1, 8), st.floats(1, 4))
def test_more_pieces_after_never_raise_the_chance(
    prior: float, before: int, found: int, more: int, dispersion: float
) -> None:
    few = prove(prior, run(before, 10), run(found, 8), SHED, dispersion)
    many = prove(prior, run(before, 10), run(found + more, 8), SHED, dispersion)
    assert many.chance[0] <= few.chance[0] + 1e-12


@given(st.integers(0, 20), st.integers(0, 6), st.floats(0.5, 30))
def test_minutes_give_what_hours_give(before: int, found: int, hours: float) -> None:
    one = prove(0.7, run(before, 10), run(found, hours), SHED)
    other = prove(0.7, run(before, 600), run(found, 60 * hours), SHED / 60)
    assert other.chance == pytest.approx(one.chance)
    for (_, minutes), (_, clean) in zip(other.more_hours, one.more_hours, strict=True):
        assert minutes == pytest.approx(60 * clean)


@pytest.mark.reference
@pytest.mark.parametrize("k", [1, 2, 7, 25])
def test_scipy_gives_the_same_silence(k: int) -> None:
    stats: Any = pytest.importorskip("scipy.stats")
    theirs = stats.nbinom.pmf(0, k, 10 / (10 + 4))
    assert still_wrong_factor(0, 4, k, 10, 0.0) == pytest.approx(float(theirs))
