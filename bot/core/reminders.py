"""What is due when: the oil by hours, kilometres or days, and second looks by hours.

A reading says for certain. Where none is new enough the bike's own pace does, running hours a day
between dated readings; and where there is no pace either, the meter is asked for after some days. Each
reminder has its occasion, a text that stays the same until the fact behind it changes: a reminder is
sent once an occasion. What is only expected is an occasion of the reading it was reckoned from, so a new
reading that says "not yet" lets it be expected again.

Nothing is due that the rider has not asked for: there is no interval by default. Races change oil each
5 to 8 hours, trail riders each 10 to 15, as published guides for small engines have it (common practice,
no source); the rider's manual outranks both.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta, tzinfo
from typing import Literal

from bot.core.flow import Flow
from bot.core.state import State
from bot.core.wall import EARLIEST, moment_of

Span = tuple[float, float]
Kind = Literal["oil", "look"]
Why = Literal["read", "pace", "days", "ask"]

SEASON = timedelta(days=90)  # older readings say little of how it is ridden now; our own reading, no source
DAY = timedelta(days=1)
ASK_OIL = timedelta(days=14)  # without any pace; common practice, no source
ASK_LOOK = timedelta(days=3)  # a second look matters more than an interval; common practice, no source
FARTHEST = 36_500.0  # days; what lies further ahead is never


@dataclass(frozen=True)
class Reading:
    """Running hours (or kilometres) of the bike over all its meters, as a span, and when it was read."""

    at: datetime
    total: Span

    @property
    def middle(self) -> float:
        return sum(self.total) / 2


@dataclass(frozen=True)
class Pace:
    """`per_day`: hours (or kilometres) a day, over 0; `last`: the reading from which to reckon on."""

    per_day: float
    last: Reading

    def when(self, total: float) -> datetime | None:
        """When the meter is expected to have come to `total`; None when that is out of sight."""
        return _later(self.last.at, (total - self.last.middle) / self.per_day)


@dataclass(frozen=True)
class OilWatch:
    """When the oil was changed, what the meters showed then and show now, and the rider's own interval.

    Hours and kilometres are totals over all meters of the bike; None where they are not known or, of an
    interval, not wanted.
    """

    changed_at: date
    changed_hours: Span | None
    now_hours: Span | None
    every_hours: float | None
    every_days: float | None
    changed_km: Span | None = None
    now_km: Span | None = None
    every_km: float | None = None


@dataclass(frozen=True)
class LookWatch:
    """A second look that is to come: look `n` of `of`, `after` running hours from `from_hours` on.

    `title`: what the looks are for; `do`: what to do, in short; `key`: this look and no other, for good.
    """

    title: str
    do: str
    n: int
    of: int
    after: float | None
    from_hours: float | None
    set_at: datetime
    key: str


@dataclass(frozen=True)
class Due:
    """One thing that is due since a moment. `run` of `every` in `unit` (h, km, days) on an oil.

    `run` is None where only the meter is asked for.
    """

    kind: Kind
    why: Why
    since: datetime
    occasion: str
    run: float | None = None
    every: float | None = None
    unit: str = "h"
    look: LookWatch | None = None


# --- the pace -------------------------------------------------------------------------------


def pace_of(readings: Iterable[Reading]) -> Pace | None:
    """Hours a day of this season; None with fewer than two readings a day apart, or when it stood still."""
    known = sorted(readings, key=lambda reading: reading.at)
    if not known:
        return None
    last = known[-1]
    before = [reading for reading in known if last.at - reading.at >= DAY]
    if not before:
        return None
    season = [reading for reading in before if last.at - reading.at <= SEASON]
    first = season[0] if season else before[-1]
    per_day = (last.middle - first.middle) / ((last.at - first.at) / DAY)
    return Pace(per_day, last) if per_day > 0 else None


def _later(start: datetime, days: float) -> datetime | None:
    return start + timedelta(days=days) if math.isfinite(days) and abs(days) < FARTHEST else None


# --- oil ------------------------------------------------------------------------------------


def oil_due(
    oil: OilWatch, hours: Sequence[Reading], km: Sequence[Reading], now: datetime, zone: tzinfo
) -> Due | None:
    """Whether this oil is due by now, by whichever of the rider's intervals comes first.

    `hours`, `km`: dated readings of the bike's meters. A calendar day begins at a decent hour of `zone`.
    """
    changed = moment_of(oil.changed_at, EARLIEST, zone)
    key = f"{oil.changed_at.isoformat()}|{_key(oil)}"
    meters = (
        _Meter(oil.every_hours, oil.changed_hours, oil.now_hours, hours, "h"),
        _Meter(oil.every_km, oil.changed_km, oil.now_km, km, "km"),
    )
    told = [meter for meter in meters if meter.every]
    found = [due for meter in told for due in _by_meter(meter, changed, key, now)]
    found += _by_calendar(oil, key, now, zone)
    ripe = [due for due in found if due.since <= now]
    certain = [due for due in ripe if due.why != "pace"]
    if ripe:
        return min(certain or ripe, key=lambda due: due.since)
    blind = next((meter for meter in told if meter.pace(changed) is None), None)
    return _ask_for_meter(blind, changed, key, now) if blind else None


def _key(oil: OilWatch) -> str:
    """The interval is part of the occasion: told anew, it is another one."""
    parts = ((oil.every_hours, "h"), (oil.every_km, "km"), (oil.every_days, "d"))
    return ",".join(f"{every:g}{unit}" for every, unit in parts if every)


@dataclass(frozen=True)
class _Meter:
    every: float | None
    changed: Span | None
    now: Span | None
    readings: Sequence[Reading]
    unit: str

    @property
    def shown(self) -> float | None:
        """What the meter shows now, as far as it was told."""
        spans = [self.now] if self.now is not None else [reading.total for reading in self.readings[-1:]]
        return sum(spans[0]) / 2 if spans else None

    @property
    def limit(self) -> float | None:
        """What the meter shows when the interval is over."""
        return None if self.changed is None or not self.every else sum(self.changed) / 2 + self.every

    def pace(self, changed: datetime) -> Pace | None:
        """What the meter showed at the oil change is a reading too."""
        own = [Reading(changed, self.changed)] if self.changed is not None else []
        return pace_of([*self.readings, *own])


def _by_meter(meter: _Meter, changed: datetime, key: str, now: datetime) -> list[Due]:
    every, limit, shown = meter.every, meter.limit, meter.shown
    assert every is not None
    if limit is not None and shown is not None and shown >= limit:
        beyond = [reading.at for reading in meter.readings if reading.middle >= limit]
        run = shown - (limit - every)
        return [Due("oil", "read", min(beyond, default=now), key, run, every, meter.unit)]
    pace = meter.pace(changed)
    if pace is None:
        return []
    when = pace.when(limit) if limit is not None else _later(changed, every / pace.per_day)
    if when is None:
        return []
    run = every + pace.per_day * ((now - when) / DAY)
    return [Due("oil", "pace", when, f"{key}~{pace.last.at.isoformat()}", run, every, meter.unit)]


def _by_calendar(oil: OilWatch, key: str, now: datetime, zone: tzinfo) -> list[Due]:
    if not oil.every_days:
        return []
    since = moment_of(oil.changed_at + timedelta(days=math.ceil(oil.every_days)), EARLIEST, zone)
    run = (now.astimezone(zone).date() - oil.changed_at).days
    return [Due("oil", "days", since, key, float(run), oil.every_days, "days")]


def _ask_for_meter(meter: _Meter, changed: datetime, key: str, now: datetime) -> Due | None:
    """Without a pace an interval in hours would never end: then the meter is asked for, once a reading."""
    last = max([changed, *(reading.at for reading in meter.readings)])
    since = last + ASK_OIL
    asked = f"{key}?{last.isoformat()}"
    return Due("oil", "ask", since, asked, None, meter.every, meter.unit) if since <= now else None


# --- second looks ---------------------------------------------------------------------------


def look_of(flow: Flow, state: State, case: int) -> LookWatch | None:
    """The second look that a case waits for; None while it is made, or while running it is barred."""
    watch = state.watch
    plan = flow.second_looks.get(watch.plan) if watch else None
    if watch is None or plan is None or watch.in_round or "running" in state.bars:
        return None
    if state.ended is not None and state.ended.how not in ("parked", "put_off", "closed"):
        return None
    look = plan.looks[min(watch.index, len(plan.looks) - 1)]
    after = look.after_hours if look.after_minutes is None else look.after_minutes / 60
    remedy = flow.remedies.get(watch.for_remedy)
    return LookWatch(
        title=remedy.name if remedy else flow.title,
        do=look.short or look.do,
        n=watch.index + 1,
        of=len(plan.looks),
        after=after,
        from_hours=watch.from_hours,
        set_at=datetime.fromisoformat(watch.at),
        key=f"{case}/{watch.plan}/{watch.index}/{watch.at}",
    )


def look_due(look: LookWatch, readings: Sequence[Reading], now: datetime) -> Due | None:
    """Whether a second look is due by now.

    By a reading that says so; else by the pace, never before a day has gone by, for until then the rider
    is likely still at it; else after three days, to ask for the meter.
    """
    since = [reading for reading in readings if reading.at >= look.set_at]
    limit = None if look.from_hours is None or look.after is None else look.from_hours + look.after
    beyond = [reading.at for reading in since if limit is not None and reading.middle >= limit]
    if beyond:
        return _look(look, "read", min(beyond), look.key, now)
    pace = pace_of(readings) if look.after is not None else None
    if pace is None:
        return _look(look, "ask", look.set_at + ASK_LOOK, f"{look.key}?", now)
    if limit is not None and since:
        when = pace.when(limit)
    else:
        when = _later(look.set_at, (look.after or 0) / pace.per_day)
    if when is None:
        return None
    soonest = max(when, look.set_at + DAY)
    return _look(look, "pace", soonest, f"{look.key}~{pace.last.at.isoformat()}", now)


def _look(look: LookWatch, why: Why, since: datetime, occasion: str, now: datetime) -> Due | None:
    return Due("look", why, since, occasion, every=look.after, look=look) if since <= now else None
