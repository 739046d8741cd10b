"""The sheet as it stands in the record: with photos and the book, and with nobody else's anything."""

from __future__ import annotations

import io
import json
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pypdf
import pytest
from PIL import Image

from bot import sheets, turn
from bot.channels.seat import Seat
from bot.record.photos import Unreadable, for_paper
from bot.sheets import Handover
from tests.rattle import RATTLE
from tests.record.test_photos import jpeg

NOON = datetime(2026, 5, 4, 12, 0, tzinfo=UTC)


class Garage:
    """A record with riders in it; the program is started anew for each line."""

    def __init__(self, path: Path) -> None:
        self.path = path
        with closing(turn.open_record(path)) as store:
            turn.lay_out(store, json.dumps(RATTLE), "", "everyone", NOON)

    def say(self, who: str, *lines: str | Path) -> None:
        for line in lines:
            with closing(turn.open_record(self.path)) as store:
                seat = Seat(store, who, flow="rattle", clock=lambda: NOON)
                seat.say(line) if isinstance(line, str) else seat.show_photo(line)
                assert not store.dead_letters()

    def sheet(self, case: int = 1) -> Handover:
        with closing(turn.open_record(self.path)) as store:
            rider = store.person(store.case(case).person)
            made = sheets.gather_sheet(store, case, turn.lay_desk(store, rider, rider, "terminal"), NOON)
        assert made is not None
        return made


@pytest.fixture
def garage(tmp_path: Path) -> Garage:
    return Garage(tmp_path / "record.db")


@pytest.fixture
def photo(tmp_path: Path) -> Path:
    path = tmp_path / "plug.jpg"
    path.write_bytes(jpeg((1600, 1200)))
    return path


def images(data: bytes) -> list[Any]:
    return [image for page in pypdf.PdfReader(io.BytesIO(data)).pages for image in page.images]


def test_photos_of_the_case_are_on_the_paper_and_smaller(garage: Garage, photo: Path) -> None:
    garage.say("Robin", "something rattles", "No knock", "Goat", photo)
    sheet = garage.sheet()
    [(file, by)] = sheet.facts.files()
    assert (file.kind, len(file.digest), by.role) == ("photo", 64, "rider")
    assert sheet.photos[file.digest].name == file.digest
    [image] = images(sheets.print_sheet(sheet))
    assert image.image.size == (1000, 750)


def test_a_photo_that_was_lost_or_is_broken_is_said_to_be(garage: Garage, photo: Path) -> None:
    garage.say("Robin", "something rattles", "No knock", "Goat", photo)
    [path] = garage.sheet().photos.values()
    path.write_bytes(b"no picture")
    sheet = garage.sheet()
    assert images(sheets.print_sheet(sheet)) == []
    path.unlink()
    text = "".join(p.extract_text() for p in pypdf.PdfReader(io.BytesIO(sheets.print_sheet(sheet))).pages)
    assert "cannot be read" in " ".join(text.split())


def test_files_of_a_network_stand_under_their_digest_once_they_came(garage: Garage) -> None:
    garage.say("Robin", "something rattles")
    with closing(turn.open_record(garage.path)) as store:
        person = store.named("Robin")
        assert person is not None
        for ref in ("one", "two", "three"):
            at = turn.stamp(NOON)
            store.want_file(ref, "terminal", "locator", person.id, "here", "photo", "", at)
        heard = turn.Heard(file="one two three", file_kind="photo", who="Robin")
        inbox = turn.accept(store, "terminal", "here", "Robin", "m1", heard, NOON)
        assert inbox is not None
        turn.take(store, inbox, NOON)
        digest = turn.keep_file(store, "terminal", "Robin", jpeg(), "photo", NOON)
        with store.writing():
            store.file_fetched("one", digest)
            store.fetch_failed("three", "telegram.file_kind", None)
    sheet = garage.sheet()
    assert [file.digest for file, _ in sheet.facts.files()] == [digest, "two"]
    assert list(sheet.photos) == [digest]
    assert [file["digest"] for file in json.loads(sheets.sheet_as_json(sheet))["files"]] == [digest, None]


