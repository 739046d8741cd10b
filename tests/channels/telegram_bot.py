"""The running bot as a fixture, on the test server of the `telegram` fixture.

A test module takes it with `pytest_plugins`, beside the fixtures of the server.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import pytest

from bot.channels.telegram import sending
from tests.channels.telegram_running import PAPER, Running
from tests.channels.telegram_server import TelegramServer


@pytest.fixture
def bot(telegram: TelegramServer, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Running]:
    """The bot with the small invented flow beside the shipped ones; it need not keep the platform's pace."""
    monkeypatch.setattr(sending, "PRIVATE_PACE", 0.01)
    monkeypatch.setattr(sending, "GROUP_PACE", 0.01)
    running = Running(telegram, tmp_path / "record.db", flow=json.dumps(PAPER))
    running.start()
    yield running
    running.stop()
