"""One database file: opened, guarded, migrated, written to in one transaction at a time."""

from __future__ import annotations

import os
import sqlite3
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from sqlite_utils import Database

from bot.record.migrations import APPLICATION, MIGRATIONS, NAMES

BUSY_SECONDS = 10.0


class RecordError(Exception):
    """Something a person can put right; the text is a whole sentence for him."""


class NotARecordError(RecordError):
    """The file is something else, or cannot be opened."""


class NewerRecordError(RecordError):
    """The file was written by a later version."""


class RecordBusyError(RecordError):
    """Another program holds the file for too long."""


# Not the fault of what was being done: trying again later can help.
FILE_FAULTS = (sqlite3.OperationalError, RecordError)


@contextmanager
def in_words(path: Path) -> Iterator[None]:
    """Turn the database's own errors about the file itself into sentences."""
    try:
        yield
    except sqlite3.OperationalError as err:
        if "locked" in str(err) or "busy" in str(err):
            raise RecordBusyError(f"{path} is in use by another program; close it and try again.") from err
        if "full" in str(err):
            raise RecordError(f"The disk of {path} is full; make room and try again.") from err
        if "readonly" in str(err):
            raise NotARecordError(
                f"{path} cannot be written to; choose another place or allow writing."
            ) from err
        if "unable to open" in str(err):
            raise NotARecordError(f"{path} cannot be opened; check that it is a file you may write.") from err
        raise
    except sqlite3.DatabaseError as err:
        if "not a database" in str(err) or "malformed" in str(err):
            raise NotARecordError(f"{path} is not a Sumpline record, or it is damaged.") from err
        raise


class Opened:
    """An open file. Reads need no transaction; everything that writes does so within `writing`."""

    def __init__(self, path: str | Path) -> None:
        """Open or make the file at `path`. Raises RecordError with a sentence for people."""
        self.path = Path(path)
        self.shed = False  # something was blanked that is to leave no trace in the write-ahead file either
        _make_private(self.path)
        with in_words(self.path):
            conn = sqlite3.connect(self.path, timeout=BUSY_SECONDS, isolation_level=None)
            self.db = Database(conn, recursive_triggers=True, execute_plugins=False)
            try:
                self._prepare()
            except BaseException:
                conn.close()
                raise

    def _prepare(self) -> None:
        mine, empty = self._whose()
        if not mine and not empty:
            raise NotARecordError(f"{self.path} is a database of another program; name another file.")
        _switch_to_wal(self.db)
        for pragma in ("synchronous = full", "foreign_keys = on", "secure_delete = on"):
            self.db.execute(f"pragma {pragma}")
        self._migrate(mine)

    def _whose(self) -> tuple[bool, bool]:
        """Whether the file is ours, and whether it is empty; seen at one moment, for others may be at it."""
        self.db.execute("begin")
        mine = self.value("pragma application_id") == APPLICATION
        empty = not self.value("select count(*) from sqlite_master")
        self.db.execute("rollback")
        return mine, empty

    def _migrate(self, mine: bool) -> None:
        done = {m.name for m in MIGRATIONS.applied(self.db)} if mine else set()
        if done - NAMES:
            raise NewerRecordError(f"{self.path} was written by a later version; install that version.")
        if done != NAMES:  # two programs may meet a new file at once: the second finds nothing to do
            with self.writing():
                MIGRATIONS.apply(self.db)

    def close(self) -> None:
        """Let go of the file."""
        self.db.conn.close()

    @contextmanager
    def writing(self) -> Iterator[None]:
        """One transaction, begun by taking the write lock; inside another it is a part of that.

        `Database.atomic` alone begins without the lock: two programs could then both read a case,
        and the later one would fail when it comes to write.
        """
        if self.db.conn.in_transaction:
            with self.db.atomic():
                yield
        else:
            with in_words(self.path), self._committed():
                yield

    @contextmanager
    def _committed(self) -> Iterator[None]:
        self.db.execute("begin immediate")
        try:
            yield
            self.db.execute("commit")
        except BaseException:
            if self.db.conn.in_transaction:  # a full disk has already rolled back
                self.db.execute("rollback")
            raise
        if self.shed:
            self._shed()

    def _shed(self) -> None:
        """Empty the write-ahead file; while another program reads from it, after a later transaction."""
        waits = self.value("pragma busy_timeout")
        self.value("pragma busy_timeout = 0")
        try:
            self.shed = bool(self.value("pragma wal_checkpoint(truncate)"))
        finally:
            self.value(f"pragma busy_timeout = {waits}")

    def rows(self, sql: str, *given: Any) -> list[dict[str, Any]]:
        """All rows of a query as dictionaries."""
        cursor = self.db.execute(sql, given)
        names = [d[0] for d in cursor.description]
        return [dict(zip(names, row, strict=True)) for row in cursor]

    def row(self, sql: str, *given: Any) -> dict[str, Any] | None:
        """The first row of a query, or None."""
        found = self.rows(sql, *given)
        return found[0] if found else None

    def value(self, sql: str, *given: Any) -> Any:
        """The first column of the first row, or None."""
        found = self.db.execute(sql, given).fetchone()
        return found[0] if found else None

    def add(self, table: str, **columns: Any) -> int:
        """Insert one row and return its number. `table` and the names are ours, never a person's."""
        names = ", ".join(columns)
        marks = ", ".join("?" for _ in columns)
        cursor = self.run(f"insert into {table} ({names}) values ({marks})", *columns.values())
        return int(cursor.lastrowid or 0)

    def run(self, sql: str, *given: Any) -> sqlite3.Cursor:
        """Carry out one statement that gives no rows."""
        return self.db.execute(sql, given)

    def count_fault(
        self, table: str, id: int, fault: str, limit: int, column: str = "fault", given_up: str = "dead"
    ) -> bool:
        """Count one more failure of a waiting row; True once it is not to be tried again.

        `fault` goes to that column; it names no person and quotes no text. What was done stays done,
        whatever failed after that.
        """
        self.run(
            f"""update {table} set tries = tries + 1, {column} = ?,
            state = case when tries + 1 >= ? then ? else 'new' end where id = ? and state = 'new'""",
            *(fault, limit, given_up, id),
        )
        return bool(self.value(f"select state <> 'new' from {table} where id = ?", id))

    def run_each(self, statements: Sequence[str], given: dict[str, Any]) -> None:
        """Carry out statements that share named values."""
        for sql in statements:
            self.db.execute(sql, given)


def _make_private(path: Path) -> None:
    """Make folder and file for the owner's eyes only; what is there already stays as it is."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        os.close(os.open(path, os.O_RDWR | os.O_CREAT, 0o600))
    except OSError as err:
        raise NotARecordError(f"{path} cannot be opened for writing: {err.strerror}.") from err


def _switch_to_wal(db: Database) -> None:
    """Changing the journal does not wait for others by itself, so it is tried again for a while."""
    until = time.monotonic() + BUSY_SECONDS
    while True:
        try:
            db.execute("pragma journal_mode = wal").fetchall()
            return
        except sqlite3.OperationalError:
            if time.monotonic() > until:
                raise
            time.sleep(0.02)
