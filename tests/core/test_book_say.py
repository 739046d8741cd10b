"""What is said back before a line is written, and what is said when it is not."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bot.authoring.wording import read_words
from bot.core.book_draft import Trouble
from bot.core.book_entries import Find, Look, OilChange, Part, Work
from bot.core.book_lines import is_book_talk, read_line
from bot.core.book_say import say_back, say_trouble
from bot.core.spoken import ENGLISH
from tests.core.book_strategies import lines, said_lines

NOW = datetime(2026, 5, 20, 12, tzinfo=UTC)
WORDS = read_words()
ASK = " Write it down?"


def said(typed: str, last: tuple[float, float] | None = None) -> str:
    found = read_line(typed, ENGLISH, NOW, last)
    return say_trouble(found, WORDS) if isinstance(found, Trouble) else say_back(found, WORDS)


@pytest.mark.parametrize(
    ("typed", "wanted"),
    [
        (
            "oil change at 54.5, six small silver flakes, biggest 1 mm",
            "Oil change at 54.5 h. Found: 6 flakes, silver, biggest 1 mm. Write it down?",
        ),
        (
            "changed oil and filter 61h, clean",
            "Oil change at 61 h, filter changed. Nothing found. Write it down?",
        ),
        ("oil change at about 50", "Oil change at 40–60 h. Write it down?"),
        (
            "oil change at 12, smells of petrol",
            "Oil change at 12 h. Kept as a note: smells of petrol. Write it down?",
        ),
        ("clutch plates 89 euro at 70", "Part: clutch plates, 89 EUR at 70 h. Write it down?"),
        ("rode 2.5 h today", "Rode 2.5 h, on 2026-05-20. Write it down?"),
        (
            "opened the clutch cover at 66, new washer",
            "Work: opened the clutch cover, new washer at 66 h. Engine opened. Write it down?",
        ),
        (
            "lab iron 45 copper 12 after 8 h",
            "Lab report: Fe 45, Cu 12 ppm. After 8 h on the oil. Write it down?",
        ),
    ],
)
def test_a_line_is_said_back(typed: str, wanted: str) -> None:
    assert said(typed) == wanted


def test_sizes_are_said_in_the_riders_units() -> None:
    line = OilChange(hours=(50, 50), found=(Find(form="chunk", count=(1, 1), biggest=25.4),))
    assert "biggest 1 in" in say_back([line], WORDS, "imperial")


def test_a_trouble_says_what_to_do() -> None:
    assert said("hours 52", (54.5, 54.5)) == (
        "52 h is below the 54.5 h of your last reading, so I have not written it. "
        "Is the meter new? Then send: new hour meter, shows 52. "
        "Was it earlier? Add the day. Another bike? Name it first, like Goat: hours 9. Else send it again."
    )
    # and what it says to send is understood
    assert not isinstance(read_line("new hour meter, shows 52", ENGLISH, NOW, (54.5, 54.5)), Trouble)


def test_a_trouble_names_the_day_as_it_was_told() -> None:
    assert said("oil change at 54.5 on 4/5/2026").startswith("4/5/2026 can be read two ways")
    assert "no such day as 31st of april." in said("oil change at 54.5 on the 31st of April")


def test_a_long_note_is_cut_in_the_read_back_and_kept_in_the_line() -> None:
    found = read_line("oil change at 54.5, " + "smells of something odd and " * 12, ENGLISH, NOW)
    assert not isinstance(found, Trouble)
    assert found[0].note.count("smells of something odd") == 12
    assert "…" in say_back(found, WORDS)


def test_many_lines_are_counted() -> None:
    many = [Part(what=f"part number {n}", price=n, currency="EUR", hours=(70, 70)) for n in range(12)]
    assert "And 8 more lines." in say_back(many, WORDS)


@given(st.lists(lines(), min_size=1, max_size=6))
def test_a_read_back_fits_a_phone(written: list[Any]) -> None:
    for units in ("metric", "imperial", "both"):
        assert len(say_back(written, WORDS, units)) < 300  # type: ignore[arg-type]


@given(said_lines())
def test_a_read_back_reads_as_the_line_it_tells(line: Any) -> None:
    text = say_back([line], WORDS)
    if "more kind" not in text:
        assert read_line(text.removesuffix(ASK), ENGLISH, NOW) == [line]


@given(said_lines())
def test_a_whole_line_is_talk_for_the_book(line: Any) -> None:
    vague = isinstance(line, Look) and any(find.count[1] is None for find in line.found or ())
    if not vague:
        assert is_book_talk(say_back([line], WORDS).removesuffix(ASK))


TYPED = """
oil change at 54.5 , . ; six flakes silver 1 mm in the screen hours 72 rode 2 h today on 12 May
lab iron 45 89 euro
new meter shows - about no not and + found clean cleaned it 10w40 filter opened cover 1/16 x magnetic ¦ ½ ß İ
"""
PIECES = TYPED.split()


@given(st.text(max_size=120) | st.lists(st.sampled_from(PIECES), max_size=14).map(" ".join))
def test_whatever_is_typed_is_read_or_refused(typed: str) -> None:
    found = read_line(typed, ENGLISH, NOW, (50, 50))
    is_book_talk(typed)
    if isinstance(found, Trouble):
        assert found.text == typed
        assert 0 < len(say_trouble(found, WORDS)) < 300
    else:
        assert found
        assert len(say_back(found, WORDS)) < 300


@given(st.lists(st.sampled_from(PIECES), max_size=10), st.integers(0, 10))
def test_a_word_that_is_not_known_is_kept_wherever_it_stands(typed: list[str], place: int) -> None:
    found = read_line(" ".join([*typed[:place], "Zyxlamoth", *typed[place:]]), ENGLISH, NOW)
    kept = found.text if isinstance(found, Trouble) else " ".join(line.model_dump_json() for line in found)
    assert "Zyxlamoth" in kept


@pytest.mark.parametrize(
    "typed",
    [
        "new Zyxlamoth meter, shows 0",
        "oil Zyxlamoth and filter at 70",
        "oil change at six Zyxlamoth hours",
        "changed Zyxlamoth oil at 7",
        "oil Zyxlamoth change at 7",
    ],
)
def test_a_word_among_those_that_say_the_kind_is_kept(typed: str) -> None:
    assert "Zyxlamoth" in said(typed)


@given(st.sampled_from(["Zyxlamoth", "grün-weiß", "Łódź", "naïve", "Ωmega"]), st.integers(0, 3))
def test_a_word_that_is_not_known_is_kept(word: str, place: int) -> None:
    parts = ["oil change at 54.5", "six silver flakes", "filter changed"]
    found = read_line(", ".join([*parts[:place], word, *parts[place:]]), ENGLISH, NOW)
    assert not isinstance(found, Trouble)
    assert found[0].note == word
    assert word in say_back(found, WORDS)


def test_work_that_opened_nothing_can_be_said_so() -> None:
    typed = "new lock washer at 66, engine not opened"
    assert read_line(typed, ENGLISH, NOW) == [Work(hours=(66, 66), what="new lock washer")]
