"""Exact sums for rare pieces counted over running hours: limits of a rate, two rates, the next count.

Counts are taken as Poisson. Where pieces come in clumps the number of clumps is what is Poisson, so
that `dispersion` (variance to mean of the counts, 1 when there are no clumps) turns every count into
count / dispersion events before anything is worked out. Such numbers are not whole; the sums of
Poisson and binomial chances are therefore carried on to real counts by the incomplete gamma and beta
functions, which for whole counts are those sums.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from itertools import accumulate
from typing import Literal

EXACT = 1e-17  # a term of a sum this much smaller than the sum changes nothing
LEVEL = 0.95
NEAR = 1e-14  # how near, of itself, a limit is sought
LEFT_OUT = 37.0  # -ln of the chance that a sum over counts may leave out at either end: e^-37 = 9e-17
ROUNDING = 1e-11  # two differences that lie no further apart, in standard errors, are one

Side = Literal["rise", "fall", "either"]


# --- sums -----------------------------------------------------------------------------------


def at_least(k: float, mean: float) -> float:
    """P(count >= k) of a Poisson count with this mean; k may lie between whole counts."""
    if k <= 0:
        return 1.0
    if mean <= 0:
        return 0.0
    head = math.exp(k * math.log(mean) - mean - math.lgamma(k + 1))
    return head * _rising_terms(k, mean) if mean < k + 1 else 1 - head * k * _fraction(k, mean)


def at_most(k: float, mean: float) -> float:
    """P(count <= k) of a Poisson count with this mean."""
    if mean <= 0:
        return 1.0
    head = math.exp((k + 1) * math.log(mean) - mean - math.lgamma(k + 2))
    if mean < k + 2:
        return 1 - head * _rising_terms(k + 1, mean)
    return head * (k + 1) * _fraction(k + 1, mean)


def _rising_terms(k: float, mean: float) -> float:
    """1 + m/(k+1) + m^2/((k+1)(k+2)) + ...: the chances of k and all above it, over that of k."""
    term = total = 1.0
    n = k
    while term > EXACT * total:
        n += 1
        term *= mean / n
        total += term
    return total


def _fraction(k: float, mean: float) -> float:
    """The upper incomplete gamma function over e^-m m^k, as a continued fraction (DLMF 8.9.2).

    Worked out from the front by Lentz's method; for means above k.
    """
    step = mean + 1 - k
    ahead, behind, value = 1 / 1e-300, 1 / step, 1 / step
    for n in range(1, 10_000):
        top = -n * (n - k)
        step += 2
        behind = 1 / _off_zero(step + top * behind)
        ahead = _off_zero(step + top / ahead)
        value *= behind * ahead
        if abs(behind * ahead - 1) < 1e-16:
            break
    return value


def _off_zero(x: float) -> float:
    return x if abs(x) > 1e-300 else 1e-300


def share_below(x: float, a: float, b: float) -> float:
    """The incomplete beta function I_x(a, b): P(at least a of a+b-1 trials), each with chance x.

    For whole a and b that is the binomial sum (DLMF 8.17.5).
    """
    if a <= 0 or x >= 1:
        return 1.0
    if b <= 0 or x <= 0:
        return 0.0
    if x > (a + 1) / (a + b + 2):
        return 1 - share_below(1 - x, b, a)
    gammas = math.lgamma(a + b) - math.lgamma(a + 1) - math.lgamma(b)
    return math.exp(gammas + a * math.log(x) + b * math.log1p(-x)) / _beta_fraction(x, a, b)


def _beta_fraction(x: float, a: float, b: float) -> float:
    """1 + d1/(1 + d2/(1 + ...)) of the incomplete beta function (DLMF 8.17.22), for x up to about its mean.

    Worked out from the front by Lentz's method, in about as many steps as the root of the larger of a and b.
    """
    value = ahead = 1.0
    behind = 0.0
    for n in range(1, 10_000):
        m, odd = divmod(n, 2)
        top = -(a + m) * (a + b + m) if odd else m * (b - m)
        top *= x / ((a + n - 1) * (a + n))
        behind = 1 / _off_zero(1 + top * behind)
        ahead = _off_zero(1 + top / ahead)
        value *= behind * ahead
        if abs(behind * ahead - 1) < 1e-16:
            break
    return value


def solve(falls: Callable[[float], float], target: float) -> float:
    """Where a function that falls from its value at 0 reaches `target`: 0 if there, inf if not by 1e12."""
    if falls(0.0) <= target:
        return 0.0
    high = 1.0
    while falls(high) > target:
        high *= 2
        if high > 1e12:
            return math.inf
    low = 0.0
    while high - low > NEAR * high:
        middle = (low + high) / 2
        low, high = (middle, high) if falls(middle) > target else (low, middle)
    return (low + high) / 2


# --- one rate -------------------------------------------------------------------------------


def per_hour(pieces: float, hours: float) -> float:
    return pieces / hours


def rate_limits(
    pieces: float, hours: float, level: float = LEVEL, dispersion: float = 1.0
) -> tuple[float, float]:
    """Exact two-sided limits of the pieces per hour (Garwood 1936, Biometrika 28)."""
    events, tail = pieces / dispersion, (1 - level) / 2
    low = 0.0 if events <= 0 else solve(lambda mean: 1 - at_least(events, mean), 1 - tail)
    high = solve(lambda mean: at_most(events, mean), tail)
    return low * dispersion / hours, high * dispersion / hours


def rate_below(pieces: float, hours: float, level: float = LEVEL, dispersion: float = 1.0) -> float:
    """The rate that is not exceeded, one-sided. Nothing seen: -ln(1 - level) / hours, about 3 / hours."""
    most = solve(lambda mean: at_most(pieces / dispersion, mean), 1 - level)
    return most * dispersion / hours


# --- two rates ------------------------------------------------------------------------------
# Given the pieces of both stretches together, those of the second are binomial with its share of the
# hours if nothing changed (Przyborowski and Wilenski 1940, Biometrika 31). inf: more than was counted.


def chance_of_rise(k1: float, t1: float, k2: float, t2: float, dispersion: float = 1.0) -> float:
    """P(k2 or more in the later t2 hours | nothing changed since k1 in t1 hours)."""
    if math.isinf(k1) or math.isinf(k2):
        return float(math.isinf(k1))
    return share_below(t2 / (t1 + t2), k2 / dispersion, k1 / dispersion + 1)


def chance_of_fall(k1: float, t1: float, k2: float, t2: float, dispersion: float = 1.0) -> float:
    """P(k2 or fewer in the later t2 hours | nothing changed since k1 in t1 hours)."""
    if math.isinf(k1) or math.isinf(k2):
        return float(math.isinf(k2))
    return share_below(t1 / (t1 + t2), k1 / dispersion, k2 / dispersion + 1)


def e_chance(k1: float, t1: float, k2: float, t2: float, side: Side = "either") -> float:
    """P(a rise, a fall or either, as clear as this | nothing changed): the E-test, for who asks.

    Here both counts vary about the pooled rate, where the test above takes their sum as given and is
    timid for few pieces (Krishnamoorthy and Thomson 2004, J. Statist. Planning and Inference 119). How
    clear a change is: the difference of the rates over its standard error. For whole counts (or inf)
    only: between them more pieces could come out likelier than fewer.
    """
    if side == "fall":
        return e_chance(k2, t2, k1, t1, "rise")
    if math.isinf(k1) or math.isinf(k2):
        return float(math.isinf(k1) and (side == "rise" or math.isinf(k2)))
    rate, seen = (k1 + k2) / (t1 + t2), _clear(k1, t1, k2, t2)
    if rate <= 0:
        return 1.0
    if side == "rise":
        return _as_clear(rate, t1, t2, seen)
    if abs(seen) <= ROUNDING:
        return 1.0
    return _as_clear(rate, t1, t2, abs(seen)) + _as_clear(rate, t2, t1, abs(seen))


def _clear(k1: float, t1: float, k2: float, t2: float) -> float:
    """The difference of the rates over its standard error, the same in any unit of time; 0 of nothing."""
    if k1 + k2 <= 0:
        return 0.0
    return (k2 * t1 - k1 * t2) / math.sqrt(k2 * t1 * t1 + k1 * t2 * t2)


def _as_clear(rate: float, t1: float, t2: float, seen: float) -> float:
    """P(a rise at least as clear as `seen`) with this rate in both stretches.

    A rise is the clearer the more pieces come later and the fewer before. So for each count before, the
    later ones that are as clear are all from one on, and that one grows with the count before.
    """
    first, before = _chances(rate * t1)
    least, later = _chances(rate * t2)
    tails = [*[*accumulate(reversed(later))][::-1], 0.0]
    total, n = 0.0, 0
    for k, chance in enumerate(before, first):
        while n < len(later) and _clear(k, t1, least + n, t2) < seen - ROUNDING:
            n += 1
        total += chance * tails[n]
    return total


def _chances(mean: float) -> tuple[int, list[float]]:
    """The first count, and the chances from it on, of a Poisson count: all but what changes nothing.

    P(mean + w or more) <= e^(-w^2 / (2 mean + 2w/3)), and fewer lie so far below (Bernstein).
    """
    wide = LEFT_OUT / 3 + math.sqrt((LEFT_OUT / 3) ** 2 + 2 * LEFT_OUT * mean)
    first, last = max(0, math.floor(mean - wide)), math.ceil(mean + wide)
    return first, [math.exp(k * math.log(mean) - mean - math.lgamma(k + 1)) for k in range(first, last + 1)]


def ratio_limits(
    k1: float, t1: float, k2: float, t2: float, level: float = LEVEL, dispersion: float = 1.0
) -> tuple[float, float]:
    """Exact two-sided limits of the later rate over the earlier one; inf where nothing bounds it.

    The limits of a binomial share (Clopper and Pearson 1934, Biometrika 26), turned into a ratio.
    """
    one_sided = (1 + level) / 2
    above = ratio_above(k1, t1, k2, t2, one_sided, dispersion)
    return above, ratio_below(k1, t1, k2, t2, one_sided, dispersion)


def ratio_below(
    k1: float, t1: float, k2: float, t2: float, level: float = LEVEL, dispersion: float = 1.0
) -> float:
    """How many times the earlier rate the later one is at most, one-sided."""
    if k1 <= 0 or math.isinf(k2):
        return math.inf
    return solve(lambda times: chance_of_fall(k1, t1, k2, t2 * times, dispersion), 1 - level)


def ratio_above(
    k1: float, t1: float, k2: float, t2: float, level: float = LEVEL, dispersion: float = 1.0
) -> float:
    """How many times the earlier rate the later one is at least, one-sided."""
    if k2 <= 0 or math.isinf(k1):
        return 0.0
    return 1 / ratio_below(k2, t2, k1, t1, level, dispersion)


# --- what comes next ------------------------------------------------------------------------


def alarm_limit(
    pieces: float, hours: float, next_hours: float, level: float = LEVEL, dispersion: float = 1.0
) -> int:
    """The most pieces in the next stretch that `level` of such bikes stay at or under: alarm when above.

    It is the count above which `chance_of_rise` is no more than 1 - level.
    """

    def in_line(count: int) -> bool:
        return chance_of_rise(pieces, hours, count, next_hours, dispersion) > 1 - level

    high = 1
    while in_line(high):
        high *= 2
    low = 0
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if in_line(middle) else (low, middle)
    return low


def scatter(pieces: Sequence[float], hours: Sequence[float]) -> float | None:
    """Variance to mean: the mean of (count - expected)^2 / expected over one fewer than the counts.

    About 1 for pieces that come singly. None with fewer than two counts or no piece at all.
    """
    if len(pieces) < 2 or sum(pieces) <= 0:
        return None
    rate = sum(pieces) / sum(hours)
    apart = sum((k - rate * t) ** 2 / (rate * t) for k, t in zip(pieces, hours, strict=True))
    return apart / (len(pieces) - 1)


def clean_hours_to_show(pieces: float, hours: float, chance: float = 1 - LEVEL) -> float:
    """Clean running hours after which so long a silence has at most this chance if nothing changed.

    (t / (t + clean))^k = chance, the conditional test with nothing seen; inf when nothing came before.
    """
    return hours * (chance ** (-1 / pieces) - 1) if pieces > 0 else math.inf
