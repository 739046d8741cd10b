"""The door to gammu-smsd: what came in is read from its tables, what goes out is put there, once.

Both ways are at-least-once. A message that came in is marked `done` only after the record has it, and is
known there by its `key`; one that goes out is put into the daemon's tables only if its id is not there yet.
A crash between any two steps then repeats a step and nothing else. What stays is the daemon's own repeat:
when the network took a message and the modem's answer was lost, it sends once more.

The daemon must run with TZ=UTC: it writes and compares local times.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal, Protocol

from bot.channels.sms import tables
from bot.channels.sms.engines import Ask, Engine, GatewayError, engine_of
from bot.channels.sms.joining import HOLD, Row, Text, instant, join, unfinished
from bot.channels.sms.numbers import is_number
from bot.core.segments import JOINED, ONE, Split, is_plain, septets

__all__ = ["Gateway", "GatewayError", "Heartbeat", "Result", "Text", "open_gateway"]

State = Literal["waiting", "sent", "delivered", "failed"]
_CODINGS = {"gsm": "Default_No_Compression", "ucs2": "Unicode_No_Compression"}
_PARTS = 255  # the heading has one octet for how many there are


@dataclass(frozen=True)
class Result:
    """What became of a message of ours: `code` is the modem's refusal, -1 for none; `at` is UTC."""

    id: str
    state: State
    code: int
    at: str


@dataclass(frozen=True)
class Heartbeat:
    """When the daemon last wrote that it lives (UTC), and until when it then promised to (its local time)."""

    at: str
    timeout: str


class Gateway(Protocol):
    """Text messages in and out. Everything but `check` raises GatewayError when the tables cannot be used."""

    def read(self) -> tuple[Text, ...]:
        """All that is not done, in the order of rows; what may still be made whole is awaited."""

    def done(self, rows: Sequence[int]) -> None:
        """These rows of the daemon's are not read again: the very last step."""

    def hand_over(self, id: str, number: str, split: Split, *, report: bool = False) -> bool:
        """Give the daemon a message to send; False when it has one with this id, sent or not.

        ValueError for a number that is not E.164, for nothing to send, and for a part that is too long.
        """

    def results(self, ids: Sequence[str]) -> dict[str, Result]:
        """What became of these; an id that the daemon does not know is left out."""

    def forget(self, days: float) -> None:
        """Take off what was dealt with longer ago than that: the daemon itself keeps every text for ever."""

    def heartbeat(self) -> Heartbeat | None:
        """The daemon's last sign of life; None before its first."""

    def check(self) -> tuple[str, ...]:
        """What keeps the tables from being used, one sentence each."""

    def close(self) -> None: ...


def open_gateway(place: str, *, hold: float = HOLD) -> Gateway:
    """The daemon's tables in the SQLite file at `place`, or at a postgresql:// address.

    `hold`: seconds for which a message with parts missing is kept back after its last row was written. The
    file need not be there yet. GatewayError when the library for PostgreSQL is not installed.
    """
    return _Tables(engine_of(place), hold)


class _Tables:
    def __init__(self, engine: Engine, hold: float) -> None:
        self._engine, self._hold = engine, hold

    def read(self) -> tuple[Text, ...]:
        joined = join(self._engine.transact(_rows, "read"), self._hold)
        self.done(joined.dropped)
        return joined.texts

    def done(self, rows: Sequence[int]) -> None:
        if rows:
            self._engine.transact(lambda ask: ask(tables.DONE, rows=list(rows)))

    def hand_over(self, id: str, number: str, split: Split, *, report: bool = False) -> bool:
        _judge(id, number, split)
        return self._engine.transact(lambda ask: _put(ask, id, number, split, report))

    def results(self, ids: Sequence[str]) -> dict[str, Result]:
        return self._engine.transact(lambda ask: _results(ask, list(ids)), "read") if ids else {}

    def forget(self, days: float) -> None:
        def sweep(ask: Ask) -> None:
            for statement in tables.FORGET:
                ask(statement, days=days)

        self._engine.transact(sweep)

    def heartbeat(self) -> Heartbeat | None:
        for at, timeout in self._engine.transact(lambda ask: ask(tables.BEAT), "read"):
            return Heartbeat(instant(str(at)), instant(str(timeout)))
        return None

    def check(self) -> tuple[str, ...]:
        try:
            wrong = self._engine.transact(_missing, "read")
            if not wrong:
                self._engine.transact(_touch, "trial")
        except GatewayError as error:
            return (str(error),)
        return wrong

    def close(self) -> None:
        self._engine.close()


# --- in ----------------------------------------------------------------------------------------------------


def _rows(ask: Ask) -> list[Row]:
    """Rows that are not done and, if parts are missing, those by their senders that are."""
    unread = [_row(*row) for row in ask(tables.UNREAD)]
    if not unfinished(unread):
        return unread
    before = [_row(*row) for row in ask(tables.BEFORE)]
    return sorted(before + unread, key=lambda row: row.id)


def _row(id: int, *values: Any) -> Row:
    *texts, age, taken = values
    number, stamp, centre, udh, own, text, written = map(_text, texts)
    # Without an age it cannot be known that more is to come.
    return Row(id, number, stamp, centre, udh, own, text, written, _age(age), bool(taken))


def _age(age: Any) -> float:
    return float("inf") if age is None else float(age)


