"""The record: every verb that reads or writes it, backing it up, and erasing a rider from it.

How a rider is erased, so that nothing of him can be read from the file afterwards:
1. One transaction enters him in `erasing` (which alone lets the triggers pass), then removes his
   cases, bikes, messages, files and himself. What he found as a mechanic in other riders' cases
   stays, for their safety hangs on it, but without his name and words: those entries are written anew.
   He goes under every name that he ever had, with what he told from a number that is joined to him.
2. Freed pages are overwritten (secure_delete), the write-ahead file is emptied, VACUUM rebuilds
   the database, and files without an owner are unlinked.
3. Only then does he leave `erasing`. A program killed in between finds the row at its next start
   and takes up at step 2.
Numbers of people are never used again. Backups are the operator's to destroy.
"""

from __future__ import annotations

import json
import os
import re
import shutil
import sqlite3
import time
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from bot.core.events import EVENT, Entry, HoldEnded, WasHeard
from bot.record.joblist import JobList
from bot.record.linking import Linking
from bot.record.network import digest_of
from bot.record.opening import BUSY_SECONDS, RecordBusyError, RecordError, in_words
from bot.record.outcomes import Outcomes
from bot.record.post import SECRET
from bot.record.publishing import Publishing
from bot.record.reminding import Reminding
from bot.record.shown import Shown
from bot.record.texting import Texting

NO_NAME = "someone"  # stands where an erased person's name stood
_OWN_WORDS = ("text", "words", "file")  # keys of an event that hold what its speaker said or showed
_NAMES = ("who", "seat", "holder")  # keys that hold a person's name

_HIS_CASES = "(select id from cases where person = :who)"
_HIS_BIKES = "(select id from bikes where person = :who)"
_ERASE = (
    f"delete from reminders where person = :who or bike in {_HIS_BIKES}",
    f"delete from intervals where bike in {_HIS_BIKES}",
    f"delete from outbox where person = :who or case_id in {_HIS_CASES}",
    # What his words led to for others, a stop say, is still theirs to get.
    "update outbox set inbox = null where inbox in (select id from inbox where person = :who)",
    "delete from returns where person = :who",
    f"delete from inbox where person = :who or case_id in {_HIS_CASES}",
    f"delete from jobs where person = :who or case_id in {_HIS_CASES}",
    f"delete from grants where person = :who or case_id in {_HIS_CASES}",
    "delete from guesses where person = :who",
    f"delete from turns where case_id in {_HIS_CASES}",
    f"delete from entries where case_id in {_HIS_CASES}",
    f"delete from links where person = :who or case_id in {_HIS_CASES}",
    f"delete from seats where person = :who or case_id in {_HIS_CASES}",
    f"delete from current where person = :who or case_id in {_HIS_CASES}",
    f"delete from book where bike in {_HIS_BIKES} or case_id in {_HIS_CASES}",
    f"delete from readings where case_id in {_HIS_CASES}"
    f" or meter in (select id from meters where bike in {_HIS_BIKES})",
    f"delete from meters where bike in {_HIS_BIKES}",
    f"delete from called where person = :who or case_id in {_HIS_CASES}",
    f"update acts set case_id = null where case_id in {_HIS_CASES}",
    "delete from cases where person = :who",
    "delete from bikes where person = :who",
    "delete from files where person = :who",
    "delete from updates where (channel, handle) in"
    " (select channel, handle from handles where person = :who)",
    "delete from fetches where person = :who",
    "delete from texts where person = :who"
    " or number in (select handle from handles where person = :who and channel = 'sms')",
    "delete from numbers where number in"
    " (select handle from handles where person = :who and channel = 'sms')",
    # A private chat goes by its owner's own number.
    "delete from chats where (channel, chat) in (select channel, handle from handles where person = :who)",
    "delete from handles where person = :who",
    "delete from link_codes where person = :who",
    "delete from whereabouts where person = :who",
    "delete from former_names where person = :who",
    "update published set person = null where person = :who",
    "update acts set person = null where person = :who",
    "delete from drafts where person = :who",
    "delete from people where id = :who",
)


