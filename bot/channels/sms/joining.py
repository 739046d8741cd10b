"""Rows of the daemon's inbox into whole messages: parts joined, repeats and late parts known as such.

The daemon writes one row per part and joins parts itself: the row of the first part then carries the whole
text, the rows of the others an empty one beside their own octets. It writes a part by itself when it has
given up the others, and when the heading has more in it than the reference; those are joined here. After it
was killed it may write again what it had written. Its rows are committed one by one, so half a message may
be seen. Headings: 3GPP TS 23.040, clause 9.2.3.24 (from memory): element 00 has an 8-bit reference, 08 a
16-bit one, each followed by how many parts there are and which one this is.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta

# A phone sends the parts of a message within seconds; without signal it goes on minutes later. References
# come round again after 256 messages, or at once on a phone that counts from its start.
APART = timedelta(minutes=10)
# Seconds after its last row for which a message with parts missing is kept back. The daemon waits itself
# (`multiparttimeout`) before it writes a lone part. What is still to come is what it writes in one go: its
# being ended (10 s), started, and reading the card again lie in between at worst, some 30 s.
HOLD = 60.0


@dataclass(frozen=True)
class Row:
    """One row of the inbox, as it stands there."""

    id: int
    number: str
    stamp: str  # when the service centre had it
    centre: str
    udh: str  # hex
    own: str  # this part's own text in UTF-16, hex
    text: str
    written: str  # when the daemon wrote it, UTC
    age: float  # seconds since
    taken: bool

    @property
    def silent(self) -> bool:
        """Its text stands in the row of the first part."""
        return not self.text and bool(self.own)

    @property
    def leads(self) -> bool:
        """It carries the text of other parts too."""
        return bool(self.own) and len(self.text) > len(_read(self.own))

    def repeats(self, other: Row) -> bool:
        """The same part of the same message, read from the card twice."""
        mine, others = self.own or self.text, other.own or other.text
        return (self.stamp, mine) == (other.stamp, others)


@dataclass(frozen=True)
class Text:
    """One message of a person, once, whatever came of it in how many rows.

    `key` is the same for a copy, and for no other message: SHA-256 in hex over number, stamp, centre,
    reference and total, text, and for a lone part which one it is. `stamp` is the service centre's, UTC
    ("YYYY-MM-DDTHH:MM:SSZ"). `whole` is False when parts never came.
    """

    key: str
    number: str
    text: str
    stamp: str
    rows: tuple[int, ...]
    whole: bool


@dataclass(frozen=True)
class Joined:
    """What can be told now, in the order of rows; and rows that say nothing new."""

    texts: tuple[Text, ...]
    dropped: tuple[int, ...]


@dataclass(frozen=True)
class Heading:
    """Which part of which message: the reference in hex (two or four digits)."""

    reference: str
    total: int
    part: int


def heading(udh: str) -> Heading | None:
    """What a user data header in hex says of parts; None when it is none, or says what cannot be."""
    found = None
    for kind, body in _elements(udh):
        if (kind, len(body)) in ((0x00, 3), (0x08, 4)):
            found = Heading(body[:-2].hex(), body[-2], body[-1])
    return found if found and 1 <= found.part <= found.total else None


def _elements(udh: str) -> Iterator[tuple[int, bytes]]:
    """Kind and body of each information element; what is cut off at the end is left out."""
    try:
        octets = bytes.fromhex(udh)
    except ValueError:
        return
    rest = octets[1 : 1 + octets[0]] if octets else b""
    while len(rest) >= 2 and len(rest) >= 2 + rest[1]:
        yield rest[0], rest[2 : 2 + rest[1]]
        rest = rest[2 + rest[1] :]


def _read(own: str) -> str:
    try:
        return bytes.fromhex(own).decode("utf-16-be", "replace").replace("\0", "")
    except ValueError:
        return ""


# --- messages in the making --------------------------------------------------------------------------------


@dataclass
class _Message:
    """Rows of one message, by part; total 1 for one that was never cut."""

    total: int
    reference: str
    parts: dict[int, list[Row]] = field(default_factory=dict)

    def add(self, part: int, row: Row) -> None:
        self.parts.setdefault(part, []).append(row)

    @property
    def rows(self) -> list[Row]:
        return [row for part in sorted(self.parts) for row in self.parts[part]]

    @property
    def fresh(self) -> list[Row]:
        return sorted((row for row in self.rows if not row.taken), key=lambda row: row.id)

    @property
    def whole(self) -> bool:
        return len(self.parts) == self.total

    @property
    def text(self) -> str:
        rows = self.rows
        if any(row.silent for row in rows):
            return max((row.text for row in rows), key=len)
        return "".join(self.parts[part][0].text for part in sorted(self.parts))

    def has(self, part: int, row: Row) -> bool:
        return any(row.repeats(other) for other in self.parts.get(part, ()))

    def gap(self, row: Row) -> timedelta:
        """How far the stamps lie apart."""
        return min(_gap(row.stamp, other.stamp) for other in self.rows)

    def lacks(self, part: int, row: Row) -> bool:
        return part not in self.parts and self.gap(row) <= APART


def _moment(stamp: str) -> datetime | None:
    try:
        return datetime.fromisoformat(stamp).replace(tzinfo=None)
    except ValueError:
        return None


def _gap(one: str, other: str) -> timedelta:
    """Between two stamps; more than any limit when they differ and one of them cannot be read."""
    if one == other:
        return timedelta()
    at, then = _moment(one), _moment(other)
    return abs(at - then) if at and then else timedelta.max


def _gather(rows: Iterable[Row]) -> list[_Message]:
    """Every row in the message that it is part of; rows come in the order in which they were written."""
    every: list[_Message] = []
    alike: dict[tuple[str, str, int], list[_Message]] = {}
    for row in rows:
        head = heading(row.udh)
        if head is None:
            every.append(_Message(1, row.udh.upper(), {1: [row]}))
            continue
        same = alike.setdefault((row.number, head.reference, head.total), [])
        message = _home(row, head.part, same)
        if message is None:
            message = _Message(head.total, f"{head.reference},{head.total}")
            same.append(message)
            every.append(message)
        message.add(head.part, row)
    return every


def _home(row: Row, part: int, messages: Sequence[_Message]) -> _Message | None:
    """The message that a row belongs to; None when it begins one."""
    repeated = next((m for m in messages if m.has(part, row)), None)
    lacking = [m for m in messages if m.lacks(part, row)]
    if row.silent:  # the row that has its text was written right before it
        return lacking[-1] if lacking else repeated
    if repeated or row.leads or not lacking:
        return repeated
    return min(lacking, key=lambda m: m.gap(row))


# --- what is told ------------------------------------------------------------------------------------------


def unfinished(rows: Iterable[Row]) -> bool:
    """Whether earlier rows must be looked at to know what these are."""
    return any(not message.whole for message in _gather(rows))


def join(rows: Sequence[Row], hold: float = HOLD) -> Joined:
    """Messages out of rows, in the order of ids; rows that are `taken` only tell what was said before."""
    texts: list[Text] = []
    dropped: list[int] = []
    for message in _gather(rows):
        if not message.fresh or _is_held(message, hold):
            continue
        if _is_told(message):
            dropped += [row.id for row in message.fresh]
        else:
            texts.append(_told(message))
    return Joined(tuple(sorted(texts, key=lambda text: text.rows)), tuple(sorted(dropped)))


def _is_told(message: _Message) -> bool:
    """Nothing new: all its parts were there before, or its sender was asked already to send it again."""
    taken = {part for part, rows in message.parts.items() if any(row.taken for row in rows)}
    if message.total == 1:  # copies of a message in one piece are known by their key
        return False
    return bool(taken) and (len(taken) == message.total or not message.whole)


def _is_held(message: _Message, hold: float) -> bool:
    """Parts are missing and may be on their way; a clock that was set back by hours holds nothing."""
    return not message.whole and any(abs(row.age) < hold for row in message.fresh)


def _told(message: _Message) -> Text:
    first = message.rows[0]
    rows = tuple(row.id for row in message.fresh)
    return Text(_key(message, first), first.number, message.text, _stamp(first), rows, message.whole)


def _key(message: _Message, first: Row) -> str:
    """Written as JSON, so that no sender or text can look like the end of a field."""
    fields = [first.number, first.stamp, first.centre, message.reference, message.text]
    lone = [] if message.whole else [sorted(message.parts)]
    return hashlib.sha256(json.dumps([*fields, *lone]).encode("ascii")).hexdigest()


_TIME = re.compile(r"(\d{4}-\d\d-\d\d)[ T](\d\d:\d\d:\d\d)", re.ASCII)


def instant(*times: str) -> str:
    """The first of these times of the data base that is one, as we write times; '' if none is."""
    for time in times:
        found = _TIME.match(time)
        if found and _moment(found.group()):
            return f"{found[1]}T{found[2]}Z"
    return ""


def _stamp(row: Row) -> str:
    """A stamp that is none is made good by when the daemon wrote the row; the key has it as it was."""
    return instant(row.stamp, row.written) or "1970-01-01T00:00:00Z"
