"""Programs that try a flow out beside the bot: one that is ended leaves nothing behind."""

from __future__ import annotations

import asyncio
import sys
from asyncio.subprocess import PIPE

import pytest

from bot import trials

SLEEPS = "import time; print('begun', flush=True); time.sleep(60)"


@pytest.mark.parametrize("told", [1, 3])
async def test_a_program_is_buried_however_often_we_are_told_to_end(told: int) -> None:
    """A pipe that stays open would be told of by a warning, which is an error in these tests."""
    begun: list[asyncio.subprocess.Process] = []

    async def run() -> None:
        process = await asyncio.create_subprocess_exec(
            sys.executable, "-c", SLEEPS, start_new_session=True, stdout=PIPE
        )
        begun.append(process)
        try:
            await trials._read(process, b"")
        finally:
            trials._kill(process)
            await trials._bury(process)

    task = asyncio.create_task(run())
    while not begun:
        await asyncio.sleep(0.01)
    for _ in range(told):
        task.cancel()
        await asyncio.sleep(0)
    with pytest.raises(asyncio.CancelledError):
        await task
    assert begun[0].returncode is not None
    assert begun[0].stdout is not None
    assert begun[0].stdout.at_eof()
