"""One person over several channels: what joining a number to an account moves, and giving it back.

- Two identities become one in one transaction: the account stays, all that the number's person had goes
  over, and his row goes. Entries are never changed, so each case knows him by the name that it always did
  (`called`), and that name is nobody else's for good (`former_names`).
- A number that is given back is a new person with nothing. What the old one has stays with him; nothing
  that waits for him goes to that number any more.
- A number proves nothing. One that was silent for long may be somebody else's by now: before anything of
  its past is shown or used, it is asked what only its rider knows (`returns`).
"""

from __future__ import annotations

import hashlib
import hmac
import json
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from bot.core.desk import fold_name
from bot.core.events import BikeRenamed, Entry
from bot.record.cases import NUMBERED, Cases, Person
from bot.record.grants import KeyTroubleError
from bot.record.post import BY_NUMBER, LATER, SECRET, Address
from bot.record.reminding import REMINDER, Reminding

CODE_MINUTES = 10
CODES_A_DAY = 3  # of one number
SILENT_DAYS = 182  # half a year; common practice, no source
DAY = timedelta(days=1)
NO_KEY = "no key"
_LETTERS = str.maketrans("0123456789abcdef", "abcdefghijklmnop")

# All that bears a person's number and goes to another as it is.
_GOES_OVER = (
    ("handles", "person"), ("bikes", "person"), ("cases", "person"), ("inbox", "person"),
    ("outbox", "person"), ("jobs", "person"), ("grants", "person"), ("grants", "made_by"),
    ("guesses", "person"), ("links", "person"), ("fetches", "person"), ("reminders", "person"),
    ("published", "person"), ("drafts", "person"), ("link_codes", "person"), ("former_names", "person"),
    ("texts", "person"),
)  # fmt: skip
# What the other may have too: then his own stays.
_OF_BOTH = ("seats", "current", "files")
_AT_ONE_CASE = """select 1 from cases c where
    c.person = :a and exists (select 1 from grants g where g.case_id = c.id and g.person = :b and {held})
    or c.person = :b and exists (select 1 from grants g where g.case_id = c.id and g.person = :a and {held})
    or exists (select 1 from grants g where g.case_id = c.id and g.person = :a and {held})
        and exists (select 1 from grants g where g.case_id = c.id and g.person = :b and {held})"""
_NO_PHOTO = "coalesce(json_extract(payload, '$.photo'), '') = ''"
_HELD = "g.used is not null and g.revoked is null"


@dataclass(frozen=True)
class LinkCode:
    """A code that is still good: whose number it joins."""

    id: int
    person: int
    number: str


@dataclass(frozen=True)
class Returning:
    """A number that is asked whose it is. `inbox`: the message that waits; `tries`: wrong answers."""

    person: int
    inbox: int
    tries: int


