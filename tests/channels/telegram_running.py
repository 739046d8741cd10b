"""The bot as it runs, against the test server: in a thread with a loop and a record of its own."""

from __future__ import annotations

import asyncio
import contextlib
import threading
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from bot import turn
from bot.channels.telegram.serve import Service
from bot.channels.telegram.settings import Settings
from tests.channels.telegram_person import Person, Seen
from tests.channels.telegram_server import TelegramServer
from tests.channels.telegram_world import Chat
from tests.rattle import RATTLE
from tests.record.small_talk import admit

# The small invented flow, with a question of several marks among the first.
ASKED_FIRST = {
    "kind": "several",
    "ask": "What lies on the paper?",
    "marks": {
        "bits": {"label": "Bits that cling", "shows": "steel-bits"},
        "lever": {"label": "A piece of the lever", "shows": "has-lever"},
        "dust": {"label": "Dust", "shows": "has-lever"},
    },
    "none_of_these": {"label": "None of these"},
}
PAPER: dict[str, Any] = {
    **RATTLE,
    "opening": ["paper", "magnet"],
    "questions": {**RATTLE["questions"], "paper": ASKED_FIRST},
}


class Running:
    """A bot that serves a test server; `flow`: one that is on offer to everyone beside the shipped ones."""

    def __init__(self, server: TelegramServer, path: Path, *, flow: str = "", **given: object) -> None:
        self.server, self.path = server, path
        told = {
            "token": server.token, "database": path, "admins": frozenset({"1"}),
            "api": server.base_url.removesuffix("/bot"), "files": server.base_url.removesuffix("/bot"),
        }  # fmt: skip
        self.settings = Settings(**{**told, **given})  # type: ignore[arg-type]
        self.flow, self.ahead = flow, timedelta(0)
        self.stands: datetime | None = None  # where its clock stands still, for a talk with times of its own
        self.fault: BaseException | None = None
        self._thread: threading.Thread | None = None
        self._loop: asyncio.AbstractEventLoop | None = None
        self._service: Service | None = None
        self._store: turn.Store | None = None

    def now(self) -> datetime:
        return self.stands or datetime.now(UTC) + self.ahead

    def start(self) -> None:
        """Begin to serve; returns when it does."""
        ready = threading.Event()
        self._thread = threading.Thread(target=self._run, args=(ready,), daemon=True)
        self._thread.start()
        assert ready.wait(20), "the bot did not start"
        if self.fault is not None:
            raise self.fault

    def _run(self, ready: threading.Event) -> None:
        async def serve() -> None:
            self._loop = asyncio.get_running_loop()
            store = turn.open_record(self.path)
            try:
                if self.flow:
                    turn.lay_out(store, self.flow, "", "everyone", self.now())
                self._store = store
                self._service = Service(self.settings, store, self.now)
                serving = asyncio.create_task(self._service.run())
                waiting = asyncio.create_task(self._service.ready.wait())
                await asyncio.wait([serving, waiting], return_when=asyncio.FIRST_COMPLETED)
                ready.set()
                waiting.cancel()
                await serving
            finally:
                store.close()
                # What a test opened is closed once more at its end, in another thread than this.
                del store.db.conn

        try:
            asyncio.run(serve())
        except BaseException as fault:  # the test asks for it when it ends the bot
            self.fault = fault
        finally:
            ready.set()

    def stop(self) -> None:
        """End it as SIGTERM does. Raises what it died of."""
        if self._thread is None:
            return
        if self._thread.is_alive() and self._loop and self._service:
            with contextlib.suppress(RuntimeError):
                self._loop.call_soon_threadsafe(self._service.stopping.set)
        self._thread.join(20)
        assert not self._thread.is_alive(), "the bot did not end"
        self._thread = None
        if self.fault is not None:
            raise self.fault

    def limit_disk(self, pages: int | None) -> None:
        """Leave its record so many pages more than it has, None for as many as it likes."""
        done = threading.Event()

        def limit() -> None:
            assert self._store is not None
            has = int(self._store.value("pragma page_count"))
            self._store.value(f"pragma max_page_count = {2**31 if pages is None else has + pages}")
            done.set()

        assert self._loop is not None
        self._loop.call_soon_threadsafe(limit)
        assert done.wait(10)

    @contextlib.contextmanager
    def record(self) -> Iterator[turn.Store]:
        """The record, opened beside the running bot."""
        with contextlib.closing(turn.open_record(self.path)) as store:
            yield store

    def seat_mechanic(self, case: int, person: int) -> None:
        """Let a person into a case in his private chat, as a code of its rider does."""
        with self.record() as store:
            known = store.known_as("telegram", str(person))
            assert known is not None, "he has to write once first"
            admit(store, case, known.id, turn.Address("telegram", str(person)), self.now())


def say(person: Person, text: str, **where: Any) -> list[Seen]:
    """He writes something; what the bot says or changes for it."""
    person.say(text, **where)
    return person.answer(chat=where.get("chat"))


def press(person: Person, label: str, chat: Chat | None = None) -> list[Seen]:
    """He presses the newest button of that label; what the bot says or changes for it."""
    shown = [seen for seen in person.bot_says(chat) if any(label in own for own in seen.labels)]
    assert shown, f"no [{label}] among {[seen.labels for seen in person.bot_says(chat)]}"
    person.press(shown[-1], label)
    return person.answer(chat=chat)


def to_the_paper(person: Person, chat: Chat | None = None, bike: str = "Goat") -> Seen:
    """A new case up to the question of several marks, which comes back."""
    found = say(person, "/new something rattles", chat=chat)
    for text in ("No knock", bike, "By foot"):
        found = say(person, text, chat=chat, reply_to=found[-1] if chat else None)
    return next(seen for seen in found if "What lies on the paper?" in seen.text)
