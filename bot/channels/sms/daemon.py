"""gammu-smsd kept running: as our child, or by somebody else while we look on.

A modem that loses an answer can silence the daemon for minutes without ending it, so its heartbeat is
watched, and a silent one is ended and started again. While it waits for a modem or for its data base it
does not hear that it shall end, so it may have to be killed; only ever by the number of a process that we
began.
"""

from __future__ import annotations

import asyncio
import logging
import os
import subprocess
import time
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from bot.channels.sms.latch import Latch
from bot.channels.sms.pulse import Pulse
from bot.channels.sms.settings import Settings
from bot.channels.sms.smsdrc import SILENT_TIMES, USUAL, Smsdrc
from bot.channels.sms.telling import Telling

LOG = logging.getLogger("sumpline.sms")
ZONE = {"TZ": "UTC"}  # the daemon compares times of its tables, which are UTC, with its own local time
RESTARTED_WITHIN = 60.0  # seconds that a command may take which restarts a daemon of somebody else
_STEP = 0.05  # seconds between two looks at a process that is ending


@dataclass(frozen=True)
class Pace:
    """All times, in seconds: what counts as silent, how long an end may take, how pauses grow."""

    silence: float = float(SILENT_TIMES * USUAL["statusfrequency"])
    grace: float = 90.0  # before its first sign of life
    look: float = 0.5  # between two looks
    patience: float = 10.0  # between asking it to end and killing it
    first: float = 1.0  # the first pause; each is twice the one before
    most: float = 60.0
    at_once: float = 10.0  # who lives no longer than this ended at once
    times: int = 5  # that it may end at once
    within: float = 60.0
    long: float = 300.0  # the pause after that
    healthy: float = 60.0  # who gave a sign of life and lived this long is well, and pauses begin anew


def pace_of(rc: Smsdrc | None) -> Pace:
    """The times that fit a configuration of the daemon; those of its usual values where we know none."""
    return Pace(silence=rc.silence()) if rc else Pace()


def keeper(
    settings: Settings, rc: Smsdrc | None, beat: Callable[[], object], pace: Pace | None = None
) -> Own | Foreign:
    """Who keeps the daemon going, by the settings. The caller holds the lock of the record."""
    pace = pace or pace_of(rc)
    if not settings.daemon:
        return Foreign(beat, pace, settings.restart)
    command = [settings.daemon, "--config", str(settings.config)]
    latch = Latch(settings.database.with_name(settings.database.name + ".smsd.lock"))
    return Own(command, beat, pace, latch, rc.log_file if rc else None)


