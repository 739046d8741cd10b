"""What every channel must do, done over Telegram; and sample conversations through the real channel."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from bot import turn
from bot.channels.telegram import layout, sending
from bot.core.messages import Message
from tests.channels.contract import FIRST, NOW, WIDE, Contract, Line
from tests.channels.telegram_running import Running
from tests.channels.telegram_server import TelegramServer
from tests.rattle import RATTLE


class Chat:
    """One person's private chat with the running bot."""

    limit = 4096

    def __init__(self, store: turn.Store, server: TelegramServer) -> None:
        self.store, self.server = store, server
        self.person = server.person("rider")
        self.bot = Running(server, Path(store.path))
        self.bot.start()
        self._handed_in: dict[str, int] = {}

    def say(self, text: str) -> Sequence[str]:
        """An empty text cannot be sent there: a sticker comes nearest."""
        if text.strip():
            for start in range(0, len(text), self.limit):  # as the app cuts it
                self.person.say(text[start : start + self.limit])
        else:
            self.person.send_sticker()
        return [seen.text for seen in self.person.answer(within=20)]

    def deliver(self, text: str, message_id: str) -> Sequence[str]:
        if message_id in self._handed_in:
            self.server.again(self._handed_in[message_id])
            before = len(self.person.bot_says())
            self.server.idle(0.5)
            return [seen.text for seen in self.person.bot_says()[before:]]
        self.person.say(text)
        shown = [seen.text for seen in self.person.answer(within=20)]
        self._handed_in[message_id] = self.server.again().update_id
        self.server.idle(0.3)
        return shown

    def lay_out(self, message: Message) -> Sequence[str]:
        sheet = layout.lay_out(message, 1)
        rows = ("  ".join(label for label, _ in row) for row in sheet.rows)
        return (*sheet.texts, *rows)

    def again(self) -> Line:
        self.bot.stop()
        self.bot = Running(self.server, Path(self.store.path))
        self.bot.start()
        return self


class TestTelegram(Contract):
    @pytest.fixture(autouse=True)
    def quick(self, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(sending, "PRIVATE_PACE", 0.01)

    @pytest.fixture
    def line(self, tmp_path: Path) -> Iterator[Any]:
        with closing(turn.open_record(tmp_path / "record.db")) as store, TelegramServer() as server:
            turn.lay_out(store, json.dumps(RATTLE), "", "everyone", NOW)
            chat = Chat(store, server)
            yield chat
            chat.bot.stop()
        assert not server.faults, "\n".join(server.faults)

    def test_a_long_text_is_answered_and_kept(self, line: Any) -> None:
        """The app cuts what is longer than 4096 characters; nothing of it is lost."""
        line.say(FIRST)
        text = "it " + "rattles " * (WIDE // 8)
        assert "".join(line.say(text))
        heard = [e.heard.text for e in self.entries(line) if e.kind == "heard"]
        assert len("".join(heard[1:])) >= WIDE - 2
