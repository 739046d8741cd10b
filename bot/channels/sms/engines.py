"""The two data bases that the daemon may keep its tables in: one transaction each, repeated while it is busy.

SQLite is opened anew for each transaction, so that a file that was replaced is never written to under its
old name's inode, and one that is missing is never made by us: an empty file would only hide the mistake.
"""

from __future__ import annotations

import json
import os
import sqlite3
import threading
from collections.abc import Callable, Mapping
from contextlib import closing
from pathlib import Path
from typing import Any, Literal, NoReturn, Protocol, TypeVar
from urllib.parse import urlsplit

TIMEOUT = 10.0  # seconds for one lock; the daemon holds it for milliseconds
TRIES = 3

T = TypeVar("T")
Rows = list[tuple[Any, ...]]
Ask = Callable[..., Rows]  # ask(statement, name=value, ...) inside a transaction
Mode = Literal["read", "write", "trial"]  # what is written on trial is not kept


class GatewayError(Exception):
    """The daemon's tables cannot be used: one sentence that says what to do."""


class Engine(Protocol):
    """A data base with the daemon's tables."""

    def transact(self, work: Callable[[Ask], T], mode: Mode = "write") -> T:
        """All that `work` asks in one transaction. It may be begun again."""

    def close(self) -> None: ...


class Lite:
    """An SQLite file."""

    def __init__(self, path: str) -> None:
        self.path = Path(path).absolute()

    def transact(self, work: Callable[[Ask], T], mode: Mode = "write") -> T:
        for tried in range(1, TRIES + 1):
            try:
                return self._try(work, mode)
            except sqlite3.Error as error:
                busy = getattr(error, "sqlite_errorcode", 0) & 0xFF in (
                    sqlite3.SQLITE_BUSY,
                    sqlite3.SQLITE_LOCKED,
                )
                if not busy or tried == TRIES:
                    self._refuse(error, busy)
        raise AssertionError("unreachable")

    def _try(self, work: Callable[[Ask], T], mode: Mode) -> T:
        with closing(self._open()) as connection:
            connection.execute("begin" if mode == "read" else "begin immediate")
            done = work(lambda said, **given: connection.execute(said.lite, _lite(given)).fetchall())
            connection.execute("rollback" if mode == "trial" else "commit")
        return done

    def _open(self) -> sqlite3.Connection:
        if not self.path.exists():
            raise GatewayError(
                f"There is no file {self.path}: make it with the sqlite.sql that comes with gammu,"
                " or say where the daemon's data base is."
            )
        connection = sqlite3.connect(
            f"{self.path.as_uri()}?mode=rw", uri=True, timeout=TIMEOUT, isolation_level=None
        )
        # What a phone sends is not always text, and one bad row must not hide those behind it.
        connection.text_factory = lambda octets: octets.decode("utf-8", "replace")
        return connection

    def _refuse(self, error: sqlite3.Error, busy: bool) -> NoReturn:
        if busy:
            raise GatewayError(
                f"{self.path} has been locked for {TIMEOUT * TRIES:.0f} seconds: end the program that"
                " writes to it without an end; nothing is lost meanwhile."
            ) from error
        raise GatewayError(f"{self.path} cannot be used ({error}): {_advice(error)}.") from error

    def close(self) -> None:
        """Nothing is held open between transactions."""


def _lite(given: Mapping[str, Any]) -> dict[str, Any]:
    """Booleans as the daemon's words, lists as JSON."""
    return {name: _lite_value(value) for name, value in given.items()}


def _lite_value(value: Any) -> Any:
    if isinstance(value, bool):
        return "true" if value else "false"
    return json.dumps(value) if isinstance(value, list) else value


def _advice(error: sqlite3.Error) -> str:
    code = getattr(error, "sqlite_errorcode", 0) & 0xFF
    if code in (sqlite3.SQLITE_NOTADB, sqlite3.SQLITE_CORRUPT):
        return "put it aside and make a new one with the sqlite.sql that comes with the package gammu"
    if code in (sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_PERM):
        return "let this program write to it and to the folder that it is in"
    if code in (sqlite3.SQLITE_FULL, sqlite3.SQLITE_IOERR):
        return "see whether its disk is full or broken"
    return "see whether it was made with the sqlite.sql of gammu-smsd, schema version 17"


class Postgres:
    """A PostgreSQL data base; connected when first needed, and anew after the connection broke."""

    def __init__(self, address: str) -> None:
        try:
            import psycopg
        except ImportError as error:
            raise GatewayError(
                "For a PostgreSQL data base install 'sumpline[sms-postgres]', or name an SQLite file."
            ) from error
        self._library, self._address = psycopg, address
        self._connection: Any = None
        self._lock = threading.Lock()  # the threads of one program share the connection

    @property
    def name(self) -> str:
        """The address without user and password."""
        try:
            parts = urlsplit(self._address)
            return f"{parts.hostname or 'this machine'}:{parts.port or 5432}{parts.path}"
        except ValueError:
            return "(an address that cannot be read)"

    def transact(self, work: Callable[[Ask], T], mode: Mode = "write") -> T:
        with self._lock:
            for tried in range(1, TRIES + 1):
                try:
                    return self._try(work, mode)
                except (self._library.OperationalError, self._library.InterfaceError) as error:
                    self._drop()
                    if tried == TRIES:
                        self._refuse(error, "see whether the server runs and lets this program in")
                except self._library.Error as error:
                    self._refuse(error, "see whether it was made with the pgsql.sql of gammu-smsd")
            raise AssertionError("unreachable")

    def _try(self, work: Callable[[Ask], T], mode: Mode) -> T:
        connection = self._connected()
        with connection.transaction(force_rollback=mode == "trial"):
            return work(lambda said, **given: _fetched(connection.execute(said.postgres, given)))

    def _connected(self) -> Any:
        if self._connection is None or self._connection.closed:
            limit = f"{TIMEOUT * 1000:.0f}"
            self._connection = self._library.connect(
                self._address,
                autocommit=True,
                connect_timeout=int(TIMEOUT),
                options=f"-c lock_timeout={limit} -c statement_timeout={limit}",
                client_encoding="utf-8",
            )
        return self._connection

    def _refuse(self, error: Exception, advice: str) -> NoReturn:
        """What the library says of an address may have the password in it."""
        known = self._connection is not None or isinstance(error, self._library.OperationalError)
        said = str(error).partition("\n")[0] if known else "its address cannot be understood"
        raise GatewayError(f"The data base {self.name} cannot be used ({said}): {advice}.") from (
            error if known else None
        )

    def _drop(self) -> None:
        if self._connection is not None:
            self._connection.close()
            self._connection = None

    def close(self) -> None:
        with self._lock:
            self._drop()


def _fetched(cursor: Any) -> Rows:
    return list(cursor.fetchall()) if cursor.description else []


def engine_of(place: str) -> Engine:
    """The data base at a path, or at an address that begins with postgresql://."""
    if place.startswith(("postgresql://", "postgres://")):
        return Postgres(place)
    return Lite(os.path.expanduser(place))
