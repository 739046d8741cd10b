"""Flows that are sent and published from the chat: who may, what is told, and that each act is done once."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import yaml

from bot import turn
from bot.channels.telegram import sending
from tests.channels.telegram_person import Person, Seen
from tests.channels.telegram_running import Running, press, say
from tests.channels.telegram_server import TelegramServer
from tests.channels.telegram_world import Chat
pytest_plugins = ["tests.channels.telegram_fixtures"]

LONG = 60.0  # seconds; only a hang takes longer
ROOT = Path(__file__).parents[2]
FLOW = "ticking-top"


def ticking(version: int, **changes: Any) -> str:
    """The small flow of the linter's tests, with what its own common file holds; `changes` of its head."""
    own, common = (
        yaml.safe_load((ROOT / f"tests/authoring/{name}.yaml").read_text("utf-8"))
        for name in ("base", "common")
    )
    parts = {key: {**common[key], **own.get(key, {})} for key in common if isinstance(common[key], dict)}
    del own["uses"]
    return yaml.safe_dump({**own, **parts, "version": version, **changes}, sort_keys=False)


@pytest.fixture
def bot(telegram: TelegramServer, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Running]:
    """The bot, which tries flows on two bikes; nobody is an admin of it."""
    monkeypatch.setattr(sending, "PRIVATE_PACE", 0.01)
    monkeypatch.setattr(sending, "GROUP_PACE", 0.01)
    running = Running(telegram, tmp_path / "record.db", admins=frozenset(), trial_bikes=2)
    running.start()
    yield running
    running.stop()


@pytest.fixture
def club(telegram: TelegramServer, robin: Person) -> Chat:
    """A group that Robin founded; Sam is in it."""
    return telegram.group("North Trail Club", robin, telegram.person("Sam"))


def sends(person: Person, text: str | bytes, chat: Chat | None = None, name: str = "ticking-top.yaml") -> None:
    data = text.encode() if isinstance(text, str) else text
    person.send_document(data, name, caption="/flow" if chat else "", chat=chat)


def told(person: Person, words: str, chat: Chat | None = None) -> Seen:
    """The newest message of the bot with these words, once it is there."""

    def found() -> list[Seen]:
        return [seen for seen in person.bot_says(chat) if words in seen.text]

    person.server.wait_for(lambda: bool(found()), LONG, f"{words!r} for {person.name}")
    return found()[-1]


def offered_draft(person: Person, text: str, chat: Chat | None = None, draft: int = 1) -> Seen:
    """He sends a flow, and it is tried out: the message that asks what to do."""
    sends(person, text, chat)
    return told(person, f"It is draft {draft}.", chat)


def in_use(bot: Running, scope: str) -> list[int]:
    """Versions in use of the ticking flow in one scope."""
    with bot.record() as store:
        hash = store.published(scope).get(FLOW)
        return [store.kept_flow(hash).version] if hash else []


def acts(bot: Running) -> list[tuple[str, str, str, int]]:
    with bot.record() as store:
        return [(act.who, act.what, act.scope, act.version) for act in reversed(store.acts(FLOW))]


def test_an_administrator_of_a_group_publishes_for_his_group(
    bot: Running, robin: Person, club: Chat
) -> None:
    asked = offered_draft(robin, ticking(3), club)
    assert "version 3, for North Trail Club." in asked.text
    assert "No version of it is offered there now." in asked.text
    assert "Tried on 2 imagined bikes:" in asked.text
    assert asked.labels == ["1 Publish", "2 Keep as draft", "3 Drop"]
    pictures = [seen for seen in robin.bot_says(club) if "photo" in seen.attached]
    assert [picture.text.partition(": ")[2] for picture in pictures] == ["what is asked first"]
    robin.press(asked, "Publish")
    told(robin, "is in use for North Trail Club, from the next case on.", club)
    scope = f"group:telegram:{club.id}"
    assert acts(bot) == [("Robin", "published", scope, 3)]
    assert (in_use(bot, scope), in_use(bot, "everyone")) == ([3], [])


def test_who_is_no_admin_is_told_who_may_and_nothing_is_kept(
    bot: Running, telegram: TelegramServer, robin: Person
) -> None:
    sends(robin, ticking(3))
    told(robin, "I kept nothing of the file.")
    with bot.record() as store:
        assert not [h for h in store.flow_hashes() if store.kept_flow(h).flow == FLOW]
        assert store.value("select count(*) from drafts") == 0
        assert store.value("select count(*) from files") == 0
    assert not telegram.calls_of("getFile")
