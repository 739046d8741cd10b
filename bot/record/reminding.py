"""Reminders that were laid out: each occasion once, one message for all, and none that is no longer true.

How it stays so, whoever looks whenever:
- The row of an occasion and the message that says it are written in one transaction, which begins with
  the write lock. Two programs never both find the occasion new, and one that is killed has laid both or
  neither.
- At most one message waits for a person. While it does, another one that says what is due by then takes
  its place, or it is taken back when nothing is. It is left alone as long as a channel may have it in
  hand: a channel takes only what is due by its clock and puts off what it could not send, so what is due
  later is in nobody's hand, nor is what no channel took for `HAND`. Should one have it all the same, both
  go out: better twice than not at all.
- A person gets at most one such message a day of his own calendar; what else is due waits for the next.
- A message that the channel gave up counts as not said. It is laid out again on another day, `TRIES`
  times in all, and then once more each time that the rider was heard from since.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, tzinfo
from typing import TYPE_CHECKING, Any

from bot.core.messages import Message
from bot.record.garage import MeterKind
from bot.record.post import PRIORITIES, Address, Post

if TYPE_CHECKING:  # a talk begins without them
    from bot.core.intervals import Interval, Reminded
    from bot.core.reminder_words import BikeDue
    from bot.core.reminders import Kind, Reading

TRIES = 3
HAND = timedelta(minutes=10)  # a channel that runs has taken a message by then
WAKES_NOBODY = ("terminal",)  # who begins to talk there is awake, and has no other to read along
REMINDER = PRIORITIES.index("reminder")

Write = Callable[[Sequence["BikeDue"]], Message]
Known = Mapping[tuple[str, str, str], Mapping[str, Any]]  # rows by bike, kind and occasion


@dataclass(frozen=True)
class Calling:
    """Where and by which clock a person is reminded, now."""

    person: int
    at: Address
    now: datetime
    zone: tzinfo

    @property
    def stamp(self) -> str:
        return _stamp(self.now)

    @property
    def any_hour(self) -> bool:
        return self.at.channel in WAKES_NOBODY

    @property
    def due(self) -> str:
        """When a message to him may go out."""
        from bot.core.wall import next_decent

        return self.stamp if self.any_hour else _stamp(next_decent(self.now, self.zone))

    def same_day(self, then: str) -> bool:
        """Whether a moment lies on his own today."""
        at = datetime.fromisoformat(then).astimezone(self.zone)
        return at.date() == self.now.astimezone(self.zone).date()


def _stamp(moment: datetime) -> str:
    return moment.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


class Reminding(Post):
    """The verbs about reminders."""

    # --- facts -----------------------------------------------------------------------------

    def riders(self) -> list[int]:
        """People who have a bike."""
        return [row["person"] for row in self.rows("select distinct person from bikes order by person")]

    def watching(self, person: int) -> list[int]:
        """This rider's cases that may wait for a second look."""
        rows = self.rows(
            """select id from cases c where person = ? and bike is not null and flow is not null
            and ended in ('', 'parked', 'put_off', 'closed') and exists (select 1 from entries e
                where e.case_id = c.id and json_extract(e.event, '$.kind') = 'watch_set') order by id""",
            person,
        )
        return [row["id"] for row in rows]

    def readings_of(self, bike: str, kind: MeterKind = "hours") -> tuple[Reading, ...]:
        """All readings of a bike as totals over its meters, oldest first."""
        rows = self.rows(
            """select m.offset + r.low as low, m.offset + r.high as high, r.at
            from readings r join meters m on m.id = r.meter where m.bike = ? and m.kind = ?
            order by r.at, r.id""",
            *(bike, kind),
        )
        from bot.core.reminders import Reading

        return tuple(Reading(datetime.fromisoformat(r["at"]), (r["low"], r["high"])) for r in rows)

    def private_address(self, person: int, but: str = "") -> Address | None:
        """Where this person last talked in private and can be written to; None when he never did.

        A private chat goes by its owner's own number; a terminal is its owner's. `but`: not on this channel.
        """
        row = self.row(
            """select i.channel, i.chat, i.thread from inbox i
            left join chats c on c.channel = i.channel and c.chat = i.chat
            where i.person = ? and i.channel <> ? and coalesce(c.reachable, 1)
                and (i.channel = 'terminal' or exists (select 1 from handles h
                    where h.person = i.person and h.channel = i.channel and h.handle = i.chat))
            order by i.id desc limit 1""",
            *(person, but),
        )
        return None if row is None else Address(**row)

    # --- what the rider wants --------------------------------------------------------------

    def keep_interval(self, bike: str, wanted: Interval, at: str) -> None:
        """How often the rider wants to be told of this bike's oil; not at all when `wanted` is off."""
        figures = (wanted.hours, wanted.km, wanted.days)
        self.run("insert or replace into intervals values (?, 'oil', ?, ?, ?, ?, ?)",
                 bike, *figures, int(wanted.off), at)  # fmt: skip

    def interval_of(self, bike: str) -> Interval | None:
        """The rider's own interval for this bike's oil; None when he told none or wants none."""
        row = self.row(
            "select hours, km, days from intervals where bike = ? and kind = 'oil' and not off", bike
        )
        from bot.core.intervals import Interval

        return None if row is None else Interval(**row)

    def silence(self, bike: str, kind: Kind, at: str, off: bool = True) -> None:
        """Remind of this no more, or again."""
        self.run(
            """insert into intervals (bike, kind, off, at) values (?, ?, ?, ?)
            on conflict (bike, kind) do update set off = excluded.off, at = excluded.at""",
            *(bike, kind, int(off), at),
        )

    def silenced(self, bike: str) -> set[str]:
        """The kinds that the rider does not want to be reminded of."""
        return {row["kind"] for row in self.rows("select kind from intervals where bike = ? and off", bike)}

    def put_off(self, person: int, about: Iterable[Reminded], until: str) -> None:
        """Remind of these again then, if they are still due."""
        for one in about:
            self.run(
                "update reminders set again = ? where person = ? and bike = ? and kind = ?",
                *(until, person, one.bike, one.kind),
            )

    def just_reminded(self, person: int, at: Address) -> tuple[Reminded, ...]:
        """What the newest message to this person there reminded him of; nothing when it was no reminder."""
        rows = self.rows(
            """select r.bike, b.nickname, r.kind from reminders r join bikes b on b.id = r.bike
            where r.again is null and r.outbox = (select max(id) from outbox where person = ?
                and channel = ? and address = ? and thread = ? and state = 'sent') order by r.id""",
            *(person, at.channel, at.chat, at.thread),
        )
        from bot.core.intervals import Reminded

        return tuple(Reminded(str(row["bike"]), row["nickname"], row["kind"]) for row in rows)

    # --- laying out ------------------------------------------------------------------------

    def has_waiting(self, person: int) -> bool:
        """Whether a reminder to this person is laid out and not sent."""
        return self._waiting(person) is not None

    def _waiting(self, person: int) -> dict[str, Any] | None:
        sql = "select * from outbox where person = ? and priority = ? and state = 'due' order by id limit 1"
        return self.row(sql, person, REMINDER)

    def lay_reminder(self, to: Calling, dues: Sequence[BikeDue], write: Write) -> bool:
        """Bring what waits for a person in line with what is due; True when a message was laid out new.

        Within a transaction. `write` words one message for some of what is due.
        """
        known = self._known(to.person)
        waiting = self._waiting(to.person)
        number = waiting["id"] if waiting else None
        wanted = [one for one in dues if self._is_open(one, known, number, to)]
        if waiting is None:
            return bool(wanted) and not self._told_today(to) and self._lay(to, wanted, known, write)
        if waiting["due"] > to.stamp or waiting["due"] < _stamp(to.now - HAND):
            self._replace(waiting, to, wanted, known, write)
        return False

    def _known(self, person: int) -> Known:
        rows = self.rows(
            "select r.*, o.state from reminders r join outbox o on o.id = r.outbox where r.person = ?", person
        )
        return {(str(row["bike"]), row["kind"], row["occasion"]): row for row in rows}

    def _is_open(self, one: BikeDue, known: Known, waiting: int | None, to: Calling) -> bool:
        """Whether this is still to be said."""
        silent = (row["again"] for key, row in known.items() if key[:2] == one.key[:2])
        if any(again is not None and again > to.stamp for again in silent):
            return False
        row = known.get(one.key)
        if row is None or row["outbox"] == waiting:
            return True
        if row["state"] == "given_up":
            heard = row["laid"] < TRIES or self._heard_since(to.person, row["at"])
            return heard and not to.same_day(row["at"])
        return row["again"] is not None

    def _heard_since(self, person: int, at: str) -> bool:
        return bool(self.value("select 1 from inbox where person = ? and at > ?", person, at))

    def _last_told(self, person: int) -> str | None:
        sql = "select max(sent) from outbox where person = ? and priority = ? and state = 'sent'"
        found = self.value(sql, person, REMINDER)
        return None if found is None else str(found)

    def was_reminded(self, person: int) -> bool:
        """Whether a reminder ever reached this person."""
        return self._last_told(person) is not None

    def _told_today(self, to: Calling) -> bool:
        told = self._last_told(to.person)
        return told is not None and to.same_day(told)

    def _lay(self, to: Calling, wanted: Sequence[BikeDue], known: Known, write: Write) -> bool:
        self._enter(to, wanted, known, self._put(to, write(wanted)))
        return True

    def _put(self, to: Calling, message: Message) -> int:
        return self.put_out(to.at, to.person, message, to.stamp, n=0, priority="reminder", due=to.due)

    def _enter(self, to: Calling, wanted: Sequence[BikeDue], known: Known, outbox: int) -> None:
        """Each of these is said by that message; what was put off is put off no more."""
        for one in wanted:
            bike, kind, occasion = one.key
            row = known.get(one.key)
            if row is not None and row["outbox"] == outbox:
                continue
            of_kind = "person = ? and bike = ? and kind = ?"
            self.run(f"update reminders set again = null where {of_kind}", to.person, bike, kind)
            if row is None:
                self.add("reminders", person=to.person, bike=bike, kind=kind, occasion=occasion,
                         outbox=outbox, at=to.stamp)  # fmt: skip
            else:
                self.run("update reminders set outbox = ?, laid = laid + 1, at = ? where id = ?",
                         outbox, to.stamp, row["id"])  # fmt: skip

    def _replace(
        self, waiting: Mapping[str, Any], to: Calling, wanted: Sequence[BikeDue], known: Known, write: Write
    ) -> None:
        """What waits becomes what is due by now, to where he is met now; or it is taken back."""
        number, still = waiting["id"], {one.key for one in wanted}
        for key, row in known.items():
            if row["outbox"] == number and key not in still:
                self.run("delete from reminders where id = ?", row["id"])
        if wanted:
            message = write(wanted)
            same = (message.text, to.at.channel, to.at.chat, to.at.thread)
            if same == tuple(waiting[key] for key in ("text", "channel", "address", "thread")):
                self._keep_waiting(waiting, to)
                return
            new = self._put(to, message)
            self._enter(to, wanted, known, number)
            self.run("update reminders set outbox = ? where outbox = ?", new, number)
        self.run("delete from outbox where id = ?", number)

    def _keep_waiting(self, waiting: Mapping[str, Any], to: Calling) -> None:
        """One that was tried already keeps the pause of its channel, save in the night."""
        from bot.core.wall import is_decent

        paused = waiting["tries"] and (to.any_hour or is_decent(to.now, to.zone))
        if not paused and waiting["due"] != to.due:
            self.run("update outbox set due = ? where id = ?", to.due, waiting["id"])
