"""A server of the Telegram Bot API for tests: real HTTP on 127.0.0.1, in a thread with a loop of its own.

`base_url` and `base_file_url` are what a bot is given. People are made with `person`, groups with `group`
and `supergroup`; every request is checked as it comes, and what is wrong with it stands in `faults`.
It may also run alone: `python -m tests.channels.telegram_server --port-file FILE`, where each line
typed is said by one rider.
"""

from __future__ import annotations

import argparse
import sys
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any, TypeVar

from tests.channels.telegram_methods import Refusal
from tests.channels.telegram_person import Person
from tests.channels.telegram_places import Places
from tests.channels.telegram_queue import Update
from tests.channels.telegram_troubles import Call
from tests.channels.telegram_wire import Wire
from tests.channels.telegram_world import World

T = TypeVar("T")
TOKEN = "7100000001:AAtest_token_of_the_test_server_0001"
BOT = {"id": 7_100_000_001, "is_bot": True, "first_name": "Pit lane", "username": "pit_lane_test_bot"}


class NotSeen(AssertionError):
    """What a test waited for did not come; the text shows what was there."""


class TelegramServer(Places, Wire):
    """The server. Start it with `with`, or with start() and stop(); it may be started again on its port."""

    def __init__(
        self, token: str = TOKEN, privacy: bool = True, checking: bool = True, port: int = 0
    ) -> None:
        super().__init__(World(dict(BOT), privacy), token, checking, port)

    # --- what a test does with it ---------------------------------------------------------------

    @property
    def base_url(self) -> str:
        return f"http://127.0.0.1:{self.port}/bot"

    @property
    def base_file_url(self) -> str:
        return f"http://127.0.0.1:{self.port}/file/bot"

    @property
    def bot_name(self) -> str:
        return str(self.world.bot["username"])

    @property
    def pending(self) -> list[Update]:
        """Updates that the bot has not confirmed."""
        return list(self.world.updates.waiting)

    def person(self, name: str, username: str | None = None, language: str = "en") -> Person:
        """A person with the service; the bot knows him only when he writes, or from a group."""
        with self.world.lock:
            return Person(self, self.world.add_person(name, username, language))

    def revoke(self) -> None:
        """From now on the token is worth nothing."""
        self.revoked = True
        if self._loop:
            self._loop.call_soon_threadsafe(self._end_poll, Refusal(401, "Unauthorized"))

    def fail(
        self, method: str, code: int, text: str = "", times: int | None = 1, retry_after: int | None = None
    ) -> None:
        """The next requests of this method ("*": of all but getUpdates; "file": downloads) are refused."""
        self.troubles.fail(method, code, text, times, retry_after)

    def drop(self, method: str, times: int | None = 1, after: bool = False) -> None:
        """The next connections are cut without an answer, before or after doing what was asked."""
        self.troubles.drop(method, times, after)

    def hang(self, method: str, seconds: float, times: int | None = 1, after: bool = False) -> None:
        """The next answers take that long; `after`: what was asked is done at once all the same."""
        self.troubles.hang(method, seconds, times, after)

    def mend(self, method: str | None = None) -> None:
        self.troubles.mend(method)

    @property
    def latency(self) -> float:
        return self.troubles.latency

    @latency.setter
    def latency(self, seconds: float) -> None:
        self.troubles.latency = seconds

    def advance(self, seconds: float) -> None:
        """Put the service's clock forward: presses and updates grow old."""
        self.world.ahead += seconds

    def inject(self, raw: dict[str, Any] | str) -> Update:
        """Anything in the place of an update: a dict, or a text that need not even be JSON."""
        with self.world.lock:
            update = self.world.updates.inject(raw, self.world.now())
        self._changed()
        return update

    def again(self, update_id: int | None = None) -> Update:
        """Deliver an update once more, the last one when no id is given, the same to the byte."""
        with self.world.lock:
            update = self.world.updates.again(update_id)
        self._changed()
        return update

    def _changed(self) -> None:
        self.world.touch()
        self._wake()

    def restart_ids(self, at: int) -> None:
        """The next update has this id; it may lie far below the last one, or have been used before."""
        with self.world.lock:
            self.world.updates.restart_ids(at)

    def calls_of(self, *methods: str) -> list[Call]:
        with self.world.lock:
            return [call for call in self.calls if call.method in methods]

    def take_faults(self) -> list[str]:
        """The faults so far, which count no longer: for tests that mean to do wrong."""
        taken, self.faults[:] = list(self.faults), []
        return taken

    # --- waits ----------------------------------------------------------------------------------

    def wait_for(self, what: Callable[[], T], within: float = 10.0, told: str = "") -> T:
        """Wait until what() is true, and return it. Raises NotSeen with a picture of all there is."""
        end = time.monotonic() + within
        with self.world.lock:
            while not (found := what()):
                left = end - time.monotonic()
                if left <= 0:
                    missing = f"{told or 'what was waited for'} did not come in {within:g} s"
                    raise NotSeen(f"{missing}\n{self.picture()}")
                self.world.lock.wait(min(left, 0.25))
            return found

    def wait_for_calls(self, method: str, count: int = 1, within: float = 10.0) -> list[Call]:
        """Wait until a method was called so often in all."""

        def enough() -> list[Call]:
            calls = self.calls_of(method)
            return calls if len(calls) >= count else []

        return self.wait_for(enough, within, f"{method}, {count} times,")

    def idle(self, seconds: float = 0.3, within: float = 20.0) -> None:
        """Wait until nothing has moved for so long: no request, no message, no update handed out."""
        end = time.monotonic() + within
        with self.world.lock:
            while self._busy or time.monotonic() - self.world.moved_at < seconds:
                if time.monotonic() > end:
                    raise NotSeen(f"still no rest of {seconds:g} s after {within:g} s\n{self.picture()}")
                self.world.lock.wait(0.02)

    def picture(self, calls: int = 12, posts: int = 8) -> str:
        """The last requests and messages, for a person who wonders why a test failed."""
        with self.world.lock:
            lines = [f"{len(self.pending)} updates not confirmed; the last of {len(self.calls)} requests:"]
            lines += [f"  {call}" for call in self.calls[-calls:]]
            for chat in self.world.chats.values():
                lines += [f"{chat.kind} {chat.title} (bot: {chat.bot}):"] if chat.posts else []
                lines += [f"  {picture_of(post)}" for post in chat.live[-posts:]]
            lines += ["faults:", *(f"  {fault}" for fault in self.faults)] if self.faults else []
        return "\n".join(lines)


