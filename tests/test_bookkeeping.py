"""The bike's book in the talk, through the record: read back, written after a yes, put right, judged."""

from __future__ import annotations

import json
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from bot import turn
from bot.channels.seat import Seat
from bot.core.book import fold
from bot.core.book_entries import OilChange
from tests.rattle import RATTLE
from tests.record.test_photos import jpeg

NOON = datetime(2026, 5, 4, 12, 0, tzinfo=UTC)
FIRST = "oil change at 54.5, six small silver flakes, biggest 1 mm"


class Rider:
    """One rider at a terminal; the program is started anew for each line."""

    def __init__(self, path: Path) -> None:
        self.path, self.now = path, NOON
        self.shown: list[str] = []

    def say(self, *lines: str) -> str:
        """Say them one after the other; what was said to the last."""
        for line in lines:
            with closing(turn.open_record(self.path)) as store:
                seat = Seat(store, "Robin", clock=lambda: self.now)
                self.shown = [out.message.text for out in seat.say(line)]
                assert not store.dead_letters()
            self.now += timedelta(minutes=1)
        return "\n".join(self.shown)

    @property
    def lines(self) -> list[Any]:
        with closing(turn.open_record(self.path)) as store:
            return [row.line for row in fold(store.book_of("1")).lines]

    @property
    def books(self) -> list[list[Any]]:
        with closing(turn.open_record(self.path)) as store:
            person = store.named("Robin")
            assert person is not None
            return [[row.line for row in fold(store.book_of(b.id)).lines] for b in store.bikes_of(person.id)]

    @property
    def hours(self) -> float | None:
        with closing(turn.open_record(self.path)) as store:
            return store.bike("1").hours


@pytest.fixture
def robin(tmp_path: Path) -> Rider:
    path = tmp_path / "record.db"
    with closing(turn.open_record(path)) as store:
        turn.lay_out(store, json.dumps(RATTLE), "", "everyone", NOON)
    return Rider(path)


def test_a_line_is_read_back_and_written_after_a_yes(robin: Rider) -> None:
    assert "Which bike is that for?" in robin.say(FIRST)
    back = robin.say("Pepper")
    assert back.startswith("Pepper: Oil change at 54.5 h. Found: 6 flakes, silver, biggest 1 mm.")
    assert robin.lines == []
    assert "Written in the book of Pepper." in robin.say("yes")
    [line] = robin.lines
    assert isinstance(line, OilChange)
    assert line.hours == (54.5, 54.5)
    assert robin.hours == 54.5


def test_a_no_writes_nothing_and_keeps_no_reading(robin: Rider) -> None:
    assert "Nothing was written" in robin.say(FIRST, "Pepper", "no")
    assert robin.books == []  # not even a bike was made


def test_another_line_in_place_of_the_yes_is_read_back_instead(robin: Rider) -> None:
    assert "45.5 h" in robin.say(FIRST, "Pepper", "oil change at 45.5, six small silver flakes")
    robin.say("yes")
    assert [line.hours for line in robin.lines] == [(45.5, 45.5)]


def test_a_complaint_in_place_of_the_yes_is_heard(robin: Rider) -> None:
    said = robin.say(FIRST, "Pepper", "something rattles")
    assert "Nothing was written" in said
    assert "Does it knock from below?" in said
    assert robin.lines == []


def test_a_yes_to_nothing_is_no_complaint(robin: Rider) -> None:
    assert "what is wrong with the bike" in robin.say("yes")
    assert "Does it knock from below?" in robin.say("something rattles")


def written(robin: Rider, *lines: str) -> str:
    """Lines for Pepper's book, each with its yes; what was said to the last."""
    robin.say("hours 50", "Pepper", "yes")
    said = ""
    for line in lines:
        said = robin.say(line, "yes")
    return said


RISE = (
    "oil change at 54 with filter, clean", "oil change at 60 with filter, 2 flakes",
    "oil change at 65 with filter, 9 flakes",
)  # fmt: skip


