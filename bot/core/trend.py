"""Whether a bike sheds more metal than it used to: pieces per running hour against its own history.

The latest look is held against all looks since the engine was last opened, pooled, by the exact test
of two rates (`counts.py`). Three things decide what may be pooled:

- Like cleaning. What an oil change leaves in filter and screen is found at the next look. Looks that
  are known to have begun with another cleaning are left out, always.
- Like hours. A short run washes out what lay about, a long one dilutes it. Looks whose run was more
  than four times longer or shorter are left out while others remain; if none remain they are compared
  and that is said, since a run of half an hour may be all that there is.
- One level. Where the history can be cut so that the looks before the cut shed more by the hour than
  those after it, beyond chance for the best of all cuts, those before are of the past. So a relapse
  after a fall is a rise, and the dirt of running-in does not hide one.

New parts shed much at first and less by the hour, while the sums may still grow. As long as the rate
has fallen from each look to the next since the engine was opened, that is running-in and no news; once
it has not, running-in is over. A rise is a rise in either case.

Of an amount or an hour meter that is vague the best and the worst case are worked out, and nothing is
called rising or falling that is not so in both. Whatever is found here, a chunk outranks it: a broken
tooth comes once, and the next oil is cleaner while the tooth is still missing.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from typing import Literal

from bot.core import counts
from bot.core.stretches import CLUMPED, LOOKS, Span, Stretch, pool

RECENT = 40  # looks back that say something of the level now; common practice, no source
UNLIKE = 4.0  # times longer or shorter; common practice, no source
TIMES = 3.0  # "same" once a rise to this many times is ruled out; common practice, no source

Direction = Literal["falling", "running_in", "same", "first", "after_work", "unclear", "rising"]
URGENCY: Mapping[Direction, int] = {
    "falling": 0,
    "running_in": 0,
    "same": 1,
    "first": 2,
    "after_work": 2,
    "unclear": 2,
    "rising": 3,
}


@dataclass(frozen=True)
class Interval:
    """What one look found, over the running hours since the oil way was last cleaned.

    `hours`: running hours of the interval, a span (low, high) with low > 0 and low == high when read
    from a meter.
    `pieces`: how many pieces, a span (low, high); high is None for "more than low". Counted exactly:
    low == high.
    `cleaned`: what was cleaned when the interval began: "filter" (oil, filter and screen) or "oil" (oil
    only) or "" (not known).
    `fresh_work`: the engine was opened at the beginning of this interval or within it.
    `chunk`: a piece with hard corners, or one whose biggest measure is over 4.8 mm, was among them.
    `ends`: total running hours of the bike at the look (middle of the span), for order and for plots.
    """

    hours: tuple[float, float]
    pieces: tuple[int, int | None]
    ends: float
    cleaned: str = ""
    fresh_work: bool = False
    chunk: bool = False


@dataclass(frozen=True)
class Trend:
    """What the latest look says beside the bike's own history. Rates are pieces per running hour.

    `chance`: how often chance alone would show such a rise (or fall, by `side`), best and worst case.
    `limits`: 95 % limits of the two rates, before (if any) and latest. `times`: latest over before.
    `alarm`: the next look, after `next_hours`, is a rise for certain above the second number and
    cannot be one up to the first; they differ only where something was vague. None: no limit. After
    a rise it is a limit for the level before it.
    `dispersion`: variance to mean of the history, None while it cannot be told; `looks_needed`: how
    many more looks of its kind it would take. `widened`: it was over 2 and all chances allow for it.
    `other_cleaning`, `other_hours`, `higher`: looks left out, by why. `far_hours`: unlike hours were
    compared for want of better. `vague`: a rise in one case of a span and none in the other.
    """

    direction: Direction
    latest: Stretch
    before: Stretch | None
    side: Literal["rise", "fall"]
    chance: Span | None
    times: Span | None
    limits: tuple[Span | None, Span]
    alarm: tuple[int, int | None]
    next_hours: float
    dispersion: float | None
    looks_needed: int
    widened: bool
    chunk_before: bool
    chunk_now: bool
    other_cleaning: tuple[Interval, ...] = ()
    other_hours: tuple[Interval, ...] = ()
    higher: tuple[Interval, ...] = ()
    cleaning_unknown: bool = False
    far_hours: bool = False
    vague: bool = False

    @property
    def urgency(self) -> int:
        return URGENCY[self.direction]

    @property
    def e_chance(self) -> Span | None:
        """`chance` by the E-test, less timid for few pieces; nothing is judged by it. None with clumps."""
        if self.before is None or self.widened:
            return None
        return self.before.by_e_test(self.latest, self.side)

    @property
    def good_news(self) -> bool:
        """Fewer pieces that may be believed; never after a chunk."""
        return self.urgency == 0 and not self.chunk_before and not self.chunk_now


def judge(intervals: Iterable[Interval], next_hours: float | None = None) -> Trend:
    """The latest of these looks against the others, in whatever order they are given.

    A chunk counts until its source is found, which is not known here: whoever knows it hands the
    interval over without `chunk`. Counts go back `RECENT` looks. `next_hours`: length of the run to the
    next look, else as the latest. ValueError without a look or with spans that are none.
    """
    return _judged(_in_order(intervals), next_hours)


@lru_cache(maxsize=256)  # bikes that are talked of now; a turn may ask more than once
def _judged(looks: tuple[Interval, ...], next_hours: float | None) -> Trend:
    past, latest = looks[:-1], looks[-1]
    history = _history(past[-RECENT:], latest)
    now = pooled([latest])
    before = pooled(history.steady) if history.steady else None
    phi = before.dispersion if before else None
    widened = phi is not None and phi > CLUMPED
    spread = phi if phi is not None and widened else 1.0
    rise, fall = (before.rise(now, spread), before.fall(now, spread)) if before else (None, None)
    side: Literal["rise", "fall"] = "fall" if before and now.middle < before.middle else "rise"
    direction = _direction(history, latest, before, now, spread)
    ahead = next_hours or sum(latest.hours) / 2
    return Trend(
        direction=direction,
        latest=now,
        before=before,
        side=side,
        chance=rise if side == "rise" else fall,
        times=before.times(now, spread) if before else None,
        limits=(before.limits(spread) if before else None, now.limits(spread)),
        alarm=_level(direction, history.steady, latest).alarm(ahead, spread),
        next_hours=ahead,
        dispersion=phi,
        looks_needed=before.looks_needed if before else LOOKS,
        widened=widened,
        chunk_before=any(look.chunk for look in past),
        chunk_now=latest.chunk,
        other_cleaning=history.other_cleaning,
        other_hours=history.other_hours,
        higher=history.higher,
        cleaning_unknown=bool(before) and any(not x.cleaned for x in (*history.steady, latest)),
        far_hours=history.far_hours,
        vague=rise is not None and rise[0] <= 1 - counts.LEVEL < rise[1],
    )


def _in_order(intervals: Iterable[Interval]) -> tuple[Interval, ...]:
    looks = list(intervals)
    if not looks:
        raise ValueError("no look to judge")
    for look in looks:
        low, high = look.pieces
        if not 0 < look.hours[0] <= look.hours[1] < math.inf or low < 0 or (high is not None and high < low):
            raise ValueError(f"hours or pieces are no span: {look}")
    return tuple(sorted(looks, key=_when))


def _when(look: Interval) -> tuple[float, ...]:
    """By the hours of the bike; looks at the same hours in a fixed order, whatever was given first."""
    most = math.inf if look.pieces[1] is None else look.pieces[1]
    marks = (look.fresh_work, look.chunk, look.cleaned == "oil", look.cleaned == "filter")
    return (look.ends, *look.hours, look.pieces[0], most, *map(float, marks))


# --- what may be pooled ---------------------------------------------------------------------


@dataclass(frozen=True)
class _History:
    steady: tuple[Interval, ...]  # what the latest look is compared with
    higher: tuple[Interval, ...]  # taken off the front: of a higher level, since left
    other_cleaning: tuple[Interval, ...]
    other_hours: tuple[Interval, ...]
    far_hours: bool
    running_in: bool  # the rate has fallen from look to look since the work
    none: bool  # no look at all since the work


def _history(past: Sequence[Interval], latest: Interval) -> _History:
    since = _since_work(past)
    like = [look for look in since if not _cleaned_otherwise(look, latest)]
    near = [look for look in like if not _far(look, latest)]
    fit = near or like
    cut = _last_fall(fit)
    after_work = bool(since) and since[0].fresh_work and not latest.fresh_work
    return _History(
        steady=tuple(fit[cut:]),
        higher=tuple(fit[:cut]),
        other_cleaning=tuple(look for look in since if look not in like),
        other_hours=tuple(look for look in like if near and look not in near),
        far_hours=bool(like) and not near,
        running_in=after_work and bool(like) and _falls_throughout([*like, latest]),
        none=not since,
    )


def _since_work(past: Sequence[Interval]) -> Sequence[Interval]:
    """The looks from the last one that had the engine opened on; all when none had."""
    opened = [n for n, look in enumerate(past) if look.fresh_work]
    return past[opened[-1] :] if opened else past


def _cleaned_otherwise(one: Interval, other: Interval) -> bool:
    """Known to differ; a cleaning that nobody noted may have been the same."""
    return bool(one.cleaned and other.cleaned) and one.cleaned != other.cleaned


def _far(one: Interval, other: Interval) -> bool:
    a, b = sum(one.hours), sum(other.hours)
    return max(a, b) > UNLIKE * min(a, b)


def _last_fall(looks: Sequence[Interval]) -> int:
    """Where the level begins that holds now: 0, or behind the last cut over which the rate fell.

    With several cuts to choose from the best of them is small by chance; its chance is multiplied by
    their number (Bonferroni).
    """
    cut = 0
    while len(looks) - cut > 1:
        left = looks[cut:]
        falls = {n: pooled(left[:n]).fall(pooled(left[n:]))[1] for n in range(1, len(left))}
        best = min(falls, key=lambda n: falls[n])
        if falls[best] * len(falls) > 1 - counts.LEVEL:
            break
        cut += best
    return cut


def _falls_throughout(looks: Sequence[Interval]) -> bool:
    rates = [pooled([look]).per_hour for look in looks]
    return all(later[1] < earlier[0] for earlier, later in pairwise(rates))


def pooled(looks: Sequence[Interval]) -> Stretch:
    return pool([(look.pieces, look.hours) for look in looks])


# --- the judgement --------------------------------------------------------------------------


def _direction(
    history: _History, latest: Interval, before: Stretch | None, now: Stretch, spread: float
) -> Direction:
    """More pieces in the latest look never give a less urgent answer: they only leave each step later."""
    if latest.fresh_work:
        return "after_work"
    if before is None:
        return "first" if history.none else "unclear"
    rise, limit = before.rise(now, spread), 1 - counts.LEVEL
    if rise[1] <= limit:
        return "rising"
    if history.running_in:
        return "running_in"
    if before.fall(now, spread)[1] <= limit:
        return "falling"
    return "same" if rise[0] > limit and _no_great_rise(before, now, spread) else "unclear"


def _no_great_rise(before: Stretch, now: Stretch, spread: float) -> bool:
    """A rise to TIMES as many is ruled out, or there is nothing that could have risen."""
    if now.most == 0 and before.most == 0:
        return True
    return before.times_below(now, spread) <= TIMES


def _level(direction: Direction, steady: Sequence[Interval], latest: Interval) -> Stretch:
    """What the next look is held against; a rise does not become the measure of the next one."""
    if direction == "rising":
        return pooled(steady)
    looks = [latest] if direction == "after_work" else [*steady, latest]
    return pooled(looks[_last_fall(looks) :])
