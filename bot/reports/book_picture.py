"""The trend picture of a bike's book: its looks, what was done and when, the alarm limit."""

from __future__ import annotations

from collections.abc import Iterator

from bot.core.book import Book, intervals
from bot.core.book_entries import Meter, OilChange, Work
from bot.core.trend import judge
from bot.core.words import Words
from bot.reports.trend_picture import Mark, TrendPicture

LABEL = 24  # characters of a repair's name


def picture_of(nickname: str, book: Book, words: Words) -> TrendPicture | None:
    """What is drawn of a book; None while it holds no look over known hours."""
    looks = intervals(book)
    if not looks:
        return None
    return TrendPicture(nickname, looks, tuple(_marks(book)), judge(looks), words)


def _marks(book: Book) -> Iterator[Mark]:
    for row in book.lines:
        if row.place is None:
            continue
        if isinstance(row.line, OilChange):
            yield Mark(row.place.middle, "oil_change")
        elif isinstance(row.line, Work) and row.line.opened:
            yield Mark(row.place.middle, "repair", row.line.what[:LABEL])
        elif isinstance(row.line, Meter):
            yield Mark(row.place.middle, "meter")
