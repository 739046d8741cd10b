"""The looks of one bike as points over its running hours: rates with their limits, thinned if many."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from bot.core.stretches import Span
from bot.core.trend import Interval, Trend, pooled
from bot.core.words import Words

RECENT = 60  # looks that are always shown one by one
GROUPS = 12  # points at most that all older ones are pooled into
HEADROOM = 1.05  # times the highest of all that is drawn
ABOVE_OPEN = 1.3  # times the lower end of an open count, so that its arrow has room
READABLE = 20  # the lowest rate above 0 stands at least this part of the height above 0, or the scale narrows

EVEN_TOPS, NARROW_TOPS = (1.0, 1.2, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0), (1.0, 2.0, 5.0)  # of a scale

MarkKind = Literal["oil_change", "repair", "meter"]
PointKind = Literal["counted", "vague", "chunk", "pooled"]
Alarm = tuple[float, bool]  # pieces per hour, and whether more is a rise only at one end of what was vague


@dataclass(frozen=True)
class Mark:
    """Something that happened to the bike at these total running hours; `label`: its name, if any."""

    at: float
    kind: MarkKind
    label: str = ""


@dataclass(frozen=True)
class TrendPicture:
    """All that the picture shows.

    `title`: the bike's name, any Unicode. `trend`: what `judge` said of these very looks; the alarm
    limit and the widening for clumps are taken from it, so that picture and words say the same.
    """

    title: str
    looks: tuple[Interval, ...]
    marks: tuple[Mark, ...]
    trend: Trend
    words: Words

    @property
    def spread(self) -> float:
        """Variance to mean that the limits allow for, 1 where the trend did not widen them."""
        told = self.trend.dispersion
        return told if told is not None and self.trend.widened else 1.0


@dataclass(frozen=True)
class Point:
    """One look, or several older ones pooled; pieces per running hour.

    `hours`: total running hours of the bike from (at the longest reading) to. `rate`: least and most,
    equal when all was counted, inf for "more than". `limits`: 95 % limits, of a span its outer ones.
    """

    hours: Span
    rate: Span
    limits: Span
    looks: int = 1
    chunk: bool = False
    other_cleaning: bool = False

    @property
    def kind(self) -> PointKind:
        """What the marker shows; a chunk outranks all else."""
        if self.chunk:
            return "chunk"
        if self.looks > 1:
            return "pooled"
        return "counted" if self.rate[0] == self.rate[1] else "vague"

    @property
    def open(self) -> bool:
        return math.isinf(self.rate[1])


# --- looks to points ------------------------------------------------------------------------


def points(picture: TrendPicture) -> tuple[Point, ...]:
    """In the order of their hours: the last RECENT looks each, all older ones in groups of equal size.

    A group's pieces and hours are summed, not its rates averaged. ValueError without a look, or where
    hours are not finite.
    """
    if not picture.looks:
        raise ValueError("there is no look to draw yet")
    if not all(-math.inf < look.ends - look.hours[1] < look.ends < math.inf for look in picture.looks):
        raise ValueError("a look is at no finite running hours")
    looks = sorted(picture.looks, key=lambda look: look.ends)
    groups = [*_groups(looks[:-RECENT]), *([look] for look in looks[-RECENT:])]
    return tuple(_point(group, looks[-1], picture.spread) for group in groups)


def _groups(older: Sequence[Interval]) -> list[Sequence[Interval]]:
    """Of equal size, counted from the newest; the oldest group may be smaller."""
    size = math.ceil(len(older) / GROUPS) or 1
    ends = range(len(older), 0, -size)
    return [older[max(0, end - size) : end] for end in ends][::-1]


def _point(looks: Sequence[Interval], latest: Interval, spread: float) -> Point:
    stretch = pooled(looks)
    return Point(
        hours=(min(look.ends - look.hours[1] for look in looks), looks[-1].ends),
        rate=stretch.per_hour,
        limits=stretch.limits(spread),
        looks=len(looks),
        chunk=any(look.chunk for look in looks),
        other_cleaning=all(_otherwise(look, latest) for look in looks),
    )


def _otherwise(look: Interval, latest: Interval) -> bool:
    """Known to have begun with another cleaning than the latest look."""
    return bool(look.cleaned and latest.cleaned) and look.cleaned != latest.cleaned


def alarms(trend: Trend) -> tuple[Alarm, ...]:
    """The alarm limit over the hours of the next run, and below it what is in doubt, if that differs."""
    low, high = trend.alarm
    sure = () if high is None else ((high / trend.next_hours, False),)
    return sure if low == high else (*sure, (low / trend.next_hours, True))


# --- scales ---------------------------------------------------------------------------------


@dataclass(frozen=True)
class Upwards:
    """Rates to heights in pixels; `knee` 0: even. Else about even up to the knee, then by its multiples.

    0 lies on the bottom in both: asinh(rate / knee) is rate / knee for small rates and grows like the
    logarithm for great ones.
    """

    bottom: float
    top: float
    highest: float
    knee: float = 0.0

    def __call__(self, rate: float) -> float:
        share = math.asinh(rate / self.knee) / self._whole if self.knee else rate / self.highest
        return self.bottom + (self.top - self.bottom) * min(1.0, share)

    @property
    def _whole(self) -> float:
        return math.asinh(self.highest / self.knee)


def scale_rates(drawn: Sequence[Point], limits: Sequence[Alarm], bottom: float, top: float) -> Upwards:
    """An even scale while the lowest rate above 0 can be told from 0 on it, else one that narrows upwards."""
    rates = [end for point in drawn for end in point.rate if math.isfinite(end)] + [
        rate for rate, _ in limits
    ]
    ends = [end for point in drawn for end in point.limits if math.isfinite(end)]
    opened = [point.rate[0] * ABOVE_OPEN for point in drawn if point.open]
    highest = HEADROOM * max((*rates, *ends, *opened)) or 1.0
    lowest = min((rate for rate in rates if rate > 0), default=highest)
    if lowest * READABLE < highest:
        return Upwards(bottom, top, _round_up(highest, NARROW_TOPS), lowest)
    return Upwards(bottom, top, _round_up(highest, EVEN_TOPS))


def _round_up(x: float, digits: Sequence[float]) -> float:
    power = 10.0 ** math.floor(math.log10(x))
    return next((digit * power for digit in digits if digit * power >= x), 10 * power)


@dataclass(frozen=True)
class Along:
    """Running hours to pixels, even within each part; two parts where older looks have a scale of their own.

    `parts`: (hours from, hours to, pixels from, pixels to), one after another.
    """

    parts: tuple[tuple[float, float, float, float], ...]

    def __call__(self, hours: float) -> float:
        part = next((p for p in self.parts if hours <= p[1]), self.parts[-1])
        share = (hours - part[0]) / (part[1] - part[0])
        return part[2] + (part[3] - part[2]) * min(1.0, max(0.0, share))

    @property
    def span(self) -> Span:
        return self.parts[0][0], self.parts[-1][1]

    @property
    def gap(self) -> Span | None:
        """Pixels between two parts, where the axis is cut."""
        return (self.parts[0][3], self.parts[1][2]) if len(self.parts) == 2 else None


LEAST_AHEAD, AHEAD = 0.04, 0.15  # of the hours shown one by one: left free for the run to the next look
OLDER_PART = 0.25  # of the width for looks that are pooled, where the others would get less than the rest
GAP = 24.0  # pixels


def scale_hours(drawn: Sequence[Point], next_hours: float, left: float, right: float) -> Along:
    """From the beginning of the first look to some of the run after the last."""
    begin, last = min(point.hours[0] for point in drawn), drawn[-1].hours[1]
    single = [point for point in drawn if point.looks == 1]
    cut = min(point.hours[0] for point in single)
    end = last + min(max(next_hours, LEAST_AHEAD * (last - cut)), AHEAD * (last - cut))
    if len(single) == len(drawn) or not begin < cut or end - cut > (1 - OLDER_PART) * (end - begin):
        return Along(((begin, end, left, right),))
    middle = left + OLDER_PART * (right - left)
    return Along(((begin, cut, left, middle - GAP), (cut, end, middle, right)))


# --- ticks ----------------------------------------------------------------------------------


def even_ticks(low: float, high: float, most: float) -> list[float]:
    """Multiples of 1, 2 or 5 times a power of ten between low and high, at most about `most` of them."""
    rough = (high - low) / max(1.0, most)
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(power * digit for digit in (1, 2, 5, 10) if power * digit >= rough * (1 - 1e-9))
    return [n * step for n in range(math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9) + 1)]


def rate_ticks(scale: Upwards, apart: float) -> list[float]:
    """Rates to write beside the axis, at least `apart` pixels from each other; 0 and the top are two."""
    if not scale.knee:
        return even_ticks(0.0, scale.highest, (scale.top - scale.bottom) / apart)
    powers = range(math.floor(math.log10(scale.knee)), math.ceil(math.log10(scale.highest)) + 1)
    kept = [0.0, scale.highest]
    for digit in (1, 5, 2):
        for power in powers:
            rate = float(f"{digit}e{power}")
            if rate < scale.highest and all(abs(scale(rate) - scale(tick)) >= apart for tick in kept):
                kept.append(rate)
    return sorted(kept)
