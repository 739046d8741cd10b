"""The book of a rider with two bikes, through the record: whose line it is, and what it interrupts."""

from __future__ import annotations

import copy
import json
from contextlib import closing
from pathlib import Path

import pytest

from bot import turn
from tests.rattle import RATTLE
from tests.test_bookkeeping import NOON, Rider


@pytest.fixture
def robin(tmp_path: Path) -> Rider:
    """Pepper at 50 h and Mule at 9 h; no case."""
    path = tmp_path / "record.db"
    flow = copy.deepcopy(RATTLE)
    flow["questions"]["magnet"]["answers"]["all"]["told_as"] = ["sticks to the magnet"]
    flow["questions"]["amount"]["classes"]["some"]["told_as"] = ["a dozen flakes"]
    with closing(turn.open_record(path)) as store:
        turn.lay_out(store, json.dumps(flow), "", "everyone", NOON)
    rider = Rider(path)
    rider.say("hours 50", "Pepper", "yes", "Mule: hours 9", "yes")
    return rider


def hours(robin: Rider) -> list[list[float]]:
    """The readings of Pepper's book and of Mule's."""
    return [[line.hours[0] for line in book if line.hours] for book in robin.books]


# --- the bike by its name --------------------------------------------------------------------


@pytest.mark.parametrize(
    "asked", ["book Pepper", "book of Pepper", "Book: pepper", "my book Pepper", "book Peper"]
)
def test_the_book_is_shown_of_the_bike_that_is_named(robin: Rider, asked: str) -> None:
    said = robin.say(asked)
    assert "Book of Pepper" in said
    assert "Hour meter at 50 h." in said


def test_a_line_of_a_named_bike_is_struck_and_changed(robin: Rider) -> None:
    assert "Pepper: Strike out: Hour meter at 50 h" in robin.say("book Pepper strike 1")
    robin.say("no")
    said = robin.say("book Mule change 1: hours 8")
    assert said.startswith("Mule: In place of: Hour meter at 9 h")
    robin.say("yes")
    assert hours(robin) == [[50], [8]]


def test_a_line_is_written_for_a_named_bike_after_the_word_book(robin: Rider) -> None:
    assert robin.say("book Mule oil change at 12 with filter, clean").startswith("Mule: Oil change at 12 h")


def test_the_trend_is_told_of_the_bike_that_is_named(robin: Rider) -> None:
    for line in ("54 with filter, clean", "60 with filter, 2 flakes", "65 with filter, 9 flakes"):
        robin.say(f"Pepper oil change at {line}", "yes")
    assert "Rising: 2 pieces in 6 h" in robin.say("trend Pepper")
    assert "95% limits" in robin.say("trend Pepper numbers")
    assert "No trend yet" in robin.say("trend Mule")
    assert "Which bike" in robin.say("trend")


@pytest.mark.parametrize(
    ("line", "back"),
    [
        ("Pepper hours 58", "Pepper: Hour meter at 58 h."),
        ("Pepper: hours about 70", "Pepper: Hour meter at 56–84 h."),
        ("hours about 70 for Pepper", "Pepper: Hour meter at 56–84 h."),
        ("Pepper about 70 h", "Pepper: Hour meter at 56–84 h."),
        ("Mule: note: new tyre", "Mule: Note: new tyre."),
        ("Mule's oil changed yesterday", "Mule: Oil change"),
        ("Goat: note: new tyre", "Goat: Note: new tyre."),
        ("Goat: hours about 70", "Goat: Hour meter at 56–84 h."),
    ],
)
def test_a_line_with_the_bikes_name_is_for_its_book_and_opens_no_case(
    robin: Rider, line: str, back: str
) -> None:
    assert robin.say(line).startswith(back)


def test_a_complaint_with_the_bikes_name_is_none(robin: Rider) -> None:
    assert "Write it down?" not in robin.say("Pepper rattles since 58 h")


def test_a_name_that_is_a_number_or_a_word_of_the_book_is_not_seen_in_its_lines(robin: Rider) -> None:
    robin.say("hours 23", "23", "yes", "Silver: hours 4", "yes")
    assert robin.say("Mule: oil change at 23, six silver flakes").startswith(
        "Mule: Oil change at 23 h. Found: 6 flakes, silver."
    )
    robin.say("no")
    assert robin.say("23: hours 24").startswith("23: Hour meter at 24 h.")
    robin.say("no")
    assert robin.say("hours 25 for 23").startswith("23: Hour meter at 25 h.")
    robin.say("no")
    assert "Book of 23" in robin.say("book 23")
    assert "Book of Silver" in robin.say("book silver")