def _text(value: Any) -> str:
    """SQLite lets anything stand in any column; NULs are the padding of some phones, and nobody's words."""
    if isinstance(value, bytes):
        value = value.decode("utf-8", "replace")
    return "" if value is None else str(value).replace("\0", "")


# --- out ---------------------------------------------------------------------------------------------------


def _judge(id: str, number: str, split: Split) -> None:
    """The daemon would send anything: cut a text silently, write '?' for a letter, send an empty one."""
    if not id or "\0" in id:
        raise ValueError("a message needs an id of its own")
    if not is_number(number):
        raise ValueError(f"{number!r} is no number to send to: write + and 7 to 15 digits")
    if not any(part.strip() for part in split.parts):
        raise ValueError("there is nothing to send")
    if len(split.parts) > _PARTS:
        raise ValueError(f"{len(split.parts)} parts are more than {_PARTS}: shorten the text")
    for part in split.parts:
        _judge_part(part, split)


def _judge_part(part: str, split: Split) -> None:
    room = (JOINED if len(split.parts) > 1 else ONE)[split.coding]
    if "\0" in part or any("\ud800" <= c <= "\udfff" for c in part):
        raise ValueError("a text with half a character, or with NUL, cannot be sent")
    if split.coding == "gsm" and not is_plain(part):
        raise ValueError("a text with letters outside the 7-bit alphabet must be split as ucs2")
    length = septets(part) if split.coding == "gsm" else len(part.encode("utf-16-be")) // 2
    if length > room:
        raise ValueError(f"a part of {length} is longer than {room}: split the text first")


def _put(ask: Ask, id: str, number: str, split: Split, report: bool) -> bool:
    ask(tables.ALONE, id=id)
    [(known,)] = ask(tables.KNOWN, id=id)
    if known:
        return False
    coding, several = _CODINGS[split.coding], len(split.parts) > 1
    [(row,)] = ask(
        tables.PUT,
        id=id,
        number=number,
        text=split.parts[0],
        coding=coding,
        report="yes" if report else "no",
        several=several,
    )
    if several:
        ask(tables.HEAD, row=row, udh=_udh(row, 1, split))
    for part, text in enumerate(split.parts[1:], 2):
        ask(tables.MORE, row=row, part=part, text=text, udh=_udh(row, part, split), coding=coding)
    return True


def _udh(row: int, part: int, split: Split) -> str:
    """The heading of a part (3GPP TS 23.040, 9.2.3.24.1); rows are counted, so 256 messages differ in it."""
    return f"050003{row % 256:02X}{len(split.parts):02X}{part:02X}"


# --- what became of it -------------------------------------------------------------------------------------

# Each part has a status of its own: the message is as bad as the worst of them, the last of these.
_STATES: dict[str, State] = {
    "DeliveryOK": "delivered",
    "SendingOK": "sent", "SendingOKNoReport": "sent", "DeliveryPending": "sent", "DeliveryUnknown": "sent",
    "SendingError": "failed", "DeliveryFailed": "failed", "Error": "failed",
}  # fmt: skip
_ORDER: tuple[State, ...] = ("delivered", "sent", "failed")


def _results(ask: Ask, ids: list[str]) -> dict[str, Result]:
    waiting = ask(tables.WAITING, ids=ids)
    found: dict[str, Result] = {}
    for id, status, code, *times in ask(tables.SENT, ids=ids):
        part = _result(id, status, code, *map(_text, times))
        found[id] = _worse(found[id], part) if id in found else part
    return found | {id: Result(id, "waiting", -1, instant(_text(at))) for id, at in waiting}


def _result(id: str, status: str, code: int, sent: str, delivered: str, written: str) -> Result:
    state = _STATES.get(status, "sent")  # a status of a newer daemon: it has left us, and no more is known
    at = instant(delivered, sent, written) if state == "delivered" else instant(sent, written)
    return Result(id, state, int(code) if state == "failed" else -1, at)


def _worse(one: Result, other: Result) -> Result:
    """Of two parts of a message; of two that are alike, the later."""
    ranks = [_ORDER.index(result.state) for result in (one, other)]
    if one.state == other.state == "failed":  # the first refusal is the reason
        return one
    if ranks[0] == ranks[1]:
        return max(one, other, key=lambda result: result.at)
    return one if ranks[0] > ranks[1] else other


# --- whether it can be used --------------------------------------------------------------------------------


def _missing(ask: Ask) -> tuple[str, ...]:
    """What the tables lack, one sentence each."""
    there = {table: {name for (name,) in ask(tables.NAMES, table=table)} for table in tables.COLUMNS}
    wrong = []
    if absent := [table for table, names in there.items() if not names]:
        wrong.append(f"The data base has no table {', '.join(absent)}: {_NEW_SCHEMA}.")
    for table, names in there.items():
        lacking = [column for column in tables.COLUMNS[table] if names and column not in names]
        if lacking:
            wrong.append(f"Its table {table} has no column {', '.join(lacking)}: {_NEW_SCHEMA}.")
    return tuple(wrong) or _version(ask)


_NEW_SCHEMA = f"make it anew with the schema of gammu-smsd, version {tables.VERSION}"


def _version(ask: Ask) -> tuple[str, ...]:
    [(version,)] = ask(tables.SCHEMA)
    if version == tables.VERSION:
        return ()
    return (f"Its schema is version {version}, not {tables.VERSION}: {_NEW_SCHEMA}.",)


def _touch(ask: Ask) -> None:
    for statement in tables.TOUCH:
        ask(statement)
