"""What a network hands in and what it must be told: raw updates, receipts, files to fetch, links, chats.

A raw update is kept before anything is understood of it, so that one that cannot be read holds up no
one. It is known by its number and its content together: networks use numbers again. Its body is
dropped as soon as it is done; only the digest stays, to know it by when it comes again.
"""

from __future__ import annotations

import hashlib
import json
import sqlite3
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from bot.record.opening import Opened
from bot.record.post import revive_message, without_photo


@dataclass(frozen=True)
class RawUpdate:
    """One update as the network sent it."""

    id: int
    channel: str
    number: int
    body: str
    at: str
    tries: int
    fault: str
    state: Literal["new", "done", "dead"]


@dataclass(frozen=True)
class Fetch:
    """A file that a person sent and that is still with the network, under the name `ref` of ours."""

    ref: str
    channel: str
    locator: str
    person: int
    chat: str
    kind: str
    name: str
    tries: int


@dataclass(frozen=True)
class Receipt:
    """A message that a person has before him. `asked`: the entry that asked with it, 0 for none."""

    outbox: int
    chat: str
    thread: str
    person: int
    receipt: str
    asked: int
    ticked: tuple[int, ...]
    payload: str
    case: int | None
    closed: bool
    told: str


def digest_of(text: str | bytes) -> str:
    """What a text is known by without keeping it: its SHA-256 in hex."""
    return hashlib.sha256(text.encode() if isinstance(text, str) else text).hexdigest()


