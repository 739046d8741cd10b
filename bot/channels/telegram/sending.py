"""The outbox on its way to the platform: in order for each chat, at its pace, tried again where that helps.

A message that the platform may or may not have taken (the connection broke while we waited) is sent a
second time at most: a rider who waits for an answer is better off with two than with none. Edits may be
repeated freely.
"""

from __future__ import annotations

import asyncio
import html
import logging
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from telegram import Bot, ForceReply, InlineKeyboardButton, InlineKeyboardMarkup, ReplyParameters
from telegram.constants import ParseMode
from telegram.error import (
    BadRequest,
    ChatMigrated,
    Forbidden,
    InvalidToken,
    NetworkError,
    RetryAfter,
    TelegramError,
    TimedOut,
)

from bot import turn
from bot.channels.telegram import layout
from bot.channels.telegram.pauses import asked_pause
from bot.channels.telegram.reception import CHANNEL

LOG = logging.getLogger("sumpline.telegram")
SLOWEST = 30.0  # seconds; the longest pause between two tries
GIVE_UP = 60  # tries; at the slowest pace about half an hour
PRIVATE_PACE, GROUP_PACE = 1.0, 3.0  # seconds a message; the platform's published guide
BURST = 4  # messages that may go at once to a chat that was quiet
AT_ONCE = 8  # chats that are written to at the same time
DOUBTFUL = 2  # tries of a message that may have been taken


@dataclass
class Pace:
    """How many messages a chat may still get now; one more every `seconds`."""

    seconds: float
    left: float = BURST
    at: float = 0.0

    def wait(self, now: float) -> float:
        """Seconds until the next message may go."""
        self.left = min(BURST, self.left + (now - self.at) / self.seconds)
        self.at = now
        return 0.0 if self.left >= 1 else (1 - self.left) * self.seconds

    def spend(self) -> None:
        self.left -= 1