def test_the_longer_of_two_names_is_meant(robin: Rider) -> None:
    robin.say("hours 3", "Pepper Two", "yes")
    assert robin.say("Pepper Two hours 4").startswith("Pepper Two: Hour meter at 4 h.")
    robin.say("no")
    assert robin.say("Pepper hours 58").startswith("Pepper: Hour meter at 58 h.")


def test_within_a_case_a_line_that_begins_with_the_bikes_name_is_for_its_book(robin: Rider) -> None:
    robin.say("something rattles", "2", "Pepper")
    assert "Mule: Note: new tyre. Write it down?" in robin.say("Mule: note: new tyre")
    assert "How is it started?" in robin.say("yes")


# --- what a line interrupts ------------------------------------------------------------------

LINE = "oil change at 60 with filter, clean"


def test_a_line_at_the_question_which_problem_is_offered_and_the_question_comes_again(robin: Rider) -> None:
    assert "Which of these comes nearest?" in robin.say("it does something strange")
    assert robin.say(f"Pepper {LINE}").startswith("Pepper: Oil change at 60 h, filter changed.")
    said = robin.say("yes")
    assert "Written in the book of Pepper." in said
    assert "Which of these comes nearest?" in said
    assert hours(robin) == [[50, 60], [9]]


def test_a_line_at_the_question_which_bike_is_offered_and_the_question_comes_again(robin: Rider) -> None:
    assert "Which bike is it?" in robin.say("something rattles", "2")
    assert "Whose book is that for?" in robin.say("hours 61")
    assert robin.say("Pepper").startswith("Pepper: Hour meter at 61 h.")
    said = robin.say("yes")
    assert "Written in the book of Pepper." in said
    assert "Which bike is it?" in said
    assert hours(robin) == [[50, 61], [9]]


def test_a_line_without_hours_is_no_name_of_a_bike_either(robin: Rider) -> None:
    robin.say("something rattles", "2")
    assert "Whose book is that for?" in robin.say("oil changed yesterday")


def test_a_line_at_the_confirmation_is_offered_and_the_confirmation_comes_again(robin: Rider) -> None:
    asked = robin.say("it rattles, sticks to the magnet")
    assert "Did I get this right?" in asked
    assert robin.say(f"Pepper {LINE}").endswith("Write it down?")
    said = robin.say("yes")
    assert "Written in the book of Pepper." in said
    assert "Did I get this right?" in said
    assert "All of them cling" in said
    robin.say("yes")
    with closing(turn.open_record(robin.path)) as store:
        [case] = [line for line in store.all_cases() if line.title]
        [told] = [told.event for told in store.state(case.id).answers if told.event.ask == "magnet"]
    assert told.value == ("all",)


def test_what_a_line_tells_of_the_case_is_confirmed_with_the_rest(robin: Rider) -> None:
    robin.say("it rattles, sticks to the magnet", "Pepper oil change at 60 with filter, a dozen flakes")
    said = robin.say("yes")
    assert "1. All of them cling" in said
    assert "2. 6 to 20" in said


def test_a_line_left_at_the_confirmation_leaves_the_confirmation_open(robin: Rider) -> None:
    robin.say("it rattles, sticks to the magnet", f"Pepper {LINE}")
    said = robin.say("no")
    assert "Nothing was written" in said
    assert "Did I get this right?" in said


def test_a_line_that_cannot_be_taken_says_so_and_leaves_the_question_open(robin: Rider) -> None:
    robin.say("it rattles, sticks to the magnet")
    said = robin.say("Pepper hours 40")
    assert "below the 50 h" in said
    assert "Did I get this right?" in said


# --- lines on top of each other --------------------------------------------------------------


def test_a_second_line_while_it_is_asked_whose_book_goes_with_the_first(robin: Rider) -> None:
    robin.say("hours 58")
    assert "Whose book is that for?" in robin.say("chain 79 euro")
    back = robin.say("Pepper")
    assert back.startswith("Pepper: Hour meter at 58 h.\nPart: chain")
    robin.say("yes")
    assert [line.kind for line in robin.books[0]] == ["hours", "hours", "part"]


def test_a_line_that_names_its_bike_answers_whose_book_it_is(robin: Rider) -> None:
    robin.say("hours 58")
    back = robin.say("Pepper: chain 79 euro")
    assert back.startswith("Pepper: Hour meter at 58 h.\nPart: chain")
    assert "chain" in back