def picture_of(post: Any) -> str:
    content = post.content.get("text", post.content.get("caption", next(iter(post.content), "")))
    buttons = "".join(f" [{button['text']}]" for row in post.rows or () for button in row)
    return f"#{post.message_id} {post.sender['first_name']}: {str(content)[:160]!r}{buttons}"


# --- alone, as a program ------------------------------------------------------------------------


def main(words: list[str] | None = None) -> int:
    """Serve until the process is ended; each line typed is said by one rider, "> Label" presses a button."""
    parser = argparse.ArgumentParser(prog="telegram_server", description=main.__doc__)
    parser.add_argument("--port-file", type=Path, required=True, help="written when it serves: the port")
    parser.add_argument("--port", type=int, default=0)
    parser.add_argument("--token", default=TOKEN)
    parser.add_argument("--no-check", action="store_true", help="do not check requests")
    given = parser.parse_args(words)
    with TelegramServer(given.token, checking=not given.no_check, port=given.port) as server:
        given.port_file.write_text(f"{server.port}\n")
        rider = server.person("Rider")
        for line in sys.stdin:
            print(rider.act(line.rstrip("\n")), flush=True)
        with suppress(KeyboardInterrupt):
            threading.Event().wait()
    return 0


if __name__ == "__main__":
    sys.exit(main())