# A copy holds no secret that was on its way when it was made; `stays` is what is kept of one.
_UNTELL = (
    f"""update outbox set text = json_extract(payload, '$.stays'), short = '',
        payload = json_set(payload, '$.text', json_extract(payload, '$.stays'), '$.short', '',
            '$.kind', 'info', '$.stays', '') where {SECRET}""",
    "update jobs set data = '{}', state = 'cancelled' where kind = 'share' and state = 'new'",
)


class Store(Outcomes, Linking, Publishing, Shown, Reminding, Texting, JobList):
    """An open record. Close it when done; one connection belongs to one thread."""

    def __init__(self, path: str | Path) -> None:
        super().__init__(path)
        if self.value("select 1 from erasing") is not None:
            self._scrub()

    @property
    def folder(self) -> Path:
        """Where photos lie, each under its digest."""
        return self.path.with_name(self.path.name + ".files")

    # --- files -----------------------------------------------------------------------------

    def keep_file(self, person: int, data: bytes, kind: str, at: str, original: str = "") -> str:
        """Keep a photo or other file of this person; its SHA-256 digest in hex.

        `original`: the digest of what it was before it was made smaller, "" when it is as it came.
        """
        name = digest_of(data)
        with self.writing():  # the lock keeps another program from sweeping the file away before its row
            self.folder.mkdir(mode=0o700, exist_ok=True)
            if not (self.folder / name).exists():
                _write_whole(self.folder / name, data)
            self.run(
                """insert or ignore into files (digest, person, kind, size, at, original)
                values (?, ?, ?, ?, ?, ?)""",
                *(name, person, kind, len(data), at, original),
            )
        return name

    def file(self, digest: str) -> Path:
        """Where a kept file lies. KeyError when it is not kept."""
        if self.value("select 1 from files where digest = ?", digest) is None:
            raise KeyError(digest)
        return self.folder / digest

    def _sweep(self) -> None:
        """Unlink files that no one owns any more."""
        with self.writing():
            owned = {row["digest"] for row in self.rows("select digest from files")}
            for path in self.folder.glob("*") if self.folder.is_dir() else ():
                if path.name not in owned:
                    path.unlink(missing_ok=True)

    # --- backup ----------------------------------------------------------------------------

    def backup(self, path: str | Path) -> None:
        """A consistent copy of this file, and of its photos, while others go on writing.

        Never writes over a file: RecordError when there is one.
        """
        target = Path(path)
        if target.exists():
            raise RecordError(f"{target} is there already; name a new file for the copy.")
        half = target.with_name(target.name + ".part")
        try:
            self._copy_to(half)
            os.replace(half, target)
            self._copy_files(target.with_name(target.name + ".files"))
        except (OSError, sqlite3.Error) as err:
            raise RecordError(f"The copy could not be written to {target}: {err}.") from err
        finally:
            half.unlink(missing_ok=True)

    def _copy_to(self, path: Path) -> None:
        path.unlink(missing_ok=True)
        os.close(os.open(path, os.O_RDWR | os.O_CREAT | os.O_EXCL, 0o600))
        copy = sqlite3.connect(path)
        try:
            self.db.conn.backup(copy)
            copy.execute("pragma journal_mode = delete").fetchall()  # one file, no companions
            copy.execute("pragma secure_delete = on").fetchall()
            for statement in _UNTELL:
                copy.execute(statement)
            copy.commit()
        finally:
            copy.close()

    def _copy_files(self, folder: Path) -> None:
        digests = [row["digest"] for row in self.rows("select distinct digest from files")]
        if digests:
            folder.mkdir(mode=0o700, exist_ok=True)
        for digest in digests:
            shutil.copyfile(self.folder / digest, folder / digest)

    # --- erasing ---------------------------------------------------------------------------

    def erase(self, person: int) -> None:
        """Take a rider out of the record for good. KeyError when there is none of that number.

        RecordBusyError when another program kept the file from being scrubbed: he is gone from the
        tables, and the next start finishes the scrubbing.
        """
        names = [self.person(person).name, *self.former_names(person)]
        with self.writing():
            self.add("erasing", person=person)
            for case in self._guest_cases(person):
                for name in names:
                    self._unname(case, name)
            self.run_each(_ERASE, {"who": person})
        self._scrub()

    def _guest_cases(self, person: int) -> list[int]:
        """Other riders' cases that he sits at, or held at any time."""
        rows = self.rows(
            """select c.id from cases c where c.person <> ?1 and (
                exists (select 1 from seats s where s.case_id = c.id and s.person = ?1)
                or exists (select 1 from grants g where g.case_id = c.id and g.person = ?1))""",
            person,
        )
        return [row["id"] for row in rows]

    def _unname(self, case: int, name: str) -> None:
        """Write a case's entries anew without this person's name, and without his own words."""
        named = _calls_by_name(self.entries(case), name)
        for seq in named:
            self._unname_message(case, seq, name)
        entries = [_without(entry, name, entry.seq in named) for entry in self.entries(case)]
        self.run("delete from entries where case_id = ?", case)
        self.append(case, entries)
        self.run(
            """update outbox set text = replace(text, ?, ?), short = replace(short, ?, ?),
            payload = replace(payload, ?, ?) where case_id = ?""",
            *(name, NO_NAME, name, NO_NAME, _as_json(name), NO_NAME, case),
        )

    def _unname_message(self, case: int, seq: int, name: str) -> None:
        """The message whose turn began with this entry, without the name that it called."""
        sql = """select i.id, i.heard from turns t join inbox i on i.id = t.inbox
            where t.case_id = ? and t.seq = ?"""
        for row in self.rows(sql, case, seq):
            heard = json.loads(row["heard"])
            told = json.dumps({**heard, "text": _uncalled(heard["text"], name)}, ensure_ascii=False)
            self.run("update inbox set heard = ? where id = ?", told, row["id"])

    def _scrub(self) -> None:
        """Leave no trace in the pages, the write-ahead file or the folder of files."""
        with in_words(self.path):
            self.path.with_name(self.path.name + ".history").unlink(missing_ok=True)  # what was typed here
            self._sweep()
            self._empty_log()
            self.run("vacuum")
            with self.writing():
                self.run("delete from erasing")
            self._empty_log()

    def _empty_log(self) -> None:
        until = time.monotonic() + BUSY_SECONDS
        while self.value("pragma wal_checkpoint(truncate)"):
            if time.monotonic() > until:
                raise RecordBusyError(
                    "The rider is erased, but another program still holds old pages; "
                    "close it and start again to finish."
                )
            time.sleep(0.05)


