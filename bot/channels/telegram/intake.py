"""Updates from the platform into the record, before the platform may forget them.

By asking (long poll): the next request confirms the updates of the last one, so it is made only after
they are committed. Every run starts without a number to begin at: numbers start anew after a quiet week,
and a stored one would then hide what comes. By being called (webhook): "200" is said only after the
commit; anything else makes the platform call again.
"""

from __future__ import annotations

import asyncio
import contextlib
import hmac
import json
import logging
import warnings
from collections.abc import Callable
from datetime import datetime
from typing import Any

from telegram import Bot
from telegram.error import Conflict, EndPointNotFound, InvalidToken, RetryAfter, TelegramError
from telegram.warnings import PTBUserWarning

from bot import turn
from bot.channels.running import Fatal
from bot.channels.telegram.pauses import asked_pause
from bot.channels.telegram.reading import ALLOWED
from bot.channels.telegram.reception import CHANNEL, Reception
from bot.channels.telegram.settings import Webhook

LOG = logging.getLogger("sumpline.telegram")
PATIENCE = 25  # seconds the platform may let us wait for something new
SLOWEST = 30.0  # seconds between two tries when the platform cannot be reached
CONFLICTS = 4  # refusals in a row that mean that another program asks with our token
LARGEST = 1_000_000  # bytes of one call; the platform's are far smaller
BROKEN_CALLS = (
    TimeoutError, asyncio.IncompleteReadError, asyncio.LimitOverrunError, ValueError, ConnectionError,
    RecursionError,
)  # fmt: skip


def keep(store: turn.Store, updates: list[dict[str, Any]], now: datetime) -> None:
    """Commit raw updates. Raises what the database raises: then nothing was kept."""
    at = turn.stamp(now)
    with store.writing():
        for update in updates:
            body = json.dumps(update, ensure_ascii=True, sort_keys=True)
            store.keep_update(CHANNEL, int(update.get("update_id", 0)), body, at)


async def poll(
    store: turn.Store, bot: Bot, reception: Reception, clock: Callable[[], datetime], wake: asyncio.Event
) -> None:
    """Ask for updates until cancelled. Raises Fatal when the token is no longer ours alone."""
    # Raw updates are wanted: one that the library cannot read must not hold up the others.
    warnings.filterwarnings("ignore", message=r"Please use 'Bot\.getUpdates'", category=PTBUserWarning)
    offset, pause, conflicts = None, 1.0, 0
    while True:
        given: dict[str, Any] = {"timeout": PATIENCE, "allowed_updates": list(ALLOWED)}
        if offset:
            given["offset"] = offset
        try:
            got: Any = await bot.do_api_request("getUpdates", api_kwargs=given, read_timeout=PATIENCE + 10)
            updates = list(got)
            keep(store, updates, clock())
        except (InvalidToken, EndPointNotFound) as err:
            raise Fatal("The platform refuses the token: it was revoked or is wrong; set a new one.") from err
        except Conflict as err:
            conflicts += 1
            if conflicts >= CONFLICTS:
                raise Fatal("Another program asks for updates with this token; end it first.") from err
            await asyncio.sleep(1.0)
            continue
        except (TelegramError, *turn.FILE_FAULTS) as err:
            wait = asked_pause(err) if isinstance(err, RetryAfter) else pause
            LOG.warning("no updates for now (%s); trying again in %.0f s", type(err).__name__, wait)
            await asyncio.sleep(wait)
            pause = min(SLOWEST, pause * 1.5)
            continue
        pause, conflicts = 1.0, 0
        reception.polled = turn.stamp(clock())
        if updates:
            offset = int(updates[-1]["update_id"]) + 1  # only after the commit, and never the largest
            wake.set()


# --- being called -----------------------------------------------------------------------------


async def listen(
    store: turn.Store, hook: Webhook, reception: Reception, clock: Callable[[], datetime], wake: asyncio.Event
) -> None:
    """Answer the platform's calls until cancelled."""

    async def answer(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        try:
            status = await asyncio.wait_for(_call(reader), 20)
        except BROKEN_CALLS:
            status = "400 Bad Request"
        with contextlib.suppress(ConnectionError):
            writer.write(f"HTTP/1.1 {status}\r\nContent-Length: 0\r\nConnection: close\r\n\r\n".encode())
            await writer.drain()
        writer.close()

    async def _call(reader: asyncio.StreamReader) -> str:
        first, headers = _head(await reader.readuntil(b"\r\n\r\n"))
        if not first.startswith("POST "):
            return "405 Method Not Allowed"
        told = headers.get("x-telegram-bot-api-secret-token", "")
        if not hmac.compare_digest(told.encode(), hook.secret.encode()):
            return "403 Forbidden"
        size = int(headers.get("content-length", "-1"))
        if not 0 < size <= LARGEST:
            return "413 Content Too Large"
        update = json.loads(await reader.readexactly(size))
        if not isinstance(update, dict):
            return "400 Bad Request"
        try:
            keep(store, [update], clock())
        except turn.FILE_FAULTS as err:
            LOG.warning("an update could not be kept (%s); it will come again", type(err).__name__)
            return "500 Internal Server Error"
        reception.polled = turn.stamp(clock())
        wake.set()
        return "200 OK"

    try:
        server = await asyncio.start_server(answer, hook.host, hook.port, limit=64 * 1024)
    except OSError as err:
        raise Fatal(f"Nobody can listen at {hook.host}:{hook.port}: {err.strerror}.") from err
    async with server:
        await server.serve_forever()


def _head(head: bytes) -> tuple[str, dict[str, str]]:
    """The first line of a call, and what its other lines say under which name."""
    first, _, rest = head.decode("latin-1").partition("\r\n")
    lines = (line.partition(":") for line in rest.split("\r\n"))
    return first, {name.strip().lower(): value.strip() for name, _, value in lines}
