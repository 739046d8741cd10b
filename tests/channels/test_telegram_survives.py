"""The bot as a program: killed, refused, flooded, fed with rubbish. Nothing is lost or done twice."""

from __future__ import annotations

import json
import os
import random
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from bot import turn
from tests.channels.telegram_person import Person, Seen
from tests.channels.telegram_server import TelegramServer

pytest_plugins = ["tests.channels.telegram_fixtures"]

LONG = 60.0  # seconds; only a hang takes longer
Start = Callable[..., "Program"]


class Program:
    """`sumpline serve telegram` as a process of its own."""

    def __init__(self, server: TelegramServer, database: Path, **more: str) -> None:
        self.database, self.log = database, database.with_name("log.txt")
        given = {
            "SUMPLINE_TELEGRAM_TOKEN": server.token, "SUMPLINE_DB": str(database), "SUMPLINE_ADMINS": "1",
            "SUMPLINE_TELEGRAM_API": server.base_url.removesuffix("/bot"),
        }  # fmt: skip
        self.command = [sys.executable, "-m", "bot.cli", "serve", "telegram"]
        with self.log.open("a", encoding="utf-8") as log:
            self.process = subprocess.Popen(
                self.command, env={**os.environ, **given, **more}, stdout=log, stderr=log
            )

    def kill(self) -> None:
        self.process.send_signal(signal.SIGKILL)
        self.process.wait(LONG)

    def end(self) -> int:
        self.process.terminate()
        return self.process.wait(LONG)

    @property
    def said(self) -> str:
        return self.log.read_text(encoding="utf-8")


@pytest.fixture
def start(telegram: TelegramServer, tmp_path: Path) -> Iterator[Start]:
    begun: list[Program] = []

    def begin(**more: str) -> Program:
        begun.append(Program(telegram, tmp_path / "record.db", **more))
        return begun[-1]

    yield begin
    for program in begun:
        if program.process.poll() is None:
            program.kill()


def heard(database: Path) -> dict[str, list[str]]:
    """What each person's case was told, in order."""
    told: dict[str, list[str]] = {}
    with closing(turn.open_record(database)) as store:
        for case in reversed(store.all_cases()):
            events = [e.event for e in store.entries(case.id) if e.event.kind == "heard"]
            told.setdefault(case.rider, []).extend(event.heard.text for event in events)
    return told


def sent_once(database: Path, person: Person) -> int:
    """How many messages of the person's chat the record knows as sent."""
    known = "select count(distinct receipt) from outbox where receipt <> '' and address = ?"
    with closing(turn.open_record(database)) as store:
        return int(store.value(known, str(person.id)))


def ready(telegram: TelegramServer) -> None:
    telegram.wait_for_calls("getUpdates", 1, within=LONG)


def rest(telegram: TelegramServer, database: Path) -> None:
    """Until nothing waits any more, neither at the platform nor in the record."""

    def done() -> bool:
        if telegram.pending:
            return False
        with closing(sqlite3.connect(f"file:{database}?mode=ro", uri=True)) as record:
            left = "select (select count(*) from updates where state = 'new')"
            left += " + (select count(*) from inbox where state = 'new')"
            left += " + (select count(*) from outbox where state = 'due')"
            return bool(record.execute(left).fetchone()[0] == 0)

    telegram.wait_for(done, within=LONG, told="nothing waits any more")


def begun(telegram: TelegramServer, start: Start) -> tuple[Person, Seen]:
    """The program runs and a rider has begun a case: he, and the question that he is asked."""
    start()
    ready(telegram)
    robin = telegram.person("Robin")
    robin.say("metal in the oil")
    [question] = robin.answer(within=LONG)
    return robin, question


def shown(person: Person) -> list[str]:
    return [seen.text for seen in person.bot_says()]


# --- killed ---------------------------------------------------------------------------------------


def test_killed_again_and_again_nothing_is_lost_or_done_twice(
    telegram: TelegramServer, start: Start, tmp_path: Path
) -> None:
    """60 messages of three people, a slow network, kill -9 at random moments of a bot that is at work."""
    telegram.latency = 0.15
    people = [telegram.person(name) for name in ("Ann", "Ben", "Cleo")]
    said: dict[str, list[str]] = {person.name: [] for person in people}
    dice, program, kills = random.Random(7), start(), 0
    ready(telegram)
    for n in range(60):
        person = people[n % 3]
        text = "metal in the oil" if n < 3 else f"note {n}"
        person.say(text)
        said[person.name].append(text)
        if n % 12 == 9:
            answered = len(telegram.calls_of("sendMessage"))
            telegram.wait_for_calls("sendMessage", answered + 2, within=LONG)
            time.sleep(dice.uniform(0, 0.5))
            program.kill()
            kills += 1
            program = start()
    rest(telegram, tmp_path / "record.db")
    telegram.idle(0.5)
    assert program.end() == 0
    assert kills >= 4
    assert heard(tmp_path / "record.db") == said
    for person in people:  # a chat has one message under way at a time, and that one may stand twice
        assert len(shown(person)) <= sent_once(tmp_path / "record.db", person) + kills


