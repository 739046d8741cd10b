"""What is due when, and how it is told. Dates are worked out by hand, beside each."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bot.authoring.wording import read_words
from bot.core import events
from bot.core.reminder_words import LONGEST, BikeDue, amount, clipped, remind
from bot.core.reminders import Due, LookWatch, OilWatch, Reading, look_due, look_of, oil_due, pace_of
from tests.rattle import FLOW, opened

WORDS = read_words()
MAY_1 = date(2026, 5, 1)


def at(text: str) -> datetime:
    """'5-20 14:30' in 2026, UTC; nine o'clock where no time is given."""
    day, _, clock = text.partition(" ")
    month, _, number = day.partition("-")
    return datetime.fromisoformat(f"2026-{int(month):02}-{int(number):02}T{clock or '09:00'}:00Z")


def read(*told: tuple[str, float]) -> list[Reading]:
    return [Reading(at(day), (hours, hours)) for day, hours in told]


def oil(**told: Any) -> OilWatch:
    """Oil of 1 May at 40 h, to be changed every 8 h."""
    usual = {"changed_hours": (40, 40), "now_hours": None, "every_hours": 8, "every_days": None}
    return OilWatch(**{"changed_at": MAY_1, **usual, **told})


def due(
    watch: OilWatch, now: str, *hours: tuple[str, float], km: tuple[tuple[str, float], ...] = ()
) -> Due | None:
    return oil_due(watch, read(*hours), read(*km), at(now), UTC)


def look(**told: Any) -> LookWatch:
    """A look after 2 running hours from 40 h, set on 1 May at 9."""
    usual = {"title": "Refit the nut", "do": "Drain a little.", "n": 2, "of": 3, "after": 2.0}
    return LookWatch(**{**usual, "from_hours": 40.0, "set_at": at("5-1"), "key": "7/debris/1", **told})


# --- the pace ---------------------------------------------------------------------------------


def test_the_pace_is_hours_a_day_between_dated_readings() -> None:
    pace = pace_of(read(("5-1", 40), ("5-6", 42), ("5-11", 45)))
    assert pace is not None
    assert pace.per_day == pytest.approx(0.5)  # 5 h in 10 days
    assert pace.when(46) == at("5-13")  # one hour more takes two days


@pytest.mark.parametrize(
    "readings",
    [
        [],
        [("5-1", 40.0)],
        [("5-1 09:00", 40.0), ("5-1 18:00", 44.0)],  # a day's ride is no pace of a season
        [("5-1", 40.0), ("5-20", 40.0)],  # it stood
        [("5-1", 40.0), ("5-20", 30.0)],  # a meter that was read wrongly
    ],
)
def test_there_is_no_pace_without_two_readings_a_day_apart_that_rise(
    readings: list[tuple[str, float]],
) -> None:
    assert pace_of(read(*readings)) is None


def test_the_pace_is_of_this_season_while_it_has_two_readings() -> None:
    """10 h over the winter count no more once the season has its own 6 h in 20 days."""
    winter, season = ("1-1", 30.0), (("5-1", 40.0), ("5-21", 46.0))
    assert pace_of(read(winter, *season)).per_day == pytest.approx(0.3)  # type: ignore[union-attr]
    only_one = pace_of(read(winter, ("5-1", 40.0)))
    assert only_one is not None
    assert only_one.per_day == pytest.approx(10 / 120)  # 1 January to 1 May are 120 days


# --- oil --------------------------------------------------------------------------------------


def test_a_reading_beyond_the_interval_says_for_certain() -> None:
    found = due(oil(now_hours=(48.2, 48.2)), "5-20", ("5-18", 48.2))
    assert found is not None
    assert (found.why, found.since, found.run, found.every) == ("read", at("5-18"), pytest.approx(8.2), 8)
    assert due(oil(now_hours=(47.9, 47.9)), "5-18", ("5-18", 47.9)) is None


