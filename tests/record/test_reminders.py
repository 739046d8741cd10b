"""Reminders in the record: once an occasion, one message for all, at a decent hour, to a private place."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from datetime import date, datetime, timedelta
from pathlib import Path

import pytest

from bot import turn
from bot.core import events
from bot.core.intervals import Interval, Reminded
from bot.core.reminders import OilWatch
from bot.record.post import Address
from bot.record.store import Store
from tests.record.reminding import MOMENTS, NOON, Club, by_days
from tests.record.talker import ROOT

MAY_1 = date(2026, 5, 1)  # and 30 days: 31 May


@pytest.fixture
def club(tmp_path: Path) -> Club:
    return Club(Store(tmp_path / "record.db"))


def z(text: str) -> datetime:
    """'5-31 09:00' in 2026, UTC."""
    day, _, clock = text.partition(" ")
    month, _, number = day.partition("-")
    return datetime.fromisoformat(f"2026-{int(month):02}-{int(number):02}T{clock or '12:00'}:00Z")


# --- once, at a decent hour -----------------------------------------------------------------------


def test_it_goes_out_once_when_it_is_due(club: Club) -> None:
    club.bike(club.rider("5"), "Goat", by_days(MAY_1))
    [(now, text)] = club.live(z("5-28"), 20)
    assert now == z("5-31 09:00")
    assert text == (
        "Goat: oil is 30 days old, you said every 30 days. Change it, look at what drains, "
        "then send: done. Or: later, oil reminder off."
    )


@pytest.mark.parametrize(
    ("zone", "then"),
    [
        ("Europe/Berlin", "5-31 07:00"),
        ("UTC+05:30", "5-31 03:30"),
        ("Australia/Lord_Howe", "5-30 22:30"),
        ("America/New_York", "5-31 13:00"),
    ],
)
def test_it_goes_out_in_the_morning_of_the_rider(club: Club, zone: str, then: str) -> None:
    club.bike(club.rider("5", zone), "Goat", by_days(MAY_1))
    assert [now for now, _ in club.live(z("5-29 00:00"), 5, timedelta(minutes=30))] == [z(then)]


def test_over_a_change_of_the_clock_the_hour_stays(club: Club) -> None:
    """In Berlin clocks go forward on 29 March and back on 25 October 2026."""
    rider = club.rider("5", "Europe/Berlin")
    for n, changed in enumerate((date(2026, 2, 26), date(2026, 2, 27), date(2026, 9, 24), date(2026, 9, 25))):
        club.bike(rider, f"Goat {n}", by_days(changed))
    told = [now for start in ("3-27 00:00", "10-23 00:00") for now, _ in club.live(z(start), 3)]
    assert told == [z("3-28 08:00"), z("3-29 07:00"), z("10-24 07:00"), z("10-25 08:00")]


def test_what_falls_due_in_the_night_waits_and_one_that_is_held_up_too(club: Club) -> None:
    rider = club.rider("5", "UTC")
    bike = club.bike(rider, "Goat")
    club.watch(rider, bike, z("5-1 23:00"))  # asked for after three days: 4 May, 23:00
    assert club.deliver(z("5-4 23:30")) == []
    assert club.deliver(z("5-5 08:59")) == []
    club.remind(z("5-5 19:58"))  # the program was off all day
    [out] = club.due(z("5-5 19:58"))
    turn.not_sent(club.store, out.id, z("5-5 20:03"))
    assert club.deliver(z("5-5 20:05")) == []
    assert club.deliver(z("5-6 08:59")) == []
    assert len(club.deliver(z("5-6 09:00"))) == 1


def test_the_first_one_says_which_time_it_assumed(club: Club) -> None:
    rider = club.rider("5", zone="")
    for n in range(2):
        club.bike(rider, f"Goat {n}", by_days(MAY_1 + timedelta(days=n)))
    told = [text for _, text in club.live(z("5-29"), 6)]
    assert [text.endswith("wrong? Send: my time is 14:20)") for text in told] == [True, False]
    zone = club.rider("6", zone="UTC+02:00")
    club.bike(zone, "Mule", by_days(MAY_1))
    assert "my time is" not in club.live(z("6-10"), 1)[0][1]


def test_a_later_change_of_oil_is_another_occasion(club: Club) -> None:
    bike = club.bike(club.rider("5"), "Goat", by_days(MAY_1))
    assert len(club.live(z("5-30"), 10)) == 1
    club.oil[bike] = by_days(date(2026, 6, 9))
    assert [now.date() for now, _ in club.live(z("6-9"), 60)] == [date(2026, 7, 9)]


def test_hours_come_from_the_readings_in_the_record(club: Club) -> None:
    """Half an hour a day from 40 h on 1 May: 48 h on 17 May."""
    bike = club.bike(club.rider("5"), "Goat")
    for day, hours in (("5-1 09:00", 40), ("5-9 09:00", 44)):
        club.store.read_meter(bike, hours, hours, turn.stamp(z(day)))
    club.oil[bike] = OilWatch(MAY_1, (40, 40), (44, 44), 8, None)
    [(now, text)] = club.live(z("5-10 00:00"), 30)
    assert now == z("5-17 09:00")
    assert text.startswith("Goat: by your pace 8 h on this oil, you said every 8 h.")


def test_who_travels_is_reminded_by_the_clock_of_where_he_is(club: Club) -> None:
    rider = club.rider("5", "UTC")
    club.bike(rider, "Goat", by_days(date(2026, 4, 1)))
    assert club.deliver(z("5-30 23:00")) == []
    club.store.settle(rider, "zone", "UTC+12:00")  # eleven in the morning
    assert len(club.deliver(z("5-30 23:01"))) == 1


# --- second looks ---------------------------------------------------------------------------------


def test_a_second_look_is_due_by_a_reading(club: Club) -> None:
    rider = club.rider("5")
    bike = club.bike(rider, "Goat")
    case = club.watch(rider, bike, z("5-1 10:00"))
    club.store.read_meter(bike, 40.6, 40.6, turn.stamp(z("5-1 18:00")))
    [text] = club.deliver(z("5-1 19:00"))
    assert text == (
        "Goat: second look 1 of 2 is due by the meter. Drain a little. Then send: done. "
        "Or: later, look reminder off."
    )
    assert club.live(z("5-1 20:00"), 20) == []
    club.write(case, (events.LookRound(plan="debris", index=0, ran_hours=0.6),
                      events.LookJudged(plan="debris", index=0, verdict="clean"),
                      events.WatchSet(plan="debris", index=1, for_remedy="refit-nut", from_hours=40.6)),
               z("5-22 12:00"))  # fmt: skip
    assert [text[:25] for _, text in club.live(z("5-22"), 9)] == ["Goat: second look 2 of 2 "]


def test_no_look_while_running_is_barred_or_after_the_case(club: Club) -> None:
    rider = club.rider("5")
    barred, over = (club.watch(rider, club.bike(rider, name), z("5-1")) for name in ("Goat", "Mule"))
    club.write(barred, (events.StopRaised(rule="big-knock", bars=("running", "riding")),), z("5-1"))
    club.write(over, (events.Ended(how="handed_over"),), z("5-1"))
    assert club.live(z("5-1"), 30) == []


# --- one message for all --------------------------------------------------------------------------


def test_after_an_outage_all_that_is_due_is_one_message_the_oldest_first(club: Club) -> None:
    rider = club.rider("5")
    for n, name in enumerate(("Goat", "Mule", "Red", "Blue", "Old")):
        club.bike(rider, name, by_days(MAY_1 - timedelta(days=n)))
    told = club.live(z("7-1 03:00"), 10)
    assert [now for now, _ in told] == [z("7-1 09:00")]
    assert told[0][1] == (
        "Due: Old oil, Blue oil, Red oil and 2 more. Send done or later for all of it, or for one, "
        "like: Old done."
    )


def test_while_the_network_is_away_the_one_that_waits_takes_up_the_others(club: Club) -> None:
    rider = club.rider("5")
    for n, name in enumerate(("Goat", "Mule", "Red")):
        club.bike(rider, name, by_days(MAY_1 + timedelta(days=n)))
    now = z("5-30 12:00")
    while now < z("6-5 12:00"):  # nothing gets through: each try is put off for half a minute
        club.remind(now)
        for out in club.due(now):
            turn.not_sent(club.store, out.id, now + timedelta(seconds=30))
        club.remind(now + timedelta(seconds=10))
        now += timedelta(minutes=30)
    told = club.live(now, 5)
    assert [text[:34] for _, text in told] == ["Due: Goat oil, Mule oil, Red oil. "]


def test_what_is_true_no_longer_is_taken_back(club: Club) -> None:
    bike = club.bike(club.rider("5"), "Goat", by_days(MAY_1))
    club.oil[bike] = OilWatch(MAY_1, (40, 40), (49, 49), 8, None)
    club.remind(z("5-20 23:00"))
    assert club.store.value("select count(*) from outbox where priority = 2") == 1
    club.oil[bike] = OilWatch(date(2026, 5, 20), (49, 49), (49, 49), 8, None)
    assert club.live(z("5-20 23:01"), 3) == []
    assert club.store.value("select count(*) from reminders") == 0


def test_at_most_one_message_a_day(club: Club) -> None:
    rider = club.rider("5")
    goat, mule = club.bike(rider, "Goat", by_days(MAY_1)), club.bike(rider, "Mule")
    assert len(club.deliver(z("5-31 10:00"))) == 1
    club.oil[mule] = OilWatch(MAY_1, (0, 0), (9, 9), 8, None)
    told = club.live(z("5-31 11:00"), 3)
    assert [(now, text[:5]) for now, text in told] == [(z("6-1 09:00"), "Mule:")]
    assert goat != mule


def test_a_message_that_may_be_in_a_channel_s_hand_is_left_alone(club: Club) -> None:
    rider = club.rider("5")
    bike = club.bike(rider, "Goat", by_days(MAY_1))
    club.remind(z("5-31 10:00"))
    [before] = club.due(z("5-31 10:00"))
    club.oil[bike] = by_days(date(2026, 5, 31))
    club.remind(z("5-31 10:01"))
    assert club.due(z("5-31 10:01")) == [before]


def test_what_no_channel_took_for_long_is_brought_up_to_date(club: Club) -> None:
    """A program that was killed with a message laid out, and started again days later."""
    rider = club.rider("5")
    for n, name in enumerate(("Goat", "Mule")):
        club.bike(rider, name, by_days(MAY_1 + timedelta(days=n)))
    club.remind(z("5-31 10:00"))
    assert [text[:25] for _, text in club.live(z("6-9 12:00"), 3)] == ["Due: Goat oil, Mule oil. "]


# --- to whom, and where -----------------------------------------------------------------------------


def test_nothing_is_said_to_a_group(club: Club) -> None:
    club.bike(club.rider("5", chat="-77"), "Goat", by_days(MAY_1))
    assert club.live(z("6-1"), 5) == []
    club.rider("5", now=z("6-6"))  # he writes in private
    assert len(club.live(z("6-6"), 1)) == 1


def test_he_who_talks_in_a_group_now_is_reminded_in_private(club: Club) -> None:
    rider = club.rider("5")
    club.rider("5", chat="-77")
    club.bike(rider, "Goat", by_days(MAY_1))
    club.remind(z("6-1"))
    assert [out.address for out in club.due(z("6-1"))] == ["5"]


def test_it_goes_where_he_last_talked(club: Club) -> None:
    rider = club.rider("5")
    club.bike(rider, "Goat", by_days(MAY_1))
    club.store.add("handles", channel="sms", handle="49170", person=rider)
    turn.accept(club.store, "sms", "49170", "5", "s1", turn.Heard(text="hi"), z("5-2"), handle="49170")
    club.remind(z("6-1"))
    [out] = club.due(z("6-1"))
    assert (out.channel, out.address) == ("sms", "49170")


def test_nothing_is_laid_out_for_a_chat_that_is_shut_until_it_opens(club: Club) -> None:
    club.bike(club.rider("5"), "Goat", by_days(MAY_1))
    club.store.mark_reachable("telegram", "5", False, turn.stamp(NOON))
    assert club.live(z("6-1"), 5) == []
    club.store.mark_reachable("telegram", "5", True, turn.stamp(NOON))
    assert len(club.live(z("6-7"), 5)) == 1


def test_a_terminal_wakes_nobody(club: Club) -> None:
    turn.accept(club.store, "terminal", "here", "ann", "1", turn.Heard(text="hi"), NOON)
    ann = club.store.named("ann")
    assert ann is not None
    club.store.settle(ann.id, "zone", "UTC")
    club.bike(ann.id, "Goat", by_days(MAY_1))
    assert len(club.deliver(z("5-31 23:00"))) == 1


def test_one_rider_s_fault_holds_up_no_other(club: Club) -> None:
    bad, good = (club.bike(club.rider(number), f"Goat {number}", by_days(MAY_1)) for number in "56")

    def facts(bike: str) -> OilWatch | None:
        return club.oil[{bad: "gone", good: good}[bike]]

    assert turn.remind(club.store, z("6-1"), facts) == 1


# --- what he answers -------------------------------------------------------------------------------


def test_later_means_later_and_not_again_before(club: Club) -> None:
    rider = club.rider("5")
    bike = club.bike(rider, "Goat", by_days(MAY_1))
    club.live(z("5-31"), 1)
    about = club.store.just_reminded(rider, turn.Address("telegram", "5"))
    assert about == (Reminded(bike, "Goat", "oil"),)
    club.store.put_off(rider, about, turn.stamp(z("6-5 15:00")))
    assert club.store.just_reminded(rider, turn.Address("telegram", "5")) == ()
    assert [now for now, _ in club.live(z("6-1"), 30)] == [z("6-5 15:00")]


def test_later_holds_for_what_becomes_certain_meanwhile(club: Club) -> None:
    bike = club.bike(rider := club.rider("5"), "Goat")
    for day, hours in (("5-1 09:00", 40), ("5-9 09:00", 44)):
        club.store.read_meter(bike, hours, hours, turn.stamp(z(day)))
    club.oil[bike] = OilWatch(MAY_1, (40, 40), (44, 44), 8, None)
    assert len(club.live(z("5-17"), 1)) == 1
    club.store.put_off(rider, [Reminded(bike, "Goat", "oil")], turn.stamp(z("5-30 12:00")))
    club.store.read_meter(bike, 50, 50, turn.stamp(z("5-19 12:00")))
    club.oil[bike] = OilWatch(MAY_1, (40, 40), (50, 50), 8, None)
    [(now, text)] = club.live(z("5-19 12:00"), 30)
    assert now == z("5-30 12:00")
    assert text.startswith("Goat: 10 h on this oil")


def test_another_message_in_between_and_done_means_something_else(club: Club) -> None:
    rider = club.rider("5")
    club.bike(rider, "Goat", by_days(MAY_1))
    club.live(z("5-31"), 1)
    at = Address("telegram", "5")
    out = club.store.put_out(
        at, rider, turn.revive_message('{"text": "Knock?", "choices": []}'), "2026-06-02T12:00:00Z", n=0
    )
    turn.sent(club.store, out, z("6-2"))
    assert club.store.just_reminded(rider, turn.Address("telegram", "5")) == ()


def test_off_is_off_until_it_is_wanted_again(club: Club) -> None:
    rider = club.rider("5")
    bike = club.bike(rider, "Goat", by_days(MAY_1))
    club.watch(rider, bike, z("5-1"))
    club.store.keep_interval(bike, Interval(), turn.stamp(NOON))
    club.store.silence(bike, "look", turn.stamp(NOON))
    assert club.live(z("6-1"), 5) == []
    assert club.store.interval_of(bike) is None
    club.store.keep_interval(bike, Interval(days=30), turn.stamp(NOON))
    assert club.store.interval_of(bike) == Interval(days=30)
    assert [text[:14] for _, text in club.live(z("6-7"), 5)] == ["Goat: oil is 3"]
    club.store.silence(bike, "look", turn.stamp(NOON), off=False)
    assert [text[:17] for _, text in club.live(z("6-13"), 5)] == ["Goat: second look"]


def test_one_that_the_channel_gave_up_is_tried_on_other_days_and_when_he_is_heard(club: Club) -> None:
    club.bike(club.rider("5"), "Goat", by_days(MAY_1))

    def fail(start: datetime, days: int) -> list[date]:
        tried = []
        for hour in range(24 * days):
            now = start + timedelta(hours=hour)
            club.remind(now)
            for out in club.due(now):
                turn.not_sent(club.store, out.id, None)
                tried.append(now.date())
        return tried

    assert fail(z("5-31 00:00"), 20) == [date(2026, 5, 31), date(2026, 6, 1), date(2026, 6, 2)]
    club.rider("5", now=z("6-20 10:00"))
    assert [now.date() for now, _ in club.live(z("6-20 10:00"), 20)] == [date(2026, 6, 20)]


# --- killed, and two at once ------------------------------------------------------------------------


def start(record: Path, moment: str, go: Path) -> subprocess.Popen[bytes]:
    command = [sys.executable, "-m", "tests.record.reminding", str(record), moment, str(go)]
    return subprocess.Popen(command, cwd=ROOT, env={**os.environ})


@pytest.mark.parametrize("moment", MOMENTS)
def test_killed_at_a_moment_and_started_again_there_is_one(club: Club, tmp_path: Path, moment: str) -> None:
    club.bike(club.rider("5"), "Goat")
    go = tmp_path / "go"
    go.touch()
    assert start(club.store.path, moment, go).wait(60) == -signal.SIGKILL
    laid = 1 if moment == "after the commit" else 0
    counts = "select (select count(*) from reminders) || ' ' || (select count(*) from outbox)"
    assert club.store.value(counts) == f"{laid} {laid}"
    assert start(club.store.path, "never", go).wait(60) == 0
    assert club.store.value(counts) == "1 1"


def test_two_programs_at_once_remind_each_rider_once(club: Club, tmp_path: Path) -> None:
    for number in range(40):
        club.bike(club.rider(str(100 + number)), f"Goat {number}")
    go = tmp_path / "go"
    both = [start(club.store.path, "never", go) for _ in range(2)]
    go.touch()
    assert [program.wait(120) for program in both] == [0, 0]
    assert club.store.value("select count(*) from outbox") == 40
    assert club.store.value("select count(distinct person) from outbox") == 40
    assert club.store.value("select count(*) from reminders") == 40
