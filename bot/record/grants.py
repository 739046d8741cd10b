"""Who may see a case: its rider, mechanics who opened it by his code, and a group in which he began it.

A code is known here by its digest alone (HMAC-SHA-256 under a key that lies in a file of its own beside
the record and is in no backup), so that neither the record nor a copy of it opens a case. A wrong code is
counted, whoever tries it.
"""

from __future__ import annotations

import hashlib
import hmac
import os
import secrets
import stat
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from bot.record.opening import Opened
from bot.record.post import Address

KEY_BYTES = 32
CODE_DAYS = 7
TRIES_EACH, EACH = 5, timedelta(minutes=10)  # wrong codes of one person
TRIES_ALL, ALL = 50, timedelta(hours=1)  # wrong codes of everybody together
KEPT_TRIES = 20  # messages with a code that stay of one person
TRIED = "tried"  # stands in the place of a digest once it was held against what there is

# Who may see what is said in a case at a seat: `c` is the case, `s` the seat or whatever holds person,
# channel and chat. A group that the rider himself began the case in hears it; it holds nothing.
_HOLDS = """exists (select 1 from grants g where g.case_id = c.id and g.person = s.person
    and g.used is not null and g.revoked is null)"""
_PUBLIC = """(s.channel <> 'terminal'
    and not exists (select 1 from handles h where h.channel = s.channel and h.handle = s.chat)
    and exists (select 1 from turns t join inbox i on i.id = t.inbox
        where t.case_id = c.id and t.seq = 1 and i.person = c.person
        and i.channel = s.channel and i.chat = s.chat))"""
ADMITTED = f"(c.person = s.person or {_HOLDS} or {_PUBLIC})"

_LIVE = "code_digest is not null and used is null and revoked is null and until > ?"
_OF_HIM = "case_id = :case and person = :person"
_END_HOLD = (
    f"update grants set revoked = :at where {_OF_HIM} and used is not null and revoked is null",
    f"delete from seats where {_OF_HIM}",
    f"delete from current where {_OF_HIM}",
    f"delete from links where {_OF_HIM}",
    f"delete from outbox where {_OF_HIM} and state = 'due' and coalesce(inbox, 0) <> :but",
    # Questions that he has before him lose their buttons.
    f"""update outbox set closed = 1, edit_due = case when receipt = '' then edit_due else :at end
        where {_OF_HIM} and asked > 0 and closed = 0""",
)


class KeyTroubleError(Exception):
    """The key cannot be used; the text is a sentence for whoever runs the program."""


@dataclass(frozen=True)
class Held:
    """A case that a mechanic holds: what it is called on his bench, and since when he has it."""

    case: int
    number: int
    since: str