def test_before_a_reading_the_pace_says_when() -> None:
    """Half an hour a day from 40 h on 1 May: 44 h on 9 May, 48 h on 17 May."""
    readings = (("5-9", 44.0),)
    assert due(oil(now_hours=(44, 44)), "5-16 23:00", *readings) is None
    found = due(oil(now_hours=(44, 44)), "5-17", *readings)
    assert found is not None
    assert (found.why, found.since) == ("pace", at("5-17"))
    later = due(oil(now_hours=(44, 44)), "5-21", *readings)
    assert later is not None
    assert later.run == pytest.approx(10)  # four days more are two hours more
    assert later.occasion == found.occasion


def test_a_reading_that_says_not_yet_makes_a_new_occasion_of_the_expected() -> None:
    first = due(oil(now_hours=(44, 44)), "5-18", ("5-9", 44.0))
    assert due(oil(now_hours=(45, 45)), "5-18", ("5-9", 44.0), ("5-18", 45.0)) is None
    again = due(oil(now_hours=(45, 45)), "6-30", ("5-9", 44.0), ("5-18", 45.0))
    assert first is not None
    assert again is not None
    assert first.occasion != again.occasion


def test_the_hours_at_the_change_may_be_unknown() -> None:
    """A pace of half an hour a day makes 8 h in 16 days from the change on."""
    readings = (("4-1", 25.0), ("4-21", 35.0))
    watch = oil(changed_hours=None, now_hours=(35, 35))
    assert due(watch, "5-16", *readings) is None
    assert due(watch, "5-17", *readings).since == at("5-17")  # type: ignore[union-attr]


def test_calendar_days_count_from_the_day_of_the_change() -> None:
    watch = oil(every_hours=None, every_days=60)
    assert due(watch, "6-30 08:59") is None  # 1 May and 60 days: 30 June
    found = due(watch, "6-30 09:00")
    assert found is not None
    assert (found.why, found.since, found.run, found.unit) == ("days", at("6-30"), 60, "days")


def test_whichever_comes_first_and_once_for_both() -> None:
    watch = oil(every_days=30)
    by_days = due(watch, "6-1", ("5-20", 41.0))
    assert by_days is not None
    assert by_days.why == "days"
    both = due(oil(every_days=30, now_hours=(49, 49)), "6-2", ("5-20", 41.0), ("6-2", 49.0))
    assert both is not None
    assert (both.why, both.occasion) == ("days", by_days.occasion)  # 31 May was before 2 June
    by_hours = due(oil(every_days=30, now_hours=(49, 49)), "5-20", ("5-20", 49.0))
    assert by_hours is not None
    assert (by_hours.why, by_hours.occasion) == ("read", by_days.occasion)


def test_kilometres_are_counted_as_hours_are() -> None:
    watch = oil(
        every_hours=None, changed_hours=None, every_km=1000, changed_km=(5000, 5000), now_km=(6100, 6100)
    )
    found = due(watch, "5-20", km=(("5-19", 6100.0),))
    assert found is not None
    assert (found.why, found.run, found.unit) == ("read", 1100, "km")


def test_without_any_pace_the_meter_is_asked_for_after_two_weeks() -> None:
    assert due(oil(), "5-14") is None
    found = due(oil(), "5-15")
    assert found is not None
    assert (found.why, found.since, found.run) == ("ask", at("5-15"), None)
    answered = due(oil(now_hours=(41, 41)), "5-16", ("5-16", 41.0))  # with the change that makes a pace
    assert answered is None


def test_no_interval_no_reminder() -> None:
    assert due(oil(every_hours=None, now_hours=(900, 900)), "12-31", ("5-20", 900.0)) is None


def test_a_later_change_and_another_interval_are_other_occasions() -> None:
    told = [
        due(watch, "12-1")
        for watch in (oil(now_hours=(60, 60)), oil(now_hours=(60, 60), every_hours=10),
                      oil(now_hours=(60, 60), changed_at=date(2026, 6, 1)))
    ]  # fmt: skip
    assert len({found.occasion for found in told if found}) == 3