def test_a_second_line_of_another_kind_does_not_push_out_the_first(robin: Rider) -> None:
    robin.say("Pepper hours 58")
    back = robin.say("chain 79 euro")
    assert "Hour meter at 58 h." in back
    assert "chain" in back
    robin.say("tyre 60 euro", "yes")
    assert [line.kind for line in robin.books[0]] == ["hours", "hours", "part", "part"]


def test_a_line_that_is_sent_twice_waits_once(robin: Rider) -> None:
    robin.say("chain 79 euro", "chain 79 euro", "Pepper", "yes")
    assert [line.kind for line in robin.books[0]] == ["hours", "part"]


def test_a_line_for_another_bike_says_that_the_open_one_is_left(robin: Rider) -> None:
    robin.say("Pepper hours 58")
    said = robin.say("Mule hours 12")
    assert "Not written: Hour meter at 58 h. (Pepper)" in said
    assert "Mule: Hour meter at 12 h." in said


# --- what is no name -------------------------------------------------------------------------


@pytest.mark.parametrize("said", ["yes", "ok", "no", "No.", "done", "sure"])
def test_a_nod_is_no_name_of_a_bike(robin: Rider, said: str) -> None:
    robin.say("something rattles", "2")
    answer = robin.say(said)
    assert "is no name" in answer
    assert "Which bike is it?" in answer
    assert "How is it started?" in robin.say("Goat")


@pytest.mark.parametrize("said", ["yes", "ok", "no"])
def test_a_nod_is_no_name_for_a_book_either_and_loses_no_line(robin: Rider, said: str) -> None:
    robin.say("hours 58")
    answer = robin.say(said)
    assert "is no name" in answer
    assert "Whose book is that for?" in answer
    assert robin.say("Pepper").startswith("Pepper: Hour meter at 58 h.")


def test_the_number_before_a_bike_picks_it(robin: Rider) -> None:
    robin.say("hours 12")
    assert robin.say("2").startswith("Mule: Hour meter at 12 h.")


@pytest.mark.parametrize("choose", ["1", "Pepper"])
def test_a_reading_that_falls_on_the_bike_that_is_named_for_it_is_asked_about(
    robin: Rider, choose: str
) -> None:
    robin.say("hours 40")
    said = robin.say(choose)
    assert "40 h is below the 50 h of your last reading" in said
    assert "Write it down?" not in said
    assert hours(robin) == [[50], [9]]


def test_what_else_waits_is_not_lost_with_it(robin: Rider) -> None:
    robin.say("hours 40", "chain 79 euro")
    said = robin.say("Pepper")
    assert "40 h is below the 50 h of your last reading" in said
    assert "Pepper: Part: chain, 79 EUR. Write it down?" in said
    robin.say("It is another bike")
    assert robin.say("Mule").startswith("Mule: Part: chain, 79 EUR.")


def test_on_another_bike_the_same_reading_may_stand(robin: Rider) -> None:
    robin.say("hours 40")
    assert robin.say("Mule").startswith("Mule: Hour meter at 40 h.")


def test_whose_book_is_asked_with_the_names_to_choose_from(robin: Rider) -> None:
    assert robin.say("book") == "Which bike, Pepper or Mule? Send for example: book Pepper"
    assert robin.say("trend") == "Which bike, Pepper or Mule? Send for example: trend Pepper"


def test_a_list_to_choose_from_comes_again_after_a_line(robin: Rider) -> None:
    robin.say("something rattles", "2", "Pepper")
    assert "Which answer do you want to change?" in robin.say("change")
    assert robin.say("hours 58").startswith("Pepper: Hour meter at 58 h.")
    assert "Which answer do you want to change?" in robin.say("yes")


def test_a_name_that_no_bike_has_is_said_and_made_no_note_of(robin: Rider) -> None:
    said = robin.say("book Goat")
    assert said == "No bike of yours is called Goat, but Pepper or Mule. As a note send: book note: Goat"
    assert (
        robin.say("book note: Goat")
        == "Whose book is that for? Pick the bike, or send the name of a new one."
    )


@pytest.mark.parametrize("said", ["Mule", "no, Mule", "for Mule"])
def test_the_name_of_another_bike_in_place_of_the_yes_is_where_it_goes(robin: Rider, said: str) -> None:
    robin.say("Pepper hours 58")
    assert robin.say(said).startswith("Mule: Hour meter at 58 h.")
    robin.say("yes")
    assert hours(robin) == [[50], [9, 58]]