class Sender:
    """Sends what is due. `link`: a way from a group into private, for a case and a person."""

    def __init__(
        self, store: turn.Store, bot: Bot, clock: Callable[[], datetime], link: Callable[[int, int], str]
    ) -> None:
        self.store, self.bot, self.clock, self.link = store, bot, clock, link
        self.fatal: BaseException | None = None
        self._pace: dict[str, Pace] = {}
        self._halt = 0.0  # by the loop's clock: until then the platform wants nothing from us

    async def send_due(self) -> float:
        """Send what may go now; seconds until there may be more to do."""
        loop = asyncio.get_running_loop().time()
        if self._halt > loop:
            return self._halt - loop
        await self._edit_due()
        chats: dict[str, list[turn.Outgoing]] = {}
        for out in turn.due(self.store, self.clock(), channel=CHANNEL):
            chats.setdefault(out.address, []).append(out)
        ready, soonest = [], 1.0
        for chat, waiting in chats.items():
            wait = self._pace_of(chat).wait(loop)
            if wait > 0:
                soonest = min(soonest, wait)
            else:
                ready.append(waiting)
        for start in range(0, len(ready), AT_ONCE):
            await asyncio.gather(*(self._send_first(waiting) for waiting in ready[start : start + AT_ONCE]))
        return 0.0 if ready else soonest

    def _pace_of(self, chat: str) -> Pace:
        return self._pace.setdefault(chat, Pace(GROUP_PACE if chat.startswith("-") else PRIVATE_PACE))

    # --- one message -------------------------------------------------------------------------

    async def _send_first(self, waiting: Sequence[turn.Outgoing]) -> None:
        """The first message of a chat, with those that go together with it."""
        batch = together(waiting)
        out = batch[-1]
        if not self.store.is_reachable(CHANNEL, out.address):
            self._give_up(batch)
            return
        self._pace_of(out.address).spend()
        try:
            receipt = await self._post(batch)
        except TelegramError as fault:
            self._failed(batch, fault)
        else:
            with self.store.writing():
                for one in batch:
                    turn.sent(self.store, one.id, self.clock())
                    self.store.note_receipt(one.id, receipt)

    async def _post(self, batch: Sequence[turn.Outgoing]) -> str:
        out = batch[-1]
        receipt = self.store.receipt(out.id)
        assert receipt is not None
        sheets = [layout.lay_out(one.message, one.id, receipt.ticked, _done_word()) for one in batch]
        texts = ["\n\n".join(sheet.texts[0] for sheet in sheets), *sheets[-1].texts[1:]]
        rows = () if receipt.closed else sheets[-1].rows
        sent = ""
        for n, text in enumerate(texts):
            last = n == len(texts) - 1
            sent = await self._post_text(out, text, rows if last else ())
        return sent

    async def _post_text(self, out: turn.Outgoing, text: str, rows: layout.Rows) -> str:
        group = out.address.startswith("-")
        markup: InlineKeyboardMarkup | ForceReply | None = None
        if rows:
            person = self.store.named(out.person)
            markup = self._keyboard(rows, out.address, out.case, person.id if person else None)
        elif group and out.asked:
            markup = ForceReply(selective=True)
        asker = self.store.message_of(out.inbox) if group and out.inbox else ""
        reply = ReplyParameters(int(asker), allow_sending_without_reply=True) if asker.isdigit() else None
        thread = int(out.thread) if out.thread else None
        for plain in (False, True):
            try:
                sent = await self.bot.send_message(
                    int(out.address), _bare(text) if plain else text, reply_markup=markup,
                    message_thread_id=thread, reply_parameters=reply,
                    parse_mode=None if plain else ParseMode.HTML,
                )  # fmt: skip
                return str(sent.message_id)
            except BadRequest as fault:
                if "thread not found" in str(fault).lower() and thread is not None:
                    thread = None
                elif "parse entities" not in str(fault).lower() or plain:
                    raise
                LOG.error("message %s: the platform could not read it as laid out", out.id)
        raise BadRequest("not taken in either form")

    def _keyboard(
        self, rows: layout.Rows, chat: str, case: int | None, person: int | None
    ) -> InlineKeyboardMarkup:
        """The buttons; in a group with a way into private."""
        made = [[InlineKeyboardButton(label, callback_data=data) for label, data in row] for row in rows]
        if chat.startswith("-") and case and person:
            label = turn.read_words().say("telegram.in_private")
            made.append([InlineKeyboardButton(label, url=self.link(case, person))])
        return InlineKeyboardMarkup(made)

    # --- what went wrong ------------------------------------------------------------------------

    def _failed(self, batch: Sequence[turn.Outgoing], fault: TelegramError) -> None:
        out = batch[-1]
        if isinstance(fault, InvalidToken):
            self.fatal = fault
        elif isinstance(fault, RetryAfter):
            self._pause(asked_pause(fault))
            self._again(batch, asked_pause(fault))
        elif isinstance(fault, ChatMigrated):
            with self.store.writing():
                self.store.move_chat(CHANNEL, out.address, str(fault.new_chat_id))
        elif isinstance(fault, Forbidden):
            with self.store.writing():
                self.store.mark_reachable(CHANNEL, out.address, False, turn.stamp(self.clock()))
            self._give_up(batch)
        elif isinstance(fault, BadRequest):
            LOG.error("message %s was refused: %s", out.id, fault.message)
            self._give_up(batch)
        elif isinstance(fault, TimedOut) and not _not_sent(fault) and out.tries + 1 >= DOUBTFUL:
            LOG.warning("message %s may or may not have been taken; not tried again", out.id)
            for one in batch:
                turn.sent(self.store, one.id, self.clock())
        elif out.tries + 1 >= GIVE_UP:
            self._give_up(batch)
        else:
            self._again(batch, min(SLOWEST, 2.0**out.tries))

    def _again(self, batch: Sequence[turn.Outgoing], seconds: float) -> None:
        again = self.clock() + timedelta(seconds=max(1.0, seconds))
        for one in batch:
            turn.not_sent(self.store, one.id, again)

    def _give_up(self, batch: Sequence[turn.Outgoing]) -> None:
        for one in batch:
            turn.not_sent(self.store, one.id, None)

    def _pause(self, seconds: float) -> None:
        self._halt = asyncio.get_running_loop().time() + seconds

    # --- edits ------------------------------------------------------------------------------------

    async def _edit_due(self) -> None:
        """Bring messages into line: ticks on their buttons, answered ones into records."""
        for receipt in self.store.edits_due(CHANNEL, turn.stamp(self.clock())):
            message = turn.revive_message(receipt.payload)
            sheet = layout.lay_out(message, receipt.outbox, receipt.ticked, _done_word())
            chat, number = int(receipt.chat), int(receipt.receipt)
            again: str | None = None
            try:
                if receipt.closed:
                    await self.bot.edit_message_text(
                        layout.recorded(sheet.texts[-1], receipt.told), chat, number,
                        parse_mode=ParseMode.HTML,
                    )  # fmt: skip
                else:
                    markup = self._keyboard(sheet.rows, receipt.chat, receipt.case, receipt.person)
                    await self.bot.edit_message_reply_markup(chat, number, reply_markup=markup)
            except RetryAfter as fault:
                self._pause(asked_pause(fault))
                again = turn.stamp(self.clock() + timedelta(seconds=asked_pause(fault)))
            except InvalidToken as fault:
                self.fatal = fault
                return
            except (BadRequest, Forbidden, ChatMigrated) as fault:
                if "not modified" not in str(fault).lower():
                    LOG.info("message %s cannot be edited: %s", receipt.outbox, type(fault).__name__)
            except NetworkError:
                again = turn.stamp(self.clock() + timedelta(seconds=2))
            with self.store.writing():
                self.store.edited(receipt.outbox, again)
            if again:
                return


def together(waiting: Sequence[turn.Outgoing]) -> list[turn.Outgoing]:
    """The messages of one turn that are sent as one: all but stops, up to the first with buttons."""
    batch = [waiting[0]]
    room = layout.LONGEST - layout.units(layout.whole(waiting[0].message)) - 2
    for out in waiting[1:]:
        before = batch[-1]
        alone = before.message.choices or before.message.kind == "stop" or out.message.kind == "stop"
        same = (out.inbox, out.person, out.thread) == (before.inbox, before.person, before.thread)
        size = layout.units(layout.whole(out.message)) + 2
        if alone or out.inbox is None or not same or size > room:
            break
        room -= size
        batch.append(out)
    return batch


def _not_sent(fault: TelegramError) -> bool:
    """Whether the connection was never made, so that the platform cannot have taken it."""
    cause = fault.__cause__
    return type(cause).__name__ in ("ConnectTimeout", "PoolTimeout", "ConnectError")


def _done_word() -> str:
    return turn.read_words().say("telegram.done")


def _bare(text: str) -> str:
    """A text that was laid out, without what lays it out."""
    return html.unescape(re.sub(r"</?b>", "", text))
