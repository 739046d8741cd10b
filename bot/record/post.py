"""What came in and what goes out: the two boxes that let nothing be lost or done twice."""

from __future__ import annotations

import json
import sqlite3
from dataclasses import dataclass, replace
from typing import Any, Literal

from bot.core.events import Heard
from bot.core.messages import Choice, Message
from bot.record.opening import Opened

Priority = Literal["safety", "answer", "reminder"]
BY_NUMBER = "sms"  # the channel on which a person is known by his phone number: handle and chat are that
PRIORITIES: tuple[Priority, ...] = ("safety", "answer", "reminder")  # the number in the table is the index


@dataclass(frozen=True)
class Address:
    """Where a person is met: channel, chat (or number), thread within the chat."""

    channel: str
    chat: str
    thread: str = ""


@dataclass(frozen=True)
class Incoming:
    """One accepted message. `flow`: the only flow on offer to it, "" for all.

    `sealed`: what stands for a code that was in its text, "" for none.
    """

    id: int
    address: Address
    person: int
    heard: Heard
    flow: str
    state: Literal["new", "done", "dead"]
    tries: int
    case: int | None
    sealed: str = ""


@dataclass(frozen=True)
class Outgoing:
    """One message on its way out. `person` is a name; `inbox` is None for a reminder."""

    id: int
    channel: str
    address: str
    thread: str
    person: str
    priority: Priority
    message: Message
    case: int | None
    inbox: int | None
    n: int
    state: Literal["due", "sent", "given_up"]
    tries: int
    due: str
    asked: int


LATER = "9999-12-31T23:59:59Z"  # when a message goes that must wait: for its photo, or for whose a number is
SECRET = "json_extract(payload, '$.kind') = 'secret'"
_OUT = """select o.*, p.name from outbox o join people p on p.id = o.person where """


def revive_message(payload: str) -> Message:
    """A message from its dump."""
    data = json.loads(payload)
    choices = tuple(Choice(**choice) for choice in data.pop("choices"))
    return Message(choices=choices, **data)


def blanked(message: Message) -> Message:
    """What stays of a secret."""
    return Message(message.stays, kind="info")


def without_photo(message: Message) -> Message:
    """What is said where its photo is not here."""
    return replace(message, text=message.stays, short="", stays="", photo="")


def _outgoing(row: dict[str, Any]) -> Outgoing:
    same = {
        key: row[key]
        for key in ("id", "channel", "address", "thread", "inbox", "n", "state", "tries", "due", "asked")
    }
    return Outgoing(
        **same,
        person=row["name"],
        priority=PRIORITIES[row["priority"]],
        message=revive_message(row["payload"]),
        case=row["case_id"],
    )