def test_a_rise_is_told_as_soon_as_it_is_written(robin: Rider) -> None:
    """2 in 6 h, then 9 in 5 h: 9 or more of 11 with a share of 5/11, by hand .0158, 1 time in 63."""
    said = written(robin, *RISE)
    assert "Rising: 2 pieces in 6 h, then 9 in 5 h; chance alone would do this about 1 time in 60." in said
    assert "metal in the oil" in said
    assert "Rising" in robin.say("trend")
    assert "95% limits" in robin.say("trend numbers")


def test_hard_pieces_come_before_any_count(robin: Rider) -> None:
    robin.say("hours 50", "Pepper", "yes")
    said = robin.say("oil change at 60, 1 chunk 6 mm", "yes")
    assert "WARNING: Hard pieces" in said
    assert "Do not run the engine" in said


def test_the_book_is_shown_with_numbers_and_a_line_is_put_right(robin: Rider) -> None:
    written(robin, *RISE)
    shown = robin.say("book")
    assert "3. 2026-05-04 Oil change at 60 h, filter changed. Found: 2 flakes." in shown
    assert "Hours on this oil: 0." in shown
    back = robin.say("book change 3: oil change at 61 with filter, 3 flakes")
    assert "In place of: Oil change at 60 h" in back
    robin.say("yes")
    assert [line.hours[0] for line in robin.lines] == [50, 54, 61, 65]
    with closing(turn.open_record(robin.path)) as store:
        assert len(store.book_of("1")) == 5  # the old line is still there


def test_the_day_stands_once_in_a_line_of_the_book(robin: Rider) -> None:
    written(robin, "oil change at 54 on 2026-05-02 with filter, clean", "rode 2.5 h on 3 May, enduro")
    shown = robin.say("book").split("\n")
    assert "1. 2026-05-02 Oil change at 54 h, filter changed. Nothing found." in shown
    assert "2. 2026-05-03 Rode 2.5 h, enduro." in shown


def test_a_misread_meter_is_put_right_and_the_next_reading_is_taken(robin: Rider) -> None:
    written(robin, "oil change at 154.5, clean")
    assert "below" in robin.say("oil change at 60, clean")
    robin.say("book change 2: oil change at 54.5, clean", "yes")
    assert "Written" in robin.say("oil change at 60, clean", "yes")
    assert robin.hours == 60


def test_a_line_is_struck_out(robin: Rider) -> None:
    written(robin, *RISE)
    assert "Strike out: Oil change at 65 h" in robin.say("book strike 4")
    robin.say("yes")
    assert [line.hours[0] for line in robin.lines] == [50, 54, 60]
    assert "There is no line 9" in robin.say("book strike 9")


def test_a_new_meter_goes_on_from_the_old_one(robin: Rider) -> None:
    written(robin, "oil change at 60 with filter, clean", "new hour meter, shows 0")
    robin.say("oil change at 5 with filter, 3 flakes", "yes")
    assert robin.hours == 65
    assert "3 pieces in 5 h" in robin.say("trend")


def test_a_line_for_another_bike_names_it_or_is_asked_for_it(robin: Rider) -> None:
    robin.say("hours 50", "Pepper", "yes")
    assert "Pepper: Hour meter at 59 h." in robin.say("hours 59")
    assert "Whose book" in robin.say("It is another bike")
    assert robin.say("Goat").startswith("Goat: Hour meter at 59 h.")
    assert "Written in the book of Goat." in robin.say("yes")
    assert robin.say("Goat: oil change at 60, clean").startswith("Goat: Oil change at 60 h.")
    robin.say("no")
    assert robin.say("oil change at 51 for Pepper, clean").startswith("Pepper: Oil change at 51 h.")
    robin.say("yes")
    assert [len(lines) for lines in robin.books] == [2, 1]


