"""The outbox on its way to the platform: in order for each chat, at its pace, tried again where that helps.

One request at a time, so that a program that is killed leaves one message in doubt and no more. A request
that takes long is overtaken: nobody waits because another one's network is bad. A message that the
platform may or may not have taken (the connection broke while we waited) is sent again a few times: a
rider who waits for an answer is better off with two than with none.
"""

from __future__ import annotations

import asyncio
import logging
from collections.abc import Callable, Coroutine, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from telegram import Bot
from telegram.error import BadRequest, ChatMigrated, Forbidden, InvalidToken, RetryAfter, TelegramError

from bot import turn
from bot.channels.telegram import layout
from bot.channels.telegram.pauses import asked_pause
from bot.channels.telegram.posting import Posting
from bot.channels.telegram.reception import CHANNEL

LOG = logging.getLogger("sumpline.telegram")
SLOWEST = 30.0  # seconds; the longest pause between two tries
GIVE_UP = 60  # tries that the platform refused; at the slowest pace about half an hour
GIVE_UP_EDIT = 10
PRIVATE_PACE, GROUP_PACE = 1.0, 3.0  # seconds a message; the platform's published guide
BURST = 4  # messages that may go at once to a chat that was quiet
TOGETHER = 8  # messages at most that are looked through for those that go as one
EDITS_WAIT = timedelta(seconds=3)  # that edits let messages go first: whoever waits for an answer is served
ALONE = {"stop", "secret"}  # kinds that stand in a message of their own
AT_ONCE = 8  # requests under way, most of which hang then
OVERTAKEN = 0.5  # seconds after which a request is waited for no longer before the next
DOUBTFUL = 4  # times that a message is sent when it may have been taken each time
BROKEN = 3  # tries of a message that we cannot even lay out
GRACE = 1.0  # seconds that requests under way get when we are told to end
HELD = 1.0  # seconds between two tries to write into a record that another program holds
_NEVER_CONNECTED = ("ConnectTimeout", "PoolTimeout", "ConnectError")


@dataclass
class Pace:
    """How many messages a chat may still get now; one more every `seconds`."""

    seconds: float
    left: float = BURST
    at: float = 0.0
    closed: float = 0.0  # by the loop's clock: until then the platform wants nothing for this chat

    def wait(self, now: float) -> float:
        """Seconds until the next message may go."""
        self.left = min(BURST, self.left + (now - self.at) / self.seconds)
        self.at = now
        return max(self.closed - now, 0.0 if self.left >= 1 else (1 - self.left) * self.seconds)

    def spend(self) -> None:
        self.left -= 1


