"""Running gammu-smsd in tests: begun and ended as the program does it, real or pretended."""

from __future__ import annotations

import asyncio
import contextlib
import os
import shutil
import time
from collections.abc import AsyncIterator, Callable

from bot.channels.sms.daemon import Foreign, Own

REAL = shutil.which("gammu-smsd")


def is_there(pid: int) -> bool:
    """Whether there is such a process, be it only its remains (a zombie still has its number)."""
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    return True


async def until(is_so: Callable[[], bool], seconds: float = 20.0) -> None:
    end = time.monotonic() + seconds
    while not is_so():
        assert time.monotonic() < end, "it did not come to pass"
        await asyncio.sleep(0.02)


@contextlib.asynccontextmanager
async def running(daemon: Own | Foreign) -> AsyncIterator[asyncio.Task[None]]:
    """Keep it going; told to end again and again, as the program does it, it must still leave nothing."""
    task = asyncio.create_task(daemon.run())
    try:
        yield task
    finally:
        while not task.done():
            task.cancel()
            await asyncio.wait({task}, timeout=0.05)
        assert task.cancelled(), task.exception()
