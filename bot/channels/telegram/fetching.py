"""Files that people sent, fetched in the background: checked, cleaned, kept under their digest."""

from __future__ import annotations

import asyncio
import logging
from collections.abc import Callable
from datetime import datetime, timedelta

from telegram import Bot
from telegram.error import BadRequest, Forbidden, InvalidToken, NetworkError, RetryAfter, TelegramError

from bot import turn
from bot.channels.telegram.pauses import asked_pause
from bot.channels.telegram.reception import CHANNEL
from bot.channels.telegram.settings import Settings
from bot.core.messages import Message

LOG = logging.getLogger("sumpline.telegram")
TRIES = 6  # of a fault that is the platform's answer
OUTAGE_TRIES = 300  # of one that the network made: about a day
SLOWEST = 300.0  # seconds between two tries
KINDS = frozenset({"photo", "voice", "audio", "video", "document"})
ENDINGS = frozenset({
    "pdf", "txt", "csv", "jpg", "jpeg", "png", "webp", "heic", "mp4", "mov", "ogg", "mp3", "m4a",
})  # fmt: skip


class Refused(Exception):
    """The file is not kept; the text is the key of what the person is told."""


class Fetcher:
    """Fetches what is wanted, one file after the other."""

    def __init__(
        self, store: turn.Store, bot: Bot, settings: Settings, clock: Callable[[], datetime]
    ) -> None:
        self.store, self.bot, self.settings, self.clock = store, bot, settings, clock

    async def fetch_due(self) -> bool:
        """Fetch the files that are due; whether there was one."""
        waiting = self.store.fetches_due(CHANNEL, turn.stamp(self.clock()))
        for fetch in waiting:
            try:
                await self._fetch(fetch)
            except Refused as refused:
                self._refuse(fetch, str(refused))
            except (BadRequest, Forbidden):
                self._refuse(fetch, "telegram.file_gone")
            except InvalidToken:  # who asks for updates ends the program; the row waits for the next token
                self._pause(fetch, "InvalidToken", 30.0)
            except RetryAfter as fault:
                self._pause(fetch, "RetryAfter", asked_pause(fault))
            except (TelegramError, OSError) as fault:
                self._later(fetch, fault)
        return bool(waiting)

    async def _fetch(self, fetch: turn.Fetch) -> None:
        _, dot, ending = fetch.name.rpartition(".")
        if fetch.kind not in KINDS or (dot and ending.lower() not in ENDINGS):
            raise Refused("telegram.file_kind")
        file = await self.bot.get_file(fetch.locator)
        if (file.file_size or 0) > self.settings.file_bytes:
            raise Refused("telegram.file_too_large")
        try:
            data = bytes(await file.download_as_bytearray())
        except InvalidToken as err:  # the library's word for every 404, here of the file
            raise Refused("telegram.file_gone") from err
        if len(data) > self.settings.file_bytes:
            raise Refused("telegram.file_too_large")
        if not data:
            raise Refused("telegram.file_gone")
        original = ""
        if fetch.kind == "photo":
            original = turn.digest_of(data)
            try:
                data = await asyncio.to_thread(turn.clean_photo, data)
            except turn.Unreadable as err:
                raise Refused("telegram.photo_unreadable") from err
        at = turn.stamp(self.clock())
        with self.store.writing():
            if self.store.is_on_its_way(fetch.ref):
                digest = self.store.keep_file(fetch.person, data, fetch.kind, at, original)
                self.store.file_fetched(fetch.ref, digest)

    def _refuse(self, fetch: turn.Fetch, key: str) -> None:
        """Say that it is not kept, and why; the entry stays, with no file behind it."""
        limit = self.settings.file_bytes // 1_000_000
        text = turn.read_words(self.settings.language).say(key, mb=limit)
        at = turn.stamp(self.clock())
        with self.store.writing():
            if self.store.is_on_its_way(fetch.ref):
                self.store.fetch_failed(fetch.ref, key, None)
                self.store.put_out(turn.Address(CHANNEL, fetch.chat), fetch.person, Message(text), at, n=0)

    def _later(self, fetch: turn.Fetch, fault: Exception) -> None:
        outage = isinstance(fault, (NetworkError, OSError))
        if fetch.tries + 1 >= (OUTAGE_TRIES if outage else TRIES):
            self._refuse(fetch, "telegram.file_gone")
        else:
            self._pause(fetch, type(fault).__name__, min(SLOWEST, 2.0 ** (fetch.tries + 1)))

    def _pause(self, fetch: turn.Fetch, fault: str, seconds: float) -> None:
        again = turn.stamp(self.clock() + timedelta(seconds=max(1.0, seconds)))
        with self.store.writing():
            self.store.fetch_failed(fetch.ref, fault, again)
