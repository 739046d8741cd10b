"""What a look after a repair says of it, where the pieces before were counted on this very bike.

Its fault is gone, or still there. A fault of known rate r would stay silent for T hours with chance
e^(-rT). Its rate is not known but was counted, k pieces in t hours; with the prior 1/rate, which
prefers no unit of time, the rate is Gamma(k, t) and the next count is negative binomial: silent with
chance (t / (t + T))^k. That is the chance of the exact test of two rates too. One piece before says
little, none says nothing, and k without end gives e^(-rT) again.

Pieces after the repair may be the fault or what the bike sheds anyway (`background`, per hour: wear,
residue). Still wrong sheds both, fixed sheds the background alone.
"""

from __future__ import annotations

import math

FACTOR_MOST = 1e12  # pieces speak no stronger than this
LEVELS = (0.90, 0.95)


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