def test_told_to_end_it_ends_and_takes_up_the_rest_at_the_next_start(
    telegram: TelegramServer, start: Start, tmp_path: Path
) -> None:
    program = start()
    ready(telegram)
    riders = [telegram.person(f"Rider {chr(65 + n)}") for n in range(25)]
    texts = ["metal in the oil", "note 1", "note 2", "note 3"]
    for text in texts:
        for rider in riders:
            rider.say(text)
    assert program.end() == 0
    start()
    rest(telegram, tmp_path / "record.db")
    assert heard(tmp_path / "record.db") == {rider.name: texts for rider in riders}


def test_told_to_end_it_ends_also_while_the_platform_does_not_answer_at_the_start(
    telegram: TelegramServer, start: Start
) -> None:
    telegram.hang("getMe", 60)
    program = start()
    telegram.wait_for_calls("getMe", within=LONG)
    program.process.terminate()
    assert program.process.wait(10) == 0


# --- refused ----------------------------------------------------------------------------------------


def test_a_revoked_token_ends_the_program_with_a_sentence(telegram: TelegramServer, start: Start) -> None:
    program = start()
    ready(telegram)
    telegram.revoke()
    assert program.process.wait(LONG) == 1
    assert "The platform refuses the token" in program.said
    telegram.take_faults()


def test_a_second_program_on_the_same_record_is_refused_and_a_copy_can_still_be_made(
    telegram: TelegramServer, start: Start, tmp_path: Path
) -> None:
    start()
    ready(telegram)
    second = start()
    assert second.process.wait(LONG) == 1
    assert "Another program serves Telegram" in second.said
    copy = [sys.executable, "-m", "bot.cli", "backup", str(tmp_path / "copy.db")]
    copy += ["--db", str(second.database)]
    assert subprocess.run(copy, check=False, capture_output=True).returncode == 0


def test_the_token_is_in_no_output(telegram: TelegramServer, start: Start) -> None:
    """Not with every logger at its loudest, and not when the network breaks or a refusal is logged."""
    code = (
        "import logging, sys; from bot.channels.telegram import serve; real = serve.log_to\n"
        "def loud(out):\n"
        "    real(out, logging.DEBUG)\n"
        "    for name in ('httpx', 'httpcore', 'telegram', 'asyncio'):\n"
        "        logging.getLogger(name).setLevel(logging.DEBUG)\n"
        "serve.log_to = loud\n"
        "from bot.cli import main; sys.exit(main(['serve', 'telegram']))"
    )
    program = start()
    program.kill()
    given = {"SUMPLINE_TELEGRAM_TOKEN": telegram.token, "SUMPLINE_DB": str(program.database),
             "SUMPLINE_TELEGRAM_API": telegram.base_url.removesuffix("/bot")}  # fmt: skip
    loud = subprocess.Popen([sys.executable, "-c", code], env={**os.environ, **given},
                            stdout=subprocess.PIPE, stderr=subprocess.STDOUT)  # fmt: skip
    robin = telegram.person("Robin")
    robin.say("metal in the oil")
    telegram.fail("sendMessage", 502)
    telegram.drop("sendMessage")
    robin.say("none of these")
    telegram.wait_for_calls("sendMessage", 4, within=LONG)
    loud.terminate()
    said = loud.communicate(timeout=LONG)[0].decode()
    assert len(said.splitlines()) > 50
    assert telegram.token not in said
    assert telegram.token.partition(":")[2] not in said
    assert "Robin" not in said
    assert "metal in the oil" not in said


# --- what comes in ------------------------------------------------------------------------------------


def test_an_update_that_cannot_be_read_holds_up_no_one_and_is_listed(
    telegram: TelegramServer, start: Start, tmp_path: Path
) -> None:
    start()
    ready(telegram)
    telegram.inject({"message": {"message_id": "no number", "chat": 5}})
    robin = telegram.person("Robin")
    robin.say("metal in the oil")
    assert robin.answer(within=LONG)
    rest(telegram, tmp_path / "record.db")
    listing = [sys.executable, "-m", "bot.cli", "letters", "list", "--db", str(tmp_path / "record.db")]
    told = subprocess.run(listing, check=True, capture_output=True, text=True).stdout
    assert told.startswith("update ")
    number = told.split()[1]
    retry = [*listing[:4], "retry", "update", number, "--db", str(tmp_path / "record.db")]
    assert "tried again" in subprocess.run(retry, check=True, capture_output=True, text=True).stdout


