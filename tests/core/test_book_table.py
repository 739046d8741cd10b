"""The book as a spreadsheet: nothing is lost out and back, and each mistake is named by its cell."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bot.authoring.wording import read_words
from bot.core.book import amend, fold, strike
from bot.core.book_csv import read_csv, say_row, write_csv
from bot.core.book_entries import Entry, Find, Hours, Lab, OilChange, Part
from bot.core.book_table import COLUMNS, from_rows, to_rows
from tests.core.book_strategies import lines

WORDS = read_words()
AT = "2026-05-20T12:00:00Z"
FOUND = (Find(form="flake", count=(60, None), metal="silver", biggest=1.5), Find(form="hair", count=(2, 3)))


def test_a_line_is_a_row_and_what_else_was_found_another() -> None:
    line = OilChange(hours=(40, 60), date="2026-05-01", filter="changed", found=FOUND)
    first, second = to_rows(fold([Entry(1, AT, line)]))
    told = {name: cell for name, cell in first.items() if cell}
    assert told == {
        "number": "1", "written": AT, "line": "oil_change", "date": "2026-05-01", "hours": "40 to 60",
        "filter": "changed", "found": "pieces", "pieces": "over 60", "form": "flake", "metal": "silver",
        "magnet": "untested", "biggest_mm": "1.5",
    }  # fmt: skip
    assert [second[name] for name in ("line", "form", "pieces", "number")] == ["more", "hair", "2 to 3", ""]


def test_a_correction_and_a_strike_go_out_and_come_back() -> None:
    book = fold([Entry(1, AT, Hours(hours=(50, 50))), Entry(2, AT, Hours(hours=(500, 500)))])
    book = strike(amend(book, 1, Hours(hours=(51, 51)), AT), 2, AT)
    table = from_rows(to_rows(book))
    assert table.troubles == ()
    assert fold(table.entries) == book


@given(
    st.lists(st.tuples(lines(), st.none() | st.integers(1, 6)), max_size=6),
    st.sampled_from([",", ";", "\t"]),
    st.booleans(),
)
def test_the_round_trip_loses_nothing(written: list[Any], mark: str, bom: bool) -> None:
    entries = tuple(
        Entry(n, AT, line, old if old is not None and old < n else None)
        for n, (line, old) in enumerate(written, 1)
    )
    text = ("\ufeff" if bom else "") + write_csv(to_rows(fold(entries)), mark)
    rows, wrong = read_csv(text)
    assert wrong == ()
    table = from_rows(rows)
    assert table.troubles == ()
    assert table.entries == entries


def test_a_sheet_by_hand_with_decimal_commas() -> None:
    text = (
        "Line;Date;Hours;Filter;Pieces;Form;Biggest mm;What;Price;Currency;PPM;Note\r\n"
        'oil change;2026-05-01;54,5;changed;6;flake;1,5;;;;;"größer; ""neu"""\r\n'
        "\r\n"
        "part;2026-05-02;;;;;;clutch plates;89,90;EUR;;\r\n"
        "lab;2026-05-03;55;;;;;;;;Fe 4,5; \r\n"
    )
    rows, wrong = read_csv(text)
    assert wrong == ()
    table = from_rows(rows, AT)
    assert table.troubles == ()
    flakes = Find(form="flake", count=(6, 6), biggest=1.5)
    change = OilChange(
        date="2026-05-01", hours=(54.5, 54.5), filter="changed", found=(flakes,), note='größer; "neu"'
    )
    assert table.entries == (
        Entry(1, AT, change),
        Entry(2, AT, Part(date="2026-05-02", what="clutch plates", price=89.9, currency="EUR")),
        Entry(3, AT, Lab(date="2026-05-03", hours=(55, 55), ppm={"Fe": 4.5}, note=" ")),
    )


def test_a_cell_that_a_spreadsheet_would_run_is_kept_from_it() -> None:
    text = write_csv([{"line": "note", "note": "=1+1"}])
    assert '"\'=1+1"' in text
    assert read_csv(text)[0][0]["note"] == "=1+1"


