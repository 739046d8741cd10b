"""What a channel by text message keeps: who wants no texts, what each number cost, and each text on its way.

A text is laid here in the same transaction in which its messages leave the outbox. So a program that is
killed hands the very same text over again, under the same number, and the gateway takes it once.
"""

from __future__ import annotations

import secrets
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any, Literal

from bot.core.messages import Message
from bot.record.post import PRIORITIES, Post, Priority, revive_message

TEXTS = "sms"  # the channel
TextState = Literal["new", "handed", "sent", "delivered", "failed", "dropped"]


@dataclass(frozen=True)
class NumberLine:
    """What is kept of a phone number.

    `heard`: when its last text was sent, by the service centre; `words`: a digest of it, and `same` how often
    in a row while one question (`asked`) stood open; `late`: the text that put a question again for an answer
    that crossed with it; `begun`: since when its session counts; `full`: the day on which it was told that
    its limit is reached; `reminded`: whether a reminder stands unanswered; `paused`: whether the next text
    says first what it is about; `rest`: what waits behind "more".
    """

    number: str
    opted_out: bool = False
    heard: str = ""
    words: str = ""
    same: int = 0
    late: int = 0
    begun: str = ""
    full: str = ""
    reminded: bool = False
    paused: bool = False
    rest: str = ""
    asked: int = 0


@dataclass(frozen=True)
class TextOut:
    """A text that is still to be handed to the gateway."""

    id: int
    token: str  # by which the gateway knows it
    number: str
    body: str
    priority: Priority


@dataclass(frozen=True)
class TextUnderWay:
    """A text that the gateway has, and what is known of it."""

    id: int
    state: TextState


@dataclass(frozen=True)
class QuestionOut:
    """The newest question that went to a number: the text that carried it, and since when he may have it.

    `asked`: the entry that asks, or less than 0 for a question in free words, which has no tag.
    """

    text: int
    asked: int
    handed: str

    @property
    def tag(self) -> int:
        """What an answer may name; 0 where it cannot."""
        return max(self.asked, 0)


def receipt_of(text: int) -> str:
    """What an outbox row says of the text that carried it."""
    return f"text {text}"


