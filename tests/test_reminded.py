"""Reminders in the talk, through the record: told in words, laid out when due, answered."""

from __future__ import annotations

from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from bot import turn
from bot.channels.seat import CHANNEL, CHAT
from tests.test_bookkeeping import Rider, robin

__all__ = ["robin"]


def due(rider: Rider, days: float) -> list[str]:
    """So many days later: what is laid out for him and shown."""
    rider.now += timedelta(days=days)
    with closing(turn.open_record(rider.path)) as store:
        turn.remind(store, rider.now)
        waiting = [out for out in turn.due(store, rider.now, channel=CHANNEL, chat=CHAT)
                   if out.priority == "reminder"]  # fmt: skip
        for out in waiting:
            turn.sent(store, out.id, rider.now)
    return [out.message.text for out in waiting]


@pytest.fixture
def pepper(robin: Rider) -> Rider:
    robin.say("hours 50", "Pepper", "yes", "oil change at 50.5, clean", "yes")
    return robin


def test_oil_is_called_for_once_when_the_hours_are_run(pepper: Rider) -> None:
    assert "every 8 h or 60 days" in pepper.say("oil every 8 h or 60 days")
    assert due(pepper, 5) == []
    pepper.say("hours 59", "yes")
    [told] = due(pepper, 1)
    assert "8.5 h on this oil, you said every 8 h" in told
    assert due(pepper, 1) == []


def test_done_writes_an_oil_change_after_a_yes(pepper: Rider) -> None:
    pepper.say("oil every 8 h")
    pepper.say("hours 59", "yes")
    due(pepper, 1)
    assert "Oil change, on" in pepper.say("done")
    pepper.say("yes")
    assert [line.kind for line in pepper.lines] == ["hours", "oil_change", "hours", "oil_change"]
    assert due(pepper, 3) == []


def test_later_comes_again_then_and_off_never(pepper: Rider) -> None:
    pepper.say("oil every 8 h")
    pepper.say("hours 59", "yes")
    due(pepper, 1)
    assert "again in 3 days" in pepper.say("later in 3 days")
    assert due(pepper, 2) == []
    assert len(due(pepper, 2)) == 1
    assert "off for Pepper" in pepper.say("oil reminder off")
    assert due(pepper, 30) == []


def test_a_bare_reading_answers_the_reminder_that_asked_for_it(pepper: Rider) -> None:
    pepper.say("oil every 8 h")
    [told] = due(pepper, 20)
    assert "What does the meter show?" in told
    assert "Hour meter at 57 h." in pepper.say("57 h")
    pepper.say("yes")
    assert pepper.hours == 57


def test_words_of_the_talk_stay_the_talks(pepper: Rider) -> None:
    """With nothing reminded, 'later' and 'done' are what they always were."""
    pepper.say("something rattles", "2")
    assert "Everything is kept" in pepper.say("later")


def test_an_interval_for_one_of_two_bikes_names_it(pepper: Rider) -> None:
    pepper.say("Goat: hours 9", "yes")
    assert "every 10 h" in pepper.say("Goat: oil every 10 h")
    with closing(turn.open_record(pepper.path)) as store:
        person = store.named("Robin")
        assert person is not None
        goat = next(b for b in store.bikes_of(person.id) if b.nickname == "Goat")
        kept = store.interval_of(goat.id)
    assert kept is not None
    assert kept.hours == 10


def test_his_clock_is_kept_by_place_or_by_what_it_shows(pepper: Rider) -> None:
    assert "Europe/Berlin" in pepper.say("zone Europe/Berlin")
    assert "cannot make out" in pepper.say("my time is 25:99")
    with closing(turn.open_record(pepper.path)) as store:
        person = store.named("Robin")
    assert person is not None
    assert person.settings["zone"] == "Europe/Berlin"


def test_the_open_question_comes_again(pepper: Rider) -> None:
    pepper.say("something rattles", "2")
    assert "Which bike is it?" in pepper.say("oil every 8 h")


def test_the_talk_is_the_same_when_it_is_run_again(pepper: Rider) -> None:
    pepper.say("oil every 8 h", "hours 59", "yes")
    due(pepper, 1)
    pepper.say("later", "zone Europe/Berlin", "oil reminder off")
    with closing(turn.open_record(pepper.path)) as store:
        for case in store.all_cases():
            assert turn.replay(store, case.id) is None
    assert pepper.now > datetime(2026, 5, 4, tzinfo=UTC)
    assert Path(pepper.path).is_file()