class Sender:
    """Sends what is due. `link`: a way from a group into private; `wake`: called when there may be more."""

    def __init__(
        self, store: turn.Store, bot: Bot, clock: Callable[[], datetime],
        link: Callable[[int, int], str], wake: Callable[[], None],
    ) -> None:  # fmt: skip
        self.store, self.clock, self.wake = store, clock, wake
        self.posting = Posting(store, bot, link)
        self.fatal: BaseException | None = None
        self._pace: dict[str, Pace] = {}
        self._halt = 0.0  # by the loop's clock: until then the platform wants nothing from us
        self._under_way: dict[str, asyncio.Task[None]] = {}
        self._doubts: dict[int, int] = {}  # by message: how often it may have been taken
        self._edit_tries: dict[int, int] = {}

    async def send_due(self) -> float:
        """Begin what may be done now; seconds until there may be more to do."""
        if (halted := self._halt - self._now()) > 0:
            return halted
        soonest, began, at = 1.0, False, turn.stamp(self.clock())
        overdue = turn.stamp(self.clock() - EDITS_WAIT)
        for chat in self.store.chats_waiting(CHANNEL, at):
            if chat in self._under_way:
                continue
            wait, pace = self._pace_of(chat).wait(self._now()), self._pace_of(chat)
            soonest = min(soonest, wait or soonest)
            if pace.closed > self._now():
                continue
            waiting = led(self._due_now(chat, at)) if wait == 0 else []
            edits = () if waiting else self.store.edits_due(CHANNEL, chat, overdue if began else at)
            if not (waiting or edits):
                continue
            if len(self._under_way) >= AT_ONCE or self._halt > self._now():
                break
            began = True
            task = self._begin(chat, self._send_first(waiting) if waiting else self._edit_all(edits))
            if waiting:  # an edit may be repeated, so it need not be the only one under way
                await asyncio.wait({task}, timeout=OVERTAKEN)
        return 0.0 if began else soonest

    def _due_now(self, chat: str, at: str) -> list[turn.Outgoing]:
        """The chat's next messages; a reminder that was held up waits for a decent hour."""
        waiting = self.store.lane(CHANNEL, chat, at, TOGETHER)
        return [out for out in waiting if turn.may_go(self.store, out, self.clock())]

    async def end(self) -> None:
        """Let what is under way come to its end for a moment, so that it need not be sent again."""
        if left := set(self._under_way.values()):
            _, left = await asyncio.wait(left, timeout=GRACE)
        for task in left:
            task.cancel()
        await asyncio.gather(*left, return_exceptions=True)

    def _now(self) -> float:
        return asyncio.get_running_loop().time()

    def _pace_of(self, chat: str) -> Pace:
        return self._pace.setdefault(chat, Pace(GROUP_PACE if chat.startswith("-") else PRIVATE_PACE))

    def _begin(self, chat: str, doing: Coroutine[Any, Any, None]) -> asyncio.Task[None]:
        task = self._under_way[chat] = asyncio.create_task(doing)
        task.add_done_callback(lambda done: self._ended(chat, done))
        return task

    def _ended(self, chat: str, done: asyncio.Task[None]) -> None:
        del self._under_way[chat]
        if not done.cancelled() and (fault := done.exception()) is not None:
            LOG.error("sending failed: %s", turn.place_of(fault))
            self._halt = max(self._halt, self._now() + HELD)
        self.wake()

    async def _edit_all(self, edits: Sequence[turn.Receipt]) -> None:
        for receipt in edits:
            if self.fatal is not None or not await self._edit(receipt):
                return

    # --- one message -------------------------------------------------------------------------

    async def _send_first(self, waiting: Sequence[turn.Outgoing]) -> None:
        """The first message of a chat, with those that go together with it."""
        batch = together(waiting)
        out = batch[-1]
        if not self.store.is_reachable(CHANNEL, out.address):
            await self._write(lambda: self._give_up(batch))
            return
        self._pace_of(out.address).spend()
        try:
            receipt = await self.posting.post(batch)
        except TelegramError as fault:
            await self._failed(batch, fault)
        except turn.FILE_FAULTS:
            raise
        except Exception as fault:
            LOG.error("message %s failed: %s", out.id, turn.place_of(fault))
            seconds = 1.0 if out.tries + 1 < BROKEN else None
            await self._write(lambda: self._again(batch, seconds))
        else:
            await self._write(lambda: self._sent(batch, receipt))

    def _sent(self, batch: Sequence[turn.Outgoing], receipt: str) -> None:
        for one in batch:
            turn.sent(self.store, one.id, self.clock())
            self.store.note_receipt(one.id, receipt)
            self._doubts.pop(one.id, None)

    async def _write(self, doing: Callable[[], None]) -> None:
        """Write down what came of a request, however long another program holds the record."""
        while True:
            try:
                with self.store.writing():
                    doing()
                return
            except turn.FILE_FAULTS as fault:
                LOG.warning("the record cannot be written (%s); trying again", type(fault).__name__)
                await asyncio.sleep(HELD)

    # --- what went wrong ------------------------------------------------------------------------

    async def _failed(self, batch: Sequence[turn.Outgoing], fault: TelegramError) -> None:
        out = batch[-1]
        if isinstance(fault, InvalidToken):
            self.fatal = fault
        elif isinstance(fault, ChatMigrated):
            await self._write(lambda: self.store.move_chat(CHANNEL, out.address, str(fault.new_chat_id)))
        elif isinstance(fault, Forbidden):
            await self._write(lambda: self._shut_out(batch))
        elif isinstance(fault, BadRequest):
            LOG.error("message %s was refused: %s", out.id, fault.message)
            await self._write(lambda: self._give_up(batch))
        else:
            wait = self._patience(out, fault)
            await self._write(lambda: self._again(batch, wait))

    def _patience(self, out: turn.Outgoing, fault: TelegramError) -> float | None:
        """Seconds until a message is tried again; None when it is not."""
        if isinstance(fault, RetryAfter):
            self._slow_down(out.address, asked_pause(fault))
            return asked_pause(fault)
        if _may_be_taken(fault):
            self._doubts[out.id] = self._doubts.get(out.id, 0) + 1
            if self._doubts[out.id] >= DOUBTFUL:
                LOG.warning("message %s may or may not have been taken; not tried again", out.id)
                return None
        if out.tries + 1 >= GIVE_UP and not _never_connected(fault):
            return None
        return min(SLOWEST, 2.0 ** min(out.tries, 10))

    def _again(self, batch: Sequence[turn.Outgoing], seconds: float | None) -> None:
        """Try again after so many seconds, or (None) never."""
        again = None if seconds is None else self.clock() + timedelta(seconds=max(1.0, seconds))
        for one in batch:
            turn.not_sent(self.store, one.id, again)

    def _give_up(self, batch: Sequence[turn.Outgoing]) -> None:
        self._again(batch, None)

    def _shut_out(self, batch: Sequence[turn.Outgoing]) -> None:
        self.store.mark_reachable(CHANNEL, batch[-1].address, False, turn.stamp(self.clock()))
        self._give_up(batch)

    def _slow_down(self, chat: str, seconds: float) -> None:
        """The platform wants less for this chat; when it wants that of two at once, for all of them."""
        until = self._now() + seconds
        others = any(pace.closed > self._now() for at, pace in self._pace.items() if at != chat)
        self._pace_of(chat).closed = until
        if others:
            self._halt = max(self._halt, until)

    # --- edits ------------------------------------------------------------------------------------

    async def _edit(self, receipt: turn.Receipt) -> bool:
        """Bring a message into line; False when the next one had better wait."""
        again: float | None = None
        try:
            await self.posting.edit(receipt)
        except RetryAfter as fault:
            again = asked_pause(fault)
            self._slow_down(receipt.chat, again)
        except InvalidToken as fault:
            self.fatal = fault
            return False
        except (BadRequest, Forbidden, ChatMigrated) as fault:
            if "not modified" not in str(fault).lower():
                LOG.info("message %s cannot be edited: %s", receipt.outbox, type(fault).__name__)
        except TelegramError as fault:
            again = self._patience_with_edit(receipt.outbox, fault)
        if again is None:
            self._edit_tries.pop(receipt.outbox, None)
        due = None if again is None else turn.stamp(self.clock() + timedelta(seconds=again))
        await self._write(lambda: self.store.edited(receipt.outbox, due))
        return again is None

    def _patience_with_edit(self, outbox: int, fault: TelegramError) -> float | None:
        """It may be repeated freely, but ever more seldom, and not for ever."""
        tries = self._edit_tries[outbox] = self._edit_tries.get(outbox, 0) + 1
        if tries >= GIVE_UP_EDIT and not _never_connected(fault):
            return None
        return min(SLOWEST, 2.0 ** min(tries, 10))


