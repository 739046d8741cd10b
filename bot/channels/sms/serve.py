"""The bot on text messages as a program: locked, begun, kept going, ended."""

from __future__ import annotations

import asyncio
import contextlib
import logging
import signal
from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from typing import TextIO

from bot import turn
from bot.channels.running import Fatal, locked, log_to
from bot.channels.sms import check, daemon, smsdrc
from bot.channels.sms.exchange import Exchange
from bot.channels.sms.gateway import Gateway, GatewayError, open_gateway
from bot.channels.sms.settings import Settings

LOG = logging.getLogger("sumpline.sms")
NETWORK = "text messages"
LOOK = 1.0  # seconds between two looks at the gateway; the daemon itself looks once a second
SLOWEST = 30.0  # seconds between two tries when the gateway or the record cannot be used
REMIND_EVERY = 60.0  # seconds by our clock between two looks at what riders are to be reminded of


def exchange(
    settings: Settings, store: turn.Store, gateway: Gateway, clock: Callable[[], datetime]
) -> Exchange:
    """The talk as the settings want it."""
    return Exchange(
        store, gateway, clock, settings.caps, settings.number, settings.ucs2, settings.help, settings.language
    )


class Service:
    """The talk and the daemon's keeper, side by side until told to stop."""

    def __init__(
        self, settings: Settings, store: turn.Store, gateway: Gateway, clock: Callable[[], datetime]
    ) -> None:
        self.store, self.gateway, self.clock = store, gateway, clock
        rc = smsdrc.read(settings.config) if settings.config else None
        self.keeper = daemon.keeper(settings, rc, gateway.heartbeat)
        self.exchange = exchange(settings, store, gateway, clock)
        self.stopping = asyncio.Event()
        self._reminded: datetime | None = None

    async def run(self) -> None:
        """Serve until told to stop; the daemon has ended then, if it was ours."""
        keeping = asyncio.create_task(self.keeper.run())
        talking = asyncio.create_task(self._talk())
        stopped = asyncio.create_task(self._stopped())
        tasks = (talking, keeping, stopped)
        done, _ = await asyncio.wait(tasks, return_when=asyncio.FIRST_COMPLETED)
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)
        for task in done:
            task.result()

    async def _stopped(self) -> None:
        await self.stopping.wait()

    async def _talk(self) -> None:
        """Pass after pass. What the gateway or the record cannot do now is tried again, more slowly."""
        begun, pause = False, LOOK
        while True:
            try:
                if not begun:
                    self.exchange.begin()
                    begun = True
                    LOG.info("Text messages are answered.")
                self._remind()
                busy = self.exchange.step()
            except (GatewayError, *turn.FILE_FAULTS) as wrong:
                LOG.warning("no text messages for now: %s Trying again in %.0f s.", wrong, pause)
                await asyncio.sleep(pause)
                pause = min(SLOWEST, pause * 1.5)
                continue
            pause = LOOK
            await asyncio.sleep(0 if busy else LOOK)

    def _remind(self) -> None:
        now = self.clock()
        past = None if self._reminded is None else (now - self._reminded).total_seconds()
        if past is None or not 0 <= past < REMIND_EVERY:
            self._reminded = now
            turn.remind(self.store, now)


def look(settings: Settings, out: TextIO) -> int:
    """What `--dry-run` says; the status for the shell."""

    def wrong() -> Sequence[str]:
        with contextlib.closing(open_gateway(settings.gateway)) as gateway:
            return gateway.check()

    return check.report(settings, wrong, out)


def serve(settings: Settings, out: TextIO) -> int:
    """Run until SIGTERM or Ctrl-C; the status for the shell."""
    log_to(out)

    async def run() -> None:
        with (
            locked(settings.database, NETWORK),
            contextlib.closing(turn.open_record(settings.database)) as store,
            contextlib.closing(open_gateway(settings.gateway)) as gateway,
        ):
            service = Service(settings, store, gateway, lambda: datetime.now(UTC))
            loop = asyncio.get_running_loop()
            for number in (signal.SIGTERM, signal.SIGINT):
                loop.add_signal_handler(number, service.stopping.set)
            await service.run()

    try:
        asyncio.run(run())
    except (Fatal, GatewayError, smsdrc.SmsdrcError, turn.RecordError) as wrong:
        LOG.error("%s", wrong)
        return 1
    LOG.info("Stopped; what waits is taken up at the next start.")
    return 0
