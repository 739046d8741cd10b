"""The sign that an answer is being worked on, shown while a turn takes long.

A turn keeps the loop to itself, so the sign is shown by a thread with a loop and a connection of its own.
"""

from __future__ import annotations

import asyncio
import contextlib
import threading
from collections.abc import Iterator

from telegram import Bot
from telegram.constants import ChatAction
from telegram.error import TelegramError
from telegram.request import HTTPXRequest

from bot.channels.telegram.settings import Settings

LONG = 1.0  # seconds after which the person is shown that his answer is on its way
AGAIN = 4.0  # seconds; the platform shows it for 5


@contextlib.contextmanager
def shown(settings: Settings, chat: str, thread: str = "", after: float = LONG) -> Iterator[None]:
    """Show "typing" in a chat for as long as what is done within takes more than `after` seconds."""
    over = threading.Event()
    if chat.lstrip("-").isdigit():
        threading.Thread(target=_show, args=(settings, chat, thread, after, over), daemon=True).start()
    try:
        yield
    finally:
        over.set()


def _show(settings: Settings, chat: str, thread: str, after: float, over: threading.Event) -> None:
    if not over.wait(after):
        asyncio.run(_keep_showing(settings, int(chat), int(thread) if thread else None, over))


async def _keep_showing(settings: Settings, chat: int, thread: int | None, over: threading.Event) -> None:
    """The sign is a courtesy: when it cannot be shown, nobody is told."""
    request = HTTPXRequest(connection_pool_size=1, read_timeout=AGAIN, connect_timeout=AGAIN)
    bot = Bot(settings.token, base_url=f"{settings.api}/bot", request=request)
    try:
        while not over.is_set():
            with contextlib.suppress(TelegramError):
                await bot.send_chat_action(chat, ChatAction.TYPING, message_thread_id=thread)
            await asyncio.to_thread(over.wait, AGAIN)
    finally:
        await request.shutdown()
