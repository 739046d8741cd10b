"""Kilometres in the bike's book: read, folded over its odometers, told back, kept as a spreadsheet."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from typing import Any

import pytest

from bot.authoring.wording import read_words
from bot.core.book import Book, fold, oil_km
from bot.core.book_csv import say_row
from bot.core.book_draft import Trouble
from bot.core.book_entries import (
    LINE,
    Distance,
    Entry,
    Hours,
    Note,
    Odometer,
    OilChange,
    Part,
    Ride,
    Work,
)
from bot.core.book_lines import is_book_talk, read_line
from bot.core.book_say import say_back, say_trouble
from bot.core.book_table import from_rows, to_rows
from bot.core.spoken import ENGLISH

NOW = datetime(2026, 5, 20, 12, tzinfo=UTC)
WORDS = read_words()


def at(value: float, upto: float | None = None) -> tuple[float, float]:
    return (value, value if upto is None else upto)


def book(*written: Any) -> Book:
    """A line a day, from 1 May on."""
    return fold(Entry(n, f"2026-05-{n:02}T18:00:00Z", line) for n, line in enumerate(written, 1))


# --- read ------------------------------------------------------------------------------------

# 745 mi are 745 * 1.609344 = 1198.96 km.
WANTED: list[tuple[str, list[Any]]] = [
    ("oil change at 1200 km", [OilChange(km=at(1200))]),
    ("oil change at 1,200 km with filter, clean", [OilChange(km=at(1200), filter="changed", found=())]),
    ("oil change at 54.5 h, 1240 km, clean", [OilChange(hours=at(54.5), km=at(1240), found=())]),
    ("oil changed at 745 miles", [OilChange(km=at(1199))]),
    ("chain new at 340 km", [Work(km=at(340), what="chain new")]),
    ("new chain at 340 km", [Work(km=at(340), what="new chain")]),
    ("chain 79 euro at 340 km", [Part(km=at(340), what="chain", price=79, currency="EUR")]),
    ("1240 km", [Distance(km=at(1240))]),
    ("odometer 1240", [Distance(km=at(1240))]),
    ("odo at 745 mi", [Distance(km=at(1199))]),
    ("km 1240", [Distance(km=at(1240))]),
    ("mileage about 1000 km", [Distance(km=at(800, 1200))]),
    ("it is at 1240 km now", [Distance(km=at(1240))]),
    ("hours 58, 1240 km", [Hours(hours=at(58), km=at(1240))]),
    ("new odometer, shows 0", [Odometer(shows=0)]),
    ("odometer replaced, old one showed 8120 km, new one shows 12 km", [Odometer(km=at(8120), shows=12)]),
    ("reset the odometer at 8120 km", [Odometer(km=at(8120), shows=0)]),
    ("new speedo, shows 100 miles", [Odometer(shows=160.9)]),
    ("rode 2.5 h, odometer 1240 km", [Ride(ridden=at(2.5), km=at(1240))]),
    ("oil change at 12.400 km", [OilChange(km=at(12_400))]),
    ("new speedo cable at 500 km", [Work(km=at(500), what="new speedo cable")]),
    # how far it went is no reading
    ("oil change at 54, 500 km since the last", [OilChange(hours=at(54), note="500 km since the last")]),
    ("rode 2.5 h, 60 km", [Ride(ridden=at(2.5), ride="60 km")]),
]


@pytest.mark.parametrize(("typed", "wanted"), WANTED, ids=[each[0] for each in WANTED])
def test_a_distance_is_read(typed: str, wanted: list[Any]) -> None:
    assert read_line(typed, ENGLISH, NOW) == wanted


@pytest.mark.parametrize(("typed", "wanted"), WANTED[:21], ids=[each[0] for each in WANTED[:21]])
def test_a_line_with_a_distance_is_for_the_book(typed: str, wanted: list[Any]) -> None:
    assert is_book_talk(typed, ENGLISH)


@pytest.mark.parametrize("what", ["1200 km", "54 h"])
def test_a_new_bike_with_metal_in_its_oil_is_a_complaint(what: str) -> None:
    assert not is_book_talk(f"new bike {what} on it, glitter in the oil", ENGLISH)


def test_a_bare_number_is_in_the_unit_of_the_rider() -> None:
    assert read_line("odometer 745", ENGLISH, NOW, far="mi") == [Distance(km=at(1199))]


def trouble(typed: str, last: tuple[float, float]) -> str:
    found = read_line(typed, ENGLISH, NOW, last_km=last)
    assert isinstance(found, Trouble)
    return say_trouble(found, WORDS)


def test_a_falling_reading_is_asked_about() -> None:
    said = trouble("oil change at 1200 km", at(1500))
    assert said.startswith("1200 km is below the 1500 km of your last reading, so I have not written it.")
    assert "new odometer, shows 1200" in said
    assert len(said) < 300
    assert read_line("new odometer, shows 1200", ENGLISH, NOW, last_km=at(1500)) == [Odometer(shows=1200)]


def test_an_earlier_day_may_have_a_lower_one_and_about_may_reach_below() -> None:
    assert read_line("1200 km on 2 April", ENGLISH, NOW, last_km=at(1500)) == [
        Distance(km=at(1200), date="2026-04-02")
    ]
    assert read_line("about 1400 km", ENGLISH, NOW, last_km=at(1500)) == [Distance(km=at(1120, 1680))]


def test_a_reading_far_above_the_last_is_asked_about() -> None:
    assert "a long way above your last reading, 1500 km" in trouble("15200 km", at(1500))


def test_more_than_an_odometer_reaches_is_refused() -> None:
    found = read_line("oil change at 1200000 km", ENGLISH, NOW)
    assert isinstance(found, Trouble)
    assert "1200000 km is more than" in say_trouble(found, WORDS)


def test_two_readings_are_asked_about() -> None:
    found = read_line("oil change at 1200 km, odometer 1300", ENGLISH, NOW)
    assert isinstance(found, Trouble)
    assert "as 1200 km and as 1300 km" in say_trouble(found, WORDS)


def test_a_trouble_speaks_in_the_riders_unit() -> None:
    found = read_line("odometer 700", ENGLISH, NOW, last_km=at(1199), far="mi")
    assert isinstance(found, Trouble)
    assert say_trouble(found, WORDS).startswith("700 mi is below the 745 mi of your last reading")


# --- told back -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("line", "metric", "imperial"),
    [
        (OilChange(km=at(1200)), "Oil change at 1200 km.", "Oil change at 745.6 mi."),
        (
            OilChange(hours=at(54.5), km=at(1240)),
            "Oil change at 54.5 h, 1240 km.",
            "Oil change at 54.5 h, 770.5 mi.",
        ),
        (Distance(km=at(800, 1200)), "Odometer at 800–1200 km.", "Odometer at 497.1–745.6 mi."),
        (Hours(hours=at(58), km=at(1240)), "Hour meter at 58 h, 1240 km.", "Hour meter at 58 h, 770.5 mi."),
        (
            Odometer(km=at(8120), shows=12),
            "New odometer, shows 12 km. The old one showed 8120 km.",
            "New odometer, shows 7.5 mi. The old one showed 5045.5 mi.",
        ),
    ],
)
def test_a_distance_is_told_back_in_the_riders_unit(line: Any, metric: str, imperial: str) -> None:
    assert say_back([line], WORDS).startswith(metric)
    assert say_back([line], WORDS, "imperial").startswith(imperial)
    assert read_line(metric, ENGLISH, NOW) == [line]


# --- folded ----------------------------------------------------------------------------------


def km_of(found: Book) -> tuple[float, float]:
    assert found.km is not None
    return found.km.total


def test_kilometres_run_on_over_another_odometer() -> None:
    """8100 km, the old one ended at 8120; the new one began at 12 and shows 112: 8220 in all."""
    found = book(OilChange(km=at(8100)), Odometer(km=at(8120), shows=12), Distance(km=at(112)))
    assert km_of(found) == (8220, 8220)
    assert oil_km(found) == (120, 120)


def test_hours_and_kilometres_know_nothing_of_each_other() -> None:
    found = book(OilChange(hours=at(50), km=at(1000)), Hours(hours=at(56)), Distance(km=at(1300)))
    assert found.total == (56, 56)
    assert km_of(found) == (1300, 1300)
    assert oil_km(found) == (300, 300)


def test_a_change_without_kilometres_was_between_the_readings_around_it() -> None:
    found = book(Distance(km=at(1000)), OilChange(hours=at(50)), Distance(km=at(1400)))
    assert oil_km(found) == (0, 400)


def test_the_distance_on_an_oil_is_not_known_before_it_was_read_again() -> None:
    assert oil_km(book(OilChange(km=at(1240)), Hours(hours=at(60)))) is None
    assert oil_km(book(Distance(km=at(1240)), OilChange(hours=at(60)))) is None


def test_a_reading_below_the_last_is_told_and_does_not_lower_the_total() -> None:
    found = book(Distance(km=at(1000)), Distance(km=at(900)))
    assert km_of(found) == (1000, 1000)
    assert found.fallen == (2,)


def test_a_book_of_hours_alone_knows_no_kilometres() -> None:
    found = book(OilChange(hours=at(50)), Hours(hours=at(56)))
    assert found.km is None
    assert oil_km(found) is None


def test_a_line_without_kilometres_is_kept_as_it_ever_was() -> None:
    """So that a record of before reads, and runs again, to the letter."""
    assert "km" not in json.loads(Note(note="x").model_dump_json())
    assert LINE.validate_json('{"hours":null,"date":null,"note":"x","kind":"note"}') == Note(note="x")
    assert json.loads(Distance(km=at(5)).model_dump_json())["km"] == [5, 5]


# --- a spreadsheet ---------------------------------------------------------------------------


def test_a_distance_is_a_cell() -> None:
    lines = (OilChange(km=at(1200)), Distance(km=at(800, 1200)), Odometer(km=at(8120), shows=12))
    rows = to_rows(book(*lines))
    assert [(row["line"], row["km"], row["shows"]) for row in rows] == [
        ("oil_change", "1200", ""), ("distance", "800 to 1200", ""), ("odometer", "8120", "12"),
    ]  # fmt: skip
    assert [entry.line for entry in from_rows(rows).entries] == list(lines)


@pytest.mark.parametrize(
    ("row", "column", "told"),
    [
        ({"line": "distance"}, "km", "Write 1240"),
        ({"line": "distance", "km": "far"}, "km", "'far' is no number"),
        ({"line": "oil_change", "km": "-3"}, "km", "'-3' is no number"),
        ({"line": "odometer"}, "shows", "Write 0"),
        ({"line": "distance", "km": "5", "shows": "3"}, "shows", "A line of this kind has no such thing"),
    ],
)
def test_a_wrong_cell_is_named_by_row_and_column(row: dict[str, str], column: str, told: str) -> None:
    [wrong] = from_rows([{"line": "distance", "km": "5"}, row]).troubles
    assert (wrong.row, wrong.column) == (3, column)
    assert told in say_row(wrong, WORDS)


@pytest.mark.parametrize("typed", ["rode 60 km today", "rode 60 km, enduro", "raced 40 miles on Sunday"])
def test_a_ride_in_kilometres_is_kept_as_a_note_and_is_no_complaint(typed: str) -> None:
    """What it adds is known when the odometer is told."""
    assert is_book_talk(typed, ENGLISH)
    [line] = read_line(typed, ENGLISH, NOW)  # type: ignore[misc]
    assert isinstance(line, Note)
    assert line.km is None


@pytest.mark.parametrize(
    "typed",
    [
        "rode 60 km and it pulls to the left since",
        "rode 60 km, now glitter in the oil",
        "rode 60 km, it clacks",
    ],
)
def test_a_ride_with_trouble_is_a_complaint(typed: str) -> None:
    assert not is_book_talk(typed, ENGLISH)
