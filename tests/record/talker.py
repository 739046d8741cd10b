"""A program of its own that talks: for tests in which several share one record, or one is killed.

`python -m tests.record.talker RECORD NAME CHAT NUMBER GO` waits for the file GO, then says NUMBER
things, or talks until GO is gone when NUMBER is 0.
"""

from __future__ import annotations

import os
import subprocess
import sys
import time
from pathlib import Path

from bot.record.store import Store
from tests.record.small_talk import Rider

ROOT = Path(__file__).parents[2]


def start(record: Path, name: str, chat: str, number: int, go: Path) -> subprocess.Popen[bytes]:
    """Start one and wait until it is ready to talk."""
    command = [sys.executable, "-m", "tests.record.talker", str(record), name, chat, str(number), str(go)]
    program = subprocess.Popen(command, stdout=subprocess.PIPE, cwd=ROOT, env={**os.environ})
    assert program.stdout is not None
    assert program.stdout.readline() == b"ready\n"
    return program


def main(record: str, name: str, chat: str, number: str, go: str) -> None:
    rider = Rider(Store(record), name, chat)
    print("ready", flush=True)
    while not Path(go).exists():
        time.sleep(0.0005)
    while rider.said < int(number) if int(number) else Path(go).exists():
        rider.say(f"trait {name} {rider.said + 1}")
        time.sleep(0.004)  # the lock is not fair: without a breath one program would finish first
    rider.store.close()


if __name__ == "__main__":
    main(*sys.argv[1:])
