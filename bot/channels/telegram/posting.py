"""One message, or one edit, as requests to the platform. Raises what the platform or the network raises."""

from __future__ import annotations

import html
import logging
import re
from collections.abc import Callable, Sequence
from typing import Any

from telegram import Bot, ForceReply, InlineKeyboardButton, InlineKeyboardMarkup, ReplyParameters
from telegram.constants import ParseMode
from telegram.error import BadRequest

from bot import turn
from bot.channels.plain import plain
from bot.channels.telegram import layout

LOG = logging.getLogger("sumpline.telegram")
UPLOADED_WITHIN = 60.0  # seconds that a photo may take on a slow line


class Posting:
    """Lays messages out and hands them over. `link`: a way from a group into private."""

    def __init__(self, store: turn.Store, bot: Bot, link: Callable[[int, int], str]) -> None:
        self.store, self.bot, self.link = store, bot, link
        self._taken: dict[int, int] = {}  # by message: how many of its texts the platform has

    async def post(self, batch: Sequence[turn.Outgoing]) -> str:
        """Send messages as one; the platform's number of the last text. "" for people who were erased.

        Of a message in several texts, those that were taken are not sent again when it is tried again.
        """
        out = batch[-1]
        receipt = self.store.receipt(out.id)
        if receipt is None:
            return ""
        if out.message.photo:
            return await self._post_photo(out)
        sheets = [layout.lay_out(one.message, one.id, receipt.ticked, _done_word()) for one in batch]
        texts = ["\n\n".join(sheet.texts[0] for sheet in sheets), *sheets[-1].texts[1:]]
        rows = () if receipt.closed else sheets[-1].rows
        sent = ""
        for n in range(self._taken.get(out.id, 0), len(texts)):
            sent = await self._post_text(out, texts[n], rows if n == len(texts) - 1 else ())
            self._taken[out.id] = n + 1
        self._taken.pop(out.id, None)
        return sent

    async def _post_text(self, out: turn.Outgoing, text: str, rows: layout.Rows) -> str:
        thread = int(out.thread) if out.thread else None
        plain = False
        for _ in range(3):  # at most once more for each of the two things that may be wrong with it
            try:
                sent = await self.bot.send_message(
                    int(out.address), bare(text) if plain else text, reply_markup=self._markup(out, rows),
                    message_thread_id=thread, reply_parameters=self._reply(out),
                    parse_mode=None if plain else ParseMode.HTML,
                )  # fmt: skip
                return str(sent.message_id)
            except BadRequest as fault:
                if "thread not found" in str(fault).lower() and thread is not None:
                    thread = None
                elif "parse entities" in str(fault).lower() and not plain:
                    LOG.error("message %s: the platform could not read it as laid out", out.id)
                    plain = True
                else:
                    raise
        raise BadRequest("not taken in any form")

    async def _post_photo(self, out: turn.Outgoing) -> str:
        """A photo with what is said of it under it; its words alone where it is not kept any more.

        One that the platform takes for no photo, too long for its height, goes as a file.
        """
        try:
            data = self.store.file(out.message.photo).read_bytes()
        except (KeyError, OSError):
            return await self._post_text(out, html.escape(out.message.stays, quote=False), ())
        told: dict[str, Any] = {
            "chat_id": int(out.address), "caption": plain(out.message.text), "write_timeout": UPLOADED_WITHIN,
            "message_thread_id": int(out.thread) if out.thread else None,
        }  # fmt: skip
        name = f"{out.message.photo[:12]}.jpg"
        try:
            sent = await self.bot.send_photo(photo=data, filename=name, **told)
        except BadRequest as fault:
            LOG.info("message %s goes as a file: %s", out.id, fault.message)
            sent = await self.bot.send_document(document=data, filename=name, **told)
        return str(sent.message_id)

    def _markup(self, out: turn.Outgoing, rows: layout.Rows) -> InlineKeyboardMarkup | ForceReply | None:
        if rows:
            person = self.store.named(out.person)
            return self._keyboard(rows, out.address, out.case, person.id if person else None)
        return ForceReply(selective=True) if out.address.startswith("-") and out.asked else None

    def _reply(self, out: turn.Outgoing) -> ReplyParameters | None:
        """In a group, the message of the person who is answered."""
        asker = self.store.message_of(out.inbox) if out.address.startswith("-") and out.inbox else ""
        return ReplyParameters(int(asker), allow_sending_without_reply=True) if asker.isdigit() else None

    def _keyboard(
        self, rows: layout.Rows, chat: str, case: int | None, person: int | None
    ) -> InlineKeyboardMarkup:
        """The buttons; in a group with a way into private."""
        made = [[InlineKeyboardButton(label, callback_data=data) for label, data in row] for row in rows]
        link = self.link(case, person) if chat.startswith("-") and case and person else ""
        if link:
            label = turn.read_words().say("telegram.in_private")
            made.append([InlineKeyboardButton(label, url=link)])
        return InlineKeyboardMarkup(made)

    async def edit(self, receipt: turn.Receipt) -> None:
        """Bring a message into line: ticks on its buttons, or a record of what was answered to it."""
        chat, number = int(receipt.chat), int(receipt.receipt)
        if receipt.closed:
            text = layout.recorded(self._text_of(receipt), receipt.told)
            await self.bot.edit_message_text(text, chat, number, parse_mode=ParseMode.HTML)
        else:
            message = turn.revive_message(receipt.payload)
            rows = layout.lay_out(message, receipt.outbox, receipt.ticked, _done_word()).rows
            markup = self._keyboard(rows, receipt.chat, receipt.case, receipt.person)
            await self.bot.edit_message_reply_markup(chat, number, reply_markup=markup)

    def _text_of(self, receipt: turn.Receipt) -> str:
        """All that the platform's message says: it may be several of ours, or the last part of one."""
        parts = [turn.revive_message(one.payload) for one in self.store.sent_with(receipt)]
        laid = [layout.lay_out(part, receipt.outbox).texts for part in parts]
        return "\n\n".join(texts[0] for texts in laid) if len(laid) > 1 else laid[0][-1]


def _done_word() -> str:
    return turn.read_words().say("telegram.done")


def bare(text: str) -> str:
    """A text as laid out, without its markup."""
    return html.unescape(re.sub(r"</?b>", "", text))
