"""Reminders over Telegram: one in private at a decent hour, and what is typed then goes into the talk."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime, time, timedelta
from functools import partial
from pathlib import Path

import pytest

from bot import turn
from bot.core import events
from bot.core.events import Entry
from bot.core.reminders import OilWatch
from tests.channels.telegram_person import Person
from tests.channels.telegram_running import Running, say
from tests.channels.telegram_server import TelegramServer
from tests.rattle import RATTLE

pytest_plugins = ["tests.channels.telegram_fixtures"]

Begin = Callable[[], Running]


@pytest.fixture
def oil() -> dict[str, OilWatch]:
    """Oil by bike, as the bike's book would have it."""
    return {}


@pytest.fixture
def begin(
    telegram: TelegramServer, tmp_path: Path, oil: dict[str, OilWatch], monkeypatch: pytest.MonkeyPatch
) -> Iterator[Begin]:
    """Starts the bot, with a flow of something that rattles, at noon of its own clock."""
    monkeypatch.setattr(turn, "remind", partial(turn.remind, facts_of=oil.get))
    begun: list[Running] = []

    def start() -> Running:
        bot = Running(telegram, tmp_path / "record.db", flow=json.dumps(RATTLE))
        noon = datetime.combine(bot.now().date(), time(12), UTC)
        bot.ahead += noon - bot.now()
        begun.append(bot)
        bot.start()
        return bot

    yield start
    for bot in begun:
        bot.stop()


def today(bot: Running) -> date:
    return bot.now().date()


def due_now(bot: Running) -> OilWatch:
    return OilWatch(today(bot) - timedelta(days=30), None, None, None, 30)


def ride(bot: Running, person: Person, *names: str) -> tuple[int, list[str]]:
    """He writes, and has these bikes: his number, and theirs."""
    say(person, "/start")
    say(person, "something rattles")
    with bot.record() as store, store.writing():
        known = store.known_as("telegram", str(person.id))
        assert known is not None
        store.settle(known.id, "zone", "UTC")
        return known.id, [store.make_bike(known.id, name, turn.stamp(bot.now())) for name in names]


def reminders(person: Person) -> list[str]:
    return [seen.text for seen in person.bot_says() if "reminder off" in seen.text or "Due:" in seen.text]


def wait_for(telegram: TelegramServer, person: Person, count: int) -> list[str]:
    telegram.wait_for(lambda: len(reminders(person)) >= count, 10, "a reminder")
    telegram.idle(0.5, 10)
    return reminders(person)


def pass_by(bot: Running, telegram: TelegramServer, **time_: float) -> None:
    """Time goes on by the clock of the bot, which looks again."""
    bot.ahead += timedelta(**time_)
    telegram.idle(2.5, 20)


def test_it_comes_once_in_private(
    begin: Begin, telegram: TelegramServer, robin: Person, oil: dict[str, OilWatch]
) -> None:
    bot = begin()
    _, [goat] = ride(bot, robin, "Goat")
    oil[goat] = due_now(bot)
    bot.ahead += timedelta(minutes=1)
    assert wait_for(telegram, robin, 1) == [
        "Goat: oil is 30 days old, you said every 30 days. Change it, look at what drains, then send: done. "
        "Or: later, oil reminder off."
    ]
    pass_by(bot, telegram, days=1)
    pass_by(bot, telegram, days=1)
    assert len(reminders(robin)) == 1
    with bot.record() as store:
        known = store.known_as("telegram", str(robin.id))
        assert known is not None
        told = store.just_reminded(known.id, turn.Address("telegram", str(robin.id)))
    assert [(one.nickname, one.kind) for one in told] == [("Goat", "oil")]


def test_in_the_evening_it_waits_for_the_morning(
    begin: Begin, telegram: TelegramServer, robin: Person, oil: dict[str, OilWatch]
) -> None:
    bot = begin()
    _, [goat] = ride(bot, robin, "Goat")
    bot.ahead += timedelta(hours=9)  # 21:00
    oil[goat] = due_now(bot)
    pass_by(bot, telegram, minutes=2)
    assert reminders(robin) == []
    bot.ahead += timedelta(hours=12)
    assert len(wait_for(telegram, robin, 1)) == 1


def test_after_an_outage_there_is_one_message(
    begin: Begin, telegram: TelegramServer, robin: Person, oil: dict[str, OilWatch]
) -> None:
    bot = begin()
    _, bikes = ride(bot, robin, "Goat", "Mule", "Red", "Blue")
    bot.stop()
    for n, bike in enumerate(bikes):
        oil[bike] = OilWatch(today(bot) + timedelta(days=n), None, None, None, 10)
    bot.ahead += timedelta(days=40)
    bot.start()
    assert wait_for(telegram, robin, 1) == [
        "Due: Goat oil, Mule oil, Red oil and 1 more. Send done or later for all of it, or for one, "
        "like: Goat done."
    ]


def test_a_group_is_told_nothing(
    begin: Begin, telegram: TelegramServer, robin: Person, oil: dict[str, OilWatch]
) -> None:
    bot = begin()
    group = telegram.group("Trail riders", robin)
    say(robin, f"@{telegram.bot_name} something rattles", chat=group)
    with bot.record() as store, store.writing():
        known = store.known_as("telegram", str(robin.id))
        assert known is not None
        store.settle(known.id, "zone", "UTC")
        oil[store.make_bike(known.id, "Goat", turn.stamp(bot.now()))] = due_now(bot)
    before = len(robin.bot_says(group))
    pass_by(bot, telegram, minutes=2)
    assert (len(robin.bot_says(group)), robin.bot_says()) == (before, [])
    say(robin, "/start")
    say(robin, "it rattles still")
    bot.ahead += timedelta(minutes=2)
    assert len(wait_for(telegram, robin, 1)) == 1
    assert len(robin.bot_says(group)) == before


def test_a_second_look_of_a_case_falls_due(begin: Begin, telegram: TelegramServer, robin: Person) -> None:
    bot = begin()
    _, [goat] = ride(bot, robin, "Goat")
    with bot.record() as store, store.writing():
        [line] = store.all_cases()
        state = store.state(line.id)
        told = (events.BikeTaken(bike=goat, nickname="Goat"),
                events.WatchSet(plan="debris", index=0, for_remedy="refit-nut", from_hours=40))  # fmt: skip
        entries = [
            Entry(state.next_seq + n, turn.stamp(bot.now()), "Robin", "rider", one)
            for n, one in enumerate(told)
        ]
        store.append(line.id, entries)
        store.keep_line(line.id, store.state(line.id), turn.stamp(bot.now()))
        store.read_meter(goat, 40.7, 40.7, turn.stamp(bot.now() + timedelta(minutes=1)))
    bot.ahead += timedelta(minutes=2)
    assert wait_for(telegram, robin, 1) == [
        "Goat: second look 1 of 2 is due by the meter. Drain a little. Then send: done. "
        "Or: later, look reminder off."
    ]


def test_to_one_who_blocked_the_bot_nothing_is_lost(
    begin: Begin, telegram: TelegramServer, robin: Person, oil: dict[str, OilWatch]
) -> None:
    bot = begin()
    _, [goat] = ride(bot, robin, "Goat")
    robin.block()
    telegram.idle(0.5, 10)
    oil[goat] = due_now(bot)
    pass_by(bot, telegram, minutes=2)
    robin.unblock()
    telegram.idle(0.5, 10)
    bot.ahead += timedelta(minutes=2)
    assert len(wait_for(telegram, robin, 1)) == 1