class Own:
    """gammu-smsd as our child, in the foreground, in UTC. `restarts` counts how often it was begun again."""

    def __init__(
        self,
        command: Sequence[str],
        beat: Callable[[], object],
        pace: Pace,
        latch: Latch,
        log_file: Path | None = None,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self.command, self.pace, self.latch, self.clock = command, pace, latch, clock
        self.telling = Telling(log_file)
        self.pulse = Pulse(beat, pace.silence, pace.grace, clock)
        self.restarts = 0
        self.pid: int | None = None
        self._failures = 0
        self._ends: deque[float] = deque(maxlen=pace.times)  # when it ended at once
        self._hopeless = False
        self._locked = False  # the SIM refused its PIN

    async def run(self) -> None:
        """Keep it going until we are cancelled; then it has ended before this does."""
        if not self.pace.silence:
            LOG.warning("statusfrequency is 0: a gammu-smsd that hangs will not be noticed.")
        while True:
            self._judge(await self._once())
            if self._locked:
                await self._stay_away()
            rest = self._pause()
            LOG.info("gammu-smsd is started again in %.0f s.", rest)
            await asyncio.sleep(rest)
            self.restarts += 1

    def state(self) -> str:
        """One sentence for whoever asks how it is."""
        if self._locked:
            return "gammu-smsd does not run: the SIM refuses its PIN."
        if self.pid is None:
            return f"gammu-smsd does not run; {self.restarts} restarts so far."
        heard = (
            f"last sign of life {self.pulse.quiet():.0f} s ago" if self.pulse.heard else "not heard of yet"
        )
        return f"gammu-smsd runs (process {self.pid}), {heard}; {self.restarts} restarts."

    async def _once(self) -> float:
        """One life of the daemon; how many seconds it lasted. Whatever happens to us, it has ended then."""
        await self.latch.clear(self.pace.patience)
        begun = self.clock()
        self.telling.begin()
        try:
            child = self._start()
        except OSError as err:
            self.telling.add(f"{self.command[0]} cannot be started: {os.strerror(err.errno or 0)}\n".encode())
            LOG.error("%s cannot be started: %s.", self.command[0], os.strerror(err.errno or 0))
            return 0.0
        try:
            await self._watch(child)
        finally:
            await self._end(child)
        return self.clock() - begun

    def _start(self) -> subprocess.Popen[bytes]:
        # Not by asyncio: what is begun in one step cannot be half begun when we are told to end.
        with self.latch.held() as fd:
            child = subprocess.Popen(
                self.command, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.STDOUT,
                env=_environment(), start_new_session=True, pass_fds=(fd,),
            )  # fmt: skip
            self.latch.name(fd, child.pid)
        assert child.stdout is not None
        os.set_blocking(child.stdout.fileno(), False)
        self.pid = child.pid
        self.pulse.begin()
        LOG.info("gammu-smsd runs (process %d).", child.pid)
        return child

    async def _watch(self, child: subprocess.Popen[bytes]) -> None:
        """Until it ended by itself or is silent."""
        while (status := child.poll()) is None:
            self.telling.drain(child)
            if self.telling.refuses_pin():
                self._locked = True
                child.kill()  # asked to end, it would first try the same PIN again
                return
            self.pulse.feel()
            if self.pulse.is_silent():
                quiet, why = self.pulse.quiet(), self.telling.why()
                LOG.warning("gammu-smsd gave no sign of life for %.0f s (%s); it is ended.", quiet, why)
                return
            await asyncio.sleep(self.pace.look)
        LOG.warning("gammu-smsd ended by itself with status %d.", status)

    async def _end(self, child: subprocess.Popen[bytes]) -> None:
        """Ask it to end, then kill it; its remains and all that it began are gone after this."""
        told = await end(child, self.pace.patience)
        self.pid = None
        self.telling.drain(child)
        assert child.stdout is not None
        child.stdout.close()  # whoever it began may hold the other side for long
        self.latch.sweep(child.pid)
        if told:
            raise asyncio.CancelledError

    async def _stay_away(self) -> None:
        """A PIN wrong three times locks the SIM, and gammu-smsd 1.42.0 tries it that often in 45 s."""
        LOG.error(
            "The SIM refuses its PIN, and three wrong ones lock it: gammu-smsd is not started again. Set "
            "'pin' in its configuration right, or take the PIN off in a phone; then restart this service."
        )
        await asyncio.Event().wait()

    def _judge(self, lived: float) -> None:
        """What one life says about the next."""
        if self.pulse.heard and lived >= self.pace.healthy:
            self._failures, self._hopeless = 0, False
            self._ends.clear()
            return
        self._failures += 1
        if lived < self.pace.at_once:
            self._ends.append(self.clock())
        full = len(self._ends) == self.pace.times
        if full and self.clock() - self._ends[0] <= self.pace.within:
            self._hopeless = True

    def _pause(self) -> float:
        """Seconds until the next start; says why, when it ends at once again and again."""
        if not self._hopeless:
            return float(min(self.pace.most, self.pace.first * 2 ** min(max(0, self._failures - 1), 20)))
        LOG.error(
            "gammu-smsd ended at once %d times: %s. Run 'sumpline serve sms --dry-run' to see what to do.",
            self._failures, self.telling.why(),
        )  # fmt: skip
        return self.pace.long


class Foreign:
    """A gammu-smsd that somebody else runs: we say when it is silent, and run a command if we have one."""

    def __init__(
        self,
        beat: Callable[[], object],
        pace: Pace,
        restart: Sequence[str] = (),
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self.pace, self.restart, self.clock = pace, restart, clock
        self.pulse = Pulse(beat, pace.silence, pace.silence, clock)
        self.restarts = 0
        self._silent_since: float | None = None
        self._next = 0.0  # when something is said or done again
        self._tries = 0

    async def run(self) -> None:
        """Look on until we are cancelled."""
        if not self.pace.silence:
            LOG.warning("statusfrequency is 0: a gammu-smsd that hangs will not be noticed.")
        while True:
            if self.pulse.feel():
                self._welcome()
            elif self.pulse.is_silent():
                await self._mind()
            await asyncio.sleep(self.pace.look)

    def state(self) -> str:
        """One sentence for whoever asks how it is."""
        quiet = f"{self.pulse.quiet():.0f} s"
        how = f"silent for {quiet}" if self._silent_since is not None else f"last sign of life {quiet} ago"
        return f"gammu-smsd is run by somebody else, {how}; {self.restarts} restarts by us."

    def _welcome(self) -> None:
        if self._silent_since is not None:
            LOG.info("gammu-smsd gives signs of life again.")
        self._silent_since, self._tries = None, 0

    async def _mind(self) -> None:
        """Say that it is silent, and have it restarted: at once, and then again after pauses that grow."""
        now = self.clock()
        if self._silent_since is not None and now < self._next:
            return
        self._silent_since = now if self._silent_since is None else self._silent_since
        self._next = now + self._rest()
        self._tries += 1
        quiet = self.pulse.quiet()
        if not self.restart:
            LOG.error("gammu-smsd has been silent for %.0f s. It is not ours: restart its service.", quiet)
            return
        LOG.error("gammu-smsd has been silent for %.0f s; running %s.", quiet, self.restart[0])
        self.restarts += 1
        await self._run()

    def _rest(self) -> float:
        """Seconds until more is said or done; never less than a new daemon needs to be heard."""
        most = self.pace.long if self.restart else 12 * self.pace.long
        return float(max(self.pace.silence, min(most, self.pace.silence * 2 ** min(self._tries, 20))))

    async def _run(self) -> None:
        """The command that restarts it; it may take a minute, and its words are nobody's business."""
        try:
            child = subprocess.Popen(
                self.restart, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
                env=_environment(in_utc=False), start_new_session=True,
            )  # fmt: skip
        except OSError as err:
            LOG.error("%s cannot be started: %s.", self.restart[0], os.strerror(err.errno or 0))
            return
        try:
            for _ in range(int(RESTARTED_WITHIN / _STEP)):
                if child.poll() is not None:
                    break
                await asyncio.sleep(_STEP)
        finally:
            told = await end(child, self.pace.patience)
        if told:
            raise asyncio.CancelledError
        if child.returncode:
            LOG.error("%s ended with status %d.", self.restart[0], child.returncode)


async def end(child: subprocess.Popen[bytes], patience: float) -> bool:
    """Ask a child to end, kill it after `patience` seconds, wait for it; whether we were told to end, too.

    Also while we are told to end, and told so again: whoever ends us waits for it.
    """
    if child.poll() is not None:
        return False
    child.terminate()
    told = await _gone(child, patience)
    if child.poll() is None:
        LOG.warning("process %d did not end within %.0f s of being asked; it is killed.", child.pid, patience)
        child.kill()
        told = await _gone(child, patience) or told
    return told


async def _gone(child: subprocess.Popen[bytes], seconds: float) -> bool:
    """Wait for the end of a child; whether we were told to end meanwhile."""
    told = False
    until = time.monotonic() + seconds
    while child.poll() is None and time.monotonic() < until:
        try:
            await asyncio.sleep(_STEP)
        except asyncio.CancelledError:
            told = True
    return told


def _environment(in_utc: bool = True) -> dict[str, str]:
    """Ours, without what the settings hold: the daemon needs no password of ours."""
    given = {name: value for name, value in os.environ.items() if not name.startswith("SUMPLINE_")}
    return given | ZONE if in_utc else given