def test_the_bikes_book_and_its_trend_go_along(garage: Garage) -> None:
    for line in ("oil change at 54 with filter, clean", "oil change at 60 with filter, 2 flakes",
                 "oil change at 65 with filter, 9 flakes", "clutch plates 89 euro at 65"):  # fmt: skip
        garage.say("Robin", line, *(["Goat"] if "54" in line else []), "yes")
    garage.say("Robin", "something rattles", "No knock", "Goat")
    with closing(turn.open_record(garage.path)) as store:
        [case, *_] = [line.id for line in store.all_cases() if line.title]
    sheet = garage.sheet(case)
    assert sheet.facts.trend is not None
    assert sheet.facts.trend.words.startswith("Rising: 2 pieces in 6 h, then 9 in 5 h")
    assert [(p.name, p.price) for p in sheet.facts.fitted] == [("clutch plates", 89)]
    assert sheet.trend is not None
    [image] = images(sheets.print_sheet(sheet, "letter"))
    assert image.image.size == (1080, 1350)


def test_without_the_package_for_pictures_the_words_must_do(
    garage: Garage, monkeypatch: pytest.MonkeyPatch
) -> None:
    def missing(picture: object) -> tuple[bytes, str]:
        raise ImportError

    test_the_bikes_book_and_its_trend_go_along(garage)
    monkeypatch.setattr(sheets, "draw", missing)
    with closing(turn.open_record(garage.path)) as store:
        case = next(line.id for line in store.all_cases() if line.title)
    assert images(sheets.print_sheet(garage.sheet(case))) == []


def test_a_case_without_a_flow_has_no_sheet(garage: Garage) -> None:
    garage.say("Robin", "qwertz")
    with closing(turn.open_record(garage.path)) as store:
        person = store.person(store.case(1).person)
        assert sheets.gather_sheet(store, 1, turn.lay_desk(store, person, person, "terminal"), NOON) is None
        with pytest.raises(turn.RecordError):
            sheets.gather_sheet(store, 99, turn.lay_desk(store, person, person, "terminal"), NOON)


def test_nothing_of_other_people_bikes_and_cases_is_on_any_form(garage: Garage, photo: Path) -> None:
    """Zyx marks all that is somebody else's, or the rider's own but of another bike or case."""
    garage.say("Zyxann", "something rattles, zyxwords", "No knock", "Zyxmule", photo)
    garage.say("Robin", "something rattles, zyxother case", "No knock", "Zyxgoat", "later")
    with closing(turn.open_record(garage.path)) as store:
        person = store.named("Robin")
        assert person is not None
        with store.writing():
            store.let_go(turn.Address("terminal", "here"), person.id)
    garage.say("Robin", "something rattles", "No knock", "Goat")
    with closing(turn.open_record(garage.path)) as store:
        case = max(line.id for line in store.all_cases())
        assert len(store.all_cases()) == 3
    sheet = garage.sheet(case)
    assert sheet.facts.bike == "Goat"
    pages = pypdf.PdfReader(io.BytesIO(sheets.print_sheet(sheet))).pages
    forms = (sheets.sheet_as_json(sheet), sheets.write_sheet(sheet), *(page.extract_text() for page in pages))
    assert all("zyx" not in form.casefold() for form in forms)
    assert sheet.photos == {}


# --- photos made small -----------------------------------------------------------------------


def test_so_many_photos_that_they_must_be_smaller_are(
    garage: Garage, photo: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    garage.say("Robin", "something rattles", "No knock", "Goat", photo)
    sheet = garage.sheet()
    monkeypatch.setattr(sheets, "MOST_BYTES", 10)
    [image] = images(sheets.print_sheet(sheet))
    assert image.image.size == (480, 360)


def test_of_more_photos_than_are_printed_the_newest_are(
    garage: Garage, photo: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    garage.say("Robin", "something rattles", "No knock", "Goat", photo)
    photo.write_bytes(jpeg((1200, 1600)))
    garage.say("Robin", photo)
    monkeypatch.setattr(sheets, "MOST_PHOTOS", 1)
    data = sheets.print_sheet(garage.sheet())
    [image] = images(data)
    assert image.image.size == (750, 1000)
    text = "".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(data)).pages)
    assert "1 older photo is not printed." in text


def test_a_picture_for_paper_has_no_place_in_it_and_a_broken_one_is_refused() -> None:
    made = Image.open(io.BytesIO(for_paper(jpeg((800, 400)), 200, 75)))
    assert (made.size, dict(made.getexif())) == ((200, 100), {})
    with pytest.raises(Unreadable):
        for_paper(b"no picture", 200, 75)
