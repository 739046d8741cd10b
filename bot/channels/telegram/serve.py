"""The bot as a program: locked, begun, kept going, ended."""

from __future__ import annotations

import asyncio
import contextlib
import gc
import io
import json
import logging
import signal
from collections.abc import Awaitable, Callable, Coroutine, Sequence
from datetime import UTC, datetime
from typing import Any, Literal, TextIO

from telegram import Bot, BotCommand
from telegram.error import BadRequest, EndPointNotFound, InvalidToken, TelegramError
from telegram.request import HTTPXRequest

from bot import turn
from bot.channels.running import Fatal, locked, log_to
from bot.channels.telegram import chatting, intake
from bot.channels.telegram.fetching import Fetcher
from bot.channels.telegram.flow_desk import FlowDesk, Later
from bot.channels.telegram.flow_errands import ACT, DRAFT
from bot.channels.telegram.reading import ALLOWED
from bot.channels.telegram.reception import CHANNEL, COMMANDS, Reception
from bot.channels.telegram.sending import Sender
from bot.channels.telegram.settings import Settings
from bot.core.messages import Message

LOG = logging.getLogger("sumpline.telegram")
JOB_TRIES = 3
UPLOADED_WITHIN = 180.0  # seconds that a document may take on a slow line
ANSWERED_WITHIN = 15.0  # seconds that the platform may take for a request
SPINNER = 0.5  # seconds that a turn waits for the answer to its press to go out
HELD = 1.0  # seconds of rest after a fault
REMIND_EVERY = 60.0  # seconds by our clock between two looks at what riders are to be reminded of
LOOK_AGAIN = 1.0  # seconds after which waiting rows are looked for, even if nobody woke us


def make_bot(settings: Settings) -> Bot:
    """The library's bot, at the address of the settings."""
    within = ANSWERED_WITHIN
    request = HTTPXRequest(connection_pool_size=16, read_timeout=within, connect_timeout=10, pool_timeout=5)
    asking = HTTPXRequest(connection_pool_size=1, read_timeout=40, connect_timeout=10)
    return Bot(
        settings.token, base_url=f"{settings.api}/bot", base_file_url=f"{settings.files}/file/bot",
        request=request, get_updates_request=asking,
    )  # fmt: skip


async def look(settings: Settings) -> list[str]:
    """What `--dry-run` finds: one sentence for each thing that is in the way."""
    found = []
    try:
        with contextlib.closing(turn.open_record(settings.database)) as store:
            store.check_key()
        with locked(settings.database, "Telegram"):
            pass
    except (turn.RecordError, Fatal) as wrong:
        found.append(str(wrong))
    except turn.KeyTroubleError as wrong:
        found.append(f"Nobody can share a case: {wrong}.")
    bot = make_bot(settings)
    try:
        await bot.initialize()
    except (InvalidToken, EndPointNotFound):
        found.append("The platform does not know this token; copy it again from where you got it.")
    except TelegramError as err:
        found.append(f"The platform cannot be reached at {settings.api} ({type(err).__name__}).")
    finally:
        await _shut(bot)
    return found


async def _shut(bot: Bot) -> None:
    with contextlib.suppress(TelegramError, RuntimeError):
        await bot.shutdown()
    for request in bot._request:  # shutdown does nothing for a bot whose start failed
        await request.shutdown()


