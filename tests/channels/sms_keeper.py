"""A program that keeps a pretend gammu-smsd running until it is told to end, as the bot does it.

python sms_keeper.py FOLDER HOW        (HOW: see sms_child.py)
"""

from __future__ import annotations

import asyncio
import signal
import sys
from pathlib import Path

from bot.channels.sms.daemon import Own, Pace
from bot.channels.sms.latch import Latch


async def keep(folder: Path, how: str) -> None:
    """Until SIGTERM."""
    child = [sys.executable, str(Path(__file__).with_name("sms_child.py")), str(folder), how]
    daemon = Own(child, lambda: None, Pace(patience=0.5), Latch(folder / "lock"))
    task = asyncio.create_task(daemon.run())
    asyncio.get_running_loop().add_signal_handler(signal.SIGTERM, task.cancel)
    await asyncio.wait({task})


if __name__ == "__main__":
    asyncio.run(keep(Path(sys.argv[1]), sys.argv[2]))