class Network(Opened):
    """The verbs that only networks need."""

    # --- raw updates -------------------------------------------------------------------------

    def keep_update(self, channel: str, number: int, body: str, at: str) -> int | None:
        """Keep one raw update. None when this very update is here already."""
        try:
            return self.add("updates", channel=channel, number=number, digest=digest_of(body), body=body,
                            due=at, at=at)  # fmt: skip
        except sqlite3.IntegrityError as err:
            if "UNIQUE" not in str(err):
                raise
            return None

    def updates_due(self, channel: str, now: str) -> list[int]:
        """Numbers (ours) of updates to be taken by now, in the order they came."""
        sql = "select id from updates where state = 'new' and channel = ? and due <= ? order by id"
        return [row["id"] for row in self.rows(sql, channel, now)]

    def raw_update(self, id: int) -> RawUpdate:
        """One raw update. KeyError when there is none of that number."""
        row = self.row("select * from updates where id = ?", id)
        if row is None:
            raise KeyError(id)
        return RawUpdate(**{key: row[key] for key in RawUpdate.__dataclass_fields__})

    def gather(self, id: int, album: str, due: str) -> None:
        """Hold an update until the others of its album have come."""
        self.run("update updates set album = ? where id = ?", album, id)
        self.run("update updates set due = ? where album = ? and state = 'new'", due, album)

    def album_of(self, id: int) -> list[RawUpdate]:
        """All waiting updates of one album, in order; only this one when it belongs to none."""
        album = self.value("select album from updates where id = ?", id)
        sql = "select id from updates where album = ? and state = 'new' order by id"
        ids = [row["id"] for row in self.rows(sql, album)] if album else [id]
        return [self.raw_update(one) for one in ids]

    def is_gathered(self, id: int) -> bool:
        """Whether this update was held for its album."""
        return bool(self.value("select album <> '' from updates where id = ?", id))

    def finish_update(self, id: int) -> None:
        """It was taken: what it said is where it belongs, so the raw text goes."""
        self.run("update updates set state = 'done', body = '' where id = ?", id)

    def fail_update(self, id: int, fault: str, limit: int) -> bool:
        """Count a failure; True once it is set aside. `fault` names no person and quotes no text."""
        return self.count_fault("updates", id, fault, limit)

    def name_update(self, id: int, handle: str) -> None:
        """Whose update it is, so that it goes when he is erased."""
        self.run("update updates set handle = ? where id = ?", handle, id)

    # --- what was given up --------------------------------------------------------------------

    def dead_letters(self) -> list[dict[str, str]]:
        """Everything that could not be taken or sent: where it stands, its number, when, and why."""
        sql = """select 'update' as kind, id, at, fault from updates where state = 'dead'
            union all select 'turn', id, at, fault from inbox where state = 'dead'
            union all select 'message', id, at, 'could not be delivered' from outbox where state = 'given_up'
            order by at, id"""
        return [{key: str(value) for key, value in row.items()} for row in self.rows(sql)]

    def revive_letter(self, kind: str, id: int, now: str) -> bool:
        """Let it be tried again from the beginning. False when there is no dead letter like that."""
        table, dead, again = {
            "update": ("updates", "dead", "new"),
            "turn": ("inbox", "dead", "new"),
            "message": ("outbox", "given_up", "due"),
        }[kind]
        due = "" if table == "inbox" else ", due = :now"
        cursor = self.db.execute(
            f"update {table} set state = :again, tries = 0{due} where id = :id and state = :dead",
            {"again": again, "dead": dead, "id": id} | ({"now": now} if due else {}),
        )
        return cursor.rowcount > 0

    # --- receipts: what stands before a person -------------------------------------------------

    def note_receipt(self, outbox: int, receipt: str) -> None:
        """What the network calls a message that it took."""
        self.run("update outbox set receipt = ? where id = ?", receipt, outbox)

    def receipt(self, outbox: int) -> Receipt | None:
        """A message by its number; None when there is none."""
        found = self._receipts("id = ?", outbox)
        return found[0] if found else None

    def sent_with(self, receipt: Receipt) -> list[Receipt]:
        """All that went out as the one message of a receipt, itself included, in order."""
        return self._receipts(
            "receipt = ? and address = ? and channel = (select channel from outbox where id = ?)",
            *(receipt.receipt, receipt.chat, receipt.outbox),
        )

    def passed_questions(self, person: int, channel: str, case: int, asked: int) -> list[Receipt]:
        """Questions of a case to this person but the newest of the entry that asks now, oldest first."""
        return self._receipts(
            """person = ?1 and channel = ?2 and case_id = ?3 and asked > 0 and closed = 0
            and id <> coalesce((select max(id) from outbox where person = ?1 and channel = ?2
                and case_id = ?3 and asked = ?4), 0)""",
            *(person, channel, case, asked),
        )

    def tick(self, outbox: int, ticked: Sequence[int], now: str) -> None:
        """Which marks of a question are ticked; its buttons are to show it."""
        self.run(
            "update outbox set ticked = ?, edit_due = ? where id = ?", ",".join(map(str, ticked)), now, outbox
        )

    def close_question(self, outbox: int, told: str, now: str) -> None:
        """It can be pressed no more; the message is to become a record of what was `told`."""
        self.run(
            "update outbox set closed = 1, told = ?, edit_due = ? where id = ? and closed = 0",
            *(told, now, outbox),
        )

    def chats_waiting(self, channel: str, now: str) -> list[str]:
        """Chats that something is to be sent to, or edited in, by now; those first whose turn it is.

        What failed and is to be tried again holds its place: the chat waits behind it.
        """
        rows = self.db.execute(
            """select address from (
                select address, priority, id from outbox
                where state = 'due' and channel = :channel and (due <= :now or tries > 0)
                union all select address, 3, id from outbox
                where edit_due <= :now and channel = :channel and receipt <> '')
            group by address order by min(priority), min(id)""",
            {"channel": channel, "now": now},
        )
        return [row[0] for row in rows]

    def edits_due(self, channel: str, chat: str, now: str) -> list[Receipt]:
        """Sent messages of a chat that no longer look as they must, oldest first."""
        return self._receipts(
            "edit_due <= ? and channel = ? and address = ? and receipt <> ''", now, channel, chat
        )

    def edited(self, outbox: int, again: str | None = None) -> None:
        """It looks as it must now; or is to be tried again then."""
        self.run("update outbox set edit_due = ? where id = ?", again, outbox)

    def _receipts(self, where: str, *given: object) -> list[Receipt]:
        return [
            Receipt(
                outbox=row["id"], chat=row["address"], thread=row["thread"], person=row["person"],
                receipt=row["receipt"], asked=row["asked"], payload=row["payload"], case=row["case_id"],
                ticked=tuple(int(n) for n in row["ticked"].split(",") if n), closed=bool(row["closed"]),
                told=row["told"],
            )
            for row in self.rows(f"select * from outbox where {where} order by id", *given)
        ]  # fmt: skip

    # --- files that are still with the network ---------------------------------------------------

    def want_file(
        self, ref: str, channel: str, locator: str, person: int, chat: str, kind: str, name: str, at: str
    ) -> None:
        """Note a file to be fetched; the same file of the same person only once."""
        self.run(
            """insert or ignore into fetches (ref, channel, locator, person, chat, kind, name, due, at)
            values (?, ?, ?, ?, ?, ?, ?, ?, ?)""",
            *(ref, channel, locator, person, chat, kind, name, at, at),
        )

    def fetches_due(self, channel: str, now: str) -> list[Fetch]:
        """Files to be fetched by now, oldest first."""
        sql = "select * from fetches where state = 'new' and channel = ? and due <= ? order by at, ref"
        fields = Fetch.__dataclass_fields__
        return [Fetch(**{key: row[key] for key in fields}) for row in self.rows(sql, channel, now)]

    def file_fetched(self, ref: str, digest: str) -> None:
        """The file lies in our folder under this digest."""
        self.run("update fetches set state = 'done', digest = ?, locator = '' where ref = ?", digest, ref)
        self._photo_came(ref, digest)

    def fetch_failed(self, ref: str, fault: str, again: str | None) -> None:
        """Try again then, or (None) never."""
        self.run(
            """update fetches set tries = tries + 1, fault = ?, due = coalesce(?, due),
            state = case when ? is null then 'failed' else state end where ref = ?""",
            *(fault, again, again, ref),
        )
        if again is None:
            self._photo_came(ref, "")

    def _photo_came(self, ref: str, digest: str) -> None:
        """Messages that waited for this photo may go; without a digest it is said that it was not kept."""
        rows = self.rows(
            "select id, payload from outbox where state = 'due' and json_extract(payload, '$.photo') = ?", ref
        )
        for row in rows:
            message = revive_message(row["payload"])
            told = replace(message, photo=digest) if digest else without_photo(message)
            payload = json.dumps(told.dump(), ensure_ascii=False)
            self.run("update outbox set text = ?, short = ?, payload = ?, due = at where id = ?",
                     told.text, told.short, payload, row["id"])  # fmt: skip

    def fetched(self, ref: str) -> str | None:
        """The digest of a file that was fetched; None while it is on its way, or when it never came."""
        found = self.value("select digest from fetches where ref = ? and state = 'done'", ref)
        return None if found is None else str(found)

    def refused_files(self, refs: Iterable[str]) -> set[str]:
        """Those of these files that will never come: too large, of no kind we keep, or gone."""
        sql = "select 1 from fetches where ref = ? and state = 'failed'"
        return {ref for ref in refs if self.value(sql, ref)}

    # --- links into a case -----------------------------------------------------------------------

    def make_link(self, token: str, case: int, person: int, until: str, at: str) -> None:
        """A way for this person into his case from another chat; only the token's digest is kept."""
        self.add("links", digest=digest_of(token), case_id=case, person=person, until=until, at=at)

    def follow_link(self, token: str, person: int, now: str) -> int | None:
        """The case of a link that is this person's and not too old; it works when it is sent again."""
        sql = "select case_id from links where digest = ? and person = ? and until > ?"
        found = self.value(sql, digest_of(token), person, now)
        return None if found is None else int(found)

    # --- chats -----------------------------------------------------------------------------------

    def mark_reachable(self, channel: str, chat: str, reachable: bool, at: str) -> None:
        """Whether the network lets us write there."""
        self.run(
            """insert into chats (channel, chat, reachable, at) values (?, ?, ?, ?)
            on conflict (channel, chat) do update set reachable = excluded.reachable, at = excluded.at""",
            *(channel, chat, reachable, at),
        )

    def name_chat(self, channel: str, chat: str, title: str, at: str) -> None:
        """What a group is called now."""
        self.run(
            """insert into chats (channel, chat, at, title) values (?, ?, ?, ?)
            on conflict (channel, chat) do update set title = excluded.title""",
            *(channel, chat, at, title),
        )

    def title_of(self, channel: str, chat: str) -> str:
        """What a group is called, as far as it was told."""
        return str(self.value("select title from chats where channel = ? and chat = ?", channel, chat) or "")

    def is_reachable(self, channel: str, chat: str) -> bool:
        """False once the network refused us there."""
        found = self.value("select reachable from chats where channel = ? and chat = ?", channel, chat)
        return found is None or bool(found)

    def away(self, case: int) -> frozenset[str]:
        """Who sits at a case and cannot be reached where he is met, by name."""
        rows = self.db.execute(
            """select coalesce(k.name, p.name) from seats s join people p on p.id = s.person
            left join called k on k.case_id = s.case_id and k.person = s.person
            join chats c on c.channel = s.channel and c.chat = s.chat
            where s.case_id = ? and c.reachable = 0""",
            [case],
        )
        return frozenset(name for (name,) in rows)

    def move_chat(self, channel: str, old: str, new: str) -> None:
        """A chat has another number from now on: everything that is kept of it moves.

        The network numbers messages anew there: what is here must not be taken for a new one that bears
        its number, and our own messages from before cannot be edited any more.
        """
        self.run(
            "update inbox set message_id = chat || '/' || message_id where channel = ? and chat = ?",
            *(channel, old),
        )
        self.run(
            """update outbox set closed = 1, edit_due = null, receipt = ''
            where channel = ? and address = ? and receipt <> ''""",
            *(channel, old),
        )
        for table, column in (("seats", "chat"), ("current", "chat"), ("inbox", "chat"),
                              ("outbox", "address"), ("fetches", "chat"), ("chats", "chat")):  # fmt: skip
            self.run(
                f"update or replace {table} set {column} = ? where channel = ? and {column} = ?",
                *(new, channel, old),
            )
        group, moved = f"{channel}:{old}", f"{channel}:{new}"
        self.run(
            "update people set settings = json_set(settings, '$.group', ?)"
            " where json_extract(settings, '$.group') = ?",
            *(moved, group),
        )
        for table in ("published", "drafts", "acts", "cases", "outcomes", "calibration", "scores"):
            self.run(
                f"update or ignore {table} set scope = ? where scope = ?", f"group:{moved}", f"group:{group}"
            )
        self.run(
            "update cases set counted = json_set(counted, '$.scope', ?)"
            " where counted <> '' and json_extract(counted, '$.scope') = ?",
            *(f"group:{moved}", f"group:{group}"),
        )

    def depths(self) -> dict[str, int]:
        """How much waits, and how much was given up, for whoever runs the bot."""
        counts = {
            "updates": "select count(*) from updates where state = 'new'",
            "turns": "select count(*) from inbox where state = 'new'",
            "messages": "select count(*) from outbox where state = 'due'",
            "files": "select count(*) from fetches where state = 'new'",
            "dead": """select (select count(*) from updates where state = 'dead')
                + (select count(*) from inbox where state = 'dead')
                + (select count(*) from outbox where state = 'given_up')""",
        }
        return {name: int(self.value(sql)) for name, sql in counts.items()}