CELLS = [
    ({"line": "oil_change", "hours": "abc"}, "hours", "span", "Write it like 54.5"),
    ({"line": "hours", "hours": "60 to 50"}, "hours", "span", "40 to 60"),
    ({"line": "hours", "hours": "-5"}, "hours", "span", "'-5' is no number"),
    ({"line": "hours"}, "hours", "missing", "Write 54.5"),
    ({"line": "meter"}, "shows", "missing", "Write 0"),
    ({"line": "oil_change", "date": "12.5.2026"}, "date", "date", "2026-05-12"),
    ({"line": "note", "date": "2026-02-30"}, "date", "date", "2026-05-12"),
    ({"line": "tea"}, "line", "choice", "oil_change"),
    ({"hours": "50"}, "line", "needed", "oil_change"),
    ({"line": "look", "form": "flakey"}, "form", "choice", "flake, hair"),
    ({"line": "look", "pieces": "many"}, "pieces", "count", "over 60"),
    ({"line": "look", "pieces": "2.5"}, "pieces", "count", "3 to 5"),
    ({"line": "look", "biggest_mm": "0"}, "biggest_mm", "number", "'0' is no number"),
    ({"line": "look", "found": "nothing", "pieces": "3"}, "found", "choice", "pieces"),
    ({"line": "oil_change", "filter": "new"}, "filter", "choice", "changed, kept"),
    ({"line": "part", "price": "9 euro"}, "price", "number", "54.5"),
    ({"line": "work", "opened": "maybe"}, "opened", "choice", "yes, no"),
    ({"line": "lab", "ppm": "Xx 3"}, "ppm", "ppm", "Fe 45"),
    ({"line": "hours", "hours": "5", "price": "3"}, "price", "foreign", "note"),
    ({"line": "more", "form": "flake"}, "line", "alone", "beside its line"),
    ({"line": "struck"}, "replaces", "missing", "Write 3"),
    ({"line": "struck", "replaces": "9"}, "replaces", "replaces", "no row above"),
    ({"line": "note", "number": "1.5"}, "number", "number", "'1.5'"),
]


@pytest.mark.parametrize(("row", "column", "key", "told"), CELLS)
def test_a_wrong_cell_is_named_and_what_to_write(
    row: dict[str, str], column: str, key: str, told: str
) -> None:
    good = {"line": "hours", "hours": "50"}
    table = from_rows([good, {}, row, good])
    assert [(each.row, each.column, each.key) for each in table.troubles] == [(4, column, key)]
    said = say_row(table.troubles[0], WORDS)
    assert said.startswith(f"Row 4, column {column}: ")
    assert told in said
    assert len(said) < 300


def test_what_belongs_to_a_wrong_row_is_not_told_again() -> None:
    table = from_rows([{"line": "look", "hours": "x"}, {"line": "more", "form": "flake"}])
    assert [each.row for each in table.troubles] == [2]


def test_a_number_that_is_there_twice() -> None:
    row = {"line": "hours", "hours": "50", "number": "4"}
    assert [(each.row, each.key) for each in from_rows([row, row]).troubles] == [(2, "twice"), (3, "twice")]


HEADERS = [
    ("line,hors\n", "Column 'hors' is not known; nearest is 'hours'. Rename or remove it."),
    ("line,colour of my bike\n", "Column 'colour of my bike' is not known."),
    ("line,hours,Hours\n", "Column 'Hours' is there twice. Remove one."),
    ("hours,date\n", "Row 1 must hold the names of the columns, among them: line."),
    ("", "Row 1 must hold the names of the columns, among them: line."),
    ("line,hours\nhours,5,6\n", "Row 2, column -: This row has more cells than row 1 has names."),
    ('line,note\nnote,"never closed\n', "The file cannot be read from row 2 on"),
]


@pytest.mark.parametrize(("text", "told"), HEADERS)
def test_a_wrong_header_is_named(text: str, told: str) -> None:
    rows, wrong = read_csv(text)
    assert rows == []
    assert told in say_row(wrong[0], WORDS)


CELLS_AND_MARKS = st.sampled_from([*COLUMNS, ",", ";", '"', "\n", "5", "x"])


@given(st.text(max_size=80) | st.lists(CELLS_AND_MARKS).map("".join))
def test_any_text_is_read_or_refused(text: str) -> None:
    rows, wrong = read_csv(text)
    assert rows == [] or wrong == ()
    for each in (*wrong, *from_rows(rows).troubles):
        assert say_row(each, WORDS)