@given(
    hours=st.lists(st.tuples(st.integers(0, 400), st.floats(0, 500)), max_size=6),
    every=st.floats(1, 500), days=st.one_of(st.none(), st.integers(1, 1100)), now=st.integers(0, 2000),
)  # fmt: skip
def test_what_is_due_stays_due_while_nothing_new_is_told(
    hours: list[tuple[int, float]], every: float, days: int | None, now: int
) -> None:
    readings = [Reading(at("5-1") + timedelta(days=day), (h, h)) for day, h in sorted(hours)]
    watch = oil(every_hours=every, every_days=days)
    moments = [at("5-1") + timedelta(days=now + more) for more in (0, 1, 50, 5000)]
    found = [oil_due(watch, readings, (), moment, UTC) for moment in moments]
    for earlier, later in pairwise(found):
        assert earlier is None or later is not None
    assert all(one.since <= moment for one, moment in zip(found, moments, strict=True) if one)
    slow = pace_of([*readings, Reading(at("5-1"), (40, 40))]) is not None
    assert found[-1] or (slow and days is None), "an interval that was told is never forgotten for ever"


# --- second looks -----------------------------------------------------------------------------


def test_a_look_is_due_when_the_meter_says_so() -> None:
    found = look_due(look(), read(("5-1 12:00", 41.9), ("5-2", 42.0), ("5-3", 44.0)), at("5-3"))
    assert found is not None
    assert (found.why, found.since, found.occasion) == ("read", at("5-2"), "7/debris/1")


def test_a_look_is_expected_by_the_pace_but_not_on_the_same_day() -> None:
    """One hour a day: two hours from 1 May on are over on 3 May. Ten a day: not before 2 May."""
    slow, fast = read(("4-20", 30), ("4-30", 40)), read(("4-29", 30), ("4-30", 40))
    assert look_due(look(), slow, at("5-2")) is None
    found = look_due(look(), slow, at("5-3"))
    assert found is not None
    assert (found.why, found.since) == ("pace", at("5-3"))
    assert look_due(look(), fast, at("5-1 20:00")) is None
    assert look_due(look(), fast, at("5-2")).since == at("5-2")  # type: ignore[union-attr]


def test_a_reading_after_it_was_set_moves_the_expected_look() -> None:
    """41 h on 5 May after 30 h on 20 April: 11 h in 15 days; the last hour takes 15/11 days."""
    found = look_due(look(), read(("4-20", 30), ("5-5", 41)), at("5-10"))
    assert found is not None
    assert found.since == at("5-5") + timedelta(days=15 / 11)


def test_without_a_pace_the_meter_is_asked_for_after_three_days() -> None:
    for readings in ([], read(("5-1", 40))):
        assert look_due(look(), readings, at("5-3 23:00")) is None
        found = look_due(look(), readings, at("5-4"))
        assert found is not None
        assert (found.why, found.since, found.occasion) == ("ask", at("5-4"), "7/debris/1?")


def test_a_look_of_a_case_is_read_from_its_plan() -> None:
    diary = opened()
    assert look_of(FLOW, diary.state, 7) is None
    diary.add(events.WatchSet(plan="debris", index=0, for_remedy="refit-nut", from_hours=43))
    found = look_of(FLOW, diary.state, 7)
    assert found is not None
    assert (found.title, found.n, found.of, found.after) == ("Refit the drive nut", 1, 2, 0.5)
    assert (found.from_hours, found.do) == (43, "Drain a little.")
    diary.add(events.LookRound(plan="debris", index=0, ran_hours=0.5))
    assert look_of(FLOW, diary.state, 7) is None, "it is being made"
    diary.add(events.LookJudged(plan="debris", index=0, verdict="clean"))
    diary.add(events.WatchSet(plan="debris", index=1, for_remedy="refit-nut", from_hours=43.5))
    second = look_of(FLOW, diary.state, 7)
    assert second is not None
    assert (second.n, second.after) == (2, 2)
    assert second.key != found.key