class Grants(Opened):
    """The verbs about codes, holds, and who may see what."""

    code_days: int = CODE_DAYS  # how long a code that nobody used stays good

    # --- the key ---------------------------------------------------------------------------

    @property
    def key_path(self) -> Path:
        """Where the key lies."""
        return self.path.with_name(self.path.name + ".key")

    def check_key(self) -> None:
        """Raise KeyTroubleError when there is a key and it cannot be used."""
        if self.key_path.exists():
            self._read_key()

    def digest_code(self, code: str) -> str:
        """What a code is known by. Raises KeyTroubleError."""
        return hmac.new(self._key(), code.encode(), hashlib.sha256).hexdigest()

    def _key(self) -> bytes:
        """The key, made at first use. One that is lost is made anew: no older code opens anything then."""
        if not self.key_path.exists():
            self._make_key()
        return self._read_key()

    def _make_key(self) -> None:
        """Whole or not at all, also when two programs make it at once: the first one's stays."""
        half = self.key_path.with_name(f"{self.key_path.name}.{secrets.token_hex(8)}")
        try:
            with open(os.open(half, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
                file.write(secrets.token_bytes(KEY_BYTES))
                file.flush()
                os.fsync(file.fileno())
            with suppress(FileExistsError):
                os.link(half, self.key_path)
        except OSError as err:
            raise KeyTroubleError(f"the key {self.key_path.name} cannot be made ({err.strerror})") from err
        finally:
            half.unlink(missing_ok=True)

    def _read_key(self) -> bytes:
        name = self.key_path.name
        try:
            mode = self.key_path.stat().st_mode
            key = self.key_path.read_bytes()
        except OSError as err:
            raise KeyTroubleError(f"the key {name} cannot be read ({err.strerror})") from err
        if mode & (stat.S_IRWXG | stat.S_IRWXO):
            raise KeyTroubleError(f"others can read the key {name}; run: chmod 600 {name}")
        if len(key) < KEY_BYTES:
            raise KeyTroubleError(f"the key {name} is not whole; remove it, and share anew")
        return key

    # --- codes -----------------------------------------------------------------------------

    def keep_code(self, case: int, rider: int, digest: str, at: str) -> None:
        """A new code of this case, by its digest; good for `code_days` days."""
        until = _later(at, timedelta(days=self.code_days))
        self.add("grants", case_id=case, made_by=rider, code_digest=digest, until=until, at=at)

    def unused_codes(self, case: int, at: str) -> tuple[str, ...]:
        """Until when each code of a case is good that nobody has used yet, the next to end first."""
        sql = f"select until from grants where case_id = ? and {_LIVE} order by until"
        return tuple(row["until"] for row in self.rows(sql, case, at))

    def revoke_codes(self, case: int, at: str) -> None:
        """No code that was made and not used opens this case any more."""
        self.run(
            """update grants set revoked = ? where case_id = ? and code_digest is not null
            and used is null and revoked is null""",
            *(at, case),
        )

    def case_of_code(self, digest: str, at: str) -> tuple[int, int] | None:
        """Number and case of the code of this digest, if it still opens one.

        Every code that is good is compared, each in the same time, so that nothing can be told by the clock.
        """
        found = None
        for row in self.rows(f"select id, case_id, code_digest from grants where {_LIVE}", at):
            if hmac.compare_digest(row["code_digest"], digest):
                found = (int(row["id"]), int(row["case_id"]))
        return found

    def use_code(self, code: int, person: int, at: str) -> None:
        """It has let this person in, and will let no one else in."""
        sql = "select max(number) from grants where person = ? and used is not null and revoked is null"
        number = int(self.value(sql, person) or 0) + 1
        self.run("update grants set person = ?, used = ?, number = ? where id = ?", person, at, number, code)
        self.shed = True

    # --- guessing --------------------------------------------------------------------------

    def count_guess(self, person: int, at: str) -> None:
        """One more wrong code; those that count no longer are dropped."""
        self.run("delete from guesses where at <= ?", _later(at, -ALL))
        self.add("guesses", person=person, at=at)

    def free_again(self, person: int, at: str) -> str:
        """When this person may try a code again after so many wrong ones; "" when he may now."""
        own = self._full(TRIES_EACH, EACH, at, "where person = ?", person)
        return max(own, self._full(TRIES_ALL, ALL, at))

    def _full(self, most: int, within: timedelta, at: str, where: str = "", *given: object) -> str:
        sql = f"select at from guesses {where} order by at desc limit 1 offset ?"
        oldest = self.value(sql, *given, most - 1)
        free = _later(str(oldest), within) if oldest else ""
        return free if free > at else ""

    def seal_no_more(self, inbox: int) -> None:
        """The digest of a code that came with a message goes."""
        self.run("update inbox set sealed = ? where id = ? and sealed <> ''", TRIED, inbox)

    def end_try(self, inbox: int, person: int) -> None:
        """A message with a code was dealt with: its digest goes, and so do old ones like it."""
        self.run("update inbox set sealed = ? where id = ?", TRIED, inbox)
        old = """select id from inbox where person = ?1 and sealed = 'tried' and state = 'done'
            and case_id is null order by id desc limit -1 offset ?2"""
        self.run(f"delete from outbox where state <> 'due' and inbox in ({old})", person, KEPT_TRIES)
        gone = "not exists (select 1 from outbox o where o.inbox = inbox.id)"
        self.run(f"delete from inbox where {gone} and id in ({old})", person, KEPT_TRIES)

    # --- holds -----------------------------------------------------------------------------

    def holds(self, case: int, person: int) -> bool:
        """Whether this person opened the case by a code and holds it still."""
        sql = f"select 1 from cases c join (select ? as person) s where c.id = ? and {_HOLDS}"
        return bool(self.value(sql, person, case))

    def held_by(self, person: int) -> tuple[Held, ...]:
        """The cases that a person holds, by their numbers."""
        rows = self.rows(
            """select case_id as "case", number, used as since from grants
            where person = ? and used is not null and revoked is null order by number""",
            person,
        )
        return tuple(Held(**row) for row in rows)

    def end_hold(self, case: int, person: int, at: str, but: int = -1) -> None:
        """He holds it no more: no seat, no way in, and nothing that waits for him of it is sent.

        `but`: the message whose turn this is; what that one says to him still goes out.
        """
        given = {"case": case, "person": person, "at": at, "but": but}
        self.run_each(_END_HOLD, given)

    # --- who may see what ------------------------------------------------------------------

    def may_see(self, case: int, person: int) -> bool:
        """Whether a case is this person's to see wherever he is: it is his own, or he holds it."""
        sql = f"""select 1 from cases c join (select ? as person) s
            where c.id = ? and (c.person = s.person or {_HOLDS})"""
        return bool(self.value(sql, person, case))

    def is_public(self, case: int, at: Address) -> bool:
        """Whether the rider himself began this case in the group of that address."""
        sql = f"select 1 from cases c join (select ? as channel, ? as chat) s where c.id = ? and {_PUBLIC}"
        return bool(self.value(sql, at.channel, at.chat, case))

    def is_group(self, at: Address) -> bool:
        """Whether others read along there.

        A private chat goes by its owner's own number; a terminal is its owner's.
        """
        if at.channel == "terminal":
            return False
        sql = "select 1 from handles where channel = ? and handle = ?"
        return self.value(sql, at.channel, at.chat) is None

    def note_place(self, person: int, at: Address) -> None:
        """Where this person talks now, if it is in private; by that one sees when he changes the channel."""
        if at.channel != "terminal" and not self.is_group(at):
            met = (at.channel, at.chat, at.thread)
            self.run("insert or replace into whereabouts values (?, ?, ?, ?)", person, *met)

    def places_of(self, case: int, person: int) -> tuple[Address, ...]:
        """Where what this person says goes to this case."""
        sql = "select channel, chat, thread from current where case_id = ? and person = ?"
        return tuple(Address(**row) for row in self.rows(sql, case, person))

    def go_home(self, at: Address, person: int) -> int | None:
        """What he says at this address goes to his own newest open case there again; that case, or None.

        In private it is all one on which channel he talked of it.
        """
        home = self.value(
            """select c.id from cases c join seats s on s.case_id = c.id and s.person = c.person
            where c.person = ?1 and c.ended = '' and (s.channel = ?2 and s.chat = ?3 and s.thread = ?4
                or exists (select 1 from handles h
                    where h.person = ?1 and h.channel = s.channel and h.handle = s.chat)
                and exists (select 1 from handles h
                    where h.person = ?1 and h.channel = ?2 and h.handle = ?3))
            order by c.id desc limit 1""",
            *(person, at.channel, at.chat, at.thread),
        )
        where = (at.channel, at.chat, at.thread)
        if home is None:
            self.run("delete from current where channel = ? and chat = ? and thread = ? and person = ?",
                     *where, person)  # fmt: skip
            return None
        self.run("insert or replace into current values (?, ?, ?, ?, ?)", *where, person, home)
        return int(home)


def _later(at: str, by: timedelta) -> str:
    moment = datetime.fromisoformat(at) + by
    return moment.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
