"""Data bases with the daemon's tables, for tests: SQLite and PostgreSQL, our schema and the package's.

Statements here quote names and mark places by '?', which SQLite understands as it is.
"""

from __future__ import annotations

import sqlite3
from contextlib import closing
from typing import Any


class Base:
    """The daemon's side of a data base. Close it when done."""

    def __init__(self, place: str) -> None:
        self.place = place
        self.is_lite = not place.startswith("postgresql:")
        self._connection: Any = None

    def ask(self, said: str, *given: Any) -> list[Any]:
        """Run one statement by itself; its rows as tuples."""
        if self.is_lite:
            with closing(sqlite3.connect(self.place, timeout=10, isolation_level=None)) as connection:
                connection.execute("pragma synchronous = off")
                return connection.execute(said, given).fetchall()
        cursor = self._connected().execute(said.replace("?", "%s"), given)
        return list(cursor.fetchall()) if cursor.description else []

    def _connected(self) -> Any:
        if self._connection is None:
            import psycopg

            self._connection = psycopg.connect(self.place, autocommit=True)
        return self._connection

    def close(self) -> None:
        if self._connection is not None:
            self._connection.close()
            self._connection = None

    def insert(self, table: str, **given: Any) -> None:
        names = ", ".join(f'"{name}"' for name in given)
        self.ask(f"insert into {table} ({names}) values ({', '.join('?' * len(given))})", *given.values())

    def hear(self, number: str, text: str, udh: str = "", own: str | None = None, **more: Any) -> None:
        """A row of the inbox; `own` is this part's own text, by default the text."""
        octets = (text if own is None else own).encode("utf-16-be", "surrogatepass").hex().upper()
        usual = {"ReceivingDateTime": "2026-11-25 09:06:58", "SMSCNumber": "+15550100", "RecipientID": ""}
        row = {"SenderNumber": number, "TextDecoded": text, "UDH": udh, "Text": octets}
        self.insert("inbox", **usual | row | more)

    def undone(self) -> list[int]:
        return [
            id for (id,) in self.ask("""select "ID" from inbox where "Processed" = 'false' order by "ID" """)
        ]


def fill(place: str, said: str) -> None:
    """The schema into an empty PostgreSQL data base, statement by statement as psql does it."""
    import psycopg

    with psycopg.connect(place, autocommit=True) as connection:
        connection.execute("drop schema public cascade; create schema public")
        # PostgreSQL has its language for procedures by itself, and refuses a second one.
        connection.execute(said.replace("CREATE LANGUAGE plpgsql;", ""))
