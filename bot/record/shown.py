"""Messages as people have them before them, and what a person may do with where he is met."""

from __future__ import annotations

import json

from bot.core.messages import Message
from bot.record.grants import Grants
from bot.record.network import Network, RawUpdate, Receipt
from bot.record.post import Address


class Shown(Network, Grants):
    """The verbs about messages that were shown, and about leaving a case alone."""

    def shown_as(self, channel: str, chat: str, receipt: str) -> Receipt | None:
        """One of our messages by the network's own name for it."""
        found = self._receipts("channel = ? and address = ? and receipt = ?", channel, chat, receipt)
        return found[-1] if found else None

    def newest_choice(self, at: Address, person: int) -> Receipt | None:
        """The newest message with choices for this person at this address."""
        found = self.value(
            """select max(id) from outbox where channel = ? and address = ? and thread = ? and person = ?
            and json_array_length(payload, '$.choices') > 0""",
            *(at.channel, at.chat, at.thread, person),
        )
        return None if found is None else self.receipt(int(found))

    def rephrase(self, outbox: int, message: Message) -> None:
        """Say something else in its place; only for one that was not sent."""
        payload = json.dumps(message.dump(), ensure_ascii=False)
        self.run(
            "update outbox set text = ?, short = ?, payload = ? where id = ? and state = 'due'",
            *(message.text, message.short, payload, outbox),
        )

    def let_go(self, at: Address, person: int) -> None:
        """What this person says next at this address goes to none of his cases."""
        self.run(
            "delete from current where channel = ? and chat = ? and thread = ? and person = ?",
            *(at.channel, at.chat, at.thread, person),
        )
        self.note_place(person, at)

    def is_on_its_way(self, ref: str) -> bool:
        """Whether this file is still to be fetched: its person may have been erased meanwhile."""
        return bool(self.value("select 1 from fetches where ref = ? and state = 'new'", ref))

    def untaken(self, channel: str) -> list[RawUpdate]:
        """Updates whose text is still here: waiting, or set aside."""
        rows = self.rows("select id from updates where channel = ? and body <> '' order by id", channel)
        return [self.raw_update(row["id"]) for row in rows]
