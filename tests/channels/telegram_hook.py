"""Webhooks of the test server: updates are posted one by one and again until they are taken.

Telegram Bot API manual, "setWebhook", "getWebhookInfo", "Making requests when getting updates".
"""

from __future__ import annotations

import asyncio
import re
from urllib.parse import urlsplit

import aiohttp

from tests.channels.telegram_methods import Asked, Refusal
from tests.channels.telegram_queue import Update
from tests.channels.telegram_rules import SECRET
from tests.channels.telegram_world import Json, World

SECRET_HEADER = "X-Telegram-Bot-Api-Secret-Token"


class Hook:
    """Where updates are posted to, and the task that posts them. The first wait is short, for tests."""

    def __init__(self, world: World, faults: list[str]) -> None:
        self.world, self.faults = world, faults
        self.url, self.secret, self.connections = "", "", 40
        self.error: tuple[int, str] | None = None
        self.first_wait, self.longest_wait = 0.2, 2.0
        self.posted: list[tuple[int, int]] = []  # update id and status of each attempt; 0: no answer
        self.wake = asyncio.Event()

    def set(self, asked: Asked) -> bool:
        url, secret = str(asked.get("url") or ""), str(asked.get("secret_token") or "")
        parts = urlsplit(url)
        if url and parts.scheme != "https" and parts.hostname not in ("127.0.0.1", "localhost"):
            raise Refusal(400, "bad webhook: An HTTPS URL must be provided for webhook")
        if len(secret) > 256:
            raise Refusal(400, "secret token is too long")
        if secret and not SECRET.fullmatch(secret):
            raise Refusal(400, "secret token contains unallowed characters")
        self.url, self.secret, self.error = url, secret, None
        self.connections = asked.whole("max_connections", 40)
        self.world.updates.allow(asked.get("allowed_updates"))
        return self._drop_pending(asked)

    def delete(self, asked: Asked) -> bool:
        self.url = self.secret = ""
        return self._drop_pending(asked)

    def _drop_pending(self, asked: Asked) -> bool:
        if asked.flag("drop_pending_updates"):
            self.world.updates.clear()
        self.wake.set()
        return True

    def info(self) -> Json:
        found: Json = {
            "url": self.url,
            "has_custom_certificate": False,
            "pending_update_count": len(self.world.updates.waiting),
        }
        if self.url:
            found |= {"max_connections": self.connections, "ip_address": "127.0.0.1"}
        if self.error:
            found |= {"last_error_date": self.error[0], "last_error_message": self.error[1]}
        if self.world.updates.allowed:
            found["allowed_updates"] = list(self.world.updates.allowed)
        return found

    async def run(self) -> None:
        """Post whatever waits, for as long as the server runs."""
        async with aiohttp.ClientSession(timeout=aiohttp.ClientTimeout(total=60)) as session:
            while True:
                await self.wake.wait()
                self.wake.clear()
                await self._post_all(session)

    async def _post_all(self, session: aiohttp.ClientSession) -> None:
        wait = self.first_wait
        while self.url and (update := self._next()):
            if await self._post(session, update):
                wait = self.first_wait
            else:
                await asyncio.sleep(wait)
                wait = min(wait * 2, self.longest_wait)

    def _next(self) -> Update | None:
        with self.world.lock:
            self.world.updates.confirm(0, self.world.now())
            return next(iter(self.world.updates.waiting), None)

    async def _post(self, session: aiohttp.ClientSession, update: Update) -> bool:
        """Post one update; was it taken?"""
        secret = {SECRET_HEADER: self.secret} if self.secret else {}
        headers = {"Content-Type": "application/json", **secret}
        update.handed_out += 1
        try:
            async with session.post(self.url, data=update.text.encode(), headers=headers) as answer:
                status, body = answer.status, await answer.text()
        except (aiohttp.ClientError, TimeoutError) as error:
            status, body = 0, type(error).__name__
        if status == 200 and re.match(r'\s*\{.*"method"', body):
            self.faults.append(f"webhook: a method call as the answer is not carried out here: {body[:80]}")
        self._note(update, status, body)
        return status == 200

    def _note(self, update: Update, status: int, body: str) -> None:
        with self.world.lock:
            self.posted.append((update.update_id, status))
            if status != 200:
                wrong = f"Wrong response from the webhook: {status}"
                self.error = (int(self.world.now()), wrong if status else f"Connection failed: {body}")
            else:
                self.world.updates.waiting = [u for u in self.world.updates.waiting if u is not update]
            self.world.touch()