class Service:
    """Everything that runs side by side around one record."""

    def __init__(self, settings: Settings, store: turn.Store, clock: Callable[[], datetime]) -> None:
        self.settings, self.store, self.clock = settings, store, clock
        store.code_days = settings.code_days
        self.bot = make_bot(settings)
        self.stopping = asyncio.Event()
        self.came, self.due = asyncio.Event(), asyncio.Event()
        self.ready = asyncio.Event()
        self.sender: Sender | None = None
        self._reminded: datetime | None = None
        self._aside: set[asyncio.Task[None]] = set()

    async def run(self) -> None:
        """Serve until told to stop. Raises Fatal."""
        stopping = asyncio.create_task(self.stopping.wait())
        tasks: list[asyncio.Task[None]] = [asyncio.create_task(self._begin())]
        try:
            await _first_of([*tasks, stopping])
            if not tasks[0].done():
                return
            tasks[0].result()
            tasks = [asyncio.create_task(part) for part in self._parts()]
            self.ready.set()
            await _first_of([*tasks, stopping])
        finally:
            await self._end([*tasks, stopping])

    def _parts(self) -> list[Coroutine[Any, Any, None]]:
        """Everything that goes on side by side. None of it ends by itself, save with Fatal."""
        # Reminders first: what waits since before we were started is brought up to date before it goes out.
        receiving = (self._receive, self._take_all, self._send_all, self._fetch_all)
        # A flow is tried out for minutes, and a press or a sheet need not wait for it.
        working = (self._do_jobs, self._do_acts, self._do_drafts)
        doing = (self._remind_all, *receiving, *working)
        return [self._keep_at(part) for part in doing]

    async def _keep_at(self, doing: Callable[[], Awaitable[None]]) -> None:
        """Do it again and again: a record held by others, or a fault of ours, ends nobody's service."""
        while True:
            try:
                await doing()
            except Fatal:
                raise
            except turn.FILE_FAULTS as fault:
                LOG.warning("the record cannot be used (%s); trying again", type(fault).__name__)
                await asyncio.sleep(HELD)
            except Exception as fault:
                LOG.error("going on after a fault: %s", turn.place_of(fault))
                await asyncio.sleep(HELD)

    async def _end(self, tasks: Sequence[asyncio.Task[Any]]) -> None:
        """Take no more turns; what is under way to the platform may arrive. Raises what a task died of."""
        left: set[asyncio.Task[Any]] = {task for task in (*tasks, *self._aside) if not task.done()}
        while left:  # before Python 3.12, wait_for may lose the cancelling of a task just woken
            for task in left:
                task.cancel()
            _, left = await asyncio.wait(left, timeout=0.2)
        if self.sender is not None:
            await self.sender.end()
        await _shut(self.bot)
        for task in tasks:
            if not task.cancelled():
                task.result()

    async def _begin(self) -> None:
        """Get to know ourselves and the record."""
        await self._until_reached(self.bot.initialize)
        me = self.bot.bot
        self.reception = Reception(self.store, self.settings, me, self.clock)
        self.sender = Sender(self.store, self.bot, self.clock, self.reception.link_from, self.due.set)
        self.fetcher = Fetcher(self.store, self.bot, self.settings, self.clock)
        self.flows = FlowDesk(self.store, self.bot, self.settings, self.clock, self.due.set)
        self.reception.finish()
        for line in self.reception.status().splitlines():
            LOG.info("%s", line)
        with contextlib.suppress(TelegramError):
            await self._show_menu()
        await self._until_reached(self._say_how)

    async def _until_reached(self, doing: Callable[[], Awaitable[Any]]) -> None:
        """Try until the platform answers. Raises Fatal when it refuses the token."""
        pause = 1.0
        while True:
            try:
                await doing()
                return
            except (InvalidToken, EndPointNotFound) as err:
                raise Fatal("The platform refuses the token: it was revoked or is wrong.") from err
            except TelegramError as err:
                LOG.warning("the platform cannot be reached (%s); trying again", type(err).__name__)
                await asyncio.sleep(pause)
                pause = min(30.0, pause * 1.5)

    async def _show_menu(self) -> None:
        words = turn.read_words(self.settings.language)
        shown = [name for name in COMMANDS if name not in ("status", "whole", "later")]
        menu = [BotCommand(name, words.say(f"telegram.menu.{name}")) for name in shown]
        await self.bot.set_my_commands(menu)

    async def _say_how(self) -> None:
        """How updates are to reach us; those that wait already stay."""
        hook = self.settings.webhook
        if hook is None:
            await self.bot.delete_webhook(drop_pending_updates=False)
        else:
            try:
                await self.bot.set_webhook(hook.url, secret_token=hook.secret, allowed_updates=list(ALLOWED))
            except BadRequest as err:
                raise Fatal(f"The platform refuses the address of the webhook: {err.message}.") from err

    async def _receive(self) -> None:
        hook = self.settings.webhook
        if hook is not None:
            await intake.listen(self.store, hook, self.reception, self.clock, self.came)
        else:
            await intake.poll(self.store, self.bot, self.reception, self.clock, self.came)

    # --- turns -------------------------------------------------------------------------------

    async def _take_all(self) -> None:
        self.came.clear()
        for update in self.store.updates_due(CHANNEL, turn.stamp(self.clock())):
            await self._take(update)
            self.due.set()
            await asyncio.sleep(0)  # let messages go out between two turns
        await _woken(self.came, LOOK_AGAIN)

    async def _take(self, update: int) -> None:
        """One update. Raises what the record raises: then this one comes first again, so order is kept."""
        while True:
            try:
                await self._take_once(update)
                break
            except turn.FILE_FAULTS:
                raise
            except Exception as fault:
                place = turn.place_of(fault)
                dead = self.reception.set_aside(update, place)
                LOG.error("update %s failed: %s%s", update, place, "; set aside" if dead else "")
                if dead:
                    break
        for chat, text in self.reception.farewells:
            await self._beside(self.bot.send_message(int(chat), text))
        self.reception.farewells.clear()

    async def _take_once(self, update: int) -> None:
        came = self.reception.came(update)
        reply = self.reception.quick(came)
        if reply is not None:
            told = reply.text or None
            await self._beside(self.bot.answer_callback_query(reply.query, told, show_alert=bool(told)))
        with chatting.shown(self.settings, came.chat, came.thread):
            self.reception.take(update, came)

    async def _beside(self, doing: Coroutine[Any, Any, Any]) -> None:
        """Ask the platform for something that no turn depends on: it may fail, and is not waited for long."""

        async def ask() -> None:
            try:
                await doing
            except TelegramError as err:  # a press too old to be answered, or the network
                LOG.info("something was not answered: %s", type(err).__name__)

        task = asyncio.create_task(ask())
        self._aside.add(task)
        task.add_done_callback(self._aside.discard)
        await asyncio.wait({task}, timeout=SPINNER)

    # --- the rest ------------------------------------------------------------------------------

    async def _send_all(self) -> None:
        assert self.sender is not None
        self.due.clear()
        wait = await self.sender.send_due()
        if self.sender.fatal is not None:
            raise Fatal("The platform refuses the token: it was revoked.") from self.sender.fatal
        await _woken(self.due, max(0.01, min(LOOK_AGAIN, wait)))

    async def _fetch_all(self) -> None:
        if not await self.fetcher.fetch_due():
            await asyncio.sleep(LOOK_AGAIN)
        self.due.set()

    async def _do_jobs(self) -> None:
        """Slow work that was asked for: made from the record, sent, and only then done."""
        await self._do(
            ("my_data", self._send_data), ("trend", self._send_trend), ("sheet", self._send_sheet),
            ("share", self._send_link),
        )  # fmt: skip

    async def _do_acts(self) -> None:
        await self._do((ACT, self.flows.act))

    async def _do_drafts(self) -> None:
        await self._do((DRAFT, self.flows.take))

    async def _do(self, *makes: tuple[str, Callable[[turn.Job], Awaitable[None]]]) -> None:
        """The jobs of some kinds that wait, and a rest."""
        for kind, make in makes:
            for job in self.store.jobs_waiting(kind):
                try:
                    await make(job)
                except turn.FILE_FAULTS:
                    raise
                except Later:
                    continue
                except Exception as fault:
                    self._note_failure(job, fault)
                else:
                    with self.store.writing():
                        self.store.job_done(job.id)
        await asyncio.sleep(LOOK_AGAIN)

    def _note_failure(self, job: turn.Job, fault: Exception) -> None:
        """Try it again later; who asked is told once it is given up."""
        at = turn.stamp(self.clock())
        with self.store.writing():
            if self.store.job_failed(job.id, type(fault).__name__, JOB_TRIES):
                text = turn.read_words(self.settings.language).say("telegram.job_failed")
                to = turn.Address(CHANNEL, str(job.data["chat"]))
                self.store.put_out(to, job.person, Message(text, kind="error"), at, n=0)
        self.due.set()

    async def _send_data(self, job: turn.Job) -> None:
        data = turn.everything_of(self.store, job.person)
        file = io.BytesIO(json.dumps(data, ensure_ascii=False, indent=1).encode())
        await self.bot.send_document(int(job.data["chat"]), file, filename="sumpline-my-data.json")

    async def _send_trend(self, job: turn.Job) -> None:
        """Drawn in a thread, so that nobody's talk waits for it; the caption says what the picture shows."""
        picture = turn.picture_of(self.store, str(job.data["bike"]), turn.read_words(self.settings.language))
        if picture is None:
            return
        try:
            data, caption = await asyncio.to_thread(turn.draw, picture)
        except ImportError:  # no picture can be drawn here; the words were said
            LOG.warning("no trend is drawn: the package for pictures is missing")
            return
        await self.bot.send_photo(int(job.data["chat"]), data, caption=caption, filename="trend.png")

    async def _send_sheet(self, job: turn.Job) -> None:
        """The sheet of a case as PDF, gathered here and printed in a thread; only to who sits at the case."""
        person, case = self.store.person(job.person), int(job.data["case"])
        if self.store.seat_of(case, job.person) is None or not self.store.may_see(case, job.person):
            return
        rider = self.store.person(self.store.case(case).person)
        desk = turn.lay_desk(self.store, rider, person, CHANNEL, case=case)
        handover = turn.gather_sheet(self.store, case, desk, self.clock())
        if handover is None:
            return
        paper: Literal["a4", "letter"] = "letter" if person.settings.get("units") == "imperial" else "a4"
        try:
            data = await asyncio.to_thread(turn.print_sheet, handover, paper)
        except ImportError:
            LOG.warning("no sheet is printed: the package for paper is missing")
            text = turn.read_words(self.settings.language).say("telegram.pdf_cannot")
            await self.bot.send_message(int(job.data["chat"]), text)
            return
        await self.bot.send_document(
            int(job.data["chat"]), data, filename=f"{_file_name(handover.facts.bike)}.pdf",
            write_timeout=UPLOADED_WITHIN, read_timeout=UPLOADED_WITHIN,
        )  # fmt: skip

    async def _send_link(self, job: turn.Job) -> None:
        """The link that brings a code, for a phone to scan from another one."""
        words = turn.read_words(self.settings.language)
        try:
            data = drawn_link(str(job.data["link"]))
        except ImportError:  # the link itself was said
            LOG.warning("no link is drawn: the package for it is missing")
            return
        caption = words.say("telegram.share_scan")
        await self.bot.send_photo(int(job.data["chat"]), data, caption=caption, filename="code.png")

    async def _remind_all(self) -> None:
        """Lay out what riders are to be reminded of, again and again by the clock that we were handed."""
        now = self.clock()
        past = None if self._reminded is None else (now - self._reminded).total_seconds()
        if past is None or not 0 <= past < REMIND_EVERY:
            self._reminded = now
            if turn.remind(self.store, now):
                self.due.set()
        await asyncio.sleep(LOOK_AGAIN)


