"""A second look that stands in the bike's book already is not asked for, and is taken as it was written."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, datetime

import pytest

from bot.core.book import Book, fold
from bot.core.book_draft import Trouble
from bot.core.book_entries import Entry
from bot.core.book_lines import read_line
from bot.core.desk import BikeCard, Desk
from bot.core.events import Answered
from bot.core.spoken import ENGLISH
from tests.core.chat import Chat
from tests.core.test_proving import at_the_watch, counting

NINE = datetime(2026, 5, 4, 9, tzinfo=UTC)
BEFORE = "oil change at 80, 24 flakes"


@dataclass
class WithBook(Chat):
    """A talk at a desk with this book of the bike."""

    lines: tuple[str, ...] = (BEFORE,)

    def desk(self) -> Desk:
        return replace(super().desk(), books=lambda bike: self.book())

    def book(self) -> Book:
        entries = []
        for text in self.lines:
            read = read_line(text, ENGLISH, NINE)
            assert not isinstance(read, Trouble)
            entries += [
                Entry(len(entries) + n, "2026-05-04T09:00:00Z", line) for n, line in enumerate(read, 1)
            ]
        return fold(tuple(entries))


@pytest.mark.parametrize(
    ("found", "said", "classes", "number"),
    [
        ("clean", "0 pieces at 82 h.", ("a-few",), (0, 0)),
        ("3 flakes", "3 pieces at 82 h.", ("a-few",), (3, 3)),
        ("4 to 9 flakes", "4 to 9 pieces at 82 h.", ("a-few", "some"), (4, 9)),
        ("over 20 flakes", "over 20 pieces at 82 h.", ("heaps",), None),
    ],
)
def test_the_pieces_of_the_look_are_taken_as_they_are_written(
    found: str, said: str, classes: tuple[str, ...], number: tuple[int, int] | None
) -> None:
    """By hand: the classes end at 5 and 20, and over 20 is none of the first two."""
    bikes = (BikeCard("1", "Goat", hours=80.0),)
    chat = WithBook(counting(), bikes=bikes)
    at_the_watch(chat, "30 pieces")
    chat.lines = (BEFORE, f"oil change at 82, {found}")
    chat.say("2 h")
    assert f"From the book of Goat: {said}" in chat.said
    told = [e.event for e in chat.state.entries if isinstance(e.event, Answered) and e.event.rank == 0][-1]
    assert (told.ask, told.value, told.number) == ("amount", classes, number)
