"""Shares on Telegram: whose they are, that no group reads them, and where a group's cases count."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from bot import turn
from bot.channels.telegram import sending
from bot.core import events
from bot.core.events import Entry
from bot.core.state import fold
from bot.record.store import Store
from tests.channels.telegram_person import Person
from tests.channels.telegram_running import Running, press, say
from tests.channels.telegram_server import TelegramServer

pytest_plugins = ["tests.channels.telegram_fixtures"]

AT = "2026-05-04T09:00:00Z"
FLOW = "metal-in-oil"


@pytest.fixture
def robin(telegram: TelegramServer) -> Person:
    return telegram.person("Robin")


@pytest.fixture
def bot(telegram: TelegramServer, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Running]:
    """The bot with the shipped flows; nobody is an admin of it yet."""
    monkeypatch.setattr(sending, "PRIVATE_PACE", 0.01)
    monkeypatch.setattr(sending, "GROUP_PACE", 0.01)
    running = Running(telegram, tmp_path / "record.db", admins=frozenset())
    running.start()
    yield running
    running.stop()


def with_admins(bot: Running, *people: Person) -> None:
    """Whoever runs it writes them into the settings and starts it again."""
    bot.stop()
    told = {**vars(bot.settings), "admins": frozenset(str(person.id) for person in people)}
    bot.settings = type(bot.settings)(**told)
    bot.start()


def teach(store: Store, scope: str = "") -> None:
    """Twelve riders in whose cases a mechanic found a notched basket."""
    turn.stock(store, AT)
    line = store.in_use("everyone", FLOW)
    assert line is not None
    told = events.OutcomeTold(result="cause", cause="basket-or-hub-notched", how="seen")
    begun = events.FlowChosen(flow=FLOW, hash=line.hash, title=line.title)
    found = [begun, told, events.Ended(how="closed")]
    state = fold(Entry(n, AT, "Max", "mechanic", event) for n, event in enumerate(found, 1))
    with store.writing():
        for n in range(12):
            person = store.meet("terminal", f"rider {n}", f"rider {n}", "rider", AT).id
            store.count_case(store.open_case(person, AT, scope), person, state)


def test_who_is_written_into_the_settings_after_he_first_wrote_is_an_admin_from_then_on(
    bot: Running, robin: Person
) -> None:
    """README has him write first, to learn his own number: he was a rider on record for good."""
    assert "your number" in say(robin, "/start")[-1].text
    assert "for the admin of this bot" in say(robin, "shares")[-1].text
    with_admins(bot, robin)
    assert say(robin, "shares")[-1].text.startswith("Not yet")
    with_admins(bot)
    assert "for the admin of this bot" in say(robin, "shares")[-1].text


def test_an_admin_takes_shares_by_a_press(bot: Running, robin: Person) -> None:
    say(robin, "/start")
    with_admins(bot, robin)
    with bot.record() as store:
        teach(store)
    shown = say(robin, "shares")[-1]
    assert "Basket/hub notched: the file says 8.8 of 100; here 43 of 100 (27 to 60)." in shown.text
    assert [label for row in shown.labels for label in row] != []
    assert any("Version 2 of Metal in the oil has them" in seen.text for seen in press(robin, "Yes"))
    with bot.record() as store:
        line = store.in_use("everyone", FLOW)
    assert line is not None
    assert (line.version, line.scope) == (2, "everyone")


def test_a_group_reads_no_shares(bot: Running, robin: Person, telegram: TelegramServer) -> None:
    group = telegram.group("North Trail Club", robin)
    say(robin, "/start")
    with_admins(bot, robin)
    with bot.record() as store:
        teach(store)
    shown = say(robin, f"@{telegram.bot_name} shares", chat=group)[-1]
    assert "read it in private" in shown.text.lower()
    assert "of 100" not in "\n".join(seen.text for seen in robin.bot_says(group))


def test_a_groups_own_shares_are_of_that_group(bot: Running, robin: Person, telegram: TelegramServer) -> None:
    """For the named admins who came from it: who is an admin of the group is not asked of the platform."""
    group = telegram.group("North Trail Club", robin)
    say(robin, "/start")
    with_admins(bot, robin)
    say(robin, "/new there is metal in my oil", chat=group)
    robin.follow([s for s in robin.bot_says(group) if s.labels][-1], "Go on in private")
    robin.answer()
    with bot.record() as store:
        teach(store, f"telegram:{group.id}")
    assert "in North Trail Club, from 12 cases:" in say(robin, "shares")[-1].text
    press(robin, "Yes")
    with bot.record() as store:
        found = [store.in_use(s, FLOW) for s in ("everyone", f"group:telegram:{group.id}")]
    assert [(line.version, line.scope) for line in found if line] == [
        (1, "shipped"), (2, f"group:telegram:{group.id}"),
    ]  # fmt: skip


def test_a_case_counts_for_the_group_in_which_it_is_told(
    bot: Running, robin: Person, telegram: TelegramServer
) -> None:
    """Also that of a newcomer, who has come from no group before; one that is told in private does not."""
    group = telegram.group("North Trail Club", robin)
    say(robin, "/new there is metal in my oil", chat=group)
    say(robin, "there is metal in my oil")
    with bot.record() as store:
        scopes = [row["scope"] for row in store.rows("select scope from cases order by id")]
    assert scopes == [f"group:telegram:{group.id}", "everyone"]