class Texting(Post):
    """The verbs about numbers and texts."""

    def number_line(self, number: str) -> NumberLine:
        """What is known of a number; a blank line for a new one."""
        row = self.row("select * from numbers where number = ?", number)
        if row is None:
            return NumberLine(number)
        flags: dict[str, Any] = {key: bool(row[key]) for key in ("opted_out", "reminded", "paused")}
        return NumberLine(**{**row, **flags})

    def keep_number(self, line: NumberLine) -> None:
        """Keep what is now known of a number."""
        told = asdict(line)
        names, places = ", ".join(told), ", ".join("?" for _ in told)
        self.run(f"insert or replace into numbers ({names}) values ({places})", *told.values())

    def note_heard(self, key: str, at: str) -> bool:
        """Keep that this very text was dealt with; False when it was before."""
        if self.row("select 1 from heard_texts where key = ?", key) is not None:
            return False
        self.run("insert into heard_texts values (?, ?)", key, at)
        return True

    def forget_heard(self, before: str) -> None:
        """Keys that are so old that no network brings their texts again."""
        self.run("delete from heard_texts where at < ?", before)

    # --- texts on their way -----------------------------------------------------------------

    def lay_text(
        self, number: str, body: str, segments: int, at: str, *, priority: Priority = "answer",
        person: int | None = None, asked: int = 0, rows: Sequence[int] = (), parts: int = 0,
    ) -> int:  # fmt: skip
        """Lay one text out for the gateway and take its messages (`rows` of the outbox) off; its number."""
        id = self.add(
            "texts", token=secrets.token_hex(8), number=number, person=person, body=body, segments=segments,
            asked=asked, at=at, priority=PRIORITIES.index(priority),
        )  # fmt: skip
        for n, row in enumerate(rows):  # what joined messages cost stands at the first of them
            self.run("update outbox set receipt = ?, segments = ?, parts = ? where id = ?",
                     receipt_of(id), 0 if n else segments, 0 if n else parts or segments, row)  # fmt: skip
        return id

    def texts_to_hand_over(self) -> tuple[TextOut, ...]:
        """Texts that the gateway has not got yet: safety first, then as they were laid."""
        sql = "select id, token, number, body, priority from texts where state = 'new' order by priority, id"
        return tuple(TextOut(**{**row, "priority": PRIORITIES[row["priority"]]}) for row in self.rows(sql))

    def mark_handed(self, id: int, at: str) -> None:
        """The gateway has it: its words are kept there and in the outbox, not here."""
        self.run("update texts set state = 'handed', handed = ?, body = '' where id = ? and state = 'new'",
                 at, id)  # fmt: skip

    def drop_text(self, id: int) -> None:
        """It cannot be handed over at all."""
        self.run("update texts set state = 'dropped', body = '' where id = ? and state = 'new'", id)

    def drop_texts_to(self, number: str) -> None:
        """Nothing that still waits goes to this number any more."""
        self.run("update texts set state = 'dropped', body = '' where number = ? and state = 'new'", number)
        sql = "select id from outbox where channel = ? and address = ? and state = 'due'"
        for row in self.rows(sql, TEXTS, number):
            self.mark_unsent(row["id"], None)

    def texts_under_way(self, since: str) -> dict[str, TextUnderWay]:
        """Texts that were handed over since then and whose end is not known, by token.

        A text that left us has come to its end, but for a stop: of that a report is asked.
        """
        sql = """select id, token, state from texts where handed >= ?
            and (state = 'handed' or state = 'sent' and priority = 0)"""
        return {row["token"]: TextUnderWay(row["id"], row["state"]) for row in self.rows(sql, since)}

    def mark_text(self, id: int, state: TextState, code: int) -> None:
        """What became of a text."""
        self.run("update texts set state = ?, code = ? where id = ?", state, code, id)

    def text_to(self, id: int) -> tuple[str, int | None]:
        """To which number a text went, and to which person."""
        row = self.row("select number, person from texts where id = ?", id)
        return ("", None) if row is None else (row["number"], row["person"])

    def cases_told_by(self, id: int) -> tuple[int, ...]:
        """The cases whose messages a text carried."""
        sql = "select distinct case_id from outbox where receipt = ? and case_id is not null"
        return tuple(row["case_id"] for row in self.rows(sql, receipt_of(id)))

    # --- what it cost -------------------------------------------------------------------------

    def segments_spent(self, number: str | None, since: str) -> int:
        """Segments laid out since then, to one number or to all."""
        return int(self.value(
            """select coalesce(sum(segments), 0) from texts
            where state <> 'dropped' and at >= ? and (? is null or number = ?)""",
            *(since, number, number),
        ))  # fmt: skip

    def texts_handed_since(self, number: str, since: str) -> int:
        """How many texts to a number the gateway got since then."""
        sql = "select count(*) from texts where number = ? and handed >= ?"
        return int(self.value(sql, number, since))

    def question_out(self, number: str) -> QuestionOut | None:
        """The newest question that a number was sent; `handed` is "" while it waits for the gateway."""
        row = self.row(
            """select t.id as text, t.asked, coalesce(
                (select min(b.handed) from texts b
                    where b.number = t.number and b.asked = t.asked and t.asked > 0),
                t.handed, '') as handed
            from texts t where t.number = ? and t.asked <> 0 order by t.id desc limit 1""",
            number,
        )
        return None if row is None else QuestionOut(**row)

    def carried(self, text: int) -> tuple[Message, ...]:
        """The messages that a text carried, in order."""
        rows = self.rows("select payload from outbox where receipt = ? order by id", receipt_of(text))
        return tuple(revive_message(row["payload"]) for row in rows)

    def question_of(self, number: str, asked: int) -> Message | None:
        """The question that an entry put to a number, or None when it put none."""
        payload = self.value(
            """select payload from outbox where channel = ? and address = ? and asked = ?
            order by id desc limit 1""",
            *(TEXTS, number, asked),
        )
        return None if payload is None else revive_message(payload)

    def was_accepted(self, number: str, key: str) -> bool:
        """Whether this very text was handed to the talk before."""
        sql = "select 1 from inbox where channel = ? and chat = ? and message_id = ?"
        return self.value(sql, TEXTS, number, key) is not None

    def numbers_waiting(self, at: str) -> tuple[str, ...]:
        """Numbers for which messages wait in the outbox."""
        sql = "select distinct address from outbox where channel = ? and state = 'due' and due <= ?"
        return tuple(row["address"] for row in self.rows(sql, TEXTS, at))
