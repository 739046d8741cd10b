"""Bikes by nickname, what is known of them for good, their meters and readings."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

from bot.core.desk import BikeCard, fold_name
from bot.record.opening import Opened, RecordError

if TYPE_CHECKING:
    from bot.core.book_entries import Entry

MeterKind = Literal["hours", "distance"]


class FallingReadingError(RecordError):
    """A meter cannot run backwards: misread, or another meter. `last` is what it showed before."""

    def __init__(self, last: float, now: float) -> None:
        super().__init__(f"The meter showed {last:g} before and would now show {now:g}, which is less.")
        self.last, self.now = last, now


class NicknameTakenError(RecordError):
    """This rider has a bike of that nickname."""


@dataclass(frozen=True)
class Reading:
    """What a meter showed: a span when it was told as 'about'. `total` counts former meters too."""

    low: float
    high: float
    at: str
    offset: float

    @property
    def total(self) -> tuple[float, float]:
        return (self.offset + self.low, self.offset + self.high)


class Garage(Opened):
    """The verbs about bikes."""

    def make_bike(self, person: int, nickname: str, at: str) -> str:
        """A new bike of this rider; its id. Raises NicknameTakenError."""
        shown = " ".join(nickname.split())
        try:
            new = self.add("bikes", person=person, nickname=shown, fold=fold_name(nickname), at=at)
        except sqlite3.IntegrityError as err:
            if "UNIQUE" not in str(err):
                raise
            raise NicknameTakenError(f"You already have a bike called {shown}.") from err
        return str(new)

    def find_bike(self, person: int, nickname: str) -> str | None:
        """The id of this rider's bike of that nickname, or None."""
        found = self.value("select id from bikes where person = ? and fold = ?", person, fold_name(nickname))
        return None if found is None else str(found)

    def bikes_of(self, person: int) -> tuple[BikeCard, ...]:
        """This rider's bikes, oldest first, with known traits and total hours."""
        rows = self.rows("select id, nickname, traits, vin from bikes where person = ? order by id", person)
        return tuple(self._card(row) for row in rows)

    def bike(self, bike: str) -> BikeCard:
        """One bike by its id. KeyError when there is none."""
        row = self.row("select id, nickname, traits, vin from bikes where id = ?", bike)
        if row is None:
            raise KeyError(bike)
        return self._card(row)

    def _card(self, row: Mapping[str, Any]) -> BikeCard:
        reading = self.last_reading(str(row["id"]))
        hours = None if reading is None else sum(reading.total) / 2
        shown = None if reading is None else (reading.low, reading.high)
        far = self.last_reading(str(row["id"]), "distance")
        shown_km = None if far is None else (far.low, far.high)
        told = json.loads(row["traits"])
        return BikeCard(
            str(row["id"]), row["nickname"], told, hours, shown=shown, vin=row["vin"], shown_km=shown_km
        )

    def know_traits(self, bike: str, traits: Mapping[str, str | None]) -> None:
        """Keep traits of a bike for good; None forgets one."""
        known = {**self.bike(bike).traits, **traits}
        kept = {trait: answer for trait, answer in known.items() if answer is not None}
        self.run("update bikes set traits = ? where id = ?", json.dumps(kept), bike)

    def know_vin(self, bike: str, vin: str) -> None:
        """Keep the frame number of a bike for good; "" forgets it."""
        self.run("update bikes set vin = ? where id = ?", vin, bike)

    def running_meter(self, bike: str, kind: MeterKind = "hours") -> int | None:
        """The number of the meter now fitted, or None."""
        found = self.value("select id from meters where bike = ? and kind = ? and ended is null", bike, kind)
        return None if found is None else int(found)

    def last_reading(self, bike: str, kind: MeterKind = "hours") -> Reading | None:
        """The newest reading of the meter now fitted, or None."""
        row = self.row(
            """select r.low, r.high, r.at, m.offset from meters m join readings r on r.meter = m.id
            where m.bike = ? and m.kind = ? and m.ended is null order by r.id desc limit 1""",
            *(bike, kind),
        )
        return None if row is None else Reading(**row)

    def read_meter(
        self,
        bike: str,
        low: float,
        high: float,
        at: str,
        *,
        kind: MeterKind = "hours",
        source: tuple[int, int] | None = None,
    ) -> None:
        """Keep a reading of the meter fitted (a first reading fits one). Raises FallingReadingError.

        `source`: case and entry that told it. A span told as 'about' falls only when all of it
        lies below the last one.
        """
        meter = self.running_meter(bike, kind) or self._new_meter(bike, kind, 0.0, at)
        last = self.last_reading(bike, kind)
        if last is not None and high < last.low:
            raise FallingReadingError(last.low, high)
        case, seq = source or (None, None)
        self.add("readings", meter=meter, low=low, high=high, at=at, case_id=case, seq=seq)

    def fit_meter(self, bike: str, at: str, *, shows: float = 0.0, kind: MeterKind = "hours") -> None:
        """A new or reset meter that shows `shows` now; the total goes on from where the old one was."""
        last = self.last_reading(bike, kind)
        offset = 0.0 if last is None else sum(last.total) / 2 - shows
        self.run("update meters set ended = ? where bike = ? and kind = ? and ended is null", at, bike, kind)
        meter = self._new_meter(bike, kind, offset, at)
        self.add("readings", meter=meter, low=shows, high=shows, at=at)

    def _new_meter(self, bike: str, kind: MeterKind, offset: float, at: str) -> int:
        return self.add("meters", bike=bike, kind=kind, offset=offset, started=at)

    def unread(self, bike: str, low: float, high: float, kind: MeterKind = "hours") -> bool:
        """Forget the newest reading where it is this one, whose line has been put right; whether it was."""
        sql = "select id, low, high from readings where meter = ? order by id desc limit 1"
        newest = self.row(sql, self.running_meter(bike, kind))
        if newest is None or (newest["low"], newest["high"]) != (low, high):
            return False
        self.run("delete from readings where id = ?", newest["id"])
        return True

    def drop_reading(self, case: int, seq: int) -> None:
        """Forget a reading whose entry was taken back."""
        self.run("delete from readings where case_id = ? and seq = ?", case, seq)

    # --- the book ----------------------------------------------------------------------------

    def write_book(
        self, bike: str, line: Any, at: str, *, case: int | None = None, replaces: int | None = None
    ) -> int:
        """One more entry of the bike's book, never changed afterwards; its number. No line: a strike."""
        told = {"line": None if line is None else line.model_dump(mode="json"), "replaces": replaces}
        kind = "strike" if line is None else line.kind
        return self.add("book", bike=bike, case_id=case, at=at, kind=kind, data=json.dumps(told))

    def book_of(self, bike: str, upto: int | None = None, after: int = 0) -> tuple[Entry, ...]:
        """Entries of the bike's book behind one and up to another number, in the order they were written."""
        rows = self.db.execute(
            """select id, at, kind, data from book
            where bike = ? and id > ? and (? is null or id <= ?) order by id""",
            [bike, after, upto, upto],
        )
        return tuple(_entry(*row) for row in rows)

    def newest_line_of(self, bike: str) -> int:
        """The number of the newest entry in this bike's book; 0 while there is none."""
        return int(self.value("select max(id) from book where bike = ?", bike) or 0)

    def newest_line(self) -> int:
        """The number of the newest entry in any book; 0 while there is none."""
        return int(self.value("select max(id) from book") or 0)


def _entry(number: int, at: str, kind: str, data: str) -> Entry:
    """An entry from its row; what was written before lines had a form is a note."""
    from bot.core import book_entries  # only who reads a book has to wait for it

    told = json.loads(data)
    if "line" not in told:
        return book_entries.Entry(number, at, book_entries.Note(note=f"{kind} {data}"))
    line = told["line"]
    return book_entries.Entry(
        number, at, None if line is None else book_entries.LINE.validate_python(line), told["replaces"]
    )