class Post(Opened):
    """The verbs about messages."""

    def put_in(
        self, at: Address, message_id: str, person: int, heard: Heard, now: str,
        flow: str = "", sealed: str = "",
    ) -> int | None:  # fmt: skip
        """Keep one message. None when this very message is here already."""
        try:
            return self.add(
                "inbox",
                channel=at.channel,
                chat=at.chat,
                thread=at.thread,
                message_id=message_id,
                person=person,
                heard=heard.model_dump_json(),
                flow=flow,
                at=now,
                sealed=sealed,
            )
        except sqlite3.IntegrityError as err:
            if "UNIQUE" not in str(err):
                raise
            return None

    def incoming(self, inbox: int) -> Incoming:
        """One accepted message. KeyError when there is none of that number."""
        row = self.row("select * from inbox where id = ?", inbox)
        if row is None:
            raise KeyError(inbox)
        address = Address(row["channel"], row["chat"], row["thread"])
        heard = Heard.model_validate_json(row["heard"])
        told = {key: row[key] for key in ("id", "person", "flow", "state", "tries", "sealed")}
        return Incoming(address=address, heard=heard, case=row["case_id"], **told)

    def message_of(self, inbox: int) -> str:
        """The network's own number of a message that was accepted."""
        return str(self.value("select message_id from inbox where id = ?", inbox) or "")

    def waiting(self, channel: str | None = None) -> list[int]:
        """Numbers of messages accepted but not taken, in the order they came."""
        rows = self.rows(
            "select id from inbox where state = 'new' and (? is null or channel = ?) order by id",
            channel,
            channel,
        )
        return [row["id"] for row in rows]

    def mark_taken(self, inbox: int, case: int | None, now: str) -> None:
        """The turn of this message is done; None for one that went to no case."""
        self.run("update inbox set state = 'done', case_id = ?, done = ? where id = ?", case, now, inbox)

    def mark_failed(self, inbox: int, fault: str, limit: int) -> bool:
        """Count a failed turn; True once it is given up. `fault` names no person and quotes no text."""
        return self.count_fault("inbox", inbox, fault, limit)

    def put_out(
        self,
        at: Address,
        person: int,
        message: Message,
        now: str,
        *,
        n: int,
        case: int | None = None,
        inbox: int | None = None,
        priority: Priority = "answer",
        due: str = "",
        asked: int = 0,
    ) -> int:
        """Lay one message out for sending, now or when it is `due`. `asked`: the entry that asks with it."""
        return self.add(
            "outbox",
            inbox=inbox,
            n=n,
            case_id=case,
            person=person,
            channel=at.channel,
            address=at.chat,
            thread=at.thread,
            priority=PRIORITIES.index(priority),
            text=message.text,
            short=message.short,
            payload=json.dumps(message.dump(), ensure_ascii=False),
            due=due or now,
            at=now,
            asked=asked,
        )

    def unsent(self, inbox: int) -> tuple[Outgoing, ...]:
        """What one message led to and is not sent yet, in the order it is to be said."""
        return tuple(
            _outgoing(r) for r in self.rows(_OUT + "o.inbox = ? and o.state = 'due' order by n", inbox)
        )

    def said(self, inbox: int, person: int) -> tuple[Outgoing, ...]:
        """Everything that one message led to for one person, sent or not."""
        rows = self.rows(_OUT + "o.inbox = ? and o.person = ? order by n", inbox, person)
        return tuple(_outgoing(row) for row in rows)

    def due(
        self, now: str, channel: str | None = None, chat: str | None = None, person: int | None = None
    ) -> tuple[Outgoing, ...]:
        """What is to be sent by now: safety before answers before reminders, oldest first."""
        rows = self.rows(
            _OUT
            + """o.state = 'due' and o.due <= ? and (? is null or o.channel = ?)
            and (? is null or o.address = ?) and (? is null or o.person = ?)
            order by o.priority, o.due, o.id""",
            *(now, channel, channel, chat, chat, person, person),
        )
        return tuple(_outgoing(row) for row in rows)

    def lane(self, channel: str, chat: str, now: str, most: int) -> tuple[Outgoing, ...]:
        """The next messages of a chat, in order; none when the first is only to be tried again later."""
        rows = self.rows(
            _OUT
            + """o.state = 'due' and o.channel = ? and o.address = ? and (o.due <= ? or o.tries > 0)
            order by o.priority, o.id limit ?""",
            *(channel, chat, now, most),
        )
        return tuple(_outgoing(row) for row in rows) if rows and rows[0]["due"] <= now else ()

    def mark_sent(self, outbox: int, now: str) -> None:
        """The channel took it. A second call changes nothing."""
        self.run("update outbox set state = 'sent', sent = ? where id = ? and state = 'due'", now, outbox)
        self._blank(outbox)

    def mark_unsent(self, outbox: int, again: str | None) -> None:
        """Sending failed: try again at that time, or (None) give it up."""
        self.run(
            """update outbox set tries = tries + 1, due = coalesce(?, due),
            state = case when ? is null then 'given_up' else state end where id = ? and state = 'due'""",
            *(again, again, outbox),
        )
        if again is None:
            self._blank(outbox)

    def _blank(self, outbox: int) -> None:
        """A secret is kept no longer than it takes to get out; what is said instead stays in its place."""
        payload = self.value(f"select payload from outbox where id = ? and {SECRET}", outbox)
        if payload is None:
            return
        kept = blanked(revive_message(payload))
        told = json.dumps(kept.dump(), ensure_ascii=False)
        self.run("update outbox set text = ?, short = ?, payload = ? where id = ?",
                 kept.text, kept.short, told, outbox)  # fmt: skip
        self.shed = True

    def count_segments(self, outbox: int, segments: int, parts: int) -> None:
        """What a paid channel will spend on it."""
        self.run("update outbox set segments = ?, parts = ? where id = ?", segments, parts, outbox)