def test_the_same_update_twice_is_one_turn_and_numbers_may_fall_back(
    telegram: TelegramServer, start: Start, tmp_path: Path
) -> None:
    robin, _ = begun(telegram, start)
    telegram.again()
    rest(telegram, tmp_path / "record.db")
    telegram.restart_ids(1000)  # as after a week without updates
    robin.say("where are we")
    robin.answer(within=LONG)
    rest(telegram, tmp_path / "record.db")
    assert heard(tmp_path / "record.db") == {"Robin": ["metal in the oil", "where are we"]}


def test_a_number_that_is_used_again_with_another_text_is_taken(
    telegram: TelegramServer, start: Start, tmp_path: Path
) -> None:
    start()
    ready(telegram)
    robin = telegram.person("Robin")
    texts = ["metal in the oil", *(f"note {n}" for n in range(14))]
    for text in texts:
        robin.say(text)
    rest(telegram, tmp_path / "record.db")
    telegram.wait_for(lambda: not telegram.pending, told="all is confirmed")
    telegram.restart_ids(telegram.world.updates.all[0].update_id)
    robin.say("where are we")
    rest(telegram, tmp_path / "record.db")
    assert heard(tmp_path / "record.db") == {"Robin": [*texts, "where are we"]}


# --- what goes out --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "trouble",
    [
        pytest.param(lambda t: t.fail("sendMessage", 429, retry_after=1), id="too many requests"),
        pytest.param(lambda t: t.fail("sendMessage", 502, times=2), id="bad gateway twice"),
        pytest.param(lambda t: t.drop("sendMessage"), id="connection lost before"),
        pytest.param(lambda t: t.drop("sendMessage", after=True), id="connection lost after"),
        pytest.param(lambda t: t.fail("editMessageText", 502), id="an edit refused once"),
    ],
)
def test_a_message_comes_through_trouble_without_a_storm(
    telegram: TelegramServer, start: Start, tmp_path: Path, trouble: Callable[[Any], None]
) -> None:
    robin, question = begun(telegram, start)
    before = len(telegram.calls_of("sendMessage", "editMessageText"))
    trouble(telegram)
    robin.say("1")
    telegram.wait_for(lambda: len(shown(robin)) > 1, within=LONG, told="the next question")
    rest(telegram, tmp_path / "record.db")
    telegram.wait_for(lambda: robin.bot_says()[0].edited, within=LONG, told="the answer on record")
    assert len(telegram.calls_of("sendMessage", "editMessageText")) - before <= 2 + 5
    assert question.text in robin.bot_says()[0].text


def test_a_rider_who_blocked_the_bot_is_left_alone_and_his_case_kept(
    telegram: TelegramServer, start: Start, tmp_path: Path
) -> None:
    robin, _ = begun(telegram, start)
    robin.say("where are we")
    robin.block()
    rest(telegram, tmp_path / "record.db")
    refused = len(telegram.calls_of("sendMessage"))
    telegram.idle(1.0)
    assert len(telegram.calls_of("sendMessage")) == refused
    robin.unblock()
    robin.start()
    assert any("oil" in seen.text for seen in robin.answer(within=LONG))


def test_a_locked_record_loses_nothing(telegram: TelegramServer, start: Start, tmp_path: Path) -> None:
    """Longer than the record itself waits: what comes meanwhile stays with the platform."""
    robin, _ = begun(telegram, start)
    with closing(sqlite3.connect(tmp_path / "record.db", isolation_level=None)) as other:
        other.execute("begin immediate")
        robin.say("1")
        time.sleep(12)
        other.execute("rollback")
    robin.answer(within=LONG)
    rest(telegram, tmp_path / "record.db")
    assert heard(tmp_path / "record.db") == {"Robin": ["metal in the oil", "1"]}


# --- being called ---------------------------------------------------------------------------------------


def test_called_by_the_platform_only_the_secret_counts(
    telegram: TelegramServer, start: Start, tmp_path: Path
) -> None:
    import socket
    import urllib.error
    import urllib.request

    with closing(socket.create_server(("127.0.0.1", 0))) as free:
        port = free.getsockname()[1]
    secret = "a-secret-of-twenty-four"
    start(SUMPLINE_WEBHOOK_URL=f"http://127.0.0.1:{port}/", SUMPLINE_WEBHOOK_SECRET=secret,
          SUMPLINE_WEBHOOK_LISTEN=f"127.0.0.1:{port}")  # fmt: skip
    telegram.wait_for_calls("setWebhook", 1, within=LONG)
    robin = telegram.person("Robin")
    robin.say("metal in the oil")
    assert robin.answer(within=LONG)
    false = json.dumps({"update_id": 99, "message": {}}).encode()
    for headers in ({}, {"X-Telegram-Bot-Api-Secret-Token": "another"}):
        request = urllib.request.Request(f"http://127.0.0.1:{port}/", false, headers)
        with pytest.raises(urllib.error.HTTPError, match="403") as refused:
            urllib.request.urlopen(request, timeout=10)
        refused.value.close()
    assert heard(tmp_path / "record.db") == {"Robin": ["metal in the oil"]}
