"""The bench of a mechanic: what must not run first, one short line each, by pages and words, and as CSV."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bot import bench, turn
from bot.bench import COLUMNS, Row
from tests.workshop import Talker, Workshop, opened

WORDS = turn.read_words()
ROW = Row(3, "Goat", "something rattles", "Something rattles", "", 2, "2026-05-04T09:00:00Z",
          "2026-05-05T09:00:00Z", "2026-05-06T09:00:00Z", "")  # fmt: skip


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Workshop]:
    with opened(tmp_path / "record.db") as made:
        yield made


def hold(shop: Workshop, mechanic: Talker, bike: str, complaint: str = "something rattles") -> Talker:
    rider = shop.rider(f"Rider of {bike}", bike, complaint)
    mechanic.say(f"open {rider.share()}")
    return rider


def test_what_must_not_run_comes_first_then_the_oldest(shop: Workshop) -> None:
    """Lines counted by hand: a number, the bike, its complaint, the stop, days since the case was opened."""
    max_ = shop.person("Max")
    hold(shop, max_, "Mule")
    shop.clock.on(days=1)
    hold(shop, max_, "Ghost", "it rattles only when it is cold and wet, and loud")
    shop.clock.on(days=2)
    goat = hold(shop, max_, "Goat")
    for text in ("change", "1", "It knocks"):
        goat.say(text)
    max_.read()
    assert max_.hears("bench") == (
        "3 Goat: something rattles STOP 0 d\n"
        "1 Mule: something rattles 3 d\n"
        "2 Ghost: it rattles only when it… 2 d\n"
        "Go to one: case 3"
    )


def test_riding_comes_behind_running() -> None:
    rows = [replace(ROW, number=n, stop=stop) for n, stop in enumerate(("", "riding", "running"), 1)]
    assert [bench.line(row, WORDS) for row in rows] == [
        "1 Goat: something rattles 2 d",
        "2 Goat: something rattles LOOK 2 d",
        "3 Goat: something rattles STOP 2 d",
    ]
    assert bench.STOPS == ("running", "riding", "")


def test_a_case_that_is_over_says_so() -> None:
    assert bench.line(replace(ROW, ended="proved"), WORDS) == "3 Goat: something rattles over 2 d"
    assert bench.line(replace(ROW, bike=""), WORDS) == "3 no name: something rattles 2 d"


@given(
    st.builds(
        Row,
        st.integers(1, 999),
        st.text(max_size=24),
        st.text(max_size=200).map(lambda text: " ".join(text.split())),
        st.just("Metal in the oil"),
        st.sampled_from(bench.STOPS),
        st.integers(0, 4000),
        st.just(""),
        st.just(""),
        st.just(""),
        st.sampled_from(["", "proved"]),
    )
)
def test_a_line_fits_a_phone_and_keeps_number_stop_and_days(row: Row) -> None:
    line = bench.line(row, WORDS)
    assert len(line) <= COLUMNS
    assert line.startswith(f"{row.number} ")
    stop = {"running": "STOP ", "riding": "LOOK "}.get(row.stop, "over " if row.ended else "")
    assert line.endswith(f" {stop}{row.days} d")


def test_ten_to_a_page_and_the_rest_by_its_number(shop: Workshop) -> None:
    max_ = shop.person("Max")
    for n in range(12):
        hold(shop, max_, f"Bike {n}")
    first = max_.hears("bench").split("\n")
    assert [line.partition(":")[0] for line in first[:10]] == [f"{n + 1} Bike {n}" for n in range(10)]
    assert first[10:] == ["and 2 more, say: bench 2", "Go to one: case 1"]
    second = max_.hears("bench 2").split("\n")
    assert [line.partition(":")[0] for line in second] == ["11 Bike 10", "12 Bike 11", "Go to one"]
    assert max_.hears("bench 3") == "Your bench has no page 3. From the start: bench"
    assert max_.hears("bench 0") == "Your bench has no page 0. From the start: bench"
    assert max_.hears("bench rattles").split("\n")[10] == "and 2 more, say: bench 2 rattles"
    assert len(max_.hears("bench 2 rattles").split("\n")) == 3


def test_it_is_narrowed_by_words(shop: Workshop) -> None:
    max_ = shop.person("Max")
    for bike, complaint in (("Mule", "it rattles in the clutch"), ("Goat", "something rattles below")):
        rider = hold(shop, max_, bike, complaint)
    for text in ("change", "1", "It knocks"):
        rider.say(text)
    max_.read()
    assert max_.hears("bench clutch").startswith("1 Mule: it rattles in the clutch")
    assert max_.hears("bench stop").startswith("2 Goat: something rattles be… STOP 0 d\n")
    assert max_.hears("bench goat below").startswith("2 Goat")
    assert max_.hears("bench brakes") == "None of your 2 fits that. All of them: bench"


def test_an_empty_bench_says_how_it_is_filled(shop: Workshop) -> None:
    assert shop.person("Max").hears("bench") == (
        "You hold no case of another rider. When one gives you a code, send: open and the code."
    )
    assert shop.store.all_cases() == ()


def test_a_rider_who_speaks_of_a_bench_is_a_rider(shop: Workshop) -> None:
    """He holds nothing, so these are his own words."""
    robin = shop.rider("Robin", "Goat")
    before = len(shop.store.entries(robin.case or 0))
    robin.say("bench tested the coil")
    assert len(shop.store.entries(robin.case or 0)) > before


def test_as_csv_it_has_the_times_and_runs_nothing_in_a_spreadsheet() -> None:
    """RFC 4180; a cell that begins like a formula gets an apostrophe, as in the book's own CSV."""
    told = bench.as_csv(
        [
            replace(ROW, bike='=cmd|"/c calc"', complaint='+1, "quoted"'),
            replace(ROW, bike="@x", complaint="-2"),
        ]
    )
    rows = list(csv.reader(io.StringIO(told, newline="")))
    assert rows[0] == ["number", "bike", "complaint", "stop", "days", "opened", "held_since", "last", "ended"]
    assert rows[1][:3] == ["3", '\'=cmd|"/c calc"', '\'+1, "quoted"']
    assert rows[1][4:8] == ["2", "2026-05-04T09:00:00Z", "2026-05-05T09:00:00Z", "2026-05-06T09:00:00Z"]
    assert rows[2][1:3] == ["'@x", "'-2"]
    assert told.endswith("\r\n")
