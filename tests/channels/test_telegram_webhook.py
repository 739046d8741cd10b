"""The bot that is called by the platform: who may call, what is kept when, what is said when it cannot be."""

from __future__ import annotations

import json
import socket
import sqlite3
import time
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from bot.channels.telegram.intake import Fatal
from bot.channels.telegram.settings import Webhook
from bot.record import opening
from tests.channels.telegram_running import Running, say
from tests.channels.telegram_server import TelegramServer

pytest_plugins = ["tests.channels.telegram_fixtures"]

SECRET = "a-secret-of-twenty-four"


def free_port() -> int:
    with closing(socket.create_server(("127.0.0.1", 0))) as free:
        return int(free.getsockname()[1])


@pytest.fixture
def hook() -> Webhook:
    port = free_port()
    return Webhook(f"http://127.0.0.1:{port}/", "127.0.0.1", port, SECRET)


def is_open(hook: Webhook) -> bool:
    with closing(socket.socket()) as line:
        return line.connect_ex((hook.host, hook.port)) == 0


@pytest.fixture
def bot(
    telegram: TelegramServer, hook: Webhook, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> Iterator[Running]:
    monkeypatch.setattr(opening, "BUSY_SECONDS", 0.2)
    running = Running(telegram, tmp_path / "record.db", webhook=hook)
    running.start()
    telegram.wait_for(lambda: is_open(hook), told="the open door")
    yield running
    running.stop()


def call(hook: Webhook, body: bytes, *lines: str) -> str:
    """Post as anyone could, byte for byte; the first line of the answer."""
    head = ["POST / HTTP/1.1", "Host: here", f"Content-Length: {len(body)}", *lines]
    with closing(socket.create_connection((hook.host, hook.port), 10)) as line:
        line.sendall("\r\n".join([*head, "", ""]).encode() + body)
        return line.makefile("rb").readline().decode().strip()


def heard(bot: Running) -> list[str]:
    with bot.record() as store:
        return [
            e.event.heard.text
            for c in store.all_cases()
            for e in store.entries(c.id)
            if e.event.kind == "heard"
        ]


UPDATE = json.dumps({"update_id": 99, "message": {}}).encode()


@pytest.mark.parametrize(
    "lines",
    [
        pytest.param((), id="none"),
        pytest.param(("X-Telegram-Bot-Api-Secret-Token: another",), id="another"),
        pytest.param(("X-Telegram-Bot-Api-Secret-Token: s\u00e9cret",), id="not in plain letters"),
        pytest.param((f"X-Telegram-Bot-Api-Secret-Token: {SECRET}x",), id="longer"),
    ],
)
def test_without_the_secret_nothing_is_kept(bot: Running, hook: Webhook, lines: tuple[str, ...]) -> None:
    assert call(hook, UPDATE, *lines) == "HTTP/1.1 403 Forbidden"
    with bot.record() as store:
        assert store.value("select count(*) from updates") == 0


@pytest.mark.parametrize("body", [b"", b"not json", b"[]", b"[" * 100_000, b'{"update_id": "x"}'])
def test_a_call_that_is_no_update_is_refused_and_the_next_one_taken(
    telegram: TelegramServer, bot: Running, hook: Webhook, body: bytes
) -> None:
    answer = call(hook, body, f"X-Telegram-Bot-Api-Secret-Token: {SECRET}")
    assert answer.split()[1] in ("400", "413")
    assert say(telegram.person("Ann"), "metal in the oil")


def test_a_call_without_end_is_refused(bot: Running, hook: Webhook) -> None:
    assert call(hook, b"", "X-Much: " + "x" * 70_000).startswith("HTTP/1.1 400")


def test_what_cannot_be_kept_is_refused_and_taken_once_when_it_comes_again(
    telegram: TelegramServer, bot: Running
) -> None:
    ann = telegram.person("Ann")
    say(ann, "metal in the oil")
    with closing(sqlite3.connect(bot.path, isolation_level=None)) as other:
        other.execute("begin immediate")
        ann.say("1")
        telegram.wait_for(lambda: any(status == 500 for _, status in telegram.hook.posted), told="a refusal")
        time.sleep(0.5)
        other.execute("rollback")
    assert ann.answer()
    telegram.wait_for(lambda: not telegram.pending, told="all is taken")
    assert heard(bot) == ["metal in the oil", "1"]


def test_an_update_that_is_posted_twice_is_one_turn(telegram: TelegramServer, bot: Running) -> None:
    ann = telegram.person("Ann")
    say(ann, "metal in the oil")
    telegram.again()
    telegram.wait_for(lambda: not telegram.pending, told="all is taken")
    telegram.idle()
    assert heard(bot) == ["metal in the oil"]


def test_the_platform_is_told_where_we_are_also_when_it_stumbles_at_first(
    telegram: TelegramServer, hook: Webhook, tmp_path: Path
) -> None:
    """Otherwise nothing would ever come, and nobody would know why."""
    telegram.fail("setMyCommands", 502)
    telegram.fail("setWebhook", 502)
    running = Running(telegram, tmp_path / "record.db", webhook=hook)
    running.start()
    assert say(telegram.person("Ann"), "metal in the oil")
    running.stop()


def test_a_place_that_is_taken_is_told_in_a_sentence(
    telegram: TelegramServer, hook: Webhook, tmp_path: Path
) -> None:
    with closing(socket.create_server((hook.host, hook.port))):
        running = Running(telegram, tmp_path / "record.db", webhook=hook)
        running.start()
        telegram.wait_for(lambda: running.fault is not None, told="the end of the bot")
        with pytest.raises(Fatal, match=f"listen at {hook.host}:{hook.port}"):
            running.stop()
