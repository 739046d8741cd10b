"""Pieces over running hours where either may be vague: chances and limits in the best and worst case.

Every chance here grows with some of the four numbers and falls with the others, so the corners of the
spans are the extremes. Hours of looks that follow each other are taken as vague one by one, though a
misread meter takes from one what it gives the next: the spans come out too wide, never too narrow.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

from bot.core import counts
from bot.core.counts import Side

CLUMPED = 2.0  # variance to mean above which pieces come in clumps; common practice, no source
LOOKS = 8  # of these, pieces that come singly exceed 2 by chance 1 time in 20; of five, 1 in 11

Span = tuple[float, float]
Pieces = tuple[int, int | None]


@dataclass(frozen=True)
class Stretch:
    """The pieces of one look, or of several pooled, over their running hours; spans (low, high).

    `dispersion`: variance to mean between the looks, None while it cannot be told; `looks_needed`:
    how many more it would take.
    """

    pieces: Pieces
    hours: Span
    looks: int = 1
    dispersion: float | None = None
    looks_needed: int = LOOKS

    @property
    def most(self) -> float:
        """The upper end of the pieces; inf for "more than"."""
        return math.inf if self.pieces[1] is None else self.pieces[1]

    @property
    def per_hour(self) -> Span:
        """Pieces per hour, least and most."""
        most = math.inf if self.pieces[1] is None else counts.per_hour(self.pieces[1], self.hours[0])
        return counts.per_hour(self.pieces[0], self.hours[1]), most

    @property
    def middle(self) -> float:
        """Pieces per hour in the middle of the spans, an open one at its lower end."""
        return counts.per_hour(_middle(self.pieces), sum(self.hours) / 2)

    def rise(self, later: Stretch, spread: float = 1.0) -> Span:
        """Least and greatest chance of so many later pieces; greatest with most before and least later."""
        least = counts.chance_of_rise(self.pieces[0], self.hours[1], later.most, later.hours[0], spread)
        most = counts.chance_of_rise(self.most, self.hours[0], later.pieces[0], later.hours[1], spread)
        return least, most

    def fall(self, later: Stretch, spread: float = 1.0) -> Span:
        """Least and greatest chance of so few later pieces."""
        least = counts.chance_of_fall(self.most, self.hours[0], later.pieces[0], later.hours[1], spread)
        most = counts.chance_of_fall(self.pieces[0], self.hours[1], later.most, later.hours[0], spread)
        return least, most

    def by_e_test(self, later: Stretch, side: Side) -> Span:
        """The same chances by the E-test, over the ends of all spans.

        It goes up and down in small steps with the hours, so one between them may lie a little outside.
        """
        ends = product(
            {self.pieces[0], self.most}, set(self.hours), {later.pieces[0], later.most}, set(later.hours)
        )
        every = [counts.e_chance(*case, side) for case in ends]
        return min(every), max(every)

    def times(self, later: Stretch, spread: float = 1.0) -> Span:
        """95 % limits of the later rate over this one."""
        side = (1 + counts.LEVEL) / 2
        few, many = (self.pieces[0], self.hours[1]), (self.most, self.hours[0])
        least = counts.ratio_above(*many, later.pieces[0], later.hours[1], side, spread)
        return least, counts.ratio_below(*few, later.most, later.hours[0], side, spread)

    def times_below(self, later: Stretch, spread: float = 1.0) -> float:
        """How many times this rate the later one is at most, in the worst case; one-sided 95 %."""
        few = (self.pieces[0], self.hours[1])
        return counts.ratio_below(*few, later.most, later.hours[0], dispersion=spread)

    def limits(self, spread: float = 1.0) -> Span:
        """95 % limits of the pieces per hour."""
        low = counts.rate_limits(self.pieces[0], self.hours[1], dispersion=spread)[0]
        if self.pieces[1] is None:
            return low, math.inf
        return low, counts.rate_limits(self.pieces[1], self.hours[0], dispersion=spread)[1]

    def alarm(self, ahead: float, spread: float = 1.0) -> Pieces:
        """Alarm limits of the next look after `ahead` hours, for the lowest and the highest reading."""
        low = counts.alarm_limit(self.pieces[0], self.hours[1], ahead, dispersion=spread)
        if self.pieces[1] is None:
            return low, None
        return low, counts.alarm_limit(self.pieces[1], self.hours[0], ahead, dispersion=spread)


def pool(looks: Sequence[tuple[Pieces, Span]]) -> Stretch:
    """Pieces and hours summed; open as soon as one count is open."""
    tops = [top for (_, top), _ in looks if top is not None]
    return Stretch(
        pieces=(sum(low for (low, _), _ in looks), sum(tops) if len(tops) == len(looks) else None),
        hours=(math.fsum(low for _, (low, _) in looks), math.fsum(high for _, (_, high) in looks)),
        looks=len(looks),
        dispersion=_dispersion(looks),
        looks_needed=max(0, LOOKS - len(tops)),
    )


def _dispersion(looks: Sequence[tuple[Pieces, Span]]) -> float | None:
    """Variance to mean, spans at their middle, open counts left out."""
    told = [(_middle(pieces), sum(hours) / 2) for pieces, hours in looks if pieces[1] is not None]
    return counts.scatter([k for k, _ in told], [t for _, t in told]) if len(told) >= LOOKS else None


def _middle(pieces: Pieces) -> float:
    return pieces[0] if pieces[1] is None else (pieces[0] + pieces[1]) / 2
