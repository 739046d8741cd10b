"""A bike's book as it stands in the record: read, grown by import, drawn."""

from __future__ import annotations

from collections.abc import Sequence
from functools import reduce
from typing import TYPE_CHECKING
from weakref import WeakKeyDictionary

from bot.core.words import Words
from bot.record.garage import MeterKind
from bot.record.store import Store

if TYPE_CHECKING:  # a talk begins without them
    from bot.core.book import Book
    from bot.core.book_entries import Entry
    from bot.reports.trend_picture import TrendPicture

BOOKS_KEPT = 64  # bikes whose book is kept folded, for those that talk now
_BOOKS: WeakKeyDictionary[Store, dict[str, tuple[int, Book]]] = WeakKeyDictionary()


def read_book(store: Store, bike: str, *, upto: int | None = None) -> Book:
    """The bike's book, or as it was up to an entry. The newest of each bike is kept folded."""
    from bot.core.book import fold, grow

    if upto is not None:
        return fold(store.book_of(bike, upto))
    newest = store.newest_line_of(bike)
    kept = _BOOKS.setdefault(store, {})
    if bike in kept and kept[bike][0] < newest:
        kept[bike] = (newest, reduce(grow, store.book_of(bike, after=kept[bike][0]), kept[bike][1]))
    elif bike not in kept or kept[bike][0] != newest:
        kept[bike] = (newest, fold(store.book_of(bike)))
        while len(kept) > BOOKS_KEPT:
            del kept[next(iter(kept))]
    return kept[bike][1]


def import_book(store: Store, bike: str, entries: Sequence[Entry], at: str) -> tuple[int, int]:
    """Write entries of another book behind what is there; how many, and how many stood there already.

    `entries` are numbered among themselves; `at`: the time for those that have none, UTC ISO.
    """
    numbers, there = dict[int, int](), 0
    with store.writing():
        known = {(e.dump(), e.replaces): e.number for e in store.book_of(bike)}
        for entry in sorted(entries, key=lambda entry: entry.number):
            replaces = numbers.get(entry.replaces) if entry.replaces is not None else None
            found = known.get((entry.dump(), replaces))
            there += found is not None
            numbers[entry.number] = found or store.write_book(
                bike, entry.line, entry.at or at, replaces=replaces
            )
        kept = read_book(store, bike)
        _read_on(store, bike, at, "hours", kept.total)
        _read_on(store, bike, at, "distance", kept.km.total if kept.km else None)
    return len(numbers) - there, there


def _read_on(store: Store, bike: str, at: str, kind: MeterKind, total: tuple[float, float] | None) -> None:
    """The meter is where the book has it, if that is further than what was read."""
    last = store.last_reading(bike, kind)
    if total is not None and last is None:
        store.fit_meter(bike, at, shows=sum(total) / 2, kind=kind)
    elif total is not None and last is not None and total[1] > last.total[1]:
        store.read_meter(bike, total[0] - last.offset, total[1] - last.offset, at, kind=kind)


def has_trend(store: Store, bike: str) -> bool:
    """Whether a bike's book holds a look over known hours."""
    from bot.core.book import intervals

    return bool(intervals(read_book(store, bike)))


def picture_of(store: Store, bike: str, words: Words) -> TrendPicture | None:
    """What a picture of a bike's trend shows; None while there is no trend."""
    from bot.reports.book_picture import picture_of as picture

    return picture(store.bike(bike).nickname, read_book(store, bike), words)


def draw(picture: TrendPicture) -> tuple[bytes, str]:
    """A picture as PNG, and the same in a line of text. ImportError where none can be drawn.

    It needs no record, so that it can be called in a thread.
    """
    from bot.reports import trend_picture

    return trend_picture.draw(picture), trend_picture.text_line(picture)
