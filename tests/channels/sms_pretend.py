"""A pretend gammu-smsd for tests of talks: it works on the same SQLite file, at once and without a modem.

What it writes is what gammu-smsd 1.42.0 wrote on the same occasion, seen with its dummy phone: of a message
in parts the first row carries the whole text and the others an empty one, each beside its own octets; a lone
part carries its own; after a kill the same rows come again. A refusal leaves the refused part in `sentitems`
and takes the message off `outbox`.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, NamedTuple

from bot.core.segments import is_plain, septets, split
from tests.channels.sms_schema import make

CENTRE = "+15550100"


class Sent(NamedTuple):
    """A message as the phone of whoever got it shows it."""

    number: str
    text: str
    parts: int


def udh(reference: int, total: int, part: int, wide: bool = False) -> str:
    """The heading of a part in hex; `wide`: with a 16-bit reference."""
    return (
        f"060804{reference:04X}{total:02X}{part:02X}"
        if wide
        else f"050003{reference:02X}{total:02X}{part:02X}"
    )


class PretendDaemon:
    """Whatever it does is done when the call returns."""

    def __init__(self, path: str | Path) -> None:
        self.path = Path(path)
        if not self.path.exists():
            make(self.path)
        self.last: list[dict[str, Any]] = []  # the rows that the last message came as
        self._reference = 0
        self._refusals: list[int] = []

    def ask(self, said: str, *given: Any) -> list[Any]:
        with closing(sqlite3.connect(self.path, timeout=10)) as connection:
            connection.row_factory = sqlite3.Row
            connection.execute("pragma synchronous = off")  # nobody cuts the power in a test
            with connection:
                return connection.execute(said, given).fetchall()

    # --- in ----------------------------------------------------------------------------------------------

    def receive(self, number: str, text: str, stamp: str | None = None) -> list[int]:
        """A message comes, in as many parts as its length asks for; the ids of its rows."""
        parts = split(text).parts
        if len(parts) == 1:
            return self.write([_row(number, text, text, "", stamp)])
        self._reference = (self._reference + 1) % 256
        headed = [udh(self._reference, len(parts), n) for n in range(1, len(parts) + 1)]
        said = [text, *[""] * (len(parts) - 1)]
        return self.write([_row(number, *row, stamp) for row in zip(said, parts, headed, strict=True)])

    def receive_part(self, number: str, text: str, heading: str, stamp: str | None = None) -> list[int]:
        """A part whose others never came, or not yet."""
        return self.write([_row(number, text, text, heading, stamp)])

    def again(self, rows: Sequence[dict[str, Any]] | None = None) -> list[int]:
        """It was killed before it had deleted these from the card: by default all of the last message."""
        return self.write(list(self.last if rows is None else rows))

    def part_again(self, part: int) -> list[int]:
        """It was killed when all but this part of the last message were deleted: that one comes by itself."""
        row = self.last[part - 1]
        return self.write([{**row, "TextDecoded": bytes.fromhex(row["Text"]).decode("utf-16-be")}])

    def write(self, rows: list[dict[str, Any]]) -> list[int]:
        ids = []
        for row in rows:  # one commit each, as the daemon does it
            names = ", ".join(row)
            marks = ", ".join("?" * len(row))
            self.ask(f"insert into inbox ({names}) values ({marks})", *row.values())
            ids.append(self.ask("select max(ID) from inbox")[0][0])
        self.last = rows
        return ids

    # --- out ---------------------------------------------------------------------------------------------

    def refuse(self, n: int, code: int = 38) -> None:
        """The network refuses the next n messages; 38 is 'network out of order' (3GPP TS 27.005)."""
        self._refusals += [code] * n

    def send_all(self) -> list[Sent]:
        """All that waits is sent or given up; what was sent, as it is read on the other side."""
        sent = []
        for row in self.ask("select * from outbox order by ID"):
            parts = [row, *self._more(row["ID"])]
            code = self._refusals.pop(0) if self._refusals else None
            for place, part in enumerate(parts if code is None else parts[:1], 1):
                self._put_away(row, part, place, code)
            self.ask("delete from outbox where ID = ?", row["ID"])
            self.ask("delete from outbox_multipart where ID = ?", row["ID"])
            if code is None:
                sent.append(Sent(row["DestinationNumber"], _shown(parts), len(parts)))
        return sent

    def deliver(self, state: str = "DeliveryOK") -> None:
        """The reports come that were asked for."""
        self.ask(
            "update sentitems set Status = ?, DeliveryDateTime = datetime('now') where Status = 'SendingOK'",
            state,
        )

    def beat(self) -> None:
        """It writes that it lives."""
        self.ask("delete from phones")
        self.ask(
            """insert into phones (ID, IMEI, IMSI, Client, TimeOut)
            values ('', '999999999999999', '', 'pretend', datetime('now', '+10 seconds'))"""
        )

    def _more(self, id: int) -> list[Any]:
        return self.ask("select * from outbox_multipart where ID = ? order by SequencePosition", id)

    def _put_away(self, row: Any, part: Any, place: int, code: int | None) -> None:
        status = "SendingOK" if row["DeliveryReport"] == "yes" else "SendingOKNoReport"
        given = {
            "ID": row["ID"], "SequencePosition": place, "CreatorID": row["CreatorID"], "SenderID": "",
            "Status": status if code is None else "SendingError", "StatusCode": -1 if code is None else code,
            "TPMR": 255 if code is None else -1, "DestinationNumber": row["DestinationNumber"],
            "Text": "", "TextDecoded": part["TextDecoded"], "UDH": part["UDH"] or "",
            "Coding": part["Coding"],
        }  # fmt: skip
        marks = ", ".join("?" * len(given))
        self.ask(f"insert into sentitems ({', '.join(given)}) values ({marks})", *given.values())


def _row(number: str, text: str, own: str, heading: str, stamp: str | None) -> dict[str, Any]:
    at = stamp or datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    return {
        "ReceivingDateTime": at.replace("T", " ").removesuffix("Z"), "SenderNumber": number, "UDH": heading,
        "Text": own.encode("utf-16-be", "surrogatepass").hex().upper(), "TextDecoded": text,
        "Coding": "Default_No_Compression" if is_plain(own) else "Unicode_No_Compression",
        "SMSCNumber": CENTRE, "RecipientID": "",
    }  # fmt: skip


def _shown(parts: Sequence[Any]) -> str:
    """What a phone makes of the parts: they must be told by their headings, and fit."""
    if len(parts) > 1:
        heads = [part["UDH"] for part in parts]
        reference = heads[0][6:8]
        wanted = [udh(int(reference, 16), len(parts), n) for n in range(1, len(parts) + 1)]
        assert heads == wanted, f"a phone could not join {heads}"
    return "".join(_carried(part["TextDecoded"], part["Coding"], len(parts) > 1) for part in parts)


def _carried(text: str, coding: str, joined: bool) -> str:
    """A text too long is cut, and a letter outside its alphabet becomes '?', both without a word."""
    if coding != "Default_No_Compression":
        room = 67 if joined else 70
        return text.encode("utf-16-be")[: 2 * room].decode("utf-16-be", "replace")
    said = "".join(c if is_plain(c) else "?" for c in text)
    while septets(said) > (153 if joined else 160):
        said = said[:-1]
    return said