def _write_whole(path: Path, data: bytes) -> None:
    """All of it or nothing, on the disk before the row that names it is committed."""
    half = path.with_name(path.name + ".part")
    with open(half, "wb") as file:
        file.write(data)
        file.flush()
        os.fsync(file.fileno())
    os.replace(half, path)


def _as_json(name: str) -> str:
    return json.dumps(name, ensure_ascii=False)[1:-1]


def _calls_by_name(entries: Sequence[Entry], name: str) -> frozenset[int]:
    """Entries in which another one was heard to take the case back from him, by name."""
    found, heard = set(), entries[0] if entries else None
    for entry in entries:
        if isinstance(entry.event, WasHeard):
            heard = entry
        elif isinstance(entry.event, HoldEnded) and entry.event.holder == name and heard is not None:
            found.add(heard.seq)
    return frozenset(found)


def _uncalled(text: str, name: str) -> str:
    return re.sub(re.escape(name), NO_NAME, text, flags=re.IGNORECASE)


def _without(entry: Entry, name: str, called: bool) -> Entry:
    """The entry without his name and words. `called`: he is called by name in what another said."""
    his = entry.who == name
    told = _strip(entry.event.model_dump(), name, his)
    if called and not his:
        told["heard"]["text"] = _uncalled(told["heard"]["text"], name)
    return replace(entry, who=NO_NAME if his else entry.who, event=EVENT.validate_python(told))


def _strip(value: Any, name: str, his: bool) -> Any:
    if isinstance(value, dict):
        return {key: _strip_key(key, held, name, his) for key, held in value.items()}
    if isinstance(value, (list, tuple)):
        return tuple(_strip(held, name, his) for held in value)
    return value


def _strip_key(key: str, held: Any, name: str, his: bool) -> Any:
    if his and key in _OWN_WORDS:
        return ""
    if key in _NAMES and held == name:
        return NO_NAME
    return _strip(held, name, his)
