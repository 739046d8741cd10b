"""Decent hours by the rider's own clock, held against the tz database, and what he says of his clock."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta, timezone
from zoneinfo import ZoneInfo, available_timezones

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bot.core.wall import DISTANCES, fixed, fixed_zone, is_decent, moment_of, next_decent, zone_told
from bot.record.zones import MACHINE, called, known_zones, zone_of

BERLIN = ZoneInfo("Europe/Berlin")
LORD_HOWE = ZoneInfo("Australia/Lord_Howe")  # its clock moves by 30 minutes
APIA = ZoneInfo("Pacific/Apia")  # it left out 30 December 2011
ZONES = (BERLIN, LORD_HOWE, APIA, ZoneInfo("America/St_Johns"), ZoneInfo("Asia/Kathmandu"), UTC)


def z(text: str) -> datetime:
    return datetime.fromisoformat(f"{text}:00Z")


@pytest.mark.parametrize(
    ("now", "then"),
    [
        ("2026-03-28T12:00", "2026-03-28T12:00"),  # 13:00 there: at once
        ("2026-03-28T19:00", "2026-03-29T07:00"),  # 20:00 there: nine next day, by then two hours ahead
        ("2026-03-28T07:59", "2026-03-28T08:00"),  # 08:59 in winter time
        ("2026-03-29T06:59", "2026-03-29T07:00"),  # 08:59 in summer time
        ("2026-10-24T18:00", "2026-10-25T08:00"),  # 20:00 in summer time: nine in winter time
        ("2026-10-25T18:59", "2026-10-25T18:59"),  # 19:59
        ("2026-10-25T19:00", "2026-10-26T08:00"),
    ],
)
def test_over_a_change_of_the_clock_the_wall_time_stays(now: str, then: str) -> None:
    """Clocks change at 01:00 UTC on the last Sunday of March and of October (Directive 2000/84/EC)."""
    assert next_decent(z(now), BERLIN) == z(then)


def test_a_time_that_the_clock_leaps_over_is_as_much_later() -> None:
    """02:30 on 29 March 2026 is on no clock in Berlin: it is 03:30, 01:30 UTC."""
    assert moment_of(date(2026, 3, 29), time(2, 30), BERLIN) == z("2026-03-29T01:30")
    assert next_decent(z("2026-03-29T00:00"), BERLIN, time(2, 30), time(20)) == z("2026-03-29T01:30")


def test_a_time_that_the_clock_shows_twice_is_the_first_unless_that_is_over() -> None:
    """02:30 on 25 October 2026 is 00:30 UTC and 01:30 UTC."""
    assert moment_of(date(2026, 10, 25), time(2, 30), BERLIN) == z("2026-10-25T00:30")
    assert next_decent(z("2026-10-25T00:10"), BERLIN, time(2, 30), time(20)) == z("2026-10-25T00:30")
    assert next_decent(z("2026-10-25T01:10"), BERLIN, time(2, 30), time(20)) == z("2026-10-25T01:30")


def test_a_clock_that_moves_by_half_an_hour() -> None:
    """UTC+10:30 in winter, +11 in summer; the changes are on 5 April and 4 October 2026."""
    assert next_decent(z("2026-04-03T20:00"), LORD_HOWE) == z("2026-04-03T22:00")
    assert next_decent(z("2026-04-04T20:00"), LORD_HOWE) == z("2026-04-04T22:30")
    assert next_decent(z("2026-10-02T20:00"), LORD_HOWE) == z("2026-10-02T22:30")
    assert next_decent(z("2026-10-03T20:00"), LORD_HOWE) == z("2026-10-03T22:00")


def test_a_day_that_was_left_out_altogether() -> None:
    """After 29 December 2011, 20:00 there (06:00 UTC on the 30th) came 31 December."""
    assert next_decent(z("2011-12-30T06:00"), APIA) == z("2011-12-30T19:00")
    assert z("2011-12-30T19:00").astimezone(APIA).strftime("%d %H:%M") == "31 09:00"


@given(
    zone=st.sampled_from(ZONES),
    now=st.datetimes(datetime(2026, 1, 1), datetime(2027, 1, 1), timezones=st.just(UTC)),  # noqa: DTZ001
)
def test_it_is_the_first_decent_minute_there_is(zone: ZoneInfo, now: datetime) -> None:
    """Second method: the clock is looked at minute by minute."""
    now = now.replace(second=0, microsecond=0)
    minutes = (now + timedelta(minutes=n) for n in range(3000))
    first = next(at for at in minutes if 9 <= at.astimezone(zone).hour < 20)
    assert next_decent(now, zone) == first
    assert is_decent(now, zone) == (first == now)


# --- which clock is his -----------------------------------------------------------------------

NOON = z("2026-05-01T12:00")


def test_every_distance_that_some_place_keeps_is_known() -> None:
    """Against the tz database, in the middle of each month of 2026."""
    months = [datetime(2026, month, 15, tzinfo=UTC) for month in range(1, 13)]
    kept = {at.astimezone(ZoneInfo(name)).utcoffset() for name in available_timezones() for at in months}
    assert {away.total_seconds() / 3600 for away in kept if away is not None} <= set(DISTANCES)


@pytest.mark.parametrize(
    ("text", "zone"),
    [
        ("my time is 14:00", "UTC+02:00"),
        ("My time is 2 pm", "UTC+02:00"),
        ("my time is 14:07", "UTC+02:00"),  # a few minutes out, or a few on its way
        ("my time is 17:32", "UTC+05:30"),
        ("my time is 17.45", "UTC+05:45"),
        ("my clock says 7:00", "UTC-05:00"),
        ("my time: 12:00", "UTC"),
        ("it's 14:00 here", "UTC+02:00"),
        ("it is 2:00 pm here now", "UTC+02:00"),
        ("my time is 12:01 am", "UTC-12:00"),
        ("my time is 01:00", "UTC-11:00"),  # or 13 hours ahead: the same hour of the day
        ("my time is 23:00", "UTC+11:00"),
        ("my time is 14:20", ""),  # no place keeps 2 hours 20
        ("my time is 25:00", ""),
        ("my time is 14:60", ""),
        ("my time is 13 pm", ""),
        ("zone Europe/Berlin", "Europe/Berlin"),
        ("zone europe/berlin", "Europe/Berlin"),
        ("my time zone is Berlin", "Europe/Berlin"),
        ("timezone: America/New York", "America/New_York"),
        ("zone port-au-prince", "America/Port-au-Prince"),
        ("zone UTC+2", "UTC+02:00"),
        ("zone -3:30", "UTC-03:30"),
        ("zone gmt", "UTC"),
        ("zone +15", ""),
        ("zone Nowhere", ""),
        ("zone ../../etc/passwd", ""),
        ("what time is it", None),
        ("my time is short", None),
        ("it is 14:00", None),
        ("the red zone", None),
        ("metal in the oil", None),
        ("", None),
    ],
)
def test_what_a_rider_says_of_his_clock(text: str, zone: str | None) -> None:
    assert zone_told(text, NOON, known_zones()) == zone


@given(st.sampled_from(DISTANCES), st.datetimes(timezones=st.just(UTC), min_value=datetime(2026, 1, 1)))  # noqa: DTZ001
def test_a_clock_that_is_told_shows_what_was_told(away: float, now: datetime) -> None:
    shown = now.replace(year=2026, day=2).astimezone(timezone(timedelta(hours=away)))
    kept = zone_told(f"my time is {shown:%H:%M}", shown, ())
    assert kept
    zone = fixed_zone(kept)
    assert zone is not None
    assert f"{shown.astimezone(zone):%H:%M}" == f"{shown:%H:%M}"


@given(st.text(max_size=200))
def test_any_text_is_read_or_left(text: str) -> None:
    for said in (text, f"zone {text}", f"my time is {text}"):
        kept = zone_told(said, NOON, known_zones())
        assert kept is None or kept == "" or zone_of(kept) is not MACHINE


# --- what is kept -----------------------------------------------------------------------------


@pytest.mark.parametrize("away", DISTANCES)
def test_a_fixed_distance_is_kept_and_read_again(away: float) -> None:
    zone = fixed_zone(fixed(away))
    assert zone is not None
    assert zone.utcoffset(None) == timedelta(hours=away)


def test_a_zone_that_is_unknown_here_is_the_machine_s() -> None:
    for kept in ("", "Nowhere/Atall", "../etc", "Europe", "UTC+99:00"):
        assert zone_of(kept) is MACHINE
    assert zone_of("Europe/Berlin") == BERLIN
    assert zone_of("UTC+05:30").utcoffset(None) == timedelta(hours=5.5)


def test_zones_are_called_by_their_place_or_distance() -> None:
    names = [
        called(zone_of(kept), NOON)
        for kept in ("Europe/Berlin", "UTC+02:00", "UTC-03:30", "UTC", "UTC+11:00")
    ]
    assert names == ["Europe/Berlin", "UTC+2", "UTC-3:30", "UTC", "UTC+11"]


@pytest.mark.parametrize("name", ["Europe/Berlin", "Australia/Lord_Howe", "UTC"])
def test_the_machine_s_own_clock_is_that_of_its_zone(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Against the tz database, over both changes of the clock."""
    import time as machine

    monkeypatch.setenv("TZ", name)
    machine.tzset()
    try:
        for day in ("2026-03-29T00:00", "2026-10-25T00:00", "2026-04-04T14:00", "2026-10-03T14:00"):
            for n in range(0, 240, 10):
                moment = z(day) + timedelta(minutes=n)
                here, there = moment.astimezone(MACHINE), moment.astimezone(ZoneInfo(name))
                assert (here.replace(tzinfo=None), here.fold) == (there.replace(tzinfo=None), there.fold)
                assert here.astimezone(UTC) == moment
    finally:
        monkeypatch.undo()
        machine.tzset()