def _file_name(bike: str) -> str:
    """What a sheet is called on the phone: plain letters of the bike's name, whatever that holds."""
    plain = "".join(c if c.isascii() and c.isalnum() else "-" for c in bike.casefold())
    return "-".join(x for x in ("sheet", *plain.split("-")) if x)[:60]


def drawn_link(link: str) -> bytes:
    """A link as a QR code (ISO/IEC 18004), PNG. ImportError where the package is missing."""
    import segno

    out = io.BytesIO()
    segno.make(link, error="l", boost_error=False, micro=False).save(out, kind="png", scale=12, border=4)
    return out.getvalue()


async def _first_of(tasks: Sequence[asyncio.Task[Any]]) -> None:
    await asyncio.wait(tasks, return_when=asyncio.FIRST_COMPLETED)


async def _woken(event: asyncio.Event, seconds: float) -> None:
    with contextlib.suppress(TimeoutError):
        await asyncio.wait_for(event.wait(), seconds)


async def _leave_what_is_loaded(service: Service) -> None:
    """What was loaded by the start stays for good: the collector need not walk it again and again."""
    await service.ready.wait()
    gc.freeze()


def serve(settings: Settings, out: TextIO) -> int:
    """Run until SIGTERM or Ctrl-C; the status for the shell."""
    log_to(out)

    async def run() -> None:
        with (
            locked(settings.database, "Telegram"),
            contextlib.closing(turn.open_record(settings.database)) as store,
        ):
            service = Service(settings, store, lambda: datetime.now(UTC))
            loop = asyncio.get_running_loop()
            for number in (signal.SIGTERM, signal.SIGINT):
                loop.add_signal_handler(number, service.stopping.set)
            loaded = asyncio.create_task(_leave_what_is_loaded(service))
            await service.run()
            loaded.cancel()

    try:
        asyncio.run(run())
    except (Fatal, turn.RecordError) as wrong:
        LOG.error("%s", wrong)
        return 1
    LOG.info("Stopped; what waits is taken up at the next start.")
    return 0
