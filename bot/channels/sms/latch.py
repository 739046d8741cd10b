"""A lock that a child of ours holds as long as it lives, so that one which outlived us is found and ended.

When we are killed, gammu-smsd goes on alone and keeps the modem; a second one beside it would get only some
of the answers. The lock is inherited with an open file, so it is held exactly as long as the child or what
it began is there, and its file says the number of the process. A number alone could by now be somebody
else's, so a process is ended only if it has this very file open.
"""

from __future__ import annotations

import asyncio
import contextlib
import fcntl
import logging
import os
import signal
from collections.abc import Iterator
from pathlib import Path

LOG = logging.getLogger("sumpline.sms")
_STEP = 0.05  # seconds between two looks
_SWEPT_WITHIN = 1.0  # seconds; a killed process is gone in a few milliseconds


class Latch:
    """The lock in a file. Only one program at a time may have such a latch; the caller sees to that."""

    def __init__(self, path: Path) -> None:
        self.path = path

    def is_held(self) -> bool:
        """Whether a child, or something that it began, is there."""
        try:
            fd = os.open(self.path, os.O_RDWR)
        except FileNotFoundError:
            return False
        try:
            fcntl.flock(fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            return True
        finally:
            os.close(fd)
        return False

    @contextlib.contextmanager
    def held(self) -> Iterator[int]:
        """The open file with the lock, for a child; it stays locked as long as the child has it."""
        fd = os.open(self.path, os.O_RDWR | os.O_CREAT, 0o600)
        try:
            fcntl.flock(fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
            yield fd
        finally:
            os.close(fd)

    def name(self, fd: int, pid: int) -> None:
        """Write down who holds it."""
        os.ftruncate(fd, 0)
        os.pwrite(fd, str(pid).encode(), 0)

    async def clear(self, patience: float) -> None:
        """End a child of an earlier run that is still there; after this the lock is free."""
        if not self.is_held():
            return
        pid = self._named()
        if pid is not None and self._holds(pid):
            LOG.warning("gammu-smsd of an earlier run is still there (process %d); it is ended.", pid)
            for number in (signal.SIGTERM, signal.SIGKILL):
                self._signal(pid, number)
                if await self._freed(patience):
                    return
        if pid is not None:
            self.sweep(pid)
        if not await self._freed(_SWEPT_WITHIN):  # something that it began, and that has left it
            LOG.warning("something that an earlier gammu-smsd began is still there; it is left alone.")
            self.path.unlink()

    def sweep(self, pid: int) -> None:
        """Kill what a child began and left behind: whoever is of its group and has this file open."""
        if not self.is_held():
            return
        for folder in Path("/proc").glob("[0-9]*"):
            number = int(folder.name)
            with contextlib.suppress(OSError):
                if os.getpgid(number) == pid:
                    self._signal(number, signal.SIGKILL)

    def _named(self) -> int | None:
        """The process that is written down."""
        try:
            return int(self.path.read_text("ascii"))
        except (OSError, ValueError):
            return None

    def _holds(self, pid: int) -> bool:
        """Whether a process has this file open."""
        try:
            ours = self.path.stat()
            return any(_is_same(file, ours) for file in Path(f"/proc/{pid}/fd").iterdir())
        except OSError:
            return False

    def _signal(self, pid: int, number: signal.Signals) -> None:
        """Signal a process if it is one of ours: its number cannot pass to another while we hold on to it."""
        with contextlib.suppress(OSError, OverflowError):
            process = os.pidfd_open(pid)
            try:
                if self._holds(pid):
                    signal.pidfd_send_signal(process, number)
            finally:
                os.close(process)

    async def _freed(self, seconds: float) -> bool:
        for _ in range(max(1, int(seconds / _STEP))):
            if not self.is_held():
                return True
            await asyncio.sleep(_STEP)
        return False


def _is_same(file: Path, other: os.stat_result) -> bool:
    try:
        return os.path.samestat(file.stat(), other)
    except OSError:
        return False