def test_another_bike_is_asked_for_also_after_a_press(robin: Rider) -> None:
    """The press was followed by the next step of the case, which closed the question it had just led to."""
    robin.say("hours 50", "Pepper", "yes", "hours 59")
    with closing(turn.open_record(robin.path)) as store:
        seat = Seat(store, "Robin", clock=lambda: robin.now)
        [asked] = seat.choose(3)
    assert "Whose book" in asked.message.text
    assert robin.say("Goat").startswith("Goat: Hour meter at 59 h.")


def test_a_case_asks_which_bike_also_after_a_line_for_one(robin: Rider) -> None:
    """The complaint of two weeks later may be of the other bike."""
    robin.say("hours 50", "Pepper", "yes", "Goat: hours 9", "yes")
    robin.say("something rattles")
    assert "Which bike" in robin.say("2")


def test_within_a_case_the_open_question_comes_again(robin: Rider) -> None:
    asked = robin.say("something rattles")
    assert "Does it knock from below?" in asked
    robin.say("2", "Pepper")
    assert "Pepper: Oil change at 54.5 h." in robin.say("book oil change at 54.5, clean")
    assert "How is it started?" in robin.say("yes")
    assert "How is it started?" in robin.say("book")


def test_what_belongs_to_the_case_is_not_taken_for_the_book(robin: Rider) -> None:
    robin.say("something rattles", "2", "Pepper")
    assert "Write it down?" not in robin.say("I changed the oil yesterday")


def test_a_trouble_says_what_to_do_and_nothing_is_lost(robin: Rider) -> None:
    written(robin, "oil change at 54.5, clean")
    assert "Is the meter new?" in robin.say("oil change at 52, clean")
    assert "no day as" in robin.say("oil change at 60 on 31 June").replace("such ", "")
    with closing(turn.open_record(robin.path)) as store:
        heard = [e.event.heard.text for c in store.all_cases() for e in store.entries(c.id)
                 if e.event.kind == "heard"]  # fmt: skip
    assert "oil change at 52, clean" in heard


def test_a_photo_under_which_a_line_is_written_stays_with_what_was_found(
    robin: Rider, tmp_path: Path
) -> None:
    robin.say("hours 50", "Pepper", "yes")
    picture = tmp_path / "plug.jpg"
    picture.write_bytes(jpeg())
    with closing(turn.open_record(robin.path)) as store:
        seat = Seat(store, "Robin", clock=lambda: robin.now)
        said = "\n".join(
            out.message.text for out in seat.show_photo(picture, "oil change at 54.5, six flakes")
        )
    assert "With your photo." in said
    robin.say("yes")
    [found] = robin.lines[-1].found
    with closing(turn.open_record(robin.path)) as store:
        assert store.file(found.photo).is_file()


def test_a_laboratory_report_never_clears_what_can_be_seen(robin: Rider) -> None:
    said = written(robin, "lab iron 45 copper 12 after 5 h")
    assert "Iron: 45 ppm, 9 an hour." in said
    assert "clears no piece that you can see" in said


def test_an_ended_case_is_not_opened_by_a_line_for_the_book(robin: Rider) -> None:
    robin.say("something rattles", "2", "Pepper", "hand it over")
    with closing(turn.open_record(robin.path)) as store:
        ended = store.all_cases()[0].ended
    assert ended
    robin.say("oil change at 54.5, clean", "yes")
    assert len(robin.lines) == 1
    with closing(turn.open_record(robin.path)) as store:
        assert [line.ended for line in store.all_cases()] == [ended]


def test_the_case_is_the_same_when_it_is_run_again(robin: Rider) -> None:
    """Also its book stands then as it stood at each line."""
    written(robin, *RISE)
    robin.say("book", "book strike 2", "yes")
    with closing(turn.open_record(robin.path)) as store:
        for case in store.all_cases():
            assert turn.replay(store, case.id) is None