def test_nobody_is_told_to_run_it_while_that_is_barred_or_the_case_is_over() -> None:
    diary = opened()
    diary.add(events.WatchSet(plan="debris", index=0))
    parked = diary.add(events.Ended(how="parked")).state
    assert look_of(FLOW, parked, 7) is not None
    diary.add(events.StopRaised(rule="big-knock", bars=("running", "riding")))
    assert look_of(FLOW, diary.state, 7) is None
    diary.add(events.StopLifted(rule="big-knock", by="nut.good"))
    assert look_of(FLOW, diary.state, 7) is not None
    assert look_of(FLOW, diary.add(events.Ended(how="handed_over")).state, 7) is None


# --- the message ------------------------------------------------------------------------------

NAME = "N" * 24  # as long as a bike's name may be


def oil_of(name: str, why: Any = "read", bike: str = "1", since: str = "5-18", unit: str = "h") -> BikeDue:
    run = None if why == "ask" else 8.24
    return BikeDue(bike, name, Due("oil", why, at(since), "x", run, 8, unit))


def look_for(name: str, why: Any = "read", bike: str = "2", since: str = "5-19", **told: Any) -> BikeDue:
    return BikeDue(bike, name, Due("look", why, at(since), "y", every=2, look=look(**told)))


def test_one_thing_is_told_with_the_bike_and_what_to_do() -> None:
    assert remind([oil_of("Goat")], WORDS).text == (
        "Goat: 8.2 h on this oil, you said every 8 h. Change it, look at what drains, then send: done. "
        "Or: later, oil reminder off."
    )
    assert remind([look_for("Goat")], WORDS).text == (
        "Goat: second look 2 of 3 is due by the meter. Drain a little. Then send: done. "
        "Or: later, look reminder off."
    )


def test_several_are_one_message_the_oldest_named_first_and_the_rest_counted() -> None:
    dues = [
        look_for("Goat"),
        oil_of("Goat"),
        oil_of("Mule", bike="3", since="5-1"),
        oil_of("Red", bike="4", since="5-20"),
    ]
    assert remind(dues, WORDS).text == (
        "Due: Mule oil, Goat oil, Goat look 2 of 3 and 1 more. Send done or later for all of it, "
        "or for one, like: Mule done."
    )
    assert remind(dues[:2], WORDS).text.startswith("Due: Goat oil, Goat look 2 of 3. Send done")


@pytest.mark.parametrize("zone", ["", "UTC+13:45"])
@pytest.mark.parametrize("why", ["read", "pace", "days", "ask"])
def test_every_message_is_short_and_names_the_bike(why: str, zone: str) -> None:
    figures: Any = (1234.0, 1100.0, "days") if why == "days" else (12_345.0, 30_000.0, "km")
    far = BikeDue("1", NAME, Due("oil", why, at("5-1"), "x", *figures))  # type: ignore[arg-type]
    many = [far, look_for(NAME), oil_of(NAME, bike="3"), oil_of(NAME, bike="4"), oil_of(NAME, bike="5")]
    singles = [[far]] if why == "days" else [[far], [look_for(NAME, why, do="Drain it. " * 40)]]
    for dues in (*singles, many):
        text = remind(dues, WORDS, zone).text
        assert len(text) <= LONGEST < 200
        assert NAME in text
        assert "done" in text
        assert "later" in text
        assert zone in text


def test_the_assumed_time_is_said_with_the_way_to_change_it() -> None:
    assert remind([oil_of("Goat")], WORDS, "UTC+2").text.endswith(
        " (By UTC+2; wrong? Send: my time is 14:20)"
    )


@pytest.mark.parametrize(
    ("value", "unit", "shown"),
    [(8.24, "h", "8.2 h"), (8, "h", "8 h"), (123.4, "h", "123 h"), (1, "days", "1 day"),
     (60.875, "days", "61 days"),
     (482.8, "km", "483 km")],
)  # fmt: skip
def test_figures_are_said_as_people_do(value: float, unit: str, shown: str) -> None:
    assert amount(value, unit, WORDS) == shown


def test_what_is_too_long_is_cut_between_words() -> None:
    assert clipped("Drain a little oil, hot.", 14) == "Drain a..."
    assert clipped("Drain it.", 14) == "Drain it."
