"""Bikes by nickname, their traits, and meters that never run backwards unseen."""

from __future__ import annotations

from pathlib import Path

import pytest

from bot.core.book_entries import Entry, OilChange
from bot.record.garage import FallingReadingError, NicknameTakenError
from bot.record.store import Store

AT = "2026-05-01T09:00:00Z"


@pytest.fixture
def store(tmp_path: Path) -> Store:
    return Store(tmp_path / "record.db")


@pytest.fixture
def ann(store: Store) -> int:
    return store.meet("terminal", "ann", "Ann", "rider", AT).id


@pytest.fixture
def blue(store: Store, ann: int) -> str:
    return store.make_bike(ann, "Blue", AT)


@pytest.mark.parametrize("nickname", ["Blue", "BLUE", " blue ", "bLuE"])
def test_a_nickname_is_one_bike_of_a_rider(store: Store, ann: int, blue: str, nickname: str) -> None:
    assert store.find_bike(ann, nickname) == blue
    with pytest.raises(NicknameTakenError, match="already have a bike"):
        store.make_bike(ann, nickname, AT)


def test_folding_knows_more_than_english(store: Store, ann: int) -> None:
    """The German sharp s folds to ss (Unicode CaseFolding.txt, status F)."""
    made = store.make_bike(ann, "Große", AT)
    assert store.find_bike(ann, "GROSSE") == made


def test_two_riders_may_call_their_bikes_alike(store: Store, ann: int, blue: str) -> None:
    ben = store.meet("terminal", "ben", "Ben", "rider", AT).id
    assert store.make_bike(ben, "blue", AT) != blue


def test_traits_are_kept_and_forgotten_one_by_one(store: Store, ann: int, blue: str) -> None:
    store.know_traits(blue, {"starter": "kick", "oil-layout": "split"})
    store.know_traits(blue, {"starter": "electric", "oil-layout": None})
    assert store.bikes_of(ann)[0].traits == {"starter": "electric"}


def test_a_bike_without_readings_has_no_hours(store: Store, ann: int, blue: str) -> None:
    assert store.bikes_of(ann)[0].hours is None
    assert store.last_reading(blue) is None


def test_the_newest_reading_counts(store: Store, ann: int, blue: str) -> None:
    store.read_meter(blue, 43, 43, AT)
    store.read_meter(blue, 45.5, 45.5, AT)
    assert store.bikes_of(ann)[0].hours == 45.5


def test_a_reading_that_falls_is_refused_and_not_kept(store: Store, blue: str) -> None:
    store.read_meter(blue, 43, 43, AT)
    with pytest.raises(FallingReadingError) as fell:
        store.read_meter(blue, 12, 12, AT)
    assert (fell.value.last, fell.value.now) == (43, 12)
    assert "43" in str(fell.value)
    assert "12" in str(fell.value)
    assert store.bike(blue).hours == 43


def test_the_same_reading_twice_is_no_fall(store: Store, blue: str) -> None:
    store.read_meter(blue, 43, 43, AT)
    store.read_meter(blue, 43, 43, AT)


def test_about_is_carried_as_a_span(store: Store, blue: str) -> None:
    """40 to 60 leaves room for 45; only a span that lies wholly below is a fall."""
    store.read_meter(blue, 40, 60, AT)
    store.read_meter(blue, 45, 45, AT)
    store.read_meter(blue, 30, 50, AT)
    with pytest.raises(FallingReadingError):
        store.read_meter(blue, 10, 20, AT)
    reading = store.last_reading(blue)
    assert reading is not None
    assert reading.total == (30, 50)
    assert store.bike(blue).hours == 40


def test_a_new_meter_goes_on_where_the_old_one_was(store: Store, blue: str) -> None:
    """Old one at 43, new one begins at 0 and shows 5: 48 in all. Then one that shows 100 when fitted."""
    store.read_meter(blue, 43, 43, AT)
    store.fit_meter(blue, AT)
    assert store.bike(blue).hours == 43
    store.read_meter(blue, 5, 5, AT)
    assert store.bike(blue).hours == 48
    store.fit_meter(blue, AT, shows=100)
    assert store.bike(blue).hours == 48
    store.read_meter(blue, 102, 102, AT)
    assert store.bike(blue).hours == 50


def test_a_first_meter_shows_what_it_shows(store: Store, blue: str) -> None:
    store.fit_meter(blue, AT, shows=7)
    assert store.bike(blue).hours == 7


def test_hours_and_distance_have_meters_of_their_own(store: Store, blue: str) -> None:
    store.read_meter(blue, 1200, 1200, AT, kind="distance")
    store.read_meter(blue, 43, 43, AT)
    distance = store.last_reading(blue, "distance")
    assert distance is not None
    assert distance.total == (1200, 1200)
    assert store.bike(blue).hours == 43


def test_a_reading_that_was_taken_back_no_longer_bars_a_lower_one(store: Store, ann: int, blue: str) -> None:
    case = store.open_case(ann, AT)
    store.read_meter(blue, 43, 43, AT, source=(case, 4))
    store.read_meter(blue, 430, 430, AT, source=(case, 6))
    store.drop_reading(case, 6)
    assert store.bike(blue).hours == 43
    store.read_meter(blue, 44, 44, AT, source=(case, 8))


def test_the_book_keeps_every_entry_as_it_was_written(store: Store, blue: str) -> None:
    first = store.write_book(blue, OilChange(hours=(54.5, 54.5)), AT)
    second = store.write_book(blue, OilChange(hours=(45.5, 45.5)), AT, replaces=first)
    struck = store.write_book(blue, None, AT, replaces=second)
    assert store.book_of(blue) == (
        Entry(first, AT, OilChange(hours=(54.5, 54.5))),
        Entry(second, AT, OilChange(hours=(45.5, 45.5)), first),
        Entry(struck, AT, None, second),
    )
    assert store.book_of(blue, upto=first) == store.book_of(blue)[:1]
    assert store.newest_line() == store.newest_line_of(blue) == struck
    assert store.newest_line_of("999") == 0


def test_a_reading_whose_line_was_put_right_is_forgotten_if_it_is_the_newest(store: Store, blue: str) -> None:
    store.read_meter(blue, 43, 43, AT)
    store.read_meter(blue, 545, 545, AT)
    assert not store.unread(blue, 43, 43)
    assert store.unread(blue, 545, 545)
    reading = store.last_reading(blue)
    assert reading is not None
    assert reading.total == (43, 43)