def led(waiting: Sequence[turn.Outgoing]) -> list[turn.Outgoing]:
    """Safety first, but each stop after what its own turn says to lead up to it."""
    placed: dict[int, turn.Outgoing] = {}
    for out in waiting:
        if out.message.kind == "stop" and out.inbox is not None:
            before = (one for one in waiting if (one.inbox, one.person) == (out.inbox, out.person))
            placed |= {one.id: one for one in before if one.n < out.n and one.id not in placed}
        placed.setdefault(out.id, out)
    return list(placed.values())


def together(waiting: Sequence[turn.Outgoing]) -> list[turn.Outgoing]:
    """The messages of one turn that are sent as one, up to the first with buttons; stops and codes alone."""
    batch = [waiting[0]]
    room = layout.LONGEST - layout.units(layout.whole(waiting[0].message)) - 2
    for out in waiting[1:]:
        before = batch[-1]
        alone = bool(before.message.choices or {before.message.kind, out.message.kind} & ALONE)
        alone |= bool(before.message.photo or out.message.photo)
        same = (out.inbox, out.person, out.thread) == (before.inbox, before.person, before.thread)
        size = layout.units(layout.whole(out.message)) + 2
        if alone or out.inbox is None or not same or size > room:
            break
        room -= size
        batch.append(out)
    return batch


def _never_connected(fault: TelegramError) -> bool:
    return type(fault.__cause__).__name__ in _NEVER_CONNECTED


def _may_be_taken(fault: TelegramError) -> bool:
    """Whether the connection broke, or no answer came, after the request had begun to go out."""
    return fault.__cause__ is not None and not _never_connected(fault)
