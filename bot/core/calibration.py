"""Whether stated chances were right: one score a case, and of what was held so likely, how much was so.

The score is Brier's own (1950, Monthly Weather Review 78, 1-3) over all kinds of outcome: the sum of
(stated chance - 1 if it was that, else 0) squared, over every cause and what is not in the list. 0 is
best, 2 is worst; for two kinds of outcome it is twice what is called the Brier score of one event. Here a
chance is that of a cause being there, alone or beside another, so that the chances of a case may add up
to a little more than 1; each of them is scored by itself all the same.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from bot.core.outcomes import LEVEL, quantile

BINS = 10


@dataclass(frozen=True)
class Tenth:
    """What was held between `bin` and `bin + 1` tenths likely: how often, the chances' sum, and the hits."""

    bin: int
    held: int
    chances: float
    hits: int


@dataclass(frozen=True)
class Held:
    """Of `held` chances of one tenth: what they were on average, how many came true, and its limits."""

    bin: int
    held: int
    said: float
    seen: float
    low: float
    high: float


def _stated(expected: Mapping[str, float], cause: str) -> tuple[list[float], list[bool]]:
    """The chances, and which of them came true; a cause that was not named was held impossible."""
    whole = {**expected, cause: expected.get(cause, 0.0)}
    return list(whole.values()), [id == cause for id in whole]


def brier(expected: Mapping[str, float], cause: str) -> float:
    """The score of a case, 0 (best) to 2 (worst): chances by cause ("": none of them), and which it was."""
    chances, true = _stated(expected, cause)
    return float(np.square(np.array(chances) - np.array(true)).sum())


def tenths(expected: Mapping[str, float], cause: str) -> tuple[Tenth, ...]:
    """The chances of one case by tenths, for adding up; a chance of 1 belongs to the last tenth."""
    chances, true = (np.array(x, dtype=float) for x in _stated(expected, cause))
    bins = np.clip((chances * BINS).astype(int), 0, BINS - 1)
    return tuple(
        Tenth(int(k), int((bins == k).sum()), float(chances[bins == k].sum()), int(true[bins == k].sum()))
        for k in np.unique(bins)
    )


def reliability(added: Iterable[Tenth]) -> tuple[Held, ...]:
    """The tenths in which something was held, each with exact limits of how often it comes true."""
    return tuple(
        Held(t.bin, t.held, t.chances / t.held, t.hits / t.held, *share_limits(t.hits, t.held))
        for t in sorted(added, key=lambda t: t.bin)
        if t.held
    )


def share_limits(hits: int, trials: int, level: float = LEVEL) -> tuple[float, float]:
    """Exact two-sided limits of a binomial share (Clopper and Pearson 1934, Biometrika 26)."""
    tail = (1 - level) / 2
    low = quantile(tail, hits, trials - hits + 1) if hits else 0.0
    high = quantile(1 - tail, hits + 1, trials - hits) if hits < trials else 1.0
    return low, high
