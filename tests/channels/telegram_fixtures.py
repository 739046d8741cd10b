"""The running test server as a fixture; what it finds wrong with any request fails the test that made it.

A test module takes it with `pytest_plugins = ["tests.channels.telegram_fixtures"]`.
"""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from tests.channels.telegram_person import Person
from tests.channels.telegram_server import TelegramServer


@pytest.fixture
def telegram() -> Iterator[TelegramServer]:
    """A test server. At the end no fault may be left: take_faults() those that were meant."""
    with TelegramServer() as server:
        yield server
    assert not server.faults, "\n".join([*server.faults, server.picture()])


@pytest.fixture
def robin(telegram: TelegramServer) -> Person:
    """A rider with a private chat that he has not begun yet."""
    return telegram.person("Robin", username="robin_rides")
