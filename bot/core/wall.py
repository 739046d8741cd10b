"""The clock on the rider's wall: when a reminder may go out, and which clock is his by his own words.

A zone is handed in as a tzinfo; what is kept of it is a name of the tz database ("Europe/Berlin") or
a fixed distance from UTC ("UTC+05:30"). A fixed one knows no change of the clock in spring or autumn.
"""

from __future__ import annotations

import re
from collections.abc import Collection
from datetime import UTC, date, datetime, time, timedelta, timezone, tzinfo

from bot.core.spoken import fold

EARLIEST, LATEST = time(9), time(20)  # when nobody minds a message; common practice, no source
OFF = timedelta(minutes=10)  # how far a clock may be out, or a message late, to be understood
QUARTERS = (15, 30, 45)

# Distances from UTC in hours that some place keeps; checked in the tests against the tz database.
_WHOLE = tuple(float(hour) for hour in range(-12, 15))
DISTANCES = tuple(
    sorted((*_WHOLE, -9.5, -3.5, -2.5, 3.5, 4.5, 5.5, 5.75, 6.5, 8.75, 9.5, 10.5, 12.75, 13.75))
)


def moment_of(day: date, at: time, zone: tzinfo, fold: int = 0) -> datetime:
    """The moment, in UTC, at which that clock shows this time on that day.

    A time that the clock shows twice is the earlier of the two (`fold` 1: the later); one that it leaps
    over is as much later as it leaps, as PEP 495 has it.
    """
    return datetime.combine(day, at, zone).replace(fold=fold).astimezone(UTC)


def is_decent(now: datetime, zone: tzinfo, earliest: time = EARLIEST, latest: time = LATEST) -> bool:
    """Whether that clock shows an hour at which a reminder may go out."""
    return earliest <= now.astimezone(zone).time() < latest


def next_decent(now: datetime, zone: tzinfo, earliest: time = EARLIEST, latest: time = LATEST) -> datetime:
    """The first decent moment from `now` on, in UTC; `now` itself when it is one.

    On a day whose `earliest` the clock leaps over, that is as much later as it leaps.
    """
    if is_decent(now, zone, earliest, latest):
        return now.astimezone(UTC)
    today = now.astimezone(zone).date()
    days = (today + timedelta(days=ahead) for ahead in range(3))
    # Both showings of a time are tried: `now` may lie between them.
    found = (moment_of(day, earliest, zone, fold) for day in days for fold in (0, 1))
    return next(at for at in found if at >= now)


def fixed(hours: float) -> str:
    """A fixed distance from UTC as it is kept: 5.5 is 'UTC+05:30', 0 is 'UTC'."""
    minutes = round(abs(hours) * 60)
    return f"UTC{'-' if hours < 0 else '+'}{minutes // 60:02}:{minutes % 60:02}" if minutes else "UTC"


def fixed_zone(kept: str) -> tzinfo | None:
    """The zone of a fixed distance; None for any other text."""
    if kept == "UTC":
        return UTC
    found = re.fullmatch(r"UTC([+-])(\d\d):(\d\d)", kept)
    if found is None or int(found[2]) > 14:
        return None
    away = timedelta(hours=int(found[2]), minutes=int(found[3]))
    return timezone(-away if found[1] == "-" else away)


# --- what a rider says of his clock ---------------------------------------------------------

_NOW = re.compile(
    r"(?:my (?:local |own )?(?:time|clock|watch)|local time|(?:the )?time here)(?: (?:is|says|shows))?"
    r"(?: now)?:? ?(?P<hour>\d{1,2})(?:[:.h](?P<minute>\d\d))?(?: ?(?P<half>[ap])\.?m\.?)?"
    r"(?: ?(?:o'?clock|here|now|h))*[.!]?"
)
_HERE = re.compile(
    r"(?:it is|it's|its)(?: now)? (?P<hour>\d{1,2})(?:[:.](?P<minute>\d\d))?(?: ?(?P<half>[ap])\.?m\.?)?"
    r"(?: o'?clock)? (?:here|where i am|my time|local time)(?: now)?[.!]?"
)
_ZONE = re.compile(r"(?:set )?(?:my )?(?:time ?)?zone(?: (?:is|to|now))*:? ?(?P<zone>.+?)[.!]?")
_AWAY = re.compile(r"(?:utc|gmt)? ?(?P<sign>[+-]) ?(?P<hours>\d{1,2})(?::?(?P<minutes>\d\d))?(?: ?h| hours)?")


def zone_told(text: str, now: datetime, known: Collection[str]) -> str | None:
    """Which clock is the rider's: "my time is 14:20", "zone Europe/Berlin", "zone UTC+2".

    `known`: the names of the tz database. The zone as it is kept; "" when the words are about his clock
    but fit none; None when they are about something else. Of two places that show one time a day apart
    the one nearer to UTC is taken: that makes no odds to the hour of a message.
    """
    said = " ".join(fold(text).split())
    if shown := _NOW.fullmatch(said) or _HERE.fullmatch(said):
        return _by_clock(shown, now)
    if named := _ZONE.fullmatch(said):
        return _by_name(named["zone"], known)
    return None


def _by_clock(shown: re.Match[str], now: datetime) -> str:
    hour, minute = int(shown["hour"]), int(shown["minute"] or 0)
    if shown["half"]:
        hour = hour % 12 + (12 if shown["half"] == "p" else 0) if 1 <= hour <= 12 else 99
    if hour > 23 or minute > 59:
        return ""
    utc = now.astimezone(UTC)
    ahead = (hour * 60 + minute - utc.hour * 60 - utc.minute) / 60
    nearest = min(DISTANCES, key=lambda away: (round(_apart(away, ahead), 6), abs(away)))
    return fixed(nearest) if _apart(nearest, ahead) * 60 <= OFF.total_seconds() / 60 else ""


def _apart(one: float, other: float) -> float:
    """Hours between two distances, where a whole day makes none."""
    return abs((one - other + 12) % 24 - 12)


def _by_name(said: str, known: Collection[str]) -> str:
    if said in ("utc", "gmt"):
        return "UTC"
    if away := _AWAY.fullmatch(said):
        hours = int(away["hours"]) + int(away["minutes"] or 0) / 60
        signed = -hours if away["sign"] == "-" else hours
        return fixed(signed) if -12 <= signed <= 14 and int(away["minutes"] or 0) in (0, *QUARTERS) else ""
    wanted = said.replace(" ", "_")
    whole = [name for name in known if fold(name) == wanted]
    towns = [name for name in known if fold(name.rpartition("/")[2]) == wanted]
    return next((found[0] for found in (whole, towns) if len(found) == 1), "")
