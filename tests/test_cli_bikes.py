"""`sumpline bike`: the book at the command line, out as CSV, in again, as a picture."""

from __future__ import annotations

import csv
from contextlib import closing
from pathlib import Path

import pytest
from PIL import Image

from bot import cli, turn
from tests.test_bookkeeping import RISE, Rider, robin, written

__all__ = ["robin"]


@pytest.fixture
def db(robin: Rider) -> str:
    written(robin, *RISE, "opened the clutch cover at 65")
    return str(robin.path)


def run(*words: str) -> int:
    return cli.main(["bike", *words])


def test_the_book_and_its_trend_are_shown(db: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("list", "--db", db) == 0
    assert run("book", "pepper", "--db", db) == 0
    shown = capsys.readouterr().out
    assert "Pepper  65 h  (Robin)" in shown
    assert "4. 2026-05-04 Oil change at 65 h, filter changed. Found: 9 flakes." in shown
    assert "Rising: 2 pieces in 6 h, then 9 in 5 h" in shown


def test_what_goes_out_comes_in_again_once(
    db: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "pepper.csv"
    assert run("export", "Pepper", str(file), "--db", db) == 0
    assert run("import", "Pepper", str(file), "--db", db) == 0
    assert "0 lines written; 5 were there already." in capsys.readouterr().out
    assert run("export", "Pepper", str(file), "--db", db) == cli.CANNOT  # nothing is written over
    with closing(turn.open_record(db)) as store:
        person = store.named("Robin")
        assert person is not None
        goat = store.make_bike(person.id, "Goat", "2026-05-04T12:00:00Z")
        before = turn.read_book(store, "1")
    assert run("import", "Goat", str(file), "--db", db) == 0
    with closing(turn.open_record(db)) as store:
        assert [row.line for row in turn.read_book(store, goat).lines] == [row.line for row in before.lines]
        assert store.bike(goat).hours == 65


def test_each_mistake_of_a_file_is_named_by_row_and_column_and_nothing_is_written(
    db: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "wrong.csv"
    with file.open("w", newline="", encoding="utf-8") as out:
        csv.writer(out).writerows(
            [["line", "hours", "found"], ["oil_change", "sixty", "nothing"], ["oil_chance", "70", ""]]
        )
    assert run("import", "Pepper", str(file), "--db", db) == 1
    shown = capsys.readouterr().out
    assert "Row 2, column hours" in shown
    assert "Row 3, column line" in shown
    assert "Nothing was written" in shown
    with closing(turn.open_record(db)) as store:
        assert len(store.book_of("1")) == 5


def test_the_trend_is_drawn_and_told(db: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "pepper.png"
    assert run("plot", "Pepper", str(file), "--db", db) == 0
    with Image.open(file) as picture:
        assert picture.size == (1080, 1350)
    assert "Rising" in capsys.readouterr().out


def test_what_is_not_there_is_said_with_what_is(
    db: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run("book", "Peper", "--db", db) == cli.CANNOT
    assert "bikes here: Pepper" in capsys.readouterr().err


def test_kilometres_are_listed_shown_and_go_out_and_in(
    db: str, robin: Rider, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    robin.say("oil change at 66 h, 1240 km", "yes")
    file, bad = tmp_path / "pepper.csv", tmp_path / "bad.csv"
    assert run("list", "--db", db) == 0
    assert run("book", "pepper", "--db", db) == 0
    shown = capsys.readouterr().out
    assert "Pepper  66 h, odometer 1240 km  (Robin)" in shown
    assert "Oil change at 66 h, 1240 km." in shown
    assert run("export", "Pepper", str(file), "--db", db) == 0
    assert run("import", "Pepper", str(file), "--db", db) == 0
    assert "0 lines written; 6 were there already." in capsys.readouterr().out
    bad.write_text("line,km\ndistance,far\n")
    assert run("import", "Pepper", str(bad), "--db", db) == 1
    assert "Row 2, column km: 'far' is no number." in capsys.readouterr().out
