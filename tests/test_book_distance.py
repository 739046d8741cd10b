"""Kilometres of a bike through the record: asked about when they fall, kept over odometers, reminded of."""

from __future__ import annotations

import json
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from bot import books, turn
from bot.core.book_csv import read_csv
from bot.core.book_table import from_rows
from tests.rattle import RATTLE
from tests.test_bookkeeping import NOON, Rider


@pytest.fixture
def robin(tmp_path: Path) -> Rider:
    """Pepper at 1000 km, with no hour meter."""
    path = tmp_path / "record.db"
    with closing(turn.open_record(path)) as store:
        turn.lay_out(store, json.dumps(RATTLE), "", "everyone", NOON)
    rider = Rider(path)
    rider.say("oil change at 1000 km with filter, clean", "Pepper", "yes")
    return rider


def test_a_distance_is_read_back_and_written(robin: Rider) -> None:
    assert robin.lines[0].km == (1000, 1000)
    assert robin.say("chain new at 1340 km").startswith("Pepper: Work: chain new at 1340 km.")
    robin.say("yes")
    shown = robin.say("book")
    assert "2. 2026-05-04 Work: chain new at 1340 km." in shown
    assert "Distance on this oil: 340 km." in shown


def test_a_falling_reading_is_asked_about_and_not_written(robin: Rider) -> None:
    assert "900 km is below the 1000 km of your last reading" in robin.say("900 km")
    assert len(robin.lines) == 1


def test_another_odometer_goes_on_from_the_old_one(robin: Rider) -> None:
    said = robin.say("new odometer, shows 0, old one showed 1100 km", "yes")
    assert "The distance goes on from where the old odometer was." in said
    robin.say("50 km", "yes")
    assert "Distance on this oil: 150 km." in robin.say("book")
    with closing(turn.open_record(robin.path)) as store:
        assert [reading.total[0] for reading in store.readings_of("1", "distance")] == [
            1000,
            1100,
            1100,
            1150,
        ]
        assert store.readings_of("1") == ()


def test_a_misread_odometer_is_put_right_and_the_next_reading_is_taken(robin: Rider) -> None:
    robin.say("odometer 5100", "yes")
    assert "below" in robin.say("1200 km")
    robin.say("book change 2: odometer 1100", "yes")
    assert "Written" in robin.say("1200 km", "yes")


def test_miles_are_kept_as_kilometres_and_told_as_miles(robin: Rider) -> None:
    """700 mi are 1126.5 km."""
    robin.say("units imperial")
    assert robin.say("odometer 700").startswith("Pepper: Odometer at 700 mi.")
    robin.say("yes")
    assert robin.lines[-1].km == (1126.5, 1126.5)
    assert "Distance on this oil: 78.6 mi." in robin.say("book")


def reminded(robin: Rider, at: datetime) -> list[str]:
    with closing(turn.open_record(robin.path)) as store:
        turn.remind(store, at)
        found = turn.due(store, at, person_name="Robin")
        for out in found:
            turn.sent(store, out.id, at)
        return [out.message.text for out in found if out.priority == "reminder"]


def test_the_oil_is_due_by_the_kilometres_of_the_book(robin: Rider) -> None:
    robin.say("oil every 500 km")
    robin.now += timedelta(days=3)
    robin.say("1400 km", "yes")
    assert reminded(robin, robin.now + timedelta(hours=1)) == []
    robin.now += timedelta(days=1)
    robin.say("1520 km", "yes")
    [said] = reminded(robin, datetime(2026, 5, 9, 12, tzinfo=UTC))
    assert said.startswith("Pepper: 520 km on this oil, you said every 500 km.")


def test_the_meter_that_is_asked_for_is_told_with_a_bare_number(robin: Rider) -> None:
    robin.say("oil every 500 km")
    robin.now += timedelta(days=20)
    [said] = reminded(robin, robin.now)
    assert "What does the meter show?" in said
    assert robin.say("1450").startswith("Pepper: Odometer at 1450 km.")


def test_an_imported_book_brings_its_odometer_up(robin: Rider) -> None:
    rows, _ = read_csv("line,km,shows\ndistance,1600,\nodometer,1700,0\ndistance,20,\n")
    with closing(turn.open_record(robin.path)) as store:
        books.import_book(store, "1", from_rows(rows, turn.stamp(NOON)).entries, turn.stamp(NOON))
        assert turn.read_book(store, "1").km is not None
        last = store.last_reading("1", "distance")
        assert last is not None
        assert last.total == (1720, 1720)


def test_a_case_with_distances_is_the_same_when_it_is_run_again(robin: Rider) -> None:
    robin.say("1400 km", "yes", "900 km", "book strike 2", "yes")
    with closing(turn.open_record(robin.path)) as store:
        for case in store.all_cases():
            assert turn.replay(store, case.id) is None
