"""Whether a repair held, from clean running hours: one fault's rate, known only from the pieces before it.

Bayes: fixed with chance p, or still wrong. A fault of known rate r would stay silent for T hours with
chance e^(-rT). Its rate is not known but was counted, k pieces in t hours; with the prior 1/rate, which
prefers no unit of time, the rate is Gamma(k, t) and the next count is negative binomial: silent with
chance (t / (t + T))^k. That is the chance of the exact test of two rates too. One piece before says
little, none says nothing, and k without end gives e^(-rT) again.

Pieces after the repair may be the fault or what the bike sheds anyway (`background`, per hour: wear,
residue). Still wrong sheds both, fixed sheds the background alone.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import product

from bot.core import counts
from bot.core.stretches import Span
from bot.core.trend import Interval

FACTOR_MOST = 1e12  # pieces speak no stronger than this
LEVELS = (0.90, 0.95)


def fixed_chance(prior: float, factor: float) -> float:
    """P(fixed) from P(fixed) before the run and P(seen | still wrong) / P(seen | fixed)."""
    return prior / (prior + (1 - prior) * factor)


def still_wrong_factor(
    found: float,
    clean_hours: float,
    before_pieces: float,
    before_hours: float,
    background: float,
    dispersion: float = 1.0,
) -> float:
    """P(`found` pieces in `clean_hours` | still wrong) / P(the same | fixed), to weigh other evidence by.

    Below 1 speaks for fixed. ValueError for pieces with a background of 0, which would be proof.
    Of the n pieces found, j are the fault's: with shape a and m background pieces expected the
    ratio is the sum over j of NB(j; a) n!/(n-j)! m^-j. It grows with n, and falls with the hours.
    """
    if found > 0 and background <= 0:
        raise ValueError("pieces were found after the repair: what the bike sheds anyway must be above 0")
    shape = max(before_pieces - background * before_hours, 0.0) / dispersion
    share = clean_hours / (before_hours + clean_hours)
    n, expected = found / dispersion, background * clean_hours / dispersion
    term = total = math.exp(shape * math.log1p(-share))
    for j in range(math.floor(n)):
        term *= (shape + j) / (j + 1) * share * (n - j) / expected
        total += term
        if total > FACTOR_MOST:
            return FACTOR_MOST
    return total


def clean_hours_needed(
    prior: float, before_pieces: float, before_hours: float, level: float, dispersion: float = 1.0
) -> float:
    """Clean running hours in all until P(fixed) is `level`; 0 if it is already, inf if it never is."""
    if prior >= level:
        return 0.0
    if before_pieces <= 0:
        return math.inf
    silence = prior * (1 - level) / ((1 - prior) * level)
    return before_hours * math.expm1(-math.log(silence) * dispersion / before_pieces)


@dataclass(frozen=True)
class Proof:
    """How far a repair is proved. `chance`: P(fixed), worst and best case over what was vague.

    `more_hours`: (level, clean running hours still needed in the worst case), inf for never.
    `too_few`: at most one piece (or clump) came before the repair, so silence is never called proof.
    `chunk`: one came before; a broken part sheds once, so silence says nothing.
    """

    chance: Span
    more_hours: tuple[tuple[float, float], ...]
    found: tuple[int, int | None]
    hours: Span
    too_few: bool
    chunk: bool

    @property
    def proved(self) -> bool:
        """Whether the highest level is reached by pieces enough to go by."""
        return self.more_hours[-1][1] == 0 and not self.too_few and not self.chunk


def prove(
    prior: float,
    before: Interval,
    after: Interval,
    background: float,
    dispersion: float = 1.0,
    levels: tuple[float, ...] = LEVELS,
) -> Proof:
    """What the running `after` a repair says, beside the interval `before` it that showed the fault.

    `prior`: P(fixed) when the repair was done, in (0, 1). `background`: pieces per hour, above 0.
    Spans are tried at their ends and between, since pieces after the repair speak least for an amount
    before that lies between. `levels` rise.
    """
    sought = _Sought(prior, before, after, background, dispersion)
    best = 1.0 if before.pieces[1] is None and not before.chunk else sought.best()
    return Proof(
        chance=(sought.worst(0.0), best),
        more_hours=tuple((level, sought.more_hours(level)) for level in levels),
        found=after.pieces,
        hours=after.hours,
        too_few=before.pieces[0] <= dispersion,
        chunk=before.chunk,
    )


@dataclass(frozen=True)
class _Sought:
    prior: float
    before: Interval
    after: Interval
    background: float
    dispersion: float

    def worst(self, further: float) -> float:
        """The least P(fixed) when `further` clean hours follow."""
        if self.after.pieces[1] is None:
            return 0.0
        factors = self._factors(self.after.pieces[1], self.after.hours[0] + further)
        return fixed_chance(self.prior, max(factors))

    def best(self) -> float:
        return fixed_chance(self.prior, min(self._factors(self.after.pieces[0], self.after.hours[1])))

    def more_hours(self, level: float) -> float:
        return counts.solve(lambda further: 1 - self.worst(further), 1 - level)

    def _factors(self, found: int, hours: float) -> list[float]:
        """Over all that came before; after a chunk silence counts for nothing."""
        least = 1.0 if self.before.chunk else 0.0
        return [
            max(least, still_wrong_factor(found, hours, k, t, self.background, self.dispersion))
            for k, t in product(_within(self.before.pieces), _within(self.before.hours))
        ]


def _within(span: tuple[float, float | None]) -> tuple[float, ...]:
    """The ends of a span and four steps between; of an open one its end and twice and four times that."""
    low, high = span
    if high is None:
        return (low, 2 * low, 4 * low)
    return (low,) if low == high else tuple(low + (high - low) * n / 5 for n in range(6))