class Linking(Cases, Reminding):
    """The verbs about one person on several channels."""

    # --- numbers ---------------------------------------------------------------------------

    def hashed(self, number: str) -> str:
        """What a phone number is called in a log: eight letters that tell nothing without our key."""
        try:
            found = hmac.new(self._key(), f"number {number}".encode(), hashlib.sha256).hexdigest()
        except KeyTroubleError:
            return NO_KEY
        return found[:8].translate(_LETTERS)

    def numbers_of(self, person: int) -> tuple[str, ...]:
        """The phone numbers that lead to this person."""
        sql = "select handle from handles where channel = ? and person = ? order by handle"
        return tuple(row["handle"] for row in self.rows(sql, BY_NUMBER, person))

    def has_numbers(self) -> bool:
        """Whether anybody ever wrote by text message."""
        return self.value("select 1 from handles where channel = ?", BY_NUMBER) is not None

    def is_joined(self, person: int) -> bool:
        """Whether this person has a number and is known on another channel too."""
        rows = self.rows("select distinct channel from handles where person = ?", person)
        return len(rows) > 1 and any(row["channel"] == BY_NUMBER for row in rows)

    def former_names(self, person: int) -> tuple[str, ...]:
        """What this person was called before identities became one with his."""
        rows = self.rows("select name from former_names where person = ? order by at, name", person)
        return tuple(row["name"] for row in rows)

    # --- codes -----------------------------------------------------------------------------

    def keep_link_code(self, number: str, person: int, digest: str, at: str) -> None:
        """A new code of this number, by its digest; an older one of this person is void."""
        self.end_link_codes(person, at)
        until = _later(at, timedelta(minutes=CODE_MINUTES))
        self.add("link_codes", number=number, person=person, code_digest=digest, until=until, at=at)

    def link_codes_today(self, number: str, at: str) -> int:
        """How many codes this number got in the last 24 hours."""
        since = _later(at, -DAY)
        return int(self.value("select count(*) from link_codes where number = ? and at > ?", number, since))

    def number_of_code(self, digest: str, at: str) -> LinkCode | None:
        """The code of this digest, if it is still good; all of them are compared, each in the same time."""
        found = None
        sql = "select id, person, number, code_digest from link_codes where ended is null and until > ?"
        for row in self.rows(sql, at):
            if hmac.compare_digest(row["code_digest"], digest):
                found = LinkCode(row["id"], row["person"], row["number"])
        return found

    def end_link_codes(self, person: int, at: str) -> None:
        """No code of this person joins anything any more."""
        self.run("update link_codes set ended = ? where person = ? and ended is null", at, person)

    # --- two identities become one -----------------------------------------------------------

    def at_one_case(self, one: int, other: int) -> bool:
        """Whether one holds a case of the other, or both hold the same one."""
        return bool(self.db.execute(_AT_ONE_CASE.format(held=_HELD), {"a": one, "b": other}).fetchone())

    def join(self, gone: int, stays: int, at: str) -> tuple[tuple[str, str], ...]:
        """All that `gone` has is `stays`' from now on; bikes that got another nickname: old and new.

        Within a transaction; not for two who are at one case.
        """
        former, person = self.person(gone), self.person(stays)
        renamed = tuple(self._rename_bikes(gone, stays, at))
        self._keep_names(former, stays)
        self._take_back_reminder(gone)
        self._number_anew(gone, stays)
        told = json.dumps({**former.settings, **person.settings})
        self.run("update people set settings = ? where id = ?", told, stays)
        self.end_link_codes(gone, at)
        for table, column in _GOES_OVER:
            self.run(f"update {table} set {column} = ? where {column} = ?", stays, gone)
        for table in _OF_BOTH:
            self.run(f"update or ignore {table} set person = ? where person = ?", stays, gone)
            self.run(f"delete from {table} where person = ?", gone)
        self.run("delete from returns where person = ?", gone)
        self.run("delete from whereabouts where person = ?", gone)
        self.run("update acts set person = null where person = ?", gone)  # nobody is an admin by a number
        self.run("delete from people where id = ?", gone)
        self.add("former_names", fold=fold_name(former.name), name=former.name, person=stays, at=at)
        return renamed

    def _rename_bikes(self, gone: int, stays: int, at: str) -> Iterator[tuple[str, str]]:
        """A nickname that both have gets a number, also in the cases of that bike."""
        taken = {fold_name(bike.nickname) for who in (gone, stays) for bike in self.bikes_of(who)}
        for bike in self.bikes_of(gone):
            if self.find_bike(stays, bike.nickname) is None:
                continue
            number = 2
            while fold_name(f"{bike.nickname} {number}") in taken:
                number += 1
            new = f"{bike.nickname} {number}"
            taken.add(fold_name(new))
            self.run("update bikes set nickname = ?, fold = ? where id = ?", new, fold_name(new), bike.id)
            for line in self.cases_of_bike(bike.id):
                seq = self.state(line.id).next_seq
                self.append(line.id, [Entry(seq, at, "", "rider", BikeRenamed(nickname=new))])
            yield bike.nickname, new

    def _keep_names(self, gone: Person, stays: int) -> None:
        """In each case the person speaks on under the name that its entries know."""
        for case in self._cases_with(gone.id):
            name = self.known_in(case, gone.id).name
            self.run("delete from called where case_id = ? and person = ?", case, gone.id)
            if not self.holds(case, stays):
                self.run("insert or replace into called values (?, ?, ?)", case, stays, name)

    def _cases_with(self, person: int) -> list[int]:
        """Cases of this person, and those at which he sits or that he held at any time."""
        rows = self.rows(
            """select id from cases where person = ?1 union select case_id from seats where person = ?1
            union select case_id from grants where person = ?1
            union select case_id from called where person = ?1""",
            person,
        )
        return [row["id"] for row in rows]

    def _take_back_reminder(self, person: int) -> None:
        """A reminder that waits is laid out anew for the one who stays: at most one waits for a person."""
        waits = "select id from outbox where person = ? and priority = ? and state = 'due'"
        self.run(f"delete from reminders where outbox in ({waits})", person, REMINDER)
        self.run("delete from outbox where person = ? and priority = ? and state = 'due'", person, REMINDER)

    def _number_anew(self, gone: int, stays: int) -> None:
        """The cases that both hold stand on one bench: those of `gone` behind the others."""
        last = max((held.number for held in self.held_by(stays)), default=0)
        self.run(
            "update grants set number = number + ? where person = ? and used is not null and revoked is null",
            *(last, gone),
        )

    # --- on another channel --------------------------------------------------------------------

    def follow(self, at: Address, person: int) -> None:
        """His first words on another channel go to his own open case that he talked of last in private.

        Where none is open and he is in no case here, to the last one at all: it may be spoken to again.
        """
        last = self.value("select channel from whereabouts where person = ?", person)
        if last in (None, at.channel) or self.is_group(at):
            return
        case = self.talked_last(person)
        if case is None:
            self.take_up(at, person)
        else:
            self._lead(at, person, case)

    def take_up(self, at: Address, person: int) -> None:
        """Who is in no case at this address is in the one there that he talked of last in private, if any."""
        case = self.talked_last(person, ended=True) if self.current(at, person) is None else None
        if case is not None:
            self._lead(at, person, case)

    def _lead(self, at: Address, person: int, case: int) -> None:
        where = (at.channel, at.chat, at.thread)
        self.run("insert or replace into current values (?, ?, ?, ?, ?)", *where, person, case)

    def talked_last(self, person: int, ended: bool = False) -> int | None:
        """His own open case that he talked of last in private, or None; with `ended` any case of his."""
        found = self.value(
            """select c.id from inbox i join cases c on c.id = i.case_id
            where i.person = ?1 and c.person = ?1 and (c.ended = '' or ?2) and exists (select 1 from handles h
                where h.person = ?1 and h.channel = i.channel and h.handle = i.chat)
            order by i.id desc limit 1""",
            *(person, ended),
        )
        return None if found is None else int(found)

    # --- giving a number back --------------------------------------------------------------------

    def release(self, number: str, at: str, since: int | None = None) -> Person:
        """The number is a new person from now on, who has nothing; that person.

        `since`: the first message that is his already; without it, those that wait to be taken are.
        """
        old = self.known_as(BY_NUMBER, number)
        assert old is not None
        new = self.enter_person(NUMBERED, "rider", at)
        self.run("update handles set person = ? where channel = ? and handle = ?", new, BY_NUMBER, number)
        self.run("delete from returns where number = ?", number)
        self.end_link_codes(old.id, at)
        his = "channel = :by and chat = :number and person = :old and (state = 'new' or id >= :since)"
        given = {"by": BY_NUMBER, "number": number, "old": old.id, "new": new, "since": since or 1 << 62}
        self.db.execute(
            f"""update outbox set person = :new
            where person = :old and inbox in (select id from inbox where {his})""",
            given,
        )
        self.db.execute(f"update inbox set person = :new where {his}", given)
        self._leave(number, old.id)
        self._forget_talk(number)
        return self.person(new)

    def _forget_talk(self, number: str) -> None:
        """Nothing of what was texted to the number before is told, put again or answered any more."""
        self.run("update texts set asked = 0 where number = ?", number)
        self.run("update texts set state = 'dropped', body = '' where number = ? and state = 'new'", number)
        self.run("delete from numbers where number = ?", number)

    def _leave(self, number: str, person: int) -> None:
        """Nothing leads there any more; what waits for him goes where else he is met, or not at all."""
        here = {"by": BY_NUMBER, "number": number, "person": person}
        there = "channel = :by and chat = :number and person = :person"
        waits = "person = :person and channel = :by and address = :number and state = 'due'"
        reminders = f"select id from outbox where priority = {REMINDER} and {waits}"
        gone = [
            f"delete from current where {there}",
            f"delete from whereabouts where {there}",
            f"delete from reminders where outbox in ({reminders})",
            f"delete from outbox where {waits} and (priority = {REMINDER} or {SECRET})",
        ]
        elsewhere = self.private_address(person, but=BY_NUMBER)
        if elsewhere is None:
            gone += [f"delete from seats where {there}", f"delete from outbox where {waits}"]
        else:
            here |= {"channel": elsewhere.channel, "chat": elsewhere.chat, "thread": elsewhere.thread}
            to = "channel = :channel, {} = :chat, thread = :thread"
            gone += [f"update seats set {to.format('chat')} where {there}",
                     f"update outbox set due = at where {waits} and due = '{LATER}' and {_NO_PHOTO}",
                     f"update outbox set {to.format('address')} where {waits}"]  # fmt: skip
        for statement in gone:
            self.db.execute(statement, here)

    # --- a number that was silent ------------------------------------------------------------------

    def was_silent(self, number: str, person: int, at: str, before: int | None = None) -> bool:
        """Whether this person's last message from this number lies `SILENT_DAYS` or more back.

        `before`: a message that does not count, nor does a later one. False for one who never wrote.
        """
        last = self.value(
            """select at from inbox where channel = ? and chat = ? and person = ? and id < ?
            order by id desc limit 1""",
            *(BY_NUMBER, number, person, before or 1 << 62),
        )
        return last is not None and _later(str(last), timedelta(days=SILENT_DAYS)) <= at

    def came_at(self, inbox: int) -> str:
        """When a message was accepted."""
        return str(self.value("select at from inbox where id = ?", inbox))

    def returning(self, number: str) -> Returning | None:
        """What this number is asked now, or None."""
        row = self.row("select person, inbox, tries from returns where number = ?", number)
        return None if row is None else Returning(**row)

    def hold_back(self, number: str, person: int, inbox: int, at: str) -> None:
        """Ask the number whose it is; its message waits."""
        self.run("insert or replace into returns values (?, ?, ?, 0, ?)", number, person, inbox, at)

    def count_return(self, number: str) -> int:
        """One more wrong answer; how many there were."""
        self.run("update returns set tries = tries + 1 where number = ?", number)
        return int(self.value("select tries from returns where number = ?", number))

    def end_return(self, number: str, person: int, now: str) -> None:
        """The number is this person's still: what was kept back from it goes now."""
        self.run("delete from returns where number = ?", number)
        self.run(
            """update outbox set due = ? where channel = ? and address = ? and person = ? and due = ?
            and state = 'due' and """
            + _NO_PHOTO,
            *(now, BY_NUMBER, number, person, LATER),
        )

    def met_at(self, person: int, now: str, at: Address | None = None) -> Address | None:
        """Where this person can be told something of his: `at`, or where he talked last in private.

        Not by a number that was silent for long; then where else he is met, or None.
        """
        at = at or self.private_address(person)
        if at is None or at.channel != BY_NUMBER:
            return at
        unsure = self.returning(at.chat) is not None or self.was_silent(at.chat, person, now)
        return self.private_address(person, but=BY_NUMBER) if unsure else at


def _later(at: str, by: timedelta) -> str:
    moment = datetime.fromisoformat(at) + by
    return moment.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
